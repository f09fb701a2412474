"""What a capability index of readings means for whole reels: crossings of the limit by a smooth normal wall.

A reel is thousands of readings long, so a rare reading is a common reel. Rice's formula counts how often a
smooth normal wall goes under the limit; reels that differ in level are then mixed, because the worst reels
carry the risk. Sources: Rice, Bell System Technical Journal 23 (1944), 282-332 and 24 (1945), 46-156 (from
memory); Kratz, Probability Surveys 3 (2006), 230-288 (abstract seen). The mixing is derived here.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result


@checked
def crossings_expected(depth_sd: float, length_m: float, correlation_m: float) -> float:
    """Mean number of passings under a level by a smooth normal wall: L/(2 pi a) exp(-u^2/2).

    Args:
        depth_sd: u, distance of the level under the mean in standard deviations [1]; three times a one-sided
            index.
        length_m: L, length of wire [m].
        correlation_m: a, with correlation exp(-s^2/(2 a^2)) at distance s, that is 1/sqrt(-rho''(0)) [m].

    Source: Rice (1944). Stops being true for a wall that is not smooth (gauge noise, steps): then rho''(0)
    does not exist and the clusters under a threshold must be counted.
    """
    return length_m / (2.0 * math.pi * correlation_m) * math.exp(-0.5 * depth_sd**2)


@checked
def chance_of_reel_below(depth_sd: float, reel_m: float, correlation_m: float) -> float:
    """Probability that a smooth normal wall goes under the level within a reel: 1 - exp(-N_L).

    The small chance to start under it, Phi(-u), is left out.

    Args:
        depth_sd: as in `crossings_expected`.
        reel_m: length of the reel [m].
        correlation_m: as in `crossings_expected`.
    """
    return -math.expm1(-crossings_expected(depth_sd, reel_m, correlation_m))


@checked
def index_for_chance(chance: float, reel_m: float, correlation_m: float) -> float:
    """One-sided index at which no more than a share `chance` of reels goes under the limit.

    C = sqrt(2 ln(N_0/-ln(1 - P)))/3 with N_0 = L/(2 pi a).

    Args:
        chance: accepted share of reels, 0 to 1.
        reel_m: length of a reel [m].
        correlation_m: as in `crossings_expected`.
    """
    ratio = crossings_expected(0.0, reel_m, correlation_m) / -math.log1p(-chance)
    return math.sqrt(2.0 * math.log(max(ratio, 1.0))) / 3.0


@checked
def chance_mixed_over_reels(depth_sd: float, between_sd: float, crossings_at_mean: float) -> float:
    """Probability that a reel drawn from reels of differing level goes under the limit.

    E_b[1 - exp(-N exp(-(m + b)^2/2))], b normal with mean 0 and deviation s_b; a reel whose mean lies under
    the limit counts as gone under it.

    Args:
        depth_sd: m, distance of the limit under the mean of all reels, in within-reel standard deviations
            [1].
        between_sd: s_b, standard deviation of reel means, in within-reel standard deviations [1].
        crossings_at_mean: N, passings of its own mean level by one reel, L/(2 pi a).

    Source: derived here; Gauss-Legendre over twelve deviations.
    """
    if between_sd <= 0.0:
        return -math.expm1(-crossings_at_mean * math.exp(-0.5 * depth_sd**2))
    nodes, weights = _nodes()
    z = 12.0 * nodes
    level = np.maximum(depth_sd + between_sd * z, 0.0)
    below = -np.expm1(-crossings_at_mean * np.exp(-0.5 * level**2))
    below = np.where(depth_sd + between_sd * z <= 0.0, 1.0, below)
    return float(np.sum(weights * 12.0 * np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi) * below))


@lru_cache(maxsize=1)
def _nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    nodes, weights = np.polynomial.legendre.leggauss(400)
    return np.asarray(nodes, dtype=np.float64), np.asarray(weights, dtype=np.float64)


@checked
def correlation_length_m(values: ArrayLike, step_m: float) -> float | Refused:
    """Length a of a smooth wall from the second difference of its correlation at zero, or why there is none.

    a = h/sqrt(2 (1 - rho(h))). For a smooth wall 1 - rho grows with h^2, so two steps must give the same a;
    where 1 - rho grows with h (noise, an autoregression), they do not and Rice's formula has no meaning.

    Args:
        values: equally spaced readings, NaN where unknown.
        step_m: step between readings [m].

    Returns:
        a [m], or a `Refused`.

    Source: Rice (1944); the check is derived here.
    """
    series = np.asarray(values, dtype=np.float64).ravel()
    question, method = (
        asks(Quantity.CORRELATION_LENGTH),
        message(Method.CURVATURE_AT_ZERO),
    )
    n = int(np.isfinite(series).sum())
    if n < 1000 or np.isinf(series).any() or not step_m > 0.0:
        reason = message(Reason.TOO_FEW_KNOWN_READINGS, n=n)
        return Refused(question, method, reason, n)
    variance = float(np.nanvar(series))
    if float(np.nanmax(series)) == float(np.nanmin(series)):
        return Refused(question, method, message(Reason.READINGS_EQUAL), n)
    # 2 (1 - rho(h)) = mean squared difference over the variance
    one, two, four = (float(np.nanmean((series[k:] - series[:-k]) ** 2)) / variance for k in (1, 2, 4))
    if not (one > 0.0 and two / one > 3.2 and four / two > 3.0):
        return Refused(
            question,
            method,
            message(Reason.WALL_NOT_SMOOTH, two=two / one, four=four / two),
            n,
        )
    return step_m / math.sqrt(one)


@checked
def reel_risk_from_index(
    index: float,
    index_low: float,
    index_high: float,
    *,
    reel_m: float,
    correlation_m: float,
    between_sd: float = 0.0,
    between_sd_high: float | None = None,
    n: int,
) -> Result | Refused:
    """Share of reels with a point under the limit that a within-reel index implies, mixed over reels.

    Args:
        index: one-sided index of readings within reels [1].
        index_low: lower bound of the index; gives the upper end of the share.
        index_high: upper bound of the index, infinite if none; gives the lower end.
        reel_m: length of a reel [m].
        correlation_m: a of a smooth wall [m].
        between_sd: standard deviation of reel means in within-reel deviations [1].
        between_sd_high: its upper bound; None takes `between_sd`, and says so.
        n: readings or reels behind the index.

    Returns:
        A `Result` about one reel, or a `Refused`. It holds for a smooth normal wall only and is shown beside
        the estimate from the tail itself, not instead of it.
    """
    question = asks(Quantity.NORMAL_REEL_MINIMUM_RISK)
    method = message(Method.CROSSINGS)
    if not (reel_m > 0.0 and correlation_m > 0.0):
        return Refused(question, method, message(Reason.REEL_OR_CORRELATION_LENGTH_NOT_POSITIVE), n)
    if not (math.isfinite(index) and math.isfinite(index_low) and index_low <= index <= index_high):
        reason = message(Reason.INDEX_WITHOUT_BOUNDS)
        return Refused(question, method, reason, n)
    many = crossings_expected(0.0, reel_m, correlation_m)
    spread_high = between_sd if between_sd_high is None else between_sd_high
    warnings = [message(Note.NORMAL_THEORY_ONLY)]
    if between_sd <= 0.0 and spread_high <= 0.0:
        warnings.append(message(Note.DIFFERENCES_OF_REELS_LEFT_OUT))
    elif between_sd_high is None:
        warnings.append(message(Note.SPREAD_BETWEEN_REELS_KNOWN_EXACTLY))
    return Result(
        question=question,
        estimate=chance_mixed_over_reels(3.0 * index, between_sd, many),
        low=0.0 if math.isinf(index_high) else chance_mixed_over_reels(3.0 * index_high, 0.0, many),
        high=chance_mixed_over_reels(3.0 * index_low, spread_high, many),
        confidence=0.95,
        unit="",
        method=method,
        n=n,
        effective_n=None,
        known_m=None,
        unit_of_inference="reel",
        assumptions=(
            Assumption(message(Assumed.WALL_NORMAL), None, message(Note.NOT_CHECKED)),
            Assumption(message(Assumed.WALL_SMOOTH), None, message(Note.SEE_CORRELATION_LENGTH)),
        ),
        warnings=tuple(warnings),
        details={
            "index": index,
            "share_of_readings_below": float(special.ndtr(-3.0 * index)),
            "crossings_expected": many * math.exp(-4.5 * index**2),
            "index_for_one_reel_in_1000": index_for_chance(0.001, reel_m, correlation_m),
            "without_difference_between_reels": chance_of_reel_below(3.0 * index, reel_m, correlation_m),
        },
    )

"""How thin the thinnest point of a reel gets: the level passed once a reel, once in a thousand reels, or half
the time.

Source: Coles, An Introduction to Statistical Modeling of Extreme Values (2001), sections 4.3.3 and 4.4.1
(from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.statistics.minimum_of_reel import LowerTail, likelihood_drop

FEWEST = 20  # clusters a level is worked from (chosen here)

Covariance = tuple[tuple[float, float], tuple[float, float]]


@checked
def reel_level(
    deficits: ArrayLike,
    tail: LowerTail,
    *,
    known_m: float,
    reel_m: float,
    times: float,
    covariance: Covariance | None = None,
    drop_factor: float = 1.0,
    confidence: float = 0.95,
) -> Result | Refused:
    """Level under which a reel goes `times` times on average, with a profile-likelihood interval.

    c = u - (sigma/xi) ((rate L/m)^xi - 1); the interval holds every level that the likelihood ratio does not
    reject as being passed m times. Times 0.001 is once in a thousand reels, ln 2 the median of the reels'
    thinnest points.

    Args:
        deficits: threshold minus thinnest reading of each cluster, [mm].
        tail: the tail fitted to them.
        known_m: E, length of wire with a trustworthy reading [m].
        reel_m: L, length of a reel [m].
        times: m, passings per reel on average; fewer than the clusters of a reel.
        covariance: of scale and shape, for the delta-method error in the details; None leaves it out.
        drop_factor: as for `pipeline.statistics.minimum_of_reel.reel_risk`.
        confidence: coverage aimed at.

    Returns:
        A `Result`, or a `Refused`. The delta-method error is symmetric and too small on the thin side.
    """
    y = np.asarray(deficits, dtype=np.float64).ravel()
    question = asks(Quantity.RETURN_LEVEL, f"{times:.6g}", times=times, reel=Measure(reel_m, "m"))
    method = message(Method.RETURN_LEVEL)
    reason = None
    if y.size < FEWEST:
        reason = message(Reason.TOO_FEW_CLUSTERS, n=y.size, fewest=FEWEST)
    elif not np.isfinite(y).all() or (y <= 0.0).any():
        reason = message(Reason.DEFICITS_NOT_POSITIVE)
    elif not (known_m > 0.0 and reel_m > 0.0):
        reason = message(Reason.LENGTH_NOT_POSITIVE)
    elif not 0.0 < times < tail.clusters_per_m * reel_m:
        reason = message(Reason.LEVEL_ABOVE_THE_THRESHOLD)
    if reason is not None:
        return Refused(question, method, reason, int(y.size))
    estimate = tail.level_passed(times, reel_m)
    allowed = float(stats.chi2.ppf(confidence, 1)) / 2.0

    def spare(depth: float) -> float:
        dropped = likelihood_drop(y, tail.scale, tail.shape, depth, times / reel_m, known_m)
        return allowed - dropped / drop_factor

    at = tail.threshold - estimate
    step, inner, outer = 0.1 * at, at, at
    while spare(inner) > 0.0 and inner > 1e-6 * at:
        inner -= min(step, 0.5 * inner)
    while spare(outer) > 0.0 and outer < 1e4 * at:
        outer += step
        step *= 1.5
    shallow = float(optimize.brentq(spare, inner, at, xtol=1e-5 * at)) if spare(inner) < 0.0 else 0.0
    deep = float(optimize.brentq(spare, at, outer, xtol=1e-5 * at)) if spare(outer) < 0.0 else math.inf
    warnings = []
    if not math.isfinite(deep):
        warnings.append(message(Note.THIN_SIDE_WITHOUT_BOUND))
    return Result(
        question=question,
        estimate=estimate,
        low=tail.threshold - deep,
        high=tail.threshold - shallow,
        confidence=confidence,
        unit="mm",
        method=method,
        n=int(y.size),
        effective_n=None,
        known_m=known_m,
        unit_of_inference="reel",
        assumptions=(Assumption(message(Assumed.REELS_ALIKE), None, message(Note.NOT_CHECKED)),),
        warnings=tuple(warnings),
        details={
            "thinnest_possible": tail.thinnest,
            "clusters_per_km": 1000.0 * tail.clusters_per_m,
            "standard_error_delta": _delta_error(tail, times, reel_m, covariance, int(y.size)),
        },
    )


def _delta_error(
    tail: LowerTail, times: float, reel_m: float, covariance: Covariance | None, clusters: int
) -> float:
    """Delta-method standard error of the return level; the rate has variance rate^2/n."""
    if covariance is None:
        return float("nan")
    many = tail.clusters_per_m * reel_m / times
    xi = tail.shape if abs(tail.shape) > 1e-6 else 1e-6
    grown = many**xi
    slope = np.array(
        [
            (grown - 1.0) / xi,
            tail.scale * (grown * math.log(many) / xi - (grown - 1.0) / xi**2),
            tail.scale * grown,  # times d ln(rate)
        ]
    )
    spread = np.zeros((3, 3))
    spread[:2, :2] = covariance
    spread[2, 2] = 1.0 / clusters
    return math.sqrt(float(slope @ spread @ slope))

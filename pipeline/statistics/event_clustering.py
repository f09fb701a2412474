"""Do faults come in clusters, or ever faster along the reel?

Index of dispersion, gaps between faults, pairs close together and Laplace's trend test, each against faults
that fall anywhere on the known length with the same chance. D. R. Cox & P. A. W. Lewis, The Statistical
Analysis of Series of Events (1966), sections 3.3, 6.3 and 9 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.samples import counts as whole_counts
from pipeline.samples import positive, positive_readings, share, whole_readings

SIMULATIONS = 1999


@dataclass(frozen=True, slots=True)
class ChanceTest:
    """What was found, and what chance alone does when the same number of faults falls anywhere.

    Args:
        question: what was asked.
        method: the method with its source.
        observed: the figure found.
        chance_low: the figure that chance falls short of in 2.5 % of cases.
        chance_high: the figure that chance exceeds in 2.5 % of cases.
        p_value: how often chance reaches `observed` or more.
        n: faults used.
        known_m: length they could fall on [m].
        simulations: how often chance was played.
    """

    question: Asked
    method: Message
    observed: float
    chance_low: float
    chance_high: float
    p_value: float
    n: int
    known_m: float
    simulations: int


@checked
def dispersion_of_counts(
    counts: ArrayLike, known_m: ArrayLike, confidence: float = 0.95, seed: int = 1
) -> Result | Refused:
    """How many times as much the counts of reels scatter as independent faults would.

    phi = X^2 / (k - 1), X^2 = sum (c_i - u L_i)^2 / (u L_i), u the pooled rate; the p-value is chi-square's
    with k - 1 degrees of freedom, or from simulated splits of the faults over the lengths where the mean
    expected count is under 1. The interval is X^2 over chi-square quantiles (exact for normal scatter only).

    Args:
        counts: separate faults of each reel.
        known_m: known length of each reel [m].
        confidence: coverage aimed at.
        seed: start of the random numbers.

    Source: R. A. Fisher, Statistical Methods for Research Workers, sections 15-16; conditional splits:
    Davison & Hinkley, Bootstrap Methods (1997), example 4.9.
    """
    share(confidence, "confidence")
    c, length = whole_counts(counts, "counts"), positive_readings(known_m, "known_m", "m")
    if c.size != length.size:
        raise MethodRefusal(
            Complaint("known_m", f"{length.size} lengths stand against {c.size} counts", "Give one for each")
        )
    question = asks(Quantity.FAULT_DISPERSION)
    if c.size < 2 or c.sum() == 0:
        reason = message(Reason.NO_SCATTER_OF_COUNTS, n=c.size, sum=int(c.sum()))
        return Refused(question, message(Method.DISPERSION), reason, int(c.sum()))
    x2, freedom = float(_x_squared(c, length)), c.size - 1
    simulated = c.mean() < 1.0
    if simulated:
        played = _x_squared_of_splits(int(c.sum()), length, seed)
        p_value = (1 + int((played >= x2 * (1 - 1e-12)).sum())) / (1 + SIMULATIONS)
    else:
        p_value = float(stats.chi2.sf(x2, freedom))
    upper, lower = (float(stats.chi2.ppf((1 + side * confidence) / 2, freedom)) for side in (1, -1))
    return Result(
        question=question,
        estimate=x2 / freedom,
        low=x2 / upper,
        high=x2 / lower,
        confidence=confidence,
        unit="",
        method=message(Method.DISPERSION, how="simulated splits" if simulated else "chi-square"),
        n=int(c.sum()),
        effective_n=None,
        known_m=float(length.sum()),
        unit_of_inference="reel",
        warnings=((message(Note.FAULTS_NOT_INDEPENDENT),) if p_value < 0.05 else ()),
        details={"x_squared": x2, "p_value": p_value, "items": float(c.size), "freedom": float(freedom)},
    )


def _x_squared(
    c: NDArray[np.float64] | NDArray[np.int64], length: NDArray[np.float64]
) -> NDArray[np.float64]:
    expected = c.sum(axis=-1, keepdims=True) * length / length.sum()
    return np.asarray(((c - expected) ** 2 / expected).sum(axis=-1), dtype=np.float64)


def _x_squared_of_splits(faults: int, length: NDArray[np.float64], seed: int) -> NDArray[np.float64]:
    """X^2 of so many faults thrown on the lengths by chance, a throw an entry: sum c^2 L/(n l) - n, l a length.

    Few faults on many lengths: only the lengths that were hit are looked at.
    """
    edges = np.cumsum(length)
    total = float(edges[-1])
    thrown = np.random.default_rng(seed).random((SIMULATIONS, faults)) * total
    hit = np.sort(np.searchsorted(edges[:-1], thrown.ravel(), side="right").reshape(thrown.shape), axis=1)
    position = np.arange(faults)
    fresh = np.concatenate([np.ones((SIMULATIONS, 1), dtype=bool), hit[:, 1:] != hit[:, :-1]], axis=1)
    # The k-th fault on a length adds 2 k - 1 to the square of its count.
    since = position - np.maximum.accumulate(np.where(fresh, position, 0), axis=1)
    return np.asarray(((2 * since + 1) / length[hit]).sum(axis=1) * total / faults - faults, dtype=np.float64)


@checked
def trend_along(at_m: ArrayLike, known_m: float, confidence: float = 0.95) -> Result | Refused:
    """How many times as many faults the end of the length has as its start.

    Rate exp(a + b s): exp(b L) with its profile-likelihood interval given the number of faults. Laplace's
    U = (mean s - L/2) / (L sqrt(1/12n)) and its two-sided p-value are in `details`.

    Args:
        at_m: positions on the joined known length, 0 to `known_m` [m].
        known_m: known length L [m].
        confidence: coverage aimed at.

    Stops being true where faults come in clusters (U is then too large). Source: Cox & Lewis 1966,
    section 3.3.
    """
    share(confidence, "confidence")
    at, length = _places(at_m, known_m)
    question = asks(Quantity.FAULT_TREND)
    method = message(Method.LOG_LINEAR_RATE)
    if at.size < 2:
        return Refused(
            question,
            method,
            message(Reason.NO_TREND_OF_SO_FEW, n=at.size),
            at.size,
        )
    u = at / length
    if not 1e-3 < u.mean() < 1 - 1e-3:
        reason = message(Reason.FAULTS_AT_ONE_END)
        return Refused(question, method, reason, at.size)
    score = float((u.mean() - 0.5) * math.sqrt(12 * at.size))
    best, low, high = _slope(u, confidence)
    return Result(
        question=question,
        estimate=math.exp(min(best, 700.0)),
        low=math.exp(min(low, 700.0)),
        high=math.exp(min(high, 700.0)),
        confidence=confidence,
        unit="",
        method=method,
        n=at.size,
        effective_n=None,
        known_m=length,
        unit_of_inference="event",
        assumptions=(Assumption(message(Assumed.FAULTS_INDEPENDENT), None, message(Note.NOT_CHECKED)),),
        warnings=(message(Note.FEW_FAULTS, n=at.size),) if at.size < 5 else (),
        details={"laplace_u": score, "p_value": float(2 * stats.norm.sf(abs(score)))},
    )


def _slope(u: NDArray[np.float64], confidence: float) -> tuple[float, float, float]:
    """Slope b of the log rate on 0 to 1, with the ends of its profile-likelihood interval."""
    n, mean, far = u.size, float(u.mean()), 2000.0
    drop = float(stats.chi2.ppf(confidence, 1)) / 2

    def likelihood(b: float) -> float:
        if abs(b) < 1e-4:
            return n * (b * mean - b / 2 - b * b / 24)
        top = max(b, 0.0)
        return n * (b * mean - top - math.log1p(-math.exp(-abs(b))) + math.log(abs(b)))

    best = float(
        optimize.minimize_scalar(lambda b: -likelihood(b), bounds=(-far, far), options={"xatol": 1e-9}).x
    )
    level = likelihood(best) - drop

    def end(edge: float) -> float:
        if likelihood(edge) > level:
            return edge
        return float(optimize.brentq(lambda b: likelihood(b) - level, min(best, edge), max(best, edge)))

    return best, end(-far), end(far)


@checked
def gap_clustering(at_m: ArrayLike, known_m: float, seed: int = 1) -> ChanceTest | Refused:
    """Scatter of the gaps between faults: standard deviation over mean, against faults falling anywhere.

    Args:
        at_m: positions on the joined known length, 0 to `known_m` [m].
        known_m: known length [m].
        seed: start of the random numbers.

    Source: Cox & Lewis 1966, section 6.3; chance by simulation given the number of faults.
    """
    at, length = _places(at_m, known_m)
    question = asks(Quantity.FAULT_CLUSTERING)
    method = message(Method.GAP_VARIATION)
    if at.size < 4:
        return Refused(
            question,
            method,
            message(Reason.TOO_FEW_GAPS, n=at.size),
            at.size,
        )
    played = _anywhere(at.size, length, seed)
    return _against(question, method, float(_gap_cv(at)), np.asarray(_gap_cv(played)), at.size, length)


def _gap_cv(at: NDArray[np.float64]) -> NDArray[np.float64]:
    gaps = np.diff(at, axis=-1)
    mean = gaps.mean(axis=-1)
    return np.asarray(gaps.std(axis=-1, ddof=1) / np.where(mean > 0, mean, 1.0), dtype=np.float64)


@checked
def close_pairs(at_m: ArrayLike, known_m: float, within_m: float, seed: int = 1) -> ChanceTest | Refused:
    """Pairs of faults no further apart than a length, against faults falling anywhere.

    Args:
        at_m: positions on the joined known length, 0 to `known_m` [m].
        known_m: known length [m].
        within_m: the length [m]; it must be longer than the length within which counts were merged.
        seed: start of the random numbers.

    Derived: given their number, independent faults lie anywhere with the same chance.
    """
    at, length = _places(at_m, known_m)
    positive(within_m, "within_m", "m")
    question = asks(Quantity.CLOSE_PAIRS, within=Measure(within_m, "m"))
    method = message(Method.CLOSE_PAIRS)
    if at.size < 2:
        return Refused(
            question,
            method,
            message(Reason.NO_PAIR, n=at.size),
            at.size,
        )
    played = _pairs(_anywhere(at.size, length, seed), within_m)
    return _against(question, method, float(_pairs(at, within_m)), played, at.size, length)


def _pairs(at: NDArray[np.float64], within_m: float) -> NDArray[np.float64]:
    found = np.zeros(at.shape[:-1])
    for step in range(1, at.shape[-1]):
        near = at[..., step:] - at[..., :-step] <= within_m
        if not near.any():
            break
        found = found + near.sum(axis=-1)
    return found


def _places(at_m: ArrayLike, known_m: float) -> tuple[NDArray[np.float64], float]:
    length = positive(known_m, "known_m", "m")
    at = np.sort(whole_readings(at_m, "at_m"))
    if at.size and (at[0] < 0 or at[-1] > length):
        raise MethodRefusal(
            Complaint(
                "at_m",
                f"a fault at {at[0] if at[0] < 0 else at[-1]:g} m is outside the known {length:g} m",
                "Give positions on the joined known length, from 0",
            )
        )
    return at, length


def _anywhere(n: int, length: float, seed: int) -> NDArray[np.float64]:
    return np.sort(np.random.default_rng(seed).uniform(0, length, (SIMULATIONS, n)), axis=1)


def _against(
    question: Asked, method: Message, observed: float, played: NDArray[np.float64], n: int, length: float
) -> ChanceTest:
    reached = int((played >= observed - 1e-12).sum())
    low, high = np.quantile(played, [0.025, 0.975])
    return ChanceTest(
        question=question,
        method=method,
        observed=observed,
        chance_low=float(low),
        chance_high=float(high),
        p_value=(1 + reached) / (1 + played.size),
        n=n,
        known_m=length,
        simulations=played.size,
    )

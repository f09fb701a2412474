"""How thin readings clump: the extremal index, and clusters whose thinnest points stand for one event each.

One thin stretch gives many readings under a threshold. The extremal index theta is one over the mean number
of them in a cluster. It is used once: a rate of clusters already contains it, a rate of readings does not.
Sources: Leadbetter, Lindgren and Rootzen, Extremes and Related Properties of Random Sequences and Processes
(1983); Ferro and Segers, J. R. Stat. Soc. B 65 (2003), 545-556; Suveges and Davison, Ann. Appl. Stat. 4
(2010), 203-221 (abstract seen, formulae from memory or derived).
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
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.words import counted

_GAPS = [1, 2, 5, 10, 20, 50, 100]
# Simulated series (tests/statistics/interval_coverage_found.csv); the likelihood of K-gaps held in 89.6 % and in none.
HELD = message(Note.HELD_EXTREMAL_INDEX)
_GROUPS = 20  # groups of neighbouring spacings for the jackknife; chosen here


@dataclass(frozen=True, slots=True)
class Clusters:
    """Stretches below a threshold, one entry a cluster, in order along the wire.

    Args:
        at_m: where the thinnest reading of the cluster stands [m].
        deficit: threshold minus the thinnest reading, above zero, in the unit of the readings.
        readings: readings below the threshold in the cluster.
        run_m: distance [m] without a reading below the threshold that ends a cluster.
        from_m: its first reading below the threshold [m].
        to_m: its last [m].
    """

    at_m: NDArray[np.float64]
    deficit: NDArray[np.float64]
    readings: NDArray[np.int64]
    run_m: float
    from_m: NDArray[np.float64]
    to_m: NDArray[np.float64]


@checked
def intervals_estimate(spacings: ArrayLike) -> float:
    """Extremal index from the spacings of exceedances, without a tuning constant.

    max T <= 2: 2 (sum T)^2 / ((N - 1) sum T^2), else 2 (sum (T - 1))^2 / ((N - 1) sum (T - 1)(T - 2)), at
    most 1; N - 1 is the number of spacings.

    Args:
        spacings: T, readings from one exceedance to the next, 1 or more.

    Raises:
        MethodRefusal: no spacing is given.

    Source: Ferro and Segers (2003), equations 4 and 5 (from memory).
    """
    t = _spacings(spacings)
    if t.max() <= 2.0:
        theta = 2.0 * t.sum() ** 2 / (t.size * np.sum(t**2))
    else:
        theta = 2.0 * np.sum(t - 1.0) ** 2 / (t.size * np.sum((t - 1.0) * (t - 2.0)))
    return float(min(theta, 1.0))


@dataclass(frozen=True, slots=True)
class GapFit:
    """K-gaps fit of the extremal index.

    Args:
        theta: estimate, 0 to 1.
        low: lower end of the profile-likelihood interval.
        high: upper end.
        misfit_p: p-value of the information-matrix test; small if K or the threshold is wrong.
        k: gap K [readings].
    """

    theta: float
    low: float
    high: float
    misfit_p: float
    k: int


@checked
def k_gaps(
    spacings: ArrayLike, exceedances: int, readings: int, k: int = 1, confidence: float = 0.95
) -> GapFit:
    """Extremal index by maximum likelihood of the K-gaps, with interval and test of K.

    S_i = (N/n) max(T_i - K, 0); with N0 gaps of zero, N1 above, b = N0 + 2 N1 + sum S:
    theta = (b - sqrt(b^2 - 8 N1 sum S)) / (2 sum S).

    Args:
        spacings: T, readings from one exceedance to the next.
        exceedances: N.
        readings: n, readings in all.
        k: K, readings up to which neighbouring exceedances count as one cluster.
        confidence: of the profile-likelihood interval.

    Source: Suveges and Davison (2010); the closed form and the information-matrix test (White, Econometrica
    50 (1982), 1-25) are derived here.
    """
    t = _spacings(spacings)
    s = exceedances / readings * np.maximum(t - k, 0.0)
    zeros, positive, total = int(np.sum(s == 0.0)), int(np.sum(s > 0.0)), float(s.sum())
    if positive == 0:
        return GapFit(0.0, 0.0, 1.0, float("nan"), k)
    b = zeros + 2.0 * positive + total
    theta = min((b - math.sqrt(max(b * b - 8.0 * positive * total, 0.0))) / (2.0 * total), 1.0)

    def likelihood(x: float) -> float:
        return (zeros * math.log1p(-x) if zeros else 0.0) + 2.0 * positive * math.log(x) - x * total

    top = likelihood(min(theta, 1.0 - 1e-12) if zeros else theta)
    drop = float(stats.chi2.ppf(confidence, 1)) / 2.0

    def short(x: float) -> float:
        return likelihood(x) - top + drop

    low = float(optimize.brentq(short, 1e-12, theta)) if short(1e-12) < 0.0 else 0.0
    edge = 1.0 - 1e-12
    high = float(optimize.brentq(short, theta, edge)) if theta < edge and short(edge) < 0.0 else 1.0
    return GapFit(theta, low, high, _misfit(s, theta), k)


def _misfit(s: NDArray[np.float64], theta: float) -> float:
    """P-value of White's test: mean of second derivative plus squared score of the log-likelihood is zero."""
    if theta >= 1.0:
        return float("nan")
    score = np.where(s > 0.0, 2.0 / theta - s, -1.0 / (1.0 - theta))
    curve = np.where(s > 0.0, 2.0 / theta**2, 1.0 / (1.0 - theta) ** 2)
    gap = np.where(s > 0.0, score**2 - 2.0 / theta**2, 0.0)
    slope = np.where(s > 0.0, 4.0 / theta**3 - 4.0 / theta**2 * score, 0.0)
    spread = float(np.mean((gap + slope.mean() / curve.mean() * score) ** 2))
    if not spread > 0.0:
        return float("nan")
    return float(stats.chi2.sf(s.size * float(gap.mean()) ** 2 / spread, 1))


@checked
def extremal_index(
    values: ArrayLike,
    threshold: float,
    *,
    k: int | None = None,
    confidence: float = 0.95,
    step_m: float | None = None,
) -> Result | Refused:
    """Extremal index of readings below a threshold, at the threshold that is used.

    Args:
        values: readings at equal steps along the wire; NaN where unknown (counted as above the threshold).
        threshold: readings below it are exceedances.
        k: K of `k_gaps`, which stands beside the estimate; None takes the smallest of 1, 2, 5, 10, 20, 50, 100
            that the information-matrix test does not contradict at 5 %.
        confidence: of the interval.
        step_m: step between readings [m], for the known length.

    Returns:
        A `Result`: the intervals estimate, its interval, and the K-gaps estimate in the details; or a `Refused` for
        fewer than 40 exceedances, more than 5 % unknown readings or infinite readings.

    How often it holds the truth stands in tests/statistics/interval_coverage_found.csv. It depends
    on the threshold even for a process whose limit is 1: for a first-order autoregression of 0.9
    it is about 0.4 at 2.5 to 3 standard deviations.
    """
    series = np.asarray(values, dtype=np.float64).ravel()
    question = asks(Quantity.EXTREMAL_INDEX)
    method = message(Method.INTERVALS_ESTIMATE)
    below = np.flatnonzero(series < threshold)
    known = int(np.isfinite(series).sum())
    reason = None
    if np.isinf(series).any() or not math.isfinite(threshold):
        reason = message(Reason.READING_OR_THRESHOLD_INFINITE)
    elif below.size < 2 * _GROUPS:
        reason = message(Reason.TOO_FEW_READINGS_BELOW, n=below.size, fewest=2 * _GROUPS)
    elif known < 0.95 * series.size:
        reason = message(Reason.UNKNOWN_READINGS, unknown=series.size - known, n=series.size)
    if reason is not None:
        return Refused(question, method, reason, int(below.size))
    spacings = np.diff(below)
    tried = [k] if k is not None else _GAPS
    fits = [k_gaps(spacings, int(below.size), series.size, one, confidence) for one in tried]
    fit = next((one for one in fits if not one.misfit_p <= 0.05), fits[-1])
    theta = intervals_estimate(spacings)
    low, high = _jackknife_interval(spacings, confidence)
    return Result(
        question=question,
        estimate=theta,
        low=low,
        high=high,
        confidence=confidence,
        unit="",
        method=method,
        n=int(below.size),
        effective_n=float(below.size * theta),
        known_m=None if step_m is None else known * step_m,
        unit_of_inference="reading",
        assumptions=(
            Assumption(
                message(Assumed.GAPS_FOLLOW_THE_LIMIT_LAW),
                None if math.isnan(fit.misfit_p) else fit.misfit_p > 0.05,
                message(Note.INFORMATION_MATRIX_TEST, misfit_p=fit.misfit_p),
            ),
        ),
        warnings=(message(Note.CLUSTERS_COUNTED_ONCE), HELD),
        details={
            "k_gaps_estimate": fit.theta,
            "mean_cluster_readings": 1.0 / theta,
            "share_below_threshold": below.size / known,
            "k": float(fit.k),
        },
    )


def _jackknife_interval(spacings: NDArray[np.int64], confidence: float) -> tuple[float, float]:
    """Interval about the intervals estimate: jackknife over groups of neighbouring spacings.

    Groups keep what neighbouring spacings have in common, which the likelihood of K-gaps takes as independent.
    Source: Tukey's jackknife, Efron and Tibshirani, An Introduction to the Bootstrap (1993), chapter 11 (from
    memory); Student's t on one less than the groups.
    """
    t = spacings.astype(np.float64)
    edges = np.linspace(0, t.size, _GROUPS + 1).astype(np.int64)[:-1]
    first = np.add.reduceat(t - 1.0, edges)
    second = np.add.reduceat((t - 1.0) * (t - 2.0), edges)
    size = np.diff(np.append(edges, t.size))
    if (
        not (second.sum() - second).min() > 0.0
    ):  # spacings of one and two alone: no gap between clusters is seen
        return 0.0, 1.0
    without = 2.0 * (first.sum() - first) ** 2 / ((t.size - size) * (second.sum() - second))
    whole = 2.0 * first.sum() ** 2 / (t.size * second.sum())
    pseudo = _GROUPS * whole - (_GROUPS - 1) * without
    half = (
        float(stats.t.ppf(0.5 + confidence / 2.0, _GROUPS - 1))
        * float(pseudo.std(ddof=1))
        / math.sqrt(_GROUPS)
    )
    return max(min(whole, 1.0) - half, 0.0), min(whole + half, 1.0)


@checked
def decluster(values: ArrayLike, at_m: ArrayLike, threshold: float, run_m: float) -> Clusters:
    """Thinnest reading of each stretch below a threshold; a stretch ends after `run_m` of wire above it.

    Args:
        values: readings; NaN is passed over.
        at_m: where each stands on the wire, rising [m].
        threshold: in the unit of the readings.
        run_m: distance between two readings below the threshold from which they belong to two clusters [m].

    Raises:
        MethodRefusal: positions do not rise, lengths differ, or the run is not a positive length.

    Source: runs declustering, Leadbetter et al. (1983). Choose `run_m` by `run_from_extremal_index`, or
    from the correlation length of the wall; too short a run counts one thin stretch several times.
    """
    series = np.asarray(values, dtype=np.float64).ravel()
    place = np.asarray(at_m, dtype=np.float64).ravel()
    found = None
    if series.size != place.size:
        found = f"{counted(series.size, 'reading')} at {counted(place.size, 'position')}"
    elif not np.isfinite(place).all() or (np.diff(place) < 0.0).any():
        found = "positions that do not rise along the wire"
    elif not (run_m > 0.0 and math.isfinite(run_m)):
        found = f"a run of {run_m:g} m"
    if found is not None:
        remedy = "Give one rising position [m] a reading and a run above zero"
        raise MethodRefusal(Complaint("decluster", found, remedy))
    hit = np.flatnonzero(series < threshold)
    if hit.size == 0:
        empty = np.empty(0)
        return Clusters(empty, empty.copy(), np.empty(0, dtype=np.int64), run_m, empty.copy(), empty.copy())
    first = np.concatenate(([True], np.diff(place[hit]) >= run_m))
    starts = np.flatnonzero(first)
    deepest = np.minimum.reduceat(series[hit], starts)
    cluster = np.cumsum(first) - 1
    at_deepest = np.flatnonzero(series[hit] == deepest[cluster])
    chosen = at_deepest[np.unique(cluster[at_deepest], return_index=True)[1]]  # the first of ties
    counts = np.diff(np.append(starts, hit.size)).astype(np.int64)
    below = place[hit]
    ends = np.append(starts[1:], hit.size) - 1
    return Clusters(below[chosen], threshold - deepest, counts, run_m, below[starts], below[ends])


@checked
def run_from_extremal_index(spacings: ArrayLike, theta: float) -> float:
    """Run length [readings] that makes as many clusters as the extremal index says.

    The largest C - 1 of the spacings part the clusters, C = floor(theta N) + 1; where the next smaller spacing is
    equal, C goes down until it is not, so that ties make no more clusters than the index says.

    Args:
        spacings: T, readings from one exceedance to the next.
        theta: extremal index, for example of `intervals_estimate`.

    Source: Ferro and Segers (2003), section 4 (from memory).
    """
    t = np.sort(_spacings(spacings))[::-1]
    parting = int(min(math.floor(theta * (t.size + 1)), t.size))
    while 0 < parting < t.size and t[parting - 1] == t[parting]:
        parting -= 1
    return float(t[0] + 1.0) if parting == 0 else float(t[parting - 1])


def _spacings(spacings: ArrayLike) -> NDArray[np.float64]:
    t = np.asarray(spacings, dtype=np.float64).ravel()
    if t.size == 0 or not np.isfinite(t).all() or (t < 1.0).any():
        raise MethodRefusal(
            Complaint(
                "extremal index: spacings",
                f"{t.size} spacings, not all of one reading or more",
                "Give the readings from each exceedance to the next, of at least two exceedances",
            )
        )
    return t

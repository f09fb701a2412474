"""Is the threshold low enough, and does the tail fit: what to look at before believing a risk from the tail.

Sources: Coles, An Introduction to Statistical Modeling of Extreme Values (2001), sections 4.3.1 and 4.3.4,
for mean excess and stability; Smith and Shively, Atmospheric Environment 29 (1995), 3489-3499, for the
spacings plot (both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.samples import positive
from pipeline.statistics.below_threshold import fit_tail_rows, tail_quantile
from pipeline.words import counted

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MeanExcess:
    """Mean depth below each level further down; one entry a level.

    Args:
        below: distance of the level under the threshold, in the unit of the deficits.
        mean: mean depth under that level.
        standard_error: of the mean.
        n: clusters under that level.
    """

    below: Array
    mean: Array
    standard_error: Array
    n: NDArray[np.int64]


@checked
def mean_excess(deficits: ArrayLike, below: ArrayLike) -> MeanExcess:
    """Mean excess over rising depths; a straight line of slope xi/(1 - xi) where the tail is generalised
    Pareto.

    Args:
        deficits: threshold minus thinnest reading of each cluster.
        below: levels, as distances under the threshold, from zero up.

    Returns:
        Levels with at least five clusters under them.

    Source: Coles (2001), equation 4.9.
    """
    y = _checked(deficits)
    levels = np.asarray(below, dtype=np.float64).ravel()
    levels = levels[[int(np.sum(y > one)) >= 5 for one in levels]]
    deeper = [y[y > one] - one for one in levels]
    return MeanExcess(
        levels,
        np.array([one.mean() for one in deeper]),
        np.array([one.std(ddof=1) / math.sqrt(one.size) for one in deeper]),
        np.array([one.size for one in deeper], dtype=np.int64),
    )


@dataclass(frozen=True, slots=True)
class Stability:
    """Fits at lower and lower thresholds; one entry a threshold. Where the tail fits, neither changes.

    Args:
        below: distance of the threshold under the first one, in the unit of the deficits.
        shape: xi.
        shape_error: its standard error (1 + xi)/sqrt(n).
        modified_scale: sigma - xi times the distance.
        n: clusters.
    """

    below: Array
    shape: Array
    shape_error: Array
    modified_scale: Array
    n: NDArray[np.int64]


@checked
def stability(deficits: ArrayLike, below: ArrayLike) -> Stability:
    """Shape and modified scale of the tail for rising thresholds.

    Args:
        deficits: threshold minus thinnest reading of each cluster.
        below: further thresholds, as distances under the first.

    Returns:
        Thresholds with at least twenty clusters under them.

    Source: Coles (2001), section 4.3.4; asymptotic error of xi from section 4.3.2, valid for xi > -0.5.
    """
    y = _checked(deficits)
    kept, shapes, scales, counts = [], [], [], []
    for one in np.asarray(below, dtype=np.float64).ravel():
        deeper = y[y > one] - one
        if deeper.size < 20:
            continue
        scale, shape = fit_tail_rows(deeper[None, :])[0]
        kept.append(float(one))
        shapes.append(float(shape))
        scales.append(float(scale - shape * one))
        counts.append(deeper.size)
    shape_of = np.array(shapes)
    n = np.array(counts, dtype=np.int64)
    return Stability(
        np.array(kept), shape_of, (1.0 + shape_of) / np.sqrt(np.maximum(n, 1)), np.array(scales), n
    )


@dataclass(frozen=True, slots=True)
class QuantileBand:
    """Observed against fitted depths, with the band in which refitted samples from the fit lie; sorted.

    Args:
        fitted: depth of the fit at (i - 0.5)/n.
        observed: sorted depths.
        low: lower end of the pointwise band.
        high: upper end.
        share_outside: share of observed depths outside the band.
    """

    fitted: Array
    observed: Array
    low: Array
    high: Array
    share_outside: float


@checked
def quantile_band(
    deficits: ArrayLike,
    *,
    confidence: float = 0.95,
    repetitions: int = 400,
    seed: int = 1,
) -> QuantileBand:
    """Quantile plot of the tail with a parametric-bootstrap band, one point a cluster.

    Args:
        deficits: threshold minus thinnest reading of each cluster.
        confidence: of the band at each point; about 5 % of points may lie outside one of 95 %.
        repetitions: samples drawn from the fit.
        seed: of the random numbers.
    """
    y = np.sort(_checked(deficits))
    n = y.size
    numbers = fit_tail_rows(y[None, :])
    fitted = tail_quantile(numbers, (np.arange(1, n + 1)[None, :] - 0.5) / n)[0]
    random = np.random.default_rng(seed)
    drawn = np.sort(
        tail_quantile(np.repeat(numbers, repetitions, axis=0), random.random((repetitions, n))), axis=1
    )
    tail = (1.0 - confidence) / 2.0
    low, high = np.quantile(drawn, [tail, 1.0 - tail], axis=0)
    return QuantileBand(fitted, y, low, high, float(np.mean((y < low) | (y > high))))


@dataclass(frozen=True, slots=True)
class Spacings:
    """Distances between clusters against the exponential law of independent clusters.

    Args:
        expected: exponential quantiles, mean one.
        observed: sorted distances over their mean.
        p_value: Kolmogorov-Smirnov test of the exponential law with fitted mean, or of the geometric law where readings
            stand on a lattice, by simulation with the mean fitted each time (Lilliefors).
    """

    expected: Array
    observed: Array
    p_value: float


@checked
def cluster_spacings(
    at_m: ArrayLike,
    until_m: ArrayLike | None = None,
    *,
    step_m: float | None = None,
    repetitions: int = 1000,
    seed: int = 1,
) -> Spacings:
    """Do clusters come independently along the wire: spacings plot and test.

    Args:
        at_m: where each cluster begins, rising [m].
        until_m: where each ends [m], at or after its beginning; None where clusters are points.
        step_m: distance between readings [m]; gaps are then whole numbers of steps, and what lies beyond the shortest
            gap, which the run of a declustering sets, is held against the geometric law. None for places of any value.
        repetitions: simulated samples for the p-value.
        seed: of the random numbers.

    Raises:
        MethodRefusal: fewer than ten clusters, positions that do not rise, or a step that is not above zero.

    Spacings longer than a run cannot be shorter than it, so the left end bends; clusters that bunch (a bad
    set-up) show as a convex plot and a small p.
    """
    place = np.asarray(at_m, dtype=np.float64).ravel()
    ends = place if until_m is None else np.asarray(until_m, dtype=np.float64).ravel()
    if step_m is not None:
        positive(step_m, "step_m", "m")
    rises = ends.size == place.size and bool(np.all(ends >= place) and np.all(place[1:] > ends[:-1]))
    if place.size < 10 or not np.isfinite(place).all() or not rises:
        raise MethodRefusal(
            Complaint(
                "cluster spacings: at_m",
                f"{counted(place.size, 'position')}, too few or not rising",
                "Give at least ten rising positions [m]",
            )
        )
    gaps = np.sort(place[1:] - ends[:-1])
    n = gaps.size
    random = np.random.default_rng(seed)
    if step_m is None:
        drawn = np.sort(random.exponential(size=(repetitions, n)), axis=1)
        found, simulated = (
            _distance(one / one.mean(axis=-1, keepdims=True)) for one in (gaps[None, :], drawn)
        )
    else:
        beyond = np.rint((gaps - gaps[0]) / step_m)
        waits = np.sort(random.geometric(1.0 / (1.0 + beyond.mean()), size=(repetitions, n)), axis=1).astype(
            np.float64
        )
        found, simulated = _lattice_distance(beyond[None, :]), _lattice_distance(waits - waits[:, :1])
    p_value = (float(np.sum(simulated >= found[0])) + 1.0) / (repetitions + 1.0)
    expected = -np.log1p(-(np.arange(1, n + 1) - 0.5) / n)
    return Spacings(expected, gaps / gaps.mean(), p_value)


def _distance(sorted_rows: Array) -> Array:
    """Kolmogorov-Smirnov distance of each sorted row from the unit exponential."""
    n = sorted_rows.shape[1]
    probability = -np.expm1(-sorted_rows)
    upper = np.arange(1, n + 1) / n - probability
    lower = probability - np.arange(n) / n
    return np.asarray(np.maximum(upper.max(axis=1), lower.max(axis=1)), dtype=np.float64)


def _lattice_distance(sorted_rows: Array) -> Array:
    """Kolmogorov-Smirnov distance of each sorted row of whole numbers from 0 from its geometric law, mean fitted."""
    n = sorted_rows.shape[1]
    missed = np.log1p(-1.0 / (1.0 + np.maximum(sorted_rows.mean(axis=1, keepdims=True), 1e-12)))
    upper = np.arange(1, n + 1) / n + np.expm1((sorted_rows + 1.0) * missed)
    lower = -np.expm1(sorted_rows * missed) - np.arange(n) / n
    return np.asarray(np.maximum(upper.max(axis=1), lower.max(axis=1)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Trend:
    """Does the tail change along the wire, for example thin wire at the start of a run.

    Args:
        rate_score: Laplace score of the cluster positions; above zero where they crowd to the end.
        rate_p: its two-sided p-value.
        depth_correlation: Spearman's rank correlation of depth and position.
        depth_p: its two-sided p-value; both NaN if depths or positions are all equal.
    """

    rate_score: float
    rate_p: float
    depth_correlation: float
    depth_p: float


@checked
def trend_along_length(at_m: ArrayLike, deficits: ArrayLike, from_m: float, to_m: float) -> Trend:
    """Trend of rate and depth of clusters along a piece of wire.

    U = (mean position - middle)/(length/sqrt(12 n)).

    Args:
        at_m: where the clusters stand [m].
        deficits: their depths.
        from_m: start of the known piece [m].
        to_m: its end [m].

    Source: Cox and Lewis, The Statistical Analysis of Series of Events (1966), chapter 3 (from memory).
    """
    place = np.asarray(at_m, dtype=np.float64).ravel()
    y = _checked(deficits)
    if place.size != y.size or not to_m > from_m or (place < from_m).any() or (place > to_m).any():
        raise MethodRefusal(
            Complaint(
                "trend along length: at_m",
                f"{counted(place.size, 'position')} of {y.size} clusters between {from_m:g} and {to_m:g} m",
                "Give one position a cluster, within a piece longer than zero",
            )
        )
    length = to_m - from_m
    score = (float(place.mean()) - 0.5 * (from_m + to_m)) / (length / math.sqrt(12.0 * place.size))
    p_value = 2.0 * float(stats.norm.sf(abs(score)))
    if np.ptp(place) == 0.0 or np.ptp(y) == 0.0:
        return Trend(score, p_value, float("nan"), float("nan"))
    rank = stats.spearmanr(place, y)
    return Trend(score, p_value, float(rank.statistic), float(rank.pvalue))


def _checked(deficits: ArrayLike) -> Array:
    y = np.asarray(deficits, dtype=np.float64).ravel()
    if y.size < 10 or not np.isfinite(y).all() or (y <= 0.0).any():
        raise MethodRefusal(
            Complaint(
                "tail diagnostics: deficits",
                f"{y.size} deficits, too few or not all finite and above zero",
                "Give at least ten, threshold minus the thinnest reading of each cluster",
            )
        )
    return y

"""Where the spread of readings comes from, when reels differ in size and readings repeat their neighbours.

Each reel enters with its mean, its variance and the independent readings it is worth; restricted maximum
likelihood then splits the spread. Correlated readings leave more scatter in a reel's mean than their number
suggests, and without the effective number that scatter is taken for a difference between reels. Sources:
Patterson and Thompson, Biometrika 58 (1971), 545-554; Searle, Casella and McCulloch, Variance Components
(1992), chapter 6 (from memory); the form for reel means is derived here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, UnitOfInference

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class _Reels:
    """Sufficient figures: reel means, worth of each mean, run of each reel, pooled within variance and its
    freedom."""

    mean: Array
    worth: Array
    run: NDArray[np.int64]
    runs: int
    within: float
    freedom: float


@checked
def restricted_log_likelihood(reels: _Reels, within: float, between: float, over: float) -> float:
    """Restricted log-likelihood of the three variances, up to a constant.

    -f/2 (ln s_w^2 + S_w^2/s_w^2) - (ln |V| + ln 1'V^-1 1 + (y - m)'V^-1 (y - m))/2 with V_jj = s_reel^2 +
    s_w^2/n_j and s_run^2 between reels of one run.

    Args:
        reels: figures of the reels.
        within: s_w^2.
        between: s_reel^2.
        over: s_run^2.
    """
    if not (within > 0.0 and between >= 0.0 and over >= 0.0):
        return -math.inf
    spread = between + within / reels.worth
    weight = 1.0 / spread
    by_run = [np.bincount(reels.run, weight * reels.mean**power, minlength=reels.runs) for power in (0, 1, 2)]
    shrink = 1.0 + over * by_run[0]
    ones = float(np.sum(by_run[0] / shrink))
    level = float(np.sum(by_run[1] / shrink)) / ones
    square = float(np.sum(by_run[2] - over * by_run[1] ** 2 / shrink)) - ones * level**2
    logs = float(np.sum(np.log(spread)) + np.sum(np.log(shrink))) + math.log(ones)
    return -0.5 * (reels.freedom * (math.log(within) + reels.within / within) + logs + square)


@checked
def variance_components_of_reels(
    means: ArrayLike,
    variances: ArrayLike,
    n: ArrayLike,
    n_for_mean: ArrayLike,
    n_for_variance: ArrayLike,
    run: Sequence[object] | None = None,
    *,
    confidence: float = 0.95,
    unit_of_inference: UnitOfInference = "reading",
) -> tuple[Result, ...] | Refused:
    """Variances within reels, between reels and between runs by restricted likelihood, with profile
    intervals.

    A reel's variance is first put right for correlation: s^2/(n/(n - 1) (1 - 1/n_mean)); its mean is worth
    n_mean values, its variance n_variance - 1 degrees of freedom. With n in both places it is the usual REML.

    Args:
        means: mean of each reel.
        variances: variance of the readings of each reel, divisor n - 1.
        n: readings of each reel.
        n_for_mean: effective readings of each reel for its mean.
        n_for_variance: effective readings of each reel for its variance.
        run: run, shift or lot of each reel; None for one level.
        confidence: coverage aimed at by the profile-likelihood intervals.
        unit_of_inference: what one value inside a reel is.

    Returns:
        One `Result` a component, within first, each with its share; or a `Refused`.

    Profile intervals are a little short for fewer than about ten reels or runs.
    """
    question, method = (
        asks(Quantity.VARIANCE_COMPONENT),
        message(Method.RESTRICTED_LIKELIHOOD),
    )
    figures = [
        np.asarray(one, dtype=np.float64).ravel() for one in (means, variances, n, n_for_mean, n_for_variance)
    ]
    reason = _refusal(figures, run)
    if reason is not None:
        return Refused(question, method, reason, int(figures[0].size))
    reels = _prepared(figures, run)
    levels = 3 if reels.runs > 1 else 2
    best, top = _maximum(reels, levels, None)
    if not math.isfinite(top):
        return Refused(question, method, message(Reason.LIKELIHOOD_WITHOUT_MAXIMUM), reels.mean.size)
    drop = float(stats.chi2.ppf(confidence, 1)) / 2.0
    names = ("within reels", "between reels", "between runs")[:levels]
    total = float(sum(best))
    found = []
    for which, name in enumerate(names):
        low, high = _interval(reels, levels, which, best, top - drop)
        found.append(
            Result(
                question=asks(Quantity.VARIANCE_COMPONENT, name),
                estimate=best[which],
                low=low,
                high=high,
                confidence=confidence,
                unit="mm^2",
                method=method,
                n=int(reels.mean.size),
                effective_n=float(np.sum(reels.worth)),
                known_m=None,
                unit_of_inference=unit_of_inference,
                assumptions=(
                    Assumption(message(Assumed.REELS_AND_RUNS_NORMAL), None, message(Note.NOT_CHECKED)),
                ),
                warnings=_warnings(best[which], total, which, reels),
                details={
                    "standard_deviation": math.sqrt(best[which]),
                    "share_of_variance": best[which] / total,
                    "restricted_log_likelihood": top,
                },
            )
        )
    return tuple(found)


OWNERS = {
    "within reels": Note.SPREAD_WITHIN_REELS,
    "between reels": Note.SPREAD_BETWEEN_REELS,
    "between runs": Note.SPREAD_BETWEEN_RUNS,
}


@checked
def owner_of_the_spread(components: Sequence[Result]) -> Message:
    """Whose work the largest component is: the line, the set-up of reels, or targets and lots.

    Args:
        components: results of a variance analysis, each with its share in the details.

    Source: common practice, no source.
    """
    largest = max(components, key=lambda one: one.details["share_of_variance"])
    return message(OWNERS[largest.question.about], share=100.0 * largest.details["share_of_variance"])


def _prepared(figures: list[Array], run: Sequence[object] | None) -> _Reels:
    mean, variance, n, worth, worth_variance = figures
    right = n / (n - 1.0) * (1.0 - 1.0 / worth)
    freedom = worth_variance - 1.0
    seen: dict[object, int] = {}
    labels = [0] * mean.size if run is None else [seen.setdefault(one, len(seen)) for one in run]
    return _Reels(
        mean - mean[0],
        worth,
        np.array(labels, dtype=np.int64),
        max(len(seen), 1),
        float(np.sum(freedom * variance / right) / np.sum(freedom)),
        float(np.sum(freedom)),
    )


def _maximum(
    reels: _Reels, levels: int, fixed: tuple[int, float] | None, near: list[float] | None = None
) -> tuple[list[float], float]:
    """Largest restricted likelihood with all variances free, or one of them fixed; searched from `near` if
    given."""
    free = [one for one in range(levels) if fixed is None or one != fixed[0]]
    scale = np.array(
        [reels.within, float(np.var(reels.mean)) + 1e-6 * reels.within, float(np.var(reels.mean))]
    )
    scale = np.maximum(scale, 1e-12 * reels.within)

    def unpack(at: Array) -> list[float]:
        found = [0.0, 0.0, 0.0]
        for one, value in zip(free, at, strict=True):
            found[one] = float(value) ** 2 * float(scale[one])  # a square keeps zero within reach
        if fixed is not None:
            found[fixed[0]] = fixed[1]
        return found

    def loss(at: Array) -> float:
        height = restricted_log_likelihood(reels, *unpack(at))
        return -height if math.isfinite(height) else 1e300

    best: tuple[list[float], float] = ([math.nan] * 3, -math.inf)
    starts = [np.full(len(free), 1.0), np.full(len(free), 0.3)] if near is None else []
    if near is not None:  # a little off zero, or the simplex could not leave it
        starts = [np.array([math.sqrt(near[one] / float(scale[one])) + 0.02 for one in free])]
    for start in starts:
        begin = np.asarray(start, dtype=np.float64)
        for _ in range(2 if near is None else 1):
            found = optimize.minimize(
                loss, begin, method="Nelder-Mead", options={"xatol": 1e-7, "fatol": 1e-9, "maxiter": 2000}
            )
            begin = np.asarray(found.x, dtype=np.float64)
        if -float(found.fun) > best[1]:
            best = (unpack(begin), -float(found.fun))
    at_zero = [unpack(np.where(np.array(free) == one, 0.0, begin)) for one in free if one != 0]
    for tried in at_zero:
        height = restricted_log_likelihood(reels, *tried)
        if height >= best[1] - 1e-9 and height > -math.inf:
            best = (tried, height)
    return best


def _interval(reels: _Reels, levels: int, which: int, best: list[float], least: float) -> tuple[float, float]:
    """Ends of the profile interval of one variance; the lower end may be 0."""

    def spare(value: float) -> float:
        return _maximum(reels, levels, (which, value), best)[1] - least

    scale = max(best[which], 1e-3 * max(best))
    high, factor = scale, 2.0
    while spare(high) > 0.0 and high < 1e9 * scale:
        high, factor = high * factor, factor * 1.5
    high = float(optimize.brentq(spare, max(best[which], 1e-3 * scale), high, rtol=1e-4))
    if best[which] <= 0.0 or (which > 0 and spare(0.0) > 0.0):
        return 0.0, high
    low = best[which] / 2.0
    while spare(low) > 0.0 and low > 1e-9 * best[which]:
        low /= 2.0
    return (float(optimize.brentq(spare, low, best[which], rtol=1e-4)) if spare(low) < 0.0 else 0.0), high


def _warnings(value: float, total: float, which: int, reels: _Reels) -> tuple[Message, ...]:
    groups = reels.runs if which == 2 else reels.mean.size
    told = []
    if value <= 1e-9 * total:
        told.append(message(Note.VARIANCE_ESTIMATE_ZERO))
    if which > 0 and groups < 10:
        told.append(message(Note.FEW_GROUPS, groups=groups))
    return tuple(told)


def _refusal(figures: list[Array], run: Sequence[object] | None) -> Message | None:
    mean, variance, n, worth, worth_variance = figures
    if len({one.size for one in figures}) != 1 or (run is not None and len(run) != mean.size):
        return message(Reason.NOT_OF_THE_SAME_REELS)
    if mean.size < 3:
        return message(Reason.TOO_FEW_REELS, mean=mean.size)
    if not all(np.isfinite(one).all() for one in figures):
        return message(Reason.FIGURE_OF_A_REEL_NOT_FINITE)
    if (n < 2.0).any() or (worth <= 1.0).any() or (worth_variance <= 1.0).any():
        return message(Reason.REEL_WORTH_ONE_READING)
    if not float(np.sum(variance)) > 0.0:
        return message(Reason.NO_SPREAD)
    if run is not None and len(set(run)) == mean.size:
        return message(Reason.RUNS_OF_ONE_REEL)
    return None

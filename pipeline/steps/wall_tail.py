"""What the thinnest readings of a run say besides the risk of a reel: how they clump, how thin a reel gets, and what
the usual normal figure would have said.

The normal figure is there to be compared with, never to be used instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from pipeline.assumed import Assumed
from pipeline.errors import MethodRefusal, ReelproofError
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.products.limits import Limit
from pipeline.quantity import Asked, Quantity, asks, asks_of
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, complaint_of, refused_by
from pipeline.statistics.autocorrelation import EffectiveN, effective_n
from pipeline.statistics.averaging_gauge import margin_at_specimen_scale
from pipeline.statistics.below_threshold import (
    TailFit,
    fit_tail,
    fit_tail_rows,
    shape_interval,
    tail_cdf,
    tail_quantile,
)
from pipeline.statistics.capability import index_standard_error
from pipeline.statistics.extremal_index import (
    Clusters,
    decluster,
    extremal_index,
    intervals_estimate,
    run_from_extremal_index,
)
from pipeline.statistics.goodness_of_fit import bootstrap_goodness_of_fit
from pipeline.statistics.level_crossings import correlation_length_m, reel_risk_from_index
from pipeline.statistics.minimum_of_reel import SLOW_LIMIT_LAW, LowerTail, reels_alike
from pipeline.statistics.return_level import reel_level
from pipeline.statistics.tail_diagnostics import (
    cluster_spacings,
    mean_excess,
    quantile_band,
    stability,
    trend_along_length,
)
from pipeline.steps.evidence import Floats, Seen, usual_step_m

# Share of intervals of a shape that held it: 10,000 simulations of 150 clusters (tests/statistics).
SHAPE_HELD = "94.0 %"
# Share of clusters outside their 95 % bands up to which a tail lies along its fit: neighbours in order stray together,
# so well over the 5 % of each (chosen here).
MOST_OUTSIDE = 0.2
# Level of each check that withdraws a figure: some five of them together fail 5 % of good runs (chosen here).
LEVEL = 0.01
# How often a level is passed: half of all reels, and one reel in a thousand.
LEVELS = (math.log(2.0), 1e-3)
NORMAL = message(Method.NORMAL_INDEPENDENT)
# Shares of the steady readings under the thresholds tried, and clusters a shape is compared from (chosen here).
SHARES = (0.10, 0.07, 0.05, 0.03, 0.02, 0.01)
FEWEST_CLUSTERS = 20


@dataclass(frozen=True, slots=True)
class Tail:
    """The thin readings of a run under a threshold.

    Args:
        value: steady readings in the order of the wire [mm].
        at_m: their places [m].
        step_m: usual distance between them [m].
        threshold: level under which a reading counts as thin [mm].
        clusters: thin stretches, one entry each.
        fit: depth of the clusters.
    """

    value: Floats
    at_m: Floats
    step_m: float
    threshold: float
    clusters: Clusters
    fit: TailFit

    @property
    def known_m(self) -> float:
        """Wire with a steady reading [m]."""
        return self.step_m * self.value.size


def tail_of(value: Floats, at_m: Floats, threshold: float, worth: EffectiveN | None = None) -> Tail | int:
    """Clusters under a threshold and their fit; the number of thin readings where they are too few.

    Args:
        value: steady readings in the order of the wire [mm].
        at_m: their places [m].
        threshold: level [mm].
        worth: what the readings are worth, where it is known already.

    Raises:
        MethodRefusal: the clusters cannot be fitted.
    """
    under = np.flatnonzero(value < threshold)
    spacings = np.diff(under).astype(np.float64)
    if spacings.size < 20:
        return int(under.size)
    step = usual_step_m(at_m)
    run = run_from_extremal_index(spacings, intervals_estimate(spacings))
    # No shorter than the wire that is worth one independent reading: what is left between clusters is then chance.
    worth = worth or effective_n(value)
    run = max(run, worth.n / worth.for_mean, 1.0)
    clusters = decluster(value, at_m, threshold, run * max(step, 1e-6))
    return Tail(value, at_m, step, threshold, clusters, fit_tail(clusters.deficit))


def stable_tail(value: Floats, at_m: Floats, worth: EffectiveN, limit: float = -math.inf) -> Tail | int:
    """The tail under the highest threshold below which its shape no longer changes.

    Of the thresholds that `SHARES` of the readings lie under and that the limit does not lie above, the highest whose
    fitted shape agrees, within one standard error of the difference, with the shape under each lower one that has
    `FEWEST_CLUSTERS`. Clusters under the lower threshold are among those under the higher, so that the difference has
    the variance of the lower less that of the higher.

    Args:
        value: steady readings in the order of the wire [mm].
        at_m: their places [m].
        worth: what the readings are worth.
        limit: a level the threshold may not lie under [mm].

    Returns:
        The tail; the number of thin readings where they are too few.

    Raises:
        MethodRefusal: the clusters cannot be fitted.

    Source: stability of the shape, Coles (2001), section 4.3.4; the rule is chosen here, by its coverage.
    """
    highest = np.quantile(value, SHARES)
    first = tail_of(value, at_m, float(highest[0]), worth)
    if isinstance(first, int):
        return first
    tails = [first]
    for threshold in highest[1:]:
        if threshold < limit:
            break
        try:
            lower = tail_of(value, at_m, float(threshold), worth)
        except MethodRefusal:
            break
        if isinstance(lower, int) or lower.clusters.deficit.size < FEWEST_CLUSTERS:
            break
        if lower.fit.converged:
            tails.append(lower)
    return next(one for one in tails if all(_agrees(one, lower) for lower in tails[tails.index(one) + 1 :]))


def _agrees(tail: Tail, lower: Tail) -> bool:
    """Whether the shape under a lower threshold is that of the tail, within one standard error of the difference."""
    n, fewer = tail.clusters.deficit.size, lower.clusters.deficit.size
    # (1 + xi)^2/n each: Coles (2001), section 4.3.2.
    error = (1.0 + lower.fit.shape) * math.sqrt(max(1.0 - fewer / n, 0.05) / fewer)
    return tail.fit.converged and abs(lower.fit.shape - tail.fit.shape) <= error


def diagnostics(tail: Tail) -> tuple[Assumption, ...]:
    """Whether threshold and tail can be believed: fit, steadiness over thresholds, spacing and trend of clusters."""
    y, at = tail.clusters.deficit, tail.clusters.at_m
    depth = np.quantile(y, [0.0, 0.25, 0.5])
    depth[0] = 0.0
    checks = []
    try:
        fits = bootstrap_goodness_of_fit(y, fit_tail_rows, tail_cdf, tail_quantile, repetitions=199, most=400)
        told = message(Note.ANDERSON_DARLING_BY_REFITTING, statistic=fits.statistic, p_value=fits.p_value)
        checks.append(Assumption(message(Assumed.DEPTHS_FOLLOW_THE_TAIL), fits.p_value >= LEVEL, told))
        over = stability(y, depth)
        apart = abs(float(over.shape[-1] - over.shape[0])) <= 2.58 * float(over.shape_error[-1])
        told = message(
            Note.SHAPES,
            shapes=[
                message(Note.SHAPE_OF_CLUSTERS, shape=shape, n=n)
                for shape, n in zip(over.shape, over.n, strict=True)
            ],
        )
        checks.append(Assumption(message(Assumed.SHAPE_STAYS), apart, told))
        low, high = shape_interval(y)
        ends = None if low <= 0.0 <= high else high < 0.0  # above 0: a mixture or a drop-out, no wall
        told = message(Note.SHAPE_INTERVAL, low=low, high=high, shape_held=SHAPE_HELD)
        checks.append(Assumption(message(Assumed.DEPTH_HAS_AN_END), ends, told))
        band = quantile_band(y, repetitions=200)
        told = message(Note.CLUSTERS_OUTSIDE_BAND, share_outside=100 * band.share_outside, n=y.size)
        checks.append(
            Assumption(message(Assumed.DEPTHS_ALONG_QUANTILES), band.share_outside <= MOST_OUTSIDE, told)
        )
        means = mean_excess(y, depth)
        told = message(Note.MEAN_DEPTHS, depths=[Measure(one, "mm") for one in means.mean])
        checks.append(Assumption(message(Assumed.MEAN_DEPTH_STRAIGHT), None, told))
        # Counted in readings: wire that was not read lies between no two of them.
        first, last = (
            np.searchsorted(tail.at_m, one).astype(np.float64)
            for one in (tail.clusters.from_m, tail.clusters.to_m)
        )
        apart_p = cluster_spacings(first, last, step_m=1.0, repetitions=499).p_value
        told = message(Note.SPACINGS_P, apart_p=apart_p)
        checks.append(Assumption(message(Assumed.CLUSTERS_INDEPENDENT), apart_p >= LEVEL, told))
        drift = trend_along_length(at, y, float(tail.at_m[0]), float(tail.at_m[-1]))
        held = drift.rate_p >= LEVEL and not drift.depth_p < LEVEL
        told = message(Note.RATE_AND_DEPTH_P, rate_p=drift.rate_p, depth_p=drift.depth_p)
        checks.append(Assumption(message(Assumed.CLUSTERS_STEADY), held, told))
    except ReelproofError as fault:
        checks.append(Assumption(message(Assumed.TAIL_DIAGNOSTICS), None, complaint_of(fault)))
    return tuple(checks)


def tail_answers(
    tail: Tail, reel_m: float, averaging_m: float, scatter: Result | Refused
) -> list[Result | Refused]:
    """How thin readings clump at the threshold used, and how thin a reel gets.

    The interval of a level holds it exactly where the interval of the risk at that level holds the risk: both let the
    likelihood fall as far.

    Args:
        tail: the thin readings.
        reel_m: length of a reel [m].
        averaging_m: wire that one reading averages over [m].
        scatter: variance over mean of the counts of clusters on reels.
    """
    question = asks(Quantity.EXTREMAL_INDEX, threshold=Measure(tail.threshold, "mm"))
    found: list[Result | Refused] = []
    try:
        clumping = extremal_index(tail.value, tail.threshold, step_m=tail.step_m)
        found.append(replace(clumping, question=question))
    except ReelproofError as fault:
        found.append(refused_by(question, message(Method.EXTREMAL_INDEX), fault, tail.value.size))
    lower = LowerTail(
        tail.threshold, tail.fit.scale, tail.fit.shape, tail.clusters.deficit.size / tail.known_m
    )
    alike, widened = reels_alike(scatter)
    # Of fewer clusters there is no level.
    enough = tail.clusters.deficit.size >= FEWEST_CLUSTERS
    checks = (alike, *diagnostics(tail)) if enough else (alike,)

    for times in LEVELS:
        level = reel_level(
            tail.clusters.deficit,
            lower,
            known_m=tail.known_m,
            reel_m=reel_m,
            times=times,
            covariance=tail.fit.covariance,
            drop_factor=SLOW_LIMIT_LAW * widened,
        )
        if isinstance(level, Result):
            averages = message(Note.AVERAGES_OVER_A_LENGTH, averaging_m=Measure(averaging_m, "m"))
            level = replace(level, assumptions=checks, warnings=(*level.warnings, averages))
        found.append(level)
    return found


def margin_answer(
    seen: Seen, value: Floats, limit: Limit, noise: Result | Refused | None, small_scale_mm: float | None
) -> Result | Refused:
    """The margin at the scale of the standard's specimen; refused until neighbouring slices were measured.

    Args:
        seen: the thinnest wall.
        value: its steady readings [mm].
        limit: the limit at any point.
        noise: what the line's stops told of the gauge.
        small_scale_mm: deviation between neighbouring cut slices; None where it was not measured.
    """
    question = asks_of(limit, Quantity.SPECIMEN_MARGIN)
    known = isinstance(noise, Result)
    try:
        found = margin_at_specimen_scale(
            float(value.mean()) - limit.value,
            float(value.std(ddof=1)),
            noise.estimate if isinstance(noise, Result) else seen.uncertainty,
            small_scale_mm,
            window_m=seen.extent_m,
            n_observed=max(effective_n(value).for_variance, 3.0),
            n_noise=float(noise.n) if known and isinstance(noise, Result) else 3.0,
            n_small_scale=2.0,
        )
    except ReelproofError as fault:
        return refused_by(question, message(Method.SPECIMEN_MARGIN), fault, value.size)
    return replace(found, question=question)


def normal_risk(value: Floats, step_m: float, limit: Limit, reel_m: float) -> Result | Refused:
    """What normal theory says of a reel: crossings of a smooth wall, or the usual figure where the wall is not smooth.

    Args:
        value: steady readings in the order of the wire [mm].
        step_m: distance between them [m].
        limit: the limit at any point.
        reel_m: length of a reel [m].
    """
    question = asks_of(limit, Quantity.NORMAL_REEL_MINIMUM_RISK, reel=Measure(reel_m, "m"))
    sd = float(value.std(ddof=1))
    if value.size < 200 or not sd > 0.0:
        return Refused(question, NORMAL, message(Reason.TOO_FEW_VARYING, value=value.size), value.size)
    worth = effective_n(value)
    index = (float(value.mean()) - limit.value) / (3.0 * sd)
    half = 1.96 * index_standard_error(index, worth.for_mean, worth.for_variance)
    length = correlation_length_m(value, step_m)
    if isinstance(length, float):
        found = reel_risk_from_index(
            index,
            index - half,
            index + half,
            reel_m=reel_m,
            correlation_m=length,
            n=value.size,
        )
        if isinstance(found, Result):
            found = replace(found, known_m=step_m * value.size)
        return replace(found, question=question)
    return _usual(question, length.reason, index, half, worth, reel_m / step_m, step_m * value.size)


def _usual(
    question: Asked,
    why: Message,
    index: float,
    half: float,
    worth: EffectiveN,
    readings: float,
    known_m: float,
) -> Result:
    """The chance that one of so many normal, independent readings lies under the limit."""

    def chance(one: float) -> float:
        # By the logarithm of the other tail: a chance of one has no log1p.
        return -math.expm1(readings * float(special.log_ndtr(3.0 * one)))

    return Result(
        question=question,
        estimate=chance(index),
        low=chance(index + half),
        high=chance(index - half),
        confidence=0.95,
        unit="",
        method=NORMAL,
        n=worth.n,
        effective_n=worth.for_mean,
        known_m=known_m,
        unit_of_inference="reel",
        assumptions=(
            Assumption(message(Assumed.READINGS_NORMAL), None, message(Note.COMPARE_BY_EXTREMES)),
            Assumption(
                message(Assumed.READINGS_INDEPENDENT),
                bool(worth.for_mean > 0.9 * worth.n),
                message(Note.LAG_ONE, lag=worth.lag_one),
                None if worth.for_mean > 0.9 * worth.n else message(Note.THEN_FOR_COMPARISON),
            ),
        ),
        warnings=(message(Note.TO_BE_COMPARED_ONLY), why),
        details={"index": index, "readings_of_a_reel": readings},
    )

"""How likely is it that a reel of this wire has a point under the limit? The worst point, not the mean.

Readings under a threshold come in clusters, because neighbours repeat each other; the depth of the clusters is
fitted, and the risk of a reel follows with its interval. One run seldom has wire enough to show a small risk;
then the interval says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.assumed import Assumed
from pipeline.errors import MethodRefusal
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.products.limits import Limit
from pipeline.quantity import Asked, Quantity, asks, asks_of
from pipeline.reasons import Reason
from pipeline.results import Refused, Result, refused_by, standing
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.event_clustering import dispersion_of_counts
from pipeline.statistics.minimum_of_reel import SLOW_LIMIT_LAW, LowerTail, normal_figures, reel_risk
from pipeline.steps.evidence import Floats, Seen, usual_step_m
from pipeline.steps.held_share import TriedInterval, TriedKind, as_held, kinds_like, lag_one_of
from pipeline.steps.wall_tail import (
    SHARES,
    Tail,
    diagnostics,
    margin_answer,
    normal_risk,
    stable_tail,
    tail_answers,
)

Span = tuple[float, float]
METHOD = message(Method.CLUSTERS_BELOW_THRESHOLD)


def reel_minimum(
    seen: Seen, limit: Limit, reels: Sequence[Span], reel_m: float, standard_uncertainty: float
) -> Result | Refused:
    """The chance that a reel has a point under the limit, from one run's steady wire.

    Refused where trials on wire like this held the truth too seldom, or none was made (`held_share`).

    Args:
        seen: the thinnest wall along the wire.
        limit: the minimum wall at any point.
        reels: where each reel begins and ends on the wire [m], in its order.
        reel_m: length of a reel [m].
        standard_uncertainty: of one reading [mm], told beside the result.
    """
    answer = standing(risk_of_reel(seen, limit, reels, reel_m, standard_uncertainty))
    return _as_tried(answer, _steady(seen, reels[0][0], reels[-1][1])[1])


def _as_tried(answer: Result | Refused, value: Floats) -> Result | Refused:
    """A risk or a level with the share of trials of the risk on wire like this that held it."""
    if isinstance(answer, Refused):
        return answer
    alike = next(one for one in answer.assumptions if one.name == message(Assumed.REELS_ALIKE))
    kinds = (TriedKind.DIFFERENT_LEVELS,) if alike.held is False else kinds_like(value)
    lag_one = lag_one_of(effective_n(value))
    return as_held(answer, TriedInterval.REEL_RISK, kinds, (lag_one,), value.size / 1000.0)


def risk_of_reel(
    seen: Seen, limit: Limit, reels: Sequence[Span], reel_m: float, standard_uncertainty: float
) -> Result | Refused:
    """What `reel_minimum` gives before the trials are asked; they were made of this.

    Args:
        seen: the thinnest wall along the wire.
        limit: the minimum wall at any point.
        reels: where each reel begins and ends on the wire [m], in its order.
        reel_m: length of a reel [m].
        standard_uncertainty: of one reading [mm].
    """
    question = asks_of(limit, Quantity.REEL_MINIMUM_RISK, reel=Measure(reel_m, "m"))
    at, value = _steady(seen, reels[0][0], reels[-1][1])
    if value.size < 200:
        return Refused(
            question, METHOD, message(Reason.TOO_FEW_STEADY_FOR_THE_TAIL, value=value.size), value.size
        )
    if limit.value > float(np.quantile(value, SHARES[0])):
        share = float((value < limit.value).mean())
        return Refused(
            question,
            METHOD,
            message(Reason.NO_RARE_EVENT, share=100 * share),
            value.size,
        )
    try:
        tail = stable_tail(value, at, effective_n(value), limit.value)
        if isinstance(tail, int):
            return Refused(question, METHOD, message(Reason.TOO_FEW_READINGS_UNDER, tail=tail), value.size)
        return _risk(question, seen, limit, tail, reels, reel_m, standard_uncertainty)
    except MethodRefusal as fault:
        return refused_by(question, METHOD, fault, value.size)


def _risk(
    question: Asked,
    seen: Seen,
    limit: Limit,
    tail: Tail,
    reels: Sequence[Span],
    reel_m: float,
    standard_uncertainty: float,
) -> Result | Refused:
    clusters, fit, step, known, value = tail.clusters, tail.fit, tail.step_m, tail.known_m, tail.value
    answer = reel_risk(
        clusters.deficit,
        LowerTail(tail.threshold, fit.scale, fit.shape, clusters.deficit.size / known),
        limit=limit.value,
        reel_m=reel_m,
        drop_factor=SLOW_LIMIT_LAW,
        converged=fit.converged,
        dispersion=_between_reels(tail, reels),
    )
    if isinstance(answer, Refused):
        return Refused(question, answer.method, answer.reason, answer.n)
    told = (
        message(Note.AVERAGES_AS_THE_GAUGE_SEES, averaging_m=Measure(seen.extent_m, "m")),
        message(Note.UNCERTAINTY_IN_THE_SPREAD, uncertainty=Measure(standard_uncertainty, "mm")),
    )
    details = dict(answer.details)
    if step > 0.0:
        mean, sd = float(value.mean()), float(value.std(ddof=1))
        details |= normal_figures(limit.value, mean, sd, reel_m / step)
    return replace(
        answer,
        question=question,
        assumptions=(*answer.assumptions, *diagnostics(tail)),
        warnings=(*answer.warnings, *told),
        details=details,
    )


def _between_reels(tail: Tail, reels: Sequence[Span]) -> Result | Refused:
    """How the clusters scatter from reel to reel, over the steady wire of each."""
    edges = np.array([start for start, _ in reels] + [reels[-1][1]])
    clusters = np.histogram(tail.clusters.at_m, bins=edges)[0]
    steady = np.histogram(tail.at_m, bins=edges)[0]
    known = steady > 0
    return dispersion_of_counts(clusters[known], steady[known] * tail.step_m)


def beside_the_risk(
    seen: Seen,
    limit: Limit,
    reels: Sequence[Span],
    reel_m: float,
    noise: Result | Refused | None,
    small_scale_mm: float | None,
) -> list[tuple[str, Result | Refused]]:
    """What stands beside the risk, by topic: the normal figure, the clumping, how thin a reel gets, the specimen.

    Args:
        seen: the thinnest wall along the wire.
        limit: the minimum wall at any point.
        reels: where each reel begins and ends on the wire [m], in its order.
        reel_m: length of a reel [m].
        noise: what the line's stops told of the gauge.
        small_scale_mm: deviation between neighbouring cut slices; None where it was not measured.
    """
    at, value = _steady(seen, reels[0][0], reels[-1][1])
    if value.size < 200:
        return []
    step = usual_step_m(at)
    rows = [("minimum by normal theory", normal_risk(value, step, limit, reel_m))]
    rows.append(("tail of the wall", margin_answer(seen, value, limit, noise, small_scale_mm)))
    try:
        tail = stable_tail(value, at, effective_n(value))
    except MethodRefusal as fault:
        tail = 0
        rows.append(("tail of the wall", refused_by(asks(Quantity.RETURN_LEVEL), METHOD, fault, 0)))
    if not isinstance(tail, int):
        clumping, *levels = tail_answers(tail, reel_m, seen.extent_m, _between_reels(tail, reels))
        rows.append(("tail of the wall", clumping))
        rows += [("tail of the wall", _as_tried(standing(one), value)) for one in levels]
    return rows


def _steady(seen: Seen, from_m: float, to_m: float) -> tuple[Floats, Floats]:
    """Places and values of the steady readings, in the order of the wire."""
    inside = (seen.at_m >= from_m) & (seen.at_m < to_m) & seen.steady & seen.fit_for_statistics
    at, value = seen.at_m[inside], seen.value[inside]
    order = np.argsort(at, kind="stable")
    return at[order], value[order]

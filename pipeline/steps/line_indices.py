"""How far do the reels of a line stand from their limits, what do so many reels prove, and how many are bad?

One value a reel is the unit: what differs from reel to reel is in it. An index within reels, the limit that most
reels keep, and the share of reels with a point under the limit stand beside it, each under its own name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from pipeline.errors import ReelproofError
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks, asks_of
from pipeline.results import Refused, Result, asking, refused_by, standing
from pipeline.statistics.against_record import Observed, against_record
from pipeline.statistics.block_minima import fit_block_minima, reel_risk_from_blocks
from pipeline.statistics.capability import performance_index_one_sided
from pipeline.statistics.capability_two_sided import performance_index_two_sided
from pipeline.statistics.capability_within import within_index_one_sided
from pipeline.statistics.reels_needed import index_that_proves, reels_needed, share_of_bad_reels
from pipeline.statistics.tolerance import lower_tolerance_limit
from pipeline.steps.charted import ChartFamily
from pipeline.steps.held_share import LEAST_OF_REELS, TriedInterval, as_held, kinds_of_reels
from pipeline.steps.line_charts import LineCharts
from pipeline.steps.line_reels import LineReel, values_of

Answer = tuple[str, Result | Refused]
# Indices that customers ask a proof of, and the true index each is reckoned to be shown with (common practice, no
# source).
CLAIMS = ((1.33, 1.67), (1.67, 2.0))
# Strongest correlation of neighbouring reels in the trials of an index.
STRONGEST_TRIED = 0.5
# Share of reels that a tolerance limit is given for (chosen here).
MOST_REELS = 0.95


@dataclass(frozen=True, slots=True)
class ReelLimit:
    """A limit on one value of a reel.

    Args:
        limit_id: the limit's id.
        requirement: what is limited.
        quantity: the value of a reel it is held against.
        sense: ``at least`` or ``at most``.
        value: the limit, in `unit`.
        unit: its unit.
    """

    limit_id: str
    requirement: str
    quantity: str
    sense: Literal["at least", "at most"]
    value: float
    unit: str


def index_answers(reels: Sequence[LineReel], limits: Sequence[ReelLimit], charts: LineCharts) -> list[Answer]:
    """Indices over reels and what belongs beside them, for each limit.

    Args:
        reels: the reels in the order they were made.
        limits: limits on a value of a reel.
        charts: the line's charts, which say whether the process is steady.
    """
    answers: list[Answer] = []
    for limit in limits:
        answers.append(("capability of reels", _index(reels, limit, charts)))
        if limit.quantity == "mean_wall_mm" and limit.sense == "at least":
            answers.append(("capability within reels", _within(reels, limit)))
        if limit.sense == "at least":
            answers.append(("limit most reels keep", _tolerance(reels, limit)))
        if limit.requirement == "minimum wall at any point":
            answers.append(("share of bad reels", _share(reels, limit)))
            values = values_of(reels, limit.quantity)
            known = values[np.isfinite(values)]
            record = Observed(int((known < limit.value).sum()), int(known.size))
            answers.append(("minimum of a reel", against_record(_blocks(reels, limit), record)))
    answers += _between(reels, limits)
    return answers


def _guarded(
    question: Asked, method: Message, n: int, made: Callable[[], Result | Refused]
) -> Result | Refused:
    try:
        found = made()
    except ReelproofError as fault:
        return refused_by(question, method, fault, n)
    return asking(found, question)


def _stability(quantity: str, charts: LineCharts) -> tuple[bool | None, Message]:
    """Whether the phase I chart of the quantity is without a signal, and that in words."""
    for one in charts.charts:
        if one.quantity == quantity and one.family is ChartFamily.INDIVIDUALS and one.chart.phase == "I":
            signals = len(one.chart.signals)
            if signals:
                return (
                    False,
                    message(Note.REELS_BEYOND, signals=signals, reels=one.chart.plotted.size),
                )
            few = one.chart.plotted.size < 20
            told = message(Note.NO_REEL_BEYOND, plotted=one.chart.plotted.size)
            return None if few else True, told
    return None, message(Note.NO_CONTROL_CHART_MADE)


def _index(reels: Sequence[LineReel], limit: ReelLimit, charts: LineCharts) -> Result | Refused:
    """The index with the share of trials that held it, and what so many reels prove."""
    found = standing(raw_index(reels, limit, charts))
    if isinstance(found, Refused):
        return found
    values = values_of(reels, limit.quantity)
    lag_one = found.details["lag_one_of_reels"]
    found = as_held(
        found,
        TriedInterval.INDEX_OF_REELS,
        kinds_of_reels(values[np.isfinite(values)], limit.sense),
        # Of so few the correlation is known no better than to its standard error; none above was tried.
        (lag_one, max(lag_one, min(lag_one + found.n**-0.5, STRONGEST_TRIED))),
        found.n,
        LEAST_OF_REELS,
    )
    return (
        found if isinstance(found, Refused) else replace(found, warnings=(*found.warnings, *_proofs(found)))
    )


def raw_index(reels: Sequence[LineReel], limit: ReelLimit, charts: LineCharts) -> Result | Refused:
    """The index of one value a reel before the trials are asked; they were made of this.

    Args:
        reels: the reels in the order they were made.
        limit: the limit.
        charts: the line's charts.
    """
    values = values_of(reels, limit.quantity)
    stable, evidence = _stability(limit.quantity, charts)
    return _guarded(
        asks_of(limit, Quantity.PERFORMANCE_INDEX),
        message(Method.INDEX_OF_REELS),
        values.size,
        lambda: performance_index_one_sided(
            values,
            limit.value,
            sense=limit.sense,
            stable=stable,
            stability_evidence=evidence,
            unit_of_inference="reel",
            known_m=sum(reel.length_m for reel in reels),
        ),
    )


def _proofs(found: Result) -> list[Message]:
    """What so many reels would have to show to prove a claim, and how many reels it usually takes.

    The distance that independent normal reels would need is stretched as the bound is.
    """
    told = []
    plain = found.estimate - found.details["low_if_taken_as_independent"]
    stretched = (found.estimate - found.low) / plain
    for claim, true in CLAIMS:
        needed = claim + stretched * (index_that_proves(claim, found.n) - claim)
        told.append(
            message(
                Note.CLAIM_PROVEN if found.low >= claim else Note.CLAIM_NOT_PROVEN,
                reels=found.n,
                needed=needed,
                claim=claim,
                true=true,
                takes=reels_needed(claim, true),
            )
        )
    return told


def _within(reels: Sequence[LineReel], limit: ReelLimit) -> Result | Refused:
    known = [
        reel
        for reel in reels
        if reel.worth is not None and {"mean_wall_mm", "wall_sd_mm"} <= set(reel.values)
    ]
    worth = [reel.worth for reel in known if reel.worth is not None]
    return _guarded(
        asks_of(limit, Quantity.WITHIN_REEL_INDEX),
        message(Method.INDEX_WITHIN_REELS),
        len(known),
        lambda: within_index_one_sided(
            [reel.values["mean_wall_mm"] for reel in known],
            [reel.values["wall_sd_mm"] for reel in known],
            [mean for mean, _ in worth],
            [variance for _, variance in worth],
            limit.value,
            unit_of_inference="section average",
            known_m=sum(reel.length_m for reel in known),
        ),
    )


def _tolerance(reels: Sequence[LineReel], limit: ReelLimit) -> Result | Refused:
    values = values_of(reels, limit.quantity)
    return _guarded(
        asks_of(limit, Quantity.REEL_TOLERANCE_LIMIT, share=MOST_REELS),
        message(Method.TOLERANCE_LIMIT),
        values.size,
        lambda: lower_tolerance_limit(values[np.isfinite(values)], MOST_REELS, unit=limit.unit, shape="any"),
    )


def _share(reels: Sequence[LineReel], limit: ReelLimit) -> Result | Refused:
    values = values_of(reels, limit.quantity)
    known = values[np.isfinite(values)]
    return _guarded(
        asks_of(limit, Quantity.SHARE_OF_BAD_REELS),
        message(Method.CLOPPER_PEARSON),
        known.size,
        lambda: share_of_bad_reels(
            int((known < limit.value).sum()),
            int(known.size),
            two_sided=bool((known < limit.value).any()),
            known_m=sum(reel.length_m for reel in reels),
        ),
    )


def _blocks(reels: Sequence[LineReel], limit: ReelLimit) -> Result | Refused:
    """The risk of a reel from the thinnest reading of each reel: a reel is a block."""
    known = [reel for reel in reels if limit.quantity in reel.values and reel.length_m > 0.0]
    usual = float(np.median([reel.length_m for reel in known])) if known else 0.0
    alike = [reel for reel in known if abs(reel.length_m - usual) <= 0.05 * usual]
    minima = [reel.values[limit.quantity] for reel in alike]
    return _guarded(
        asks_of(limit, Quantity.BLOCK_REEL_MINIMUM_RISK, reel=Measure(usual, "m")),
        message(Method.BLOCK_MINIMA),
        len(alike),
        lambda: reel_risk_from_blocks(
            minima,
            fit_block_minima(minima),
            limit=limit.value,
            block_m=[reel.length_m for reel in alike],
            reel_m=usual,
        ),
    )


def _between(reels: Sequence[LineReel], limits: Sequence[ReelLimit]) -> list[Answer]:
    """The two-sided index of every quantity that has both a lower and an upper limit."""
    answers: list[Answer] = []
    for quantity in dict.fromkeys(one.quantity for one in limits):
        low = [one.value for one in limits if one.quantity == quantity and one.sense == "at least"]
        high = [one.value for one in limits if one.quantity == quantity and one.sense == "at most"]
        if not (low and high):
            continue
        values, ends = values_of(reels, quantity), (max(low), min(high))
        unit = next(one.unit for one in limits if one.quantity == quantity)
        found = _guarded(
            asks(
                Quantity.TWO_SIDED_PERFORMANCE_INDEX,
                quantity,
                channel=quantity,
                low=Measure(ends[0], unit),
                high=Measure(ends[1], unit),
            ),
            message(Method.TWO_SIDED_INDEX_OF_REELS),
            values.size,
            lambda v=values, e=ends: performance_index_two_sided(v, *e, unit_of_inference="reel"),  # type: ignore[misc]
        )
        answers.append(("capability of reels", found))
    return answers

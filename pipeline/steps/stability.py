"""Where was the process not stable, by the plant's own measure of what change of level matters?

A change of level that stands out of the scatter is a result for every run; it is a finding only where it is as large
as the plant says, and then of the wire over which the change may lie.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.found import Found
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.finding import Sighting, place_sighting
from pipeline.nonconformance.limit_sightings import on_reels, reel_at
from pipeline.quantity import Quantity
from pipeline.results import Result
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench

# What a finding calls the quantity whose level changed.
CHANGING = {"mean_wall_mm": "mean wall", "eccentricity_mm": "eccentricity"}


def stability_sightings(bench: Bench, patterns: Sequence[AnswerRow]) -> tuple[Sighting, ...]:
    """Changes of level that the plant counts as an unstable process, as sightings.

    Args:
        bench: the run; ``findings.level_change_mm`` of its plant sheet says from which size on, none where left out.
        patterns: the run's patterns, as `patterns_of` gives them.

    Returns:
        one a change of level, over the interval it lies in, on the reel that holds the likeliest place.
    """
    least = bench.plant.findings.level_change_mm
    if least is None:
        return ()
    found = []
    for row in patterns:
        answer = row.answer
        if not isinstance(answer, Result):
            continue
        if answer.question.quantity is Quantity.CHANGE_POINT:
            seen = _searched(answer, least)
        elif answer.question.quantity is Quantity.ANNOUNCED_CHANGE:
            seen = _announced(answer, least)
        else:
            continue
        if seen is None:
            continue
        at_m, low, high, detail = seen
        reel_id = reel_at(at_m, bench.placed.reels)
        here = [part for part in on_reels(low, high, bench.placed.reels) if part[0] == reel_id]
        if not reel_id or not here:
            continue
        column = str(answer.question.arguments["channel"])
        found.append(
            place_sighting(
                "unstable-process",
                min(part[1] for part in here),
                max(part[2] for part in here),
                instrument=bench.measured.seen[column].instrument.id,
                subject=CHANGING[column],
                reel_id=reel_id,
                detail=detail,
            )
        )
    return tuple(found)


Seen = tuple[float, float, float, Message]


def _searched(answer: Result, least: float) -> Seen | None:
    """A change that the search found, with the stretch it lies in; None where the plant counts it for nothing."""
    if abs(answer.details["size"]) < least:
        return None
    low = answer.estimate if answer.low is None else answer.low
    high = answer.estimate if answer.high is None else answer.high
    detail = message(
        Found.LEVEL_CHANGED,
        before=Measure(answer.details["before"], "mm"),
        after=Measure(answer.details["after"], "mm"),
        least=Measure(least, "mm"),
    )
    return answer.estimate, low, high, detail


def _announced(answer: Result, least: float) -> Seen | None:
    """A change at a place that the run sheet or the line names, over the wire in which both states may be."""
    if not answer.details["shows"] or abs(answer.estimate) < least:
        return None
    at_m = answer.details["at_m"]
    told = answer.question.arguments
    named = {"named": told["named"]} if "named" in told else {}
    detail = message(
        Found.CHANGED_AT,
        size=Measure(abs(answer.estimate), "mm"),
        what=told["what"],
        least=Measure(least, "mm"),
        **named,
    )
    return at_m, at_m, at_m + answer.details["mixed_m"], detail

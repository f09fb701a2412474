"""Where does a measured quantity fail its limit, as one instrument saw it?

One rule, one limit and one column of measured readings in; sightings out. Every sighting carries the limit
row and revision it was judged against and the decision with its risk.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pipeline.found import Found, verdict_code
from pipeline.length.reels import PlacedReel
from pipeline.messages import Measure, Place, message, slots_of
from pipeline.nonconformance.decision import DecisionRule, Sense, decide_bounded
from pipeline.nonconformance.failing_lengths import Floats, IntervalSettings, Mask, nonconforming_intervals
from pipeline.nonconformance.finding import Sighting
from pipeline.nonconformance.rules import Rule, cited
from pipeline.products.limits import Limit


def on_reels(from_m: float, to_m: float, reels: Sequence[PlacedReel]) -> tuple[tuple[str, float, float], ...]:
    """A length of wire cut where the reels change: reel ("" for none), start and end of each part [m].

    Args:
        from_m: its start [m].
        to_m: its end [m].
        reels: the run's reels.

    Returns:
        the parts in the order of the wire; their lengths sum to the whole.
    """
    edges = {from_m, to_m}
    edges |= {edge for reel in reels for edge in (reel.from_m, reel.to_m) if from_m < edge < to_m}
    parts = pairwise(sorted(edges)) if to_m > from_m else iter([(from_m, to_m)])
    return tuple((reel_at((a + b) / 2.0, reels), a, b) for a, b in parts)


def reel_at(at_m: float, reels: Sequence[PlacedReel]) -> str:
    """The reel that a place on the wire is on, by its nominal ends; "" for none."""
    return next((reel.id for reel in reels if reel.from_m <= at_m <= reel.to_m), "")


def reels_concerned(from_m: float, to_m: float, reels: Sequence[PlacedReel]) -> tuple[str, ...]:
    """Every reel that a length of wire is, or may be, on: near an unsure reel end that is both reels.

    A finding holds each of them.
    """
    return tuple(
        reel.id
        for reel in reels
        if from_m < reel.to_m + reel.end_unsure_m and to_m > reel.from_m - reel.end_unsure_m
    )


@dataclass(frozen=True, slots=True)
class InstrumentReadings:
    """What one instrument read along the wire.

    Args:
        instrument: plant's number of the instrument.
        u: standard uncertainty of one reading [unit of the rule].
        at_m: position of each reading [m].
        value: the readings [unit of the rule]; at their worse bound where only bounds are known.
        usable: False where a reading may not judge the wire.
        row: row of each reading in the run, to walk back to the log.
        best: the readings at their better bound [unit of the rule]; None where the quantity itself was read.
    """

    instrument: str
    u: float
    at_m: Floats
    value: Floats
    usable: Mask | None = None
    row: NDArray[np.int64] | None = None
    best: Floats | None = None


def sightings(
    rule: Rule,
    limit: Limit,
    read: InstrumentReadings,
    decision_rule: DecisionRule,
    settings: IntervalSettings,
    reels: Sequence[PlacedReel] = (),
) -> tuple[Sighting, ...]:
    """The lengths over which a quantity is not said to conform to a limit.

    Args:
        rule: the rule.
        limit: the limit in force.
        read: the readings.
        decision_rule: the plant's rule for this requirement.
        settings: how readings become lengths.
        reels: the reels; a length ends where the wire is cut.

    Returns:
        sightings in the order of the wire.

    The decision is on the worst reading as if it were the only one; of many noisy readings the worst is worse
    than the wire, so its stated risk is an upper bound.
    """
    sense: Sense = "at least" if limit.sense == "at least" else "at most"
    u, best, row = read.u, read.best, read.row
    enter_guard = decision_rule.enter_guard(u)
    found = nonconforming_intervals(
        read.at_m,
        read.value,
        limit.value,
        sense,
        settings,
        (enter_guard, max(settings.leave_guard_u * u, -enter_guard)),
        breaks_m=sorted({edge for reel in reels for edge in (reel.from_m, reel.to_m)}),
        usable=read.usable,
    )
    against = {"sense": sense, "limit": cited(limit)}
    seen = []
    for one in found.iter_rows(named=True):
        at_best = one["worst"] if best is None else float(best[one["worst_index"]])
        decision = decide_bounded(one["worst"], at_best, u, limit.value, sense, decision_rule)
        worst = Measure(one["worst"], rule.unit)
        arguments = {
            **(
                {"worst": worst}
                if best is None
                else {"bound": message(Found.BOUNDED, value=worst, limit=against["limit"])}
            ),
            "at": Place(one["worst_at_m"]),
            **against,
            "verdict": verdict_code(decision.verdict),
        }
        seen.append(
            Sighting(
                rule.rule_id,
                read.instrument,
                one["from_m"],
                one["to_m"],
                one["readings"],
                one["worst"],
                one["worst_at_m"],
                None if row is None else int(row[one["worst_index"]]),
                limit.limit_id,
                str(limit.revision),
                decision,
                reel_id=reel_at(one["worst_at_m"], reels),
                short=one["last_m"] - one["first_m"] + settings.reading_extent_m < settings.shortest_m,
                depth=one["depth"],
                area=one["area"],
                slots=slots_of(arguments),
            )
        )
    return tuple(seen)

"""Where does a measured quantity fail its limit, as one instrument saw it?

One rule, one limit and one column of measured readings in; sightings out. Every sighting carries the limit
row and revision it was judged against and the decision with its risk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.nonconformance.decision import DecisionRule, decide
from pipeline.nonconformance.finding import Sighting
from pipeline.nonconformance.intervals import Floats, Mask, nonconforming_intervals
from pipeline.nonconformance.rules import LimitRow, Rule, figure, limit_text, told


@dataclass(frozen=True, slots=True)
class IntervalSettings:
    """How readings become lengths; the plant's choice, printed on every record.

    Args:
        leave_guard_u: a length ends where the value is this many standard uncertainties inside the limit.
        merge_gap_m: gaps up to this are merged [m].
        reading_extent_m: wire one reading averages over [m].
        pad_m: half the gauge's window and k u(s), added at each end [m].
        hole_m: distance between readings beyond which the wire between is unmonitored [m].
        shortest_m: a length shorter than this needs a second instrument [m]; 0 lets one reading decide.
    """

    leave_guard_u: float = 1.0
    merge_gap_m: float = 2.0
    reading_extent_m: float = 0.0
    pad_m: float = 0.0
    hole_m: float = 10.0
    shortest_m: float = 0.0


def sightings(
    rule: Rule,
    limit: LimitRow,
    at_m: Floats,
    value: Floats,
    *,
    instrument: str,
    u: float,
    decision_rule: DecisionRule,
    settings: IntervalSettings,
    usable: Mask | None = None,
    row: NDArray[np.int64] | None = None,
) -> tuple[Sighting, ...]:
    """The lengths over which a quantity is not said to conform to a limit.

    Args:
        rule: the rule.
        limit: the limit in force.
        at_m: position of each reading [m].
        value: the readings [unit of the rule].
        instrument: plant's number of the instrument.
        u: standard uncertainty of one reading [unit of the rule].
        decision_rule: the plant's rule for this requirement.
        settings: how readings become lengths.
        usable: False where a reading may not judge the wire.
        row: row of each reading in the run, to walk back to the log.

    Returns:
        sightings in the order of the wire.

    The decision is on the worst reading as if it were the only one; of many noisy readings the worst is worse
    than the wire, so its stated risk is an upper bound.
    """
    enter_guard = decision_rule.enter_guard(u)
    found = nonconforming_intervals(
        at_m,
        value,
        limit.value,
        limit.sense,
        enter_guard=enter_guard,
        leave_guard=max(settings.leave_guard_u * u, -enter_guard),
        merge_gap_m=settings.merge_gap_m,
        pad_m=settings.pad_m,
        reading_extent_m=settings.reading_extent_m,
        hole_m=settings.hole_m,
        usable=usable,
    )
    against = {"sense": limit.sense, "limit": limit_text(limit)}
    seen = []
    for one in found.iter_rows(named=True):
        decision = decide(one["worst"], u, limit.value, limit.sense, decision_rule)
        sentence = told(
            rule,
            one["from_m"],
            one["to_m"],
            worst=figure(one["worst"], rule.unit),
            worst_at_m=f"{one['worst_at_m']:.1f}",
            verdict=decision.verdict.value,
            **against,
        )
        seen.append(
            Sighting(
                rule.rule_id,
                instrument,
                one["from_m"],
                one["to_m"],
                sentence,
                one["readings"],
                one["worst"],
                one["worst_at_m"],
                None if row is None else int(row[one["worst_index"]]),
                limit.limit_id,
                str(limit.revision),
                decision,
                short=one["last_m"] - one["first_m"] + settings.reading_extent_m < settings.shortest_m,
                depth=one["depth"],
                area=one["area"],
            )
        )
    return tuple(seen)

"""Which reels without a mark of their own lie between the marks of a damaged roll, or within a turn of the last?

What lies between two marks of one roll was made on the same roll, over the ends of reels: see
`pipeline.nonconformance.going.repeat_zones`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from pipeline.nonconformance.finding import Finding, join_findings, place_sighting
from pipeline.nonconformance.going import BETWEEN_MARKS, repeat_zones
from pipeline.steps.bench import Bench
from pipeline.steps.circumstances import turns_of
from pipeline.steps.rows_behind import with_rows


def between_marks(bench: Bench, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """A finding on each reel that lies in the zone of a repeating cause and has no mark of it.

    Args:
        bench: the run.
        findings: the findings of the run with their causes.
    """
    rows = [
        {
            "rule": one.main.rule_id,
            "cause": one.cause.kind,
            "cause_of": one.cause.of,
            "from_m": one.from_m,
            "to_m": one.to_m,
        }
        for one in findings
    ]
    turns, _ = turns_of(bench)
    found: list[Finding] = []
    for (low, high), element, marks in repeat_zones(rows, turns):
        cause = next(one.cause for one in findings if one.cause.of == element)
        marked = {one.reel_id for one in findings if one.cause.of == element}
        sightings = [
            place_sighting(BETWEEN_MARKS, start, end, subject=element, reel_id=reel.id, marks=marks)
            for reel in bench.placed.reels
            if reel.id not in marked
            for start, end in [(max(low, reel.may_from_m), min(high, reel.may_to_m))]
            if end > start
        ]
        joined = join_findings(bench.run.id, with_rows(bench, sightings), rules=bench.rules)
        found += (replace(one, cause=cause) for one in joined)
    return tuple(found)

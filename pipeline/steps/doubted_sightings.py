"""Which sightings say less than they seem to? Those on contradicted wire, and those near an unsure end of a reel.

Which reels without a mark of their own lie between the marks of a damaged roll, or within a turn of the last?

What lies between two marks of one roll was made on the same roll, over the ends of reels: see
`pipeline.nonconformance.going.repeat_zones`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from pipeline.found import Doubt, Found
from pipeline.length import intervals
from pipeline.messages import Measure, message, slots_of
from pipeline.nonconformance.decision import Verdict, decide_bounded
from pipeline.nonconformance.finding import Finding, Sighting, join_findings, place_sighting
from pipeline.nonconformance.going import BETWEEN_MARKS, repeat_zones
from pipeline.nonconformance.limit_sightings import reels_concerned
from pipeline.nonconformance.rules import PLACES
from pipeline.products.limits import Limit
from pipeline.steps.bench import Bench
from pipeline.steps.circumstances import turns_of
from pipeline.steps.evidence import Seen, Worst
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


def worst_of_sound_wire(bench: Bench, seen: Seen, from_m: float, to_m: float, sense: str) -> Worst | None:
    """The worst reading and its place on wire whose instruments do not contradict each other; None without one.

    Args:
        bench: the run.
        seen: the quantity along the wire; a spark test is contradicted by nothing.
        from_m: start of the wire [m].
        to_m: its end [m].
        sense: 'at least' or 'at most'.
    """
    if seen.name == "spark_kv":
        return seen.worst(from_m, to_m, sense)
    pieces = intervals.outside(bench.measured.contradicted, from_m, to_m)
    found = [one for a, b in pieces.tolist() if (one := seen.worst(a, b, sense)) is not None]
    pick = min if sense == "at least" else max
    return pick(found, default=None)


def not_concluded(bench: Bench, limit: Limit, seen: Seen, found: Iterable[Sighting]) -> tuple[Sighting, ...]:
    """The sightings against a limit; one that fails on contradicted wire only concludes nothing about the wire.

    A failure that sound wire shows as well stays a failure: other wire of the reel being in doubt does not mend it.
    """
    told = []
    for one in found:
        doubted = bench.measured.disagreement_m(one.from_m, one.to_m) > 0 and seen.name != "spark_kv"
        if one.decision is None or not doubted or _fails(bench, limit, seen, one):
            told.append(one)
            continue
        told.append(
            replace(
                one,
                decision=replace(one.decision, verdict=Verdict.CANNOT_BE_TOLD),
                slots=slots_of({**dict(one.slots), "verdict": Doubt.CONTRADICTED}),
            )
        )
    return tuple(told)


def _fails(bench: Bench, limit: Limit, seen: Seen, one: Sighting) -> bool:
    sense = "at least" if limit.sense == "at least" else "at most"
    worst = worst_of_sound_wire(bench, seen, one.from_m, one.to_m, sense)
    if worst is None:
        return False
    decision = decide_bounded(
        worst.value,
        worst.at_best,
        seen.uncertainty,
        limit.value,
        "at least" if sense == "at least" else "at most",
        bench.rule_of(limit.requirement),
    )
    return decision.verdict is Verdict.DOES_NOT_CONFORM


def on_every_reel_concerned(bench: Bench, found: Iterable[Sighting]) -> tuple[Sighting, ...]:
    """The sightings, and again for a neighbouring reel that may hold the wire too.

    Where the content of an accumulator is not known, wire near a reel's end counts against both reels; so does wire
    that a gauge saw whose readings lie elsewhere on the wire than the line sheet says.
    """
    reels = bench.placed.reels
    ends = max((one.end_unsure_m for one in reels), default=0.0)
    told = list(found)
    for one in tuple(told):
        place = bench.checks.unsure_m.get(one.instrument, 0.0) if one.rule.family in PLACES else 0.0
        unsure = ends + place
        if unsure <= 0:
            continue
        concerned = reels_concerned(one.from_m - place, one.to_m + place, reels)
        for name in (reel for reel in concerned if reel != one.reel_id):
            after = message(Found.EITHER_REEL, unsure=Measure(unsure, "m"), reel=name)
            told.append(replace(one, reel_id=name, after=(*one.after, after)))
    return tuple(told)

"""Which sightings say less than they seem to? Those on contradicted wire, and those near an unsure end of a reel."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from pipeline.found import Doubt, Found
from pipeline.length import intervals
from pipeline.messages import Measure, message, slots_of
from pipeline.nonconformance.decision import Verdict, decide_bounded
from pipeline.nonconformance.finding import Sighting
from pipeline.nonconformance.limit_sightings import reels_concerned
from pipeline.products.limits import Limit
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Seen, Worst


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

    Where the content of an accumulator is not known, wire near a reel's end counts against both reels.
    """
    reels = bench.placed.reels
    unsure = max((one.end_unsure_m for one in reels), default=0.0)
    told = list(found)
    if unsure <= 0:
        return tuple(told)
    for one in tuple(told):
        others = [name for name in reels_concerned(one.from_m, one.to_m, reels) if name != one.reel_id]
        for name in others:
            after = message(Found.EITHER_REEL, unsure=Measure(unsure, "m"), reel=name)
            told.append(replace(one, reel_id=name, after=(*one.after, after)))
    return tuple(told)

"""Step four: every requirement held against every reel, lengths that fail it found, and what may leave.

The limits are those in force on the day the run ran. A requirement without a limit on file, or without an
instrument that can see it, is *not judged*; a reel with too little evidence gets *no conclusion*; neither is
ever a pass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from pipeline.found import advice_of, code_of, together
from pipeline.length import intervals
from pipeline.length.reels import PlacedReel
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.cause import with_causes
from pipeline.nonconformance.decision import Verdict
from pipeline.nonconformance.finding import Finding, Sighting, gravest_first, join_findings
from pipeline.nonconformance.numbering import KnownFinding, number_findings
from pipeline.nonconformance.rules import rule_for
from pipeline.products.concentricity import implied_concentricities
from pipeline.products.limits import Limit, Missing
from pipeline.results import Refused
from pipeline.statistics.event_repeats import RepeatSearch
from pipeline.steps.bench import Bench
from pipeline.steps.circumstances import circumstances_of, spark_repeats
from pipeline.steps.doubted_sightings import (
    between_marks,
    not_concluded,
    on_every_reel_concerned,
    worst_of_sound_wire,
)
from pipeline.steps.evidence import Seen, Worst
from pipeline.steps.release_rule import Outcome, verdict_unseen, walls_not_shown, worst_told
from pipeline.steps.rows_behind import with_rows
from pipeline.steps.sightings_of_run import (
    Gap,
    by_reel,
    calibration_sightings,
    counter_sightings,
    counts_on,
    disagreement_sightings,
    elsewhere_sightings,
    event_sightings,
    gaps_of,
    sightings_against,
    splice_sightings,
    unmonitored_sightings,
)
from pipeline.steps.unmonitored import beyond_allowed
from pipeline.why import First, Lack, Lacking, Why, about_requirement

Standing = Literal["releasable", "held", "no conclusion"]


@dataclass(frozen=True, slots=True)
class RequirementOnReel:
    """One requirement judged on one reel (table judged.requirement)."""

    reel_id: str
    requirement: str
    requirement_set: str
    limit_id: str
    sense: str
    limit_value: float | None
    unit: str
    worst: float | None
    worst_at_m: float | None
    uncertainty: float | None
    decided_by: Message | None
    verdict: Outcome
    told: Message
    nonconforming_m: float
    known_m: float
    unknown_m: float

    @property
    def about(self) -> str:
        """What it is known by among those of its reel."""
        return about_requirement(self.requirement, self.requirement_set, self.limit_id)


@dataclass(frozen=True, slots=True)
class ReelStanding:
    """What the evidence supports for one reel (tables judged.reel and judged.lack).

    Args:
        reel: the reel.
        standing: what is supported.
        held_by: findings that hold it, the gravest first.
        lacks: what the evidence lacks.
        first: what to do about it first, None where there is nothing to do.
        findings: every finding on it.
    """

    reel: PlacedReel
    standing: Standing
    held_by: tuple[str, ...]
    lacks: tuple[Lacking, ...]
    first: Message | None
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Judged:
    """A run judged.

    Args:
        limits: the limits it was judged by.
        requirements: one a reel, requirement and limit.
        findings: what was found, numbered.
        not_seen: findings of earlier judgements that were not found again.
        gaps: wire the evidence does not reach.
        reels: what may leave.
        repeats: whether spark faults repeat with a listed element; None where there was nothing to look at.
    """

    limits: tuple[Limit, ...]
    requirements: tuple[RequirementOnReel, ...]
    findings: tuple[Finding, ...]
    not_seen: tuple[KnownFinding, ...]
    gaps: tuple[Gap, ...]
    reels: tuple[ReelStanding, ...]
    repeats: RepeatSearch | Refused | None = None

    @cached_property
    def _gaps(self) -> dict[str, list[Gap]]:
        return by_reel(self.gaps)

    def gaps_of(self, reel_id: str) -> Sequence[Gap]:
        """Wire of one reel that the evidence does not reach."""
        return self._gaps.get(reel_id, ())


def judge_run(bench: Bench, earlier: Sequence[KnownFinding] = (), more: Sequence[Sighting] = ()) -> Judged:
    """Judge a run.

    Args:
        bench: the run, its sheets and what was measured.
        earlier: findings the run ever had, so that the same defect keeps its number.
        more: sightings from looks over the run as a whole, such as an unstable process.
    """
    limits, missing = bench.limits, bench.missing
    gaps = gaps_of(bench)
    found: list[Sighting] = [
        *event_sightings(bench),
        *elsewhere_sightings(bench),
        *counter_sightings(bench),
        *unmonitored_sightings(bench, gaps),
        *calibration_sightings(bench),
        *disagreement_sightings(bench),
        *splice_sightings(bench),
        *more,
    ]
    found = list(on_every_reel_concerned(bench, found))
    by_limit: dict[str, tuple[Sighting, ...]] = {}
    for limit in limits:
        by_limit[limit.limit_id] = _against(bench, limit)
        found.extend(by_limit[limit.limit_id])
    on_wire = with_rows(bench, [one for one in found if one.reel_id])
    joined = join_findings(bench.run.id, on_wire, rules=bench.rules)
    repeats = spark_repeats(bench)
    explained = with_causes(joined, circumstances_of(bench, joined, repeats))
    explained = (*explained, *between_marks(bench, explained))
    numbered = number_findings(explained, earlier)
    failing = {name: _by_reel(bench.placed.reels, those) for name, those in by_limit.items()}
    requirements = tuple(
        [
            _requirement(bench, reel, limit, failing[limit.limit_id].get(reel.id, ()))
            for reel in bench.placed.reels
            for limit in limits
        ]
        + [_without_limit(reel, one) for reel in bench.placed.reels for one in missing]
    )
    findings = tuple(sorted(numbered.findings, key=lambda one: (one.from_m, one.number)))
    return Judged(
        limits,
        requirements,
        findings,
        numbered.not_seen,
        gaps,
        _standings(bench, requirements, findings),
        repeats,
    )


def _by_reel(reels: Sequence[PlacedReel], failing: Sequence[Sighting]) -> Mapping[str, tuple[Sighting, ...]]:
    """The failing lengths that touch each reel, or are said to be on it."""
    starts, ends = np.array([reel.from_m for reel in reels]), np.array([reel.to_m for reel in reels])
    touching: dict[str, list[Sighting]] = {}
    for one in failing:
        touched = [reels[int(at)].id for at in np.flatnonzero((ends >= one.from_m) & (starts <= one.to_m))]
        for reel_id in dict.fromkeys((*touched, one.reel_id)):
            touching.setdefault(reel_id, []).append(one)
    return {reel_id: tuple(those) for reel_id, those in touching.items()}


def _against(bench: Bench, limit: Limit) -> tuple[Sighting, ...]:
    """Lengths that fail one limit, with what may be concluded of each and on every reel that may hold them."""
    rule = rule_for(limit.requirement)
    seen = bench.seen_for(rule) if rule is not None else None
    found = sightings_against(bench, limit)
    if seen is not None:
        found = not_concluded(bench, limit, seen, found)
    return on_every_reel_concerned(bench, found)


def _requirement(
    bench: Bench, reel: PlacedReel, limit: Limit, failing: Sequence[Sighting]
) -> RequirementOnReel:
    """One limit held against one reel."""
    rule = rule_for(limit.requirement)
    seen = bench.seen_for(rule) if rule is not None else None
    chosen = bench.rule_of(limit.requirement)
    worst, unknown = None, reel.length_m
    if seen is not None:
        # A figure from wire whose instruments contradict each other is shown only where there is no other.
        worst = worst_of_sound_wire(bench, seen, reel.may_from_m, reel.may_to_m, limit.sense)
        worst = worst or seen.worst(reel.may_from_m, reel.may_to_m, limit.sense)
        unknown = reel.length_m - seen.known_m(reel.from_m, reel.to_m)
    bad = intervals.union_m([(one.from_m, one.to_m) for one in failing], reel.from_m, reel.to_m)
    verdict, why = _verdict(bench, reel, limit, seen, worst, failing, unknown)
    beside = _implied(bench, reel) if limit.requirement == "concentricity" else ()
    told = together(why, *beside, *((limit.said,) if limit.said else ()))
    return RequirementOnReel(
        reel_id=reel.id,
        requirement=limit.requirement,
        requirement_set=limit.requirement_set,
        limit_id=limit.limit_id,
        sense=limit.sense,
        limit_value=limit.value,
        unit=limit.unit,
        worst=worst[0] if worst else None,
        worst_at_m=worst[1] if worst else None,
        uncertainty=seen.uncertainty if seen else None,
        decided_by=chosen.told,
        verdict=verdict,
        told=told,
        nonconforming_m=bad,
        known_m=reel.length_m - unknown,
        unknown_m=unknown,
    )


def _verdict(
    bench: Bench,
    reel: PlacedReel,
    limit: Limit,
    seen: Seen | None,
    worst: Worst | None,
    failing: Sequence[Sighting],
    unknown: float,
) -> tuple[Outcome, Message]:
    if seen is None:
        return verdict_unseen(bench, reel, limit)
    if worst is None:
        return "no conclusion", message(Why.NO_READING, requirement=limit.requirement)
    here = [one for one in failing if one.reel_id == reel.id]
    decisions = [one.decision.verdict for one in here if one.decision is not None]
    shown = worst_told(worst[1], worst[0], reel, limit, seen.bounded)
    if Verdict.DOES_NOT_CONFORM in decisions:
        required = Measure(limit.value, limit.unit)
        return "does not conform", message(
            Why.DOES_NOT_CONFORM, worst=shown, sense=limit.sense, limit=required
        )
    disagreeing = bench.measured.disagreement_m(reel.may_from_m, reel.may_to_m)
    if disagreeing > 0 and seen.name != "spark_kv":
        return "no conclusion", message(Why.INSTRUMENTS_DISAGREE, length=Measure(disagreeing, "m"))
    if here:
        near = Why.TOO_NEAR_UNDER_COVERING if seen.bounded else Why.TOO_NEAR
        return "indeterminate", message(near, worst=shown)
    if unknown >= reel.length_m:
        return "no conclusion", message(Why.NO_FULL_EVIDENCE, worst=shown)
    unread = intervals.outside(seen.known, reel.from_m, reel.to_m)
    holds = bench.plant.holds.of_spark_test if seen.name == "spark_kv" else bench.plant.holds
    if beyond_allowed(holds, unread, reel, seen.extent_m).shape[0]:
        return "no conclusion", message(
            Why.NOT_ALL_READ,
            worst=shown,
            unread=Measure(unknown, "m"),
            length=Measure(reel.length_m, "m"),
        )
    return "conforms", message(Why.CONFORMS, worst=shown, rule=bench.rule_of(limit.requirement).told)


def _implied(bench: Bench, reel: PlacedReel) -> tuple[Message, ...]:
    """What concentricity the point minimum alone would ask at the reel's mean wall, beside the plant's tolerance."""
    walls = bench.measured.seen.get("mean_wall_mm")
    if walls is None:
        return ()
    here = walls.rows_within(reel.from_m, reel.to_m)
    if here.size == 0:
        return ()
    mean, _ = walls.per_metre(here)
    return tuple(one.told for one in implied_concentricities(bench.limits, mean))


def _without_limit(reel: PlacedReel, missing: Missing) -> RequirementOnReel:
    return RequirementOnReel(
        reel_id=reel.id,
        requirement=missing.requirement,
        requirement_set=missing.requirement_set,
        limit_id="",
        sense="",
        limit_value=None,
        unit="",
        worst=None,
        worst_at_m=None,
        uncertainty=None,
        decided_by=None,
        verdict="not judged",
        told=together(missing.told, missing.remedy),
        nonconforming_m=0.0,
        known_m=0.0,
        unknown_m=reel.length_m,
    )


def _standings(
    bench: Bench, requirements: Sequence[RequirementOnReel], findings: Sequence[Finding]
) -> tuple[ReelStanding, ...]:
    """What may leave, of every reel."""
    required: dict[str, list[RequirementOnReel]] = {}
    for one in requirements:
        required.setdefault(one.reel_id, []).append(one)
    found: dict[str, list[Finding]] = {}
    for finding in findings:
        found.setdefault(finding.reel_id, []).append(finding)
    reels = bench.placed.reels
    faults = counts_on(bench.placed.events, "spark fault", reels, unsure=True)
    return tuple(
        _standing(bench, reel, required.get(reel.id, ()), tuple(found.get(reel.id, ())), faults[reel.id][0])
        for reel in reels
    )


def _left_to_samples(bench: Bench, one: RequirementOnReel) -> bool:
    """Whether the plant's sheet leaves a requirement that no instrument sees to laboratory samples, which decide."""
    names = [each.name for each in bench.product.types]
    return bool(one.limit_id) and bench.plant.samples.asked_of(one.requirement, names) is not None


def _standing(
    bench: Bench,
    reel: PlacedReel,
    own: Sequence[RequirementOnReel],
    here: tuple[Finding, ...],
    faults: int,
) -> ReelStanding:
    """What may leave: a reel without a finding that holds it, with every requirement judged that can be.

    Args:
        bench: the run.
        reel: the reel.
        own: its requirements as judged.
        here: findings on it.
        faults: spark faults that may be on it.
    """
    holding = sorted((one for one in here if one.holds_release), key=gravest_first)
    lacks: list[Lacking] = []
    most = bench.plant.holds.spark_faults_per_reel
    if most is not None and faults > most:
        lacks.append(Lacking(Lack.SPARK_FAULTS, "", message(Lack.SPARK_FAULTS, faults=faults, most=most)))
    unseen = [one for one in own if one.verdict == "not judged" and not _left_to_samples(bench, one)]
    lacks.extend(Lacking(code_of(one.told), one.about, one.told) for one in unseen)
    lacks.extend(
        Lacking(code_of(one.told), one.about, one.told)
        for one in own
        if one.verdict in {"no conclusion", "indeterminate", "does not conform"} and not holding
    )
    # What is a reason already is told once; this catches a wall that was never judged at all.
    lacks.extend(walls_not_shown(bench, own) if not (holding or lacks) else ())
    first = Message(advice_of(holding[0].main.rule_id)) if holding else None
    if lacks and first is None:
        by_sample = any(one.limit_id for one in unseen)
        first = message(First.GATHER_OR_SAMPLE if by_sample else First.GATHER)
    return ReelStanding(
        reel,
        "held" if holding or lacks else "releasable",
        tuple(one.finding_id for one in holding),
        tuple(dict.fromkeys(lacks)),
        first,
        here,
    )

"""Step four: every requirement held against every reel, lengths that fail it found, and what may leave.

The limits are those in force on the day the run ran. A requirement without a limit on file, or without an
instrument that can see it, is *not judged*; a reel with too little evidence gets *no conclusion*; neither is
ever a pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

import numpy as np
import polars as pl

from pipeline.length.reels import PlacedReel
from pipeline.nonconformance.decision import DecisionRule, Verdict, decide
from pipeline.nonconformance.finding import Finding, Sighting, join_findings, place_sighting
from pipeline.nonconformance.intervals import event_intervals
from pipeline.nonconformance.judging import IntervalSettings, on_reels, reel_at, sightings
from pipeline.nonconformance.numbering import KnownFinding, number_findings
from pipeline.nonconformance.rules import SEVERITIES, Rule, figure, rule_for
from pipeline.products.limits import Limit, Missing, limits_in_force, missing_requirements
from pipeline.products.product import Product
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.steps.evidence import Seen, in_date
from pipeline.steps.measure import Measured
from pipeline.steps.place import Placed

Outcome = Literal["conforms", "does not conform", "indeterminate", "not judged", "no conclusion"]
Standing = Literal["releasable", "held", "no conclusion"]

# Faults nearer than this are one length to cut out: no useful wire lies between them (chosen here); which counts
# are one fault is another question, see spark_merge.
FAULT_GAP_M = 15.0
# Gaps in a failing length that are merged, so that one defect is one finding [m] (chosen here).
MERGE_GAP_M = 15.0

CANNOT_SEE = {
    "covering at any point": (
        "No instrument of this line sees the covering by itself: a wall gauge that reads both layers only bounds "
        "it. Judge the covering on cut samples."
    ),
    "minimum wall at any point": (
        "The line has no wall gauge. A diameter cannot show where the wall is thin, so no minimum wall can be "
        "passed from it; judge it on cut samples."
    ),
    "concentricity": (
        "The line has no wall gauge. A diameter does not show how well the conductor is centred; judge it on cut "
        "samples."
    ),
}


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
    decision_rule: str
    verdict: Outcome
    sentence: str
    nonconforming_m: float
    known_m: float
    unknown_m: float


@dataclass(frozen=True, slots=True)
class Gap:
    """Wire on a reel that the evidence does not reach (table measured.gap)."""

    reel_id: str
    kind: str
    from_m: float
    to_m: float
    sentence: str


@dataclass(frozen=True, slots=True)
class ReelStanding:
    """What the evidence supports for one reel (table judged.reel)."""

    reel: PlacedReel
    standing: Standing
    reasons: tuple[str, ...]
    first_action: str
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Judged:
    """A run judged.

    Args:
        limits: the limits it was judged by.
        requirements: one a reel, requirement and limit.
        findings: what was found, numbered.
        not_seen: findings of earlier judgements that were not found again.
        gaps: wire the evidence does not reach.
        reels: what may leave.
    """

    limits: tuple[Limit, ...]
    requirements: tuple[RequirementOnReel, ...]
    findings: tuple[Finding, ...]
    not_seen: tuple[KnownFinding, ...]
    gaps: tuple[Gap, ...]
    reels: tuple[ReelStanding, ...]


@dataclass(frozen=True, slots=True)
class Bench:
    """What every judgement of one run needs."""

    run: RunSheet
    line: LineSheet
    plant: PlantSheet
    product: Product
    on: date
    placed: Placed
    measured: Measured
    limits: tuple[Limit, ...]
    missing: tuple[Missing, ...]

    def rule_of(self, requirement: str) -> DecisionRule:
        """The plant's decision rule for a requirement."""
        chosen = self.plant.decision_for(requirement)
        if chosen.rule == "guard band":
            return DecisionRule("guard band", chosen.confidence)
        return DecisionRule("simple acceptance")

    def seen_for(self, rule: Rule) -> Seen | None:
        """The quantity a rule reads, None where the line does not measure it."""
        return self.measured.seen.get(rule.column)


def bench_of(
    run: RunSheet,
    line: LineSheet,
    plant: PlantSheet,
    product: Product,
    on: date,
    placed: Placed,
    measured: Measured,
) -> Bench:
    """The bench for a run made on the day `on`, with the limits in force then and those that are missing."""
    certified = plant.requirement_sets_of(product.family)
    return Bench(
        run,
        line,
        plant,
        product,
        on,
        placed,
        measured,
        limits_in_force(product, on, plant.limit_rows, certified),
        missing_requirements(product, on, plant.limit_rows, certified),
    )


def judge_run(bench: Bench, earlier: Sequence[KnownFinding] = ()) -> Judged:
    """Judge a run.

    Args:
        bench: the run, its sheets and what was measured.
        earlier: findings the run ever had, so that the same defect keeps its number.
    """
    limits, missing = bench.limits, bench.missing
    gaps = _gaps(bench)
    found: list[Sighting] = [
        *_events_seen(bench),
        *_unmonitored(bench, gaps),
        *_uncalibrated(bench),
    ]
    by_limit: dict[str, tuple[Sighting, ...]] = {}
    for limit in limits:
        by_limit[limit.limit_id] = _against(bench, limit)
        found.extend(by_limit[limit.limit_id])
    on_wire = [one for one in found if one.reel_id]
    numbered = number_findings(join_findings(bench.run.id, on_wire), earlier)
    requirements = tuple(
        [
            _requirement(bench, reel, limit, by_limit[limit.limit_id])
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
        tuple(_standing(bench, reel, requirements, findings) for reel in bench.placed.reels),
    )


def _against(bench: Bench, limit: Limit) -> tuple[Sighting, ...]:
    """Lengths of wire that fail one limit."""
    rule = rule_for(limit.requirement)
    seen = bench.seen_for(rule) if rule is not None else None
    if rule is None or seen is None:
        return ()
    return sightings(
        rule,
        limit,
        seen.at_m,
        seen.value,
        instrument=seen.instrument.id,
        u=seen.uncertainty,
        decision_rule=bench.rule_of(limit.requirement),
        settings=IntervalSettings(
            leave_guard_u=2.0,
            merge_gap_m=MERGE_GAP_M,
            reading_extent_m=seen.extent_m,
            pad_m=seen.extent_m / 2.0 + bench.placed.placement.resolution_m,
            hole_m=seen.hole_m,
        ),
        usable=seen.fit,
        reels=bench.placed.reels,
        row=seen.row,
    )


def _events_seen(bench: Bench) -> list[Sighting]:
    """Spark faults and surface flaws as sightings, counts of one fault merged."""
    events = bench.placed.events
    edges = sorted({edge for reel in bench.placed.reels for edge in (reel.from_m, reel.to_m)})
    found: list[Sighting] = []
    for kind, rule_id, instrument_kind in (
        ("spark fault", "spark-fault", "spark tester"),
        ("surface flaw", "surface-flaw", "surface vision"),
    ):
        here = events.filter((pl.col("kind") == kind) & pl.col("at_m").is_not_null()).sort("at_m")
        instrument = bench.line.instrument(instrument_kind)
        if kind == "surface flaw":
            # A flaw is judged by size only where the plant says from which size on; all flaws are on the pages.
            smallest = bench.plant.holds.surface_flaw_mm
            here = here.clear() if smallest is None else here.filter(pl.col("flaw_size_mm") >= smallest)
        if here.height == 0 or instrument is None:
            continue
        at = here["at_m"].to_numpy()
        unsure = float(here["at_sd_m"].max() or 0.0)  # type: ignore[arg-type]
        pad = instrument.window_m / 2.0 + 2.0 * unsure
        grouped = event_intervals(at, merge_gap_m=FAULT_GAP_M, pad_m=pad, breaks_m=edges)
        for one in grouped.iter_rows(named=True):
            part = here.filter(pl.col("at_m").is_between(one["first_m"], one["last_m"]))
            told = {"count": str(part["fault"].n_unique())}
            if kind == "spark fault":
                volts = part["spark_kv"].drop_nulls()
                told["voltage"] = (
                    f"{float(volts.to_numpy().max()):g} kV" if volts.len() else "a voltage not logged"
                )
            else:
                sizes = part["flaw_size_mm"].drop_nulls()
                told["size"] = (
                    f"{float(sizes.to_numpy().max()):.2f} mm" if sizes.len() else "of a size not logged"
                )
            found.append(
                place_sighting(
                    rule_id,
                    one["from_m"],
                    one["to_m"],
                    instrument=instrument.id,
                    readings=part.height,
                    reel_id=reel_at((one["first_m"] + one["last_m"]) / 2.0, bench.placed.reels),
                    **told,
                )
            )
    return found


def _gaps(bench: Bench) -> tuple[Gap, ...]:
    """Wire on reels without a trustworthy reading, or without a full spark test."""
    gaps = []
    kinds = (
        ("wall unmonitored", bench.measured.wall, "No usable wall reading here."),
        ("diameter unmonitored", bench.measured.diameter, "No usable diameter reading here."),
        ("spark untested", bench.measured.seen.get("spark_kv"), "No full spark test is on record here."),
    )
    for reel in bench.placed.reels:
        for kind, seen, sentence in kinds:
            if seen is None:
                gaps.append(Gap(reel.id, kind, reel.from_m, reel.to_m, sentence))
                continue
            gaps.extend(
                Gap(reel.id, kind, from_m, to_m, sentence)
                for from_m, to_m in seen.gaps(reel.from_m, reel.to_m)
            )
        if reel.end_unsure_m > 0:
            gaps.extend(
                Gap(
                    reel.id,
                    "either reel",
                    at - reel.end_unsure_m,
                    at + reel.end_unsure_m,
                    "On this reel or the next.",
                )
                for at in (reel.from_m, reel.to_m)
            )
    return tuple(gaps)


def _gap_total(gaps: Sequence[Gap], reel_id: str, kind: str) -> tuple[float, float]:
    """Longest and total length of one kind of gap on one reel [m]."""
    lengths = [one.to_m - one.from_m for one in gaps if one.reel_id == reel_id and one.kind == kind]
    return max(lengths, default=0.0), sum(lengths)


def _unmonitored(bench: Bench, gaps: Sequence[Gap]) -> list[Sighting]:
    """Gaps in the evidence that the plant's rule does not allow, as sightings."""
    holds = bench.plant.holds
    found = []
    for reel in bench.placed.reels:
        for kind, subject in (
            ("wall unmonitored", "the wall"),
            ("diameter unmonitored", "the diameter"),
            ("spark untested", "the spark test"),
        ):
            longest, total = _gap_total(gaps, reel.id, kind)
            share = 100.0 * total / reel.length_m
            too_long = holds.longest_unmonitored_m is not None and longest > holds.longest_unmonitored_m
            too_much = holds.unmonitored_pct is not None and share > holds.unmonitored_pct
            if not (too_long or too_much):
                continue
            detail = (
                f"{total:.1f} m of reel {reel.id} ({share:.1f} %) have none, the longest piece {longest:.1f} m; "
                f"the plant allows {holds.longest_unmonitored_m or 0:g} m at a stretch and "
                f"{holds.unmonitored_pct or 0:g} % in all"
            )
            here = [one for one in gaps if one.reel_id == reel.id and one.kind == kind]
            worst = max(here, key=lambda one: one.to_m - one.from_m)
            found.append(
                place_sighting(
                    "unmonitored", worst.from_m, worst.to_m, subject=subject, reel_id=reel.id, detail=detail
                )
            )
    return found


def _uncalibrated(bench: Bench) -> list[Sighting]:
    """Instruments whose calibration did not hold when the run ran."""
    if not bench.plant.holds.calibration_overdue:
        return []
    found: list[Sighting] = []
    instruments = {seen.instrument.id: seen.instrument for seen in bench.measured.seen.values()}
    for instrument in instruments.values():
        if in_date(instrument, bench.on):
            continue
        due = instrument.calibration_due
        detail = (
            f"due {due:%Y-%m-%d}, run on {bench.on:%Y-%m-%d}" if due else "the line sheet gives no due date"
        )
        found.extend(
            place_sighting(
                "calibration",
                reel.from_m,
                reel.to_m,
                instrument=instrument.id,
                subject=instrument.id,
                reel_id=reel.id,
                detail=detail,
            )
            for reel in bench.placed.reels
        )
    return found


def _requirement(
    bench: Bench, reel: PlacedReel, limit: Limit, failing: Sequence[Sighting]
) -> RequirementOnReel:
    """One limit held against one reel."""
    rule = rule_for(limit.requirement)
    seen = bench.seen_for(rule) if rule is not None else None
    chosen = bench.rule_of(limit.requirement)
    worst = seen.worst(reel.from_m, reel.to_m, limit.sense) if seen is not None else None
    unknown = reel.length_m
    if seen is not None:
        unknown = reel.length_m - seen.known_m(reel.from_m, reel.to_m)
    bad = sum(
        to_m - from_m
        for one in failing
        for reel_id, from_m, to_m in on_reels(one.from_m, one.to_m, (reel,))
        if reel_id == reel.id
    )
    verdict, sentence = _verdict(bench, reel, limit, seen, worst, failing, unknown)
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
        decision_rule=str(chosen),
        verdict=verdict,
        sentence=sentence,
        nonconforming_m=bad,
        known_m=reel.length_m - unknown,
        unknown_m=unknown,
    )


def _verdict(
    bench: Bench,
    reel: PlacedReel,
    limit: Limit,
    seen: Seen | None,
    worst: tuple[float, float] | None,
    failing: Sequence[Sighting],
    unknown: float,
) -> tuple[Outcome, str]:
    if seen is None:
        default = (
            f"No instrument of this line reads what '{limit.requirement}' needs; judge it on cut samples."
        )
        return "not judged", CANNOT_SEE.get(limit.requirement, default)
    if worst is None:
        return "no conclusion", f"No usable reading of {limit.requirement} lies on this reel."
    here = [one for one in failing if one.reel_id == reel.id]
    decisions = [one.decision.verdict for one in here if one.decision is not None]
    shown = f"{figure(worst[0], limit.unit)} at {worst[1] - reel.from_m:.1f} m from the reel's start"
    if Verdict.DOES_NOT_CONFORM in decisions:
        return (
            "does not conform",
            f"Worst {shown}, {limit.sense} {figure(limit.value, limit.unit)} is required.",
        )
    if here:
        return "indeterminate", f"Worst {shown} is too near the limit for the instrument's uncertainty."
    decision = decide(
        worst[0],
        seen.uncertainty,
        limit.value,
        "at least" if limit.sense == "at least" else "at most",
        bench.rule_of(limit.requirement),
    )
    allowed = bench.plant.holds.unmonitored_pct
    if allowed is not None and 100.0 * unknown / reel.length_m > allowed:
        return "no conclusion", (
            f"Worst of what was read is {shown}, but {unknown:.1f} m of {reel.length_m:.1f} m were not read."
        )
    return "conforms", f"Worst {shown}; {decision.rule}."


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
        decision_rule="",
        verdict="not judged",
        sentence=f"{missing.sentence} {missing.remedy}",
        nonconforming_m=0.0,
        known_m=0.0,
        unknown_m=reel.length_m,
    )


def _standing(
    bench: Bench,
    reel: PlacedReel,
    requirements: Sequence[RequirementOnReel],
    findings: Sequence[Finding],
) -> ReelStanding:
    """What may leave: a reel without a finding that holds it, with every requirement judged that can be."""
    here = tuple(one for one in findings if one.reel_id == reel.id)
    holding = sorted(
        (one for one in here if one.holds_release),
        key=lambda one: (SEVERITIES.index(one.severity), one.from_m),
    )
    reasons = [one.sentence for one in holding]
    faults = _faults_on(bench, reel)
    most = bench.plant.holds.spark_faults_per_reel
    if most is not None and faults > most:
        reasons.append(
            f"{faults} spark faults lie on this reel; the plant holds a reel with more than {most}."
        )
    own = [one for one in requirements if one.reel_id == reel.id]
    reasons.extend(one.sentence for one in own if one.verdict == "not judged" and not one.limit_id)
    reasons.extend(
        one.sentence for one in own if one.verdict in {"no conclusion", "indeterminate"} and not holding
    )
    action = holding[0].main.rule.advice + "." if holding else ""
    if reasons and not action:
        action = "Enter the missing limit or gather the missing evidence, then assess the run again."
    return ReelStanding(
        reel, "held" if reasons else "releasable", tuple(dict.fromkeys(reasons)), action, here
    )


def _faults_on(bench: Bench, reel: PlacedReel) -> int:
    """Spark faults on a reel, counts of one fault merged."""
    events = bench.placed.events
    if events.height == 0:
        return 0
    here = events.filter(
        (pl.col("kind") == "spark fault") & (pl.col("at_m") >= reel.from_m) & (pl.col("at_m") < reel.to_m)
    )
    return here["fault"].n_unique()


def counts_on(events: pl.DataFrame, kind: str, reel: PlacedReel) -> tuple[int, int]:
    """Events of one kind on a reel: separate ones, and logged counts."""
    if events.height == 0:
        return 0, 0
    at = events["at_m"].to_numpy()
    here = events.filter(
        (pl.col("kind") == kind)
        & pl.Series(np.nan_to_num(at, nan=-1e12) >= reel.from_m)
        & (pl.col("at_m") < reel.to_m)
    )
    return here["fault"].n_unique(), here.height

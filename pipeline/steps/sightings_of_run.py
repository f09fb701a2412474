"""Where on the wire something fails, or is not proved: what the judgement of a run is made of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipeline.length.reels import PlacedReel
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.failing_lengths import IntervalSettings, event_intervals
from pipeline.nonconformance.finding import Sighting, place_sighting
from pipeline.nonconformance.limit_sightings import (
    InstrumentReadings,
    on_reels,
    reel_at,
    reels_concerned,
    sightings,
)
from pipeline.nonconformance.rules import rule_for
from pipeline.products.limits import Limit
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Instrument
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Seen
from pipeline.steps.unmonitored import gap_sightings
from pipeline.trust.calibration import calibrations_over
from pipeline.warned import NotSeen

# Faults nearer than this are one length to cut out: no useful wire lies between them (chosen here); which counts
# are one fault is another question, see spark_merge.
FAULT_GAP_M = 15.0
# An event whose place is this many times less sure than the surest, and a metre, is told on all the wire it may be on.
WIDE_TIMES, WIDEST_M = 3.0, 10.0
# What is left between two readings by rounding alone is no wire without evidence [m].
SHORTEST_GAP_M = 0.001
# Wire taken with a splice on either side of the lump [m] (chosen here); the cutting plan's own clearance comes on top.
SPLICE_CLEAR_M = 1.0
# Without a calibration on file these hold the wire they measured; of the others only a lapsed one does.
MUST_BE_ON_FILE = (
    "encoder",
    "conductor gauge",
    "hot diameter gauge",
    "wall gauge",
    "cold diameter gauge",
    "spark tester",
)


@dataclass(frozen=True, slots=True)
class Gap:
    """Wire on a reel that the evidence does not reach (table measured.gap)."""

    reel_id: str
    kind: str
    from_m: float
    to_m: float
    told: Message


def sightings_against(bench: Bench, limit: Limit) -> tuple[Sighting, ...]:
    """Lengths of wire that fail one limit."""
    rule = rule_for(limit.requirement)
    seen = bench.seen_for(rule) if rule is not None else None
    if rule is None or seen is None:
        return ()
    read = InstrumentReadings(
        seen.instrument.id,
        seen.uncertainty,
        seen.at_m,
        seen.at_worst(limit.sense),
        seen.fit,
        seen.row,
        seen.at_best(limit.sense) if seen.bounded else None,
    )
    unsure_m = bench.checks.unsure_m.get(seen.instrument.id, 0.0)
    settings = IntervalSettings(
        leave_guard_u=bench.plant.findings.leave_guard_u,
        merge_gap_m=bench.plant.findings.merge_gap_m,
        shortest_m=bench.plant.findings.shortest_m,
        reading_extent_m=seen.extent_m,
        pad_m=seen.extent_m / 2.0 + bench.placed.placement.resolution_m + unsure_m,
        hole_m=seen.hole_m,
    )
    return sightings(rule, limit, read, bench.rule_of(limit.requirement), settings, bench.placed.reels)


def event_sightings(bench: Bench) -> list[Sighting]:
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
        usual = float(here["at_sd_m"].min() or 0.0)  # type: ignore[arg-type]
        wide = here.filter(pl.col("at_sd_m") > min(WIDE_TIMES * usual + 1.0, WIDEST_M))
        found += _wide_sightings(bench, rule_id, instrument, wide)
        here = here.filter(pl.col("at_sd_m") <= min(WIDE_TIMES * usual + 1.0, WIDEST_M))
        at = here["at_m"].to_numpy()
        unsure = float(here["at_sd_m"].max() or 0.0)  # type: ignore[arg-type]
        pad = instrument.window_m / 2.0 + 2.0 * unsure
        grouped = event_intervals(at, merge_gap_m=FAULT_GAP_M, pad_m=pad, breaks_m=edges)
        for one in grouped.iter_rows(named=True):
            part = here.filter(pl.col("at_m").is_between(one["first_m"], one["last_m"]))
            told: dict[str, Any] = {"count": part["fault"].n_unique()}
            name, column, unit = (
                ("voltage", "spark_kv", "kV") if kind == "spark fault" else ("size", "flaw_size_mm", "mm")
            )
            logged = part[column].drop_nulls()
            if logged.len():
                told[name] = Measure(float(logged.to_numpy().max()), unit)
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


def _wide_sightings(
    bench: Bench, rule_id: str, instrument: Instrument, events: pl.DataFrame
) -> list[Sighting]:
    """Events whose place is known far less well than the others', as in a gap of the log: all they may be on."""
    return [
        place_sighting(
            rule_id,
            at - instrument.window_m / 2.0 - 2.0 * sd,
            at + instrument.window_m / 2.0 + 2.0 * sd,
            instrument=instrument.id,
            readings=1,
            reel_id=reel_id,
            possible=1,
        )
        for at, sd in events.select("at_m", "at_sd_m").iter_rows()
        for reel_id in reels_concerned(at - 2.0 * sd, at + 2.0 * sd, bench.placed.reels)
    ]


def elsewhere_sightings(bench: Bench) -> list[Sighting]:
    """Spark faults and flaws at every further place they may have, where a clock was set, on all reels concerned."""
    smallest = bench.plant.holds.surface_flaw_mm
    found = []
    for one in bench.placed.elsewhere:
        spark = one.kind == "spark fault"
        instrument = bench.line.instrument("spark tester" if spark else "surface vision")
        size = None if spark else bench.placed.events["flaw_size_mm"][one.event]
        if instrument is None or (not spark and (smallest is None or size is None or size < smallest)):
            continue
        low, high = one.at_m - one.half_m, one.at_m + one.half_m
        found += [
            place_sighting(
                "spark-fault" if spark else "surface-flaw",
                low,
                high,
                instrument=instrument.id,
                readings=1,
                reel_id=reel_id,
                possible=1,
            )
            for reel_id in reels_concerned(low, high, bench.placed.reels)
        ]
    return found


def counter_sightings(bench: Bench) -> list[Sighting]:
    """Spark faults that the tester's counter counted and its list does not show, on every reel they may be on."""
    tester = bench.line.instrument("spark tester")
    if tester is None:
        return []
    return [
        place_sighting(
            "spark-fault",
            one.from_m,
            one.to_m,
            instrument=tester.id,
            readings=one.counts,
            reel_id=reel_id,
            unlisted=one.counts,
        )
        for one in bench.placed.unlisted
        for reel_id in reels_concerned(one.from_m, one.to_m, bench.placed.reels)
    ]


def gaps_of(bench: Bench) -> tuple[Gap, ...]:
    """Wire on reels without a trustworthy reading, or without a full spark test."""
    gaps = []
    exposure = bench.measured.spark
    untested = exposure.reason if isinstance(exposure, Refused) else message(NotSeen.SPARK)
    if bench.measured.seen.get("spark_kv") is None:
        untested = message(NotSeen.SPARK_NOT_LOGGED)
    kinds = (
        ("wall unmonitored", bench.measured.wall, message(NotSeen.WALL)),
        ("diameter unmonitored", bench.measured.diameter, message(NotSeen.DIAMETER)),
        *(
            (kind, seen, message(NotSeen.CONDUCTOR))
            for kind, _, seen in _conductor_that_should_be_seen(bench)
        ),
        ("spark untested", bench.measured.seen.get("spark_kv"), untested),
    )
    for reel in bench.placed.reels:
        for kind, seen, told in kinds:
            if seen is None:
                gaps.append(Gap(reel.id, kind, reel.from_m, reel.to_m, told))
                continue
            gaps.extend(
                Gap(reel.id, kind, from_m, to_m, told)
                for from_m, to_m in seen.gaps(reel.from_m, reel.to_m)
                if to_m - from_m >= SHORTEST_GAP_M
            )
        if reel.end_unsure_m > 0:
            gaps.extend(
                Gap(
                    reel.id,
                    "either reel",
                    at - reel.end_unsure_m,
                    at + reel.end_unsure_m,
                    message(NotSeen.EITHER_REEL),
                )
                for at in (reel.from_m, reel.to_m)
            )
    return tuple(gaps)


def _conductor_that_should_be_seen(bench: Bench) -> list[tuple[str, str, Seen | None]]:
    """The conductor's diameter, where a limit asks for it and the line has a gauge for it; nothing otherwise.

    Without a limit nothing is asked of it; without a gauge the requirement is not judged, and that holds the reel.
    """
    asked = any(limit.requirement == "conductor diameter" for limit in bench.limits)
    if not asked or bench.line.instrument("conductor gauge") is None:
        return []
    return [("conductor unmonitored", "the conductor", bench.measured.seen.get("conductor_mm"))]


def by_reel(gaps: Iterable[Gap]) -> dict[str, list[Gap]]:
    """Gaps by the reel they are on."""
    found: dict[str, list[Gap]] = {}
    for one in gaps:
        found.setdefault(one.reel_id, []).append(one)
    return found


def unmonitored_sightings(bench: Bench, gaps: Sequence[Gap]) -> list[Sighting]:
    """Lengths without evidence that hold their reel: all of them, unless the plant allows some in writing."""
    found = []
    on_reel = by_reel(gaps)
    for reel in bench.placed.reels:
        for kind, subject, seen in (
            ("wall unmonitored", "the wall", bench.measured.wall),
            ("diameter unmonitored", "the diameter", bench.measured.diameter),
            *_conductor_that_should_be_seen(bench),
            ("spark untested", "the spark test", bench.measured.seen.get("spark_kv")),
        ):
            pieces = [(one.from_m, one.to_m) for one in on_reel.get(reel.id, ()) if one.kind == kind]
            if pieces:
                holds = bench.plant.holds
                found += gap_sightings(
                    holds.of_spark_test if kind == "spark untested" else holds,
                    reel,
                    seen,
                    pieces,
                    subject,
                    bench.plant.findings.merge_gap_m,
                )
    return found


def calibration_sightings(bench: Bench) -> list[Sighting]:
    """Instruments of the run's readings and events whose calibration did not hold on every day it ran."""
    if not bench.plant.holds.calibration_overdue:
        return []
    found: list[Sighting] = []
    used = {one.id for one in bench.measured.read}
    if bench.placed.events.filter(pl.col("kind") == "surface flaw").height:
        used |= {one.id for one in bench.line.instruments if one.kind == "surface vision"}
    for state in calibrations_over(bench.line, bench.days):
        missing = state.state == "not on file"
        if state.trusted or state.instrument not in used or (missing and state.kind not in MUST_BE_ON_FILE):
            continue
        found.extend(
            place_sighting(
                "calibration",
                reel.from_m,
                reel.to_m,
                instrument=state.instrument,
                subject=state.instrument,
                reel_id=reel.id,
                detail=state.told,
            )
            for reel in bench.placed.reels
        )
    return found


def disagreement_sightings(bench: Bench) -> list[Sighting]:
    """Stretches of wire on reels where the instruments contradict each other."""
    found: list[Sighting] = []
    for stretch in bench.measured.agreement:
        if stretch.agreement.state != "red":
            continue
        for reel_id, from_m, to_m in on_reels(stretch.from_m, stretch.to_m, bench.placed.reels):
            if reel_id:
                found.append(
                    place_sighting(
                        "instruments-disagree",
                        from_m,
                        to_m,
                        instrument=stretch.agreement.suspect,
                        reel_id=reel_id,
                        agreement=stretch.agreement.told,
                    )
                )
    return found


def splice_sightings(bench: Bench) -> list[Sighting]:
    """Lumps that several gauges saw on the same wire: saleable lengths leave them out, with a clearance."""
    reach = SPLICE_CLEAR_M + bench.placed.placement.resolution_m
    return [
        place_sighting(
            "splice",
            one.from_m - reach,
            one.to_m + reach,
            reel_id=reel_at((one.from_m + one.to_m) / 2.0, bench.placed.reels),
            size=Measure(one.height_mm, "mm"),
            seen_by=one.seen_by,
        )
        for one in bench.checks.splices
    ]


def counts_on(
    events: pl.DataFrame, kind: str, reels: Sequence[PlacedReel], *, unsure: bool = False
) -> dict[str, tuple[int, int]]:
    """Events of one kind on each reel: separate ones, and logged counts.

    Args:
        events: the run's events, placed.
        kind: the kind.
        reels: the reels.
        unsure: whether those count too that lie beyond a reel's ends by no more than these are unsure.
    """
    if events.height == 0:
        return dict.fromkeys((reel.id for reel in reels), (0, 0))
    here = events.filter(pl.col("kind") == kind)
    at, fault = here["at_m"].to_numpy(), here["fault"].to_numpy()
    found = {}
    for reel in reels:
        reach_m = reel.end_unsure_m if unsure else 0.0
        on = fault[(at >= reel.from_m - reach_m) & (at < reel.to_m + reach_m)]
        found[reel.id] = (int(np.unique(on).size), int(on.size))
    return found

"""What else happened where something was found: unsteady wire, a change of lot, a roll, a drift, a spike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import polars as pl

from pipeline.errors import ReelproofError
from pipeline.length.steady_state import PHASE_NAMES, STEADY
from pipeline.nonconformance.cause import Circumstances, Repeat, Stretch, drift_before
from pipeline.nonconformance.finding import Finding
from pipeline.results import Refused
from pipeline.statistics.event_family import MEMBER_P, family_probabilities
from pipeline.statistics.event_repeats import RepeatSearch, search_repeats
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Floats

# Level below which a repeat is called, after every listed element is paid for (chosen here: a run's page asks some
# dozen such questions and is to make a false claim on one run in twenty at most).
REPEAT_P = 0.01
# Wire looked back over for a drift that leads to a finding [m], and the shortest finding it is looked for.
DRIFT_BACK_M = 1500.0
DRIFT_FROM_M = 50.0
# A fault is placed so much worse than usual that it has no phase (chosen here).
PLACED_TIMES = 4.0
DIRECTION = {"wall": "at least", "concentricity": "at least", "diameter": "at least"}


def turns_of(bench: Bench) -> tuple[dict[str, float], dict[str, float]]:
    """Wire length of one turn of each listed element [m], and how well it is known [%]."""
    speed = bench.placed.placement.readings["speed_m_s"].to_numpy()
    running = speed[speed > 0.5 * float(np.nanmax(speed))] if speed.size else speed
    usual = float(np.median(running)) if running.size else 0.0
    turns: dict[str, float] = {}
    tolerance: dict[str, float] = {}
    for element in bench.line.elements:
        turn = element.circumference_m or (element.period_s or 0.0) * usual
        if turn > 0:
            turns[element.id] = turn
            tolerance[element.id] = element.tolerance_pct
    return turns, tolerance


def fault_places(bench: Bench) -> tuple[list[Floats], float]:
    """Where each separate spark fault of each reel lies on the wire [m], and how well that is known [m].

    A fault that lies in a gap of the log, or has several places because a clock was set, is left out: it has no phase.
    """
    events = bench.placed.events
    if events.height == 0:
        return [], 0.0
    many = {one.event for one in bench.placed.elsewhere}
    usual = events["at_sd_m"].median()
    most = PLACED_TIMES * usual if isinstance(usual, float) else np.inf
    events = events.filter(
        ~pl.int_range(pl.len()).is_in(sorted(many)) & (pl.col("at_sd_m").fill_null(0.0) <= most)
    )
    first = (
        events.filter((pl.col("kind") == "spark fault") & pl.col("at_m").is_not_null())
        .sort("at_m")
        .group_by("fault", maintain_order=True)
        .agg(pl.col("at_m").first(), pl.col("at_sd_m").first())
    )
    if first.height == 0:
        return [], 0.0
    at = first["at_m"].to_numpy().astype(np.float64)
    middle = first["at_sd_m"].median()
    places = [at[(at >= reel.from_m) & (at < reel.to_m)] for reel in bench.placed.reels]
    return places, float(middle) if isinstance(middle, float) else 0.0


def spark_repeats(bench: Bench) -> RepeatSearch | Refused | None:
    """Whether the run's spark faults repeat with a listed element; None where there is nothing to look at."""
    tester = bench.line.instrument("spark tester")
    turns, tolerance = turns_of(bench)
    places, unsure = fault_places(bench)
    if tester is None or not turns or not places:
        return None
    try:
        return search_repeats(
            places, turns, tester.window_m, unsure, tolerance, confidence=1.0 - REPEAT_P, one_wire=True
        )
    except ReelproofError:
        return None


def circumstances_of(
    bench: Bench, findings: Sequence[Finding], repeats: RepeatSearch | Refused | None
) -> Circumstances:
    """Everything known of the run that may explain a finding."""
    phases = bench.placed.placement.phases.filter(pl.col("phase") != PHASE_NAMES[STEADY])
    hot = bench.line.instrument("hot diameter gauge")
    zone = hot.station_m if hot is not None else 0.0
    unsteady = tuple(
        Stretch(row["from_m"] - (zone if row["phase"] == "STOP" else 0.0), row["to_m"], row["phase"].lower())
        for row in phases.iter_rows(named=True)
    )
    return Circumstances(
        unsteady=unsteady,
        disagreements=tuple(
            Stretch(one.from_m, one.to_m, one.agreement.suspect, one.agreement.told)
            for one in bench.measured.agreement
            if one.agreement.state == "red"
        ),
        changes=_changes(bench),
        repeats=_repeats(bench, repeats),
        drifts=_drifts(bench, findings),
        lone_spikes=frozenset(one.row for one in bench.measured.spikes),
    )


def _changes(bench: Bench) -> tuple[Stretch, ...]:
    """Where one lot gave way to the next, with a tail over which both may be in the wire."""
    changes = []
    for material in {lot.material for lot in bench.run.lots}:
        lots = sorted(
            (lot for lot in bench.run.lots if lot.material == material), key=lambda lot: lot.from_m or 0.0
        )
        for before, after in pairwise(lots):
            if after.from_m is not None:
                name = f"{material} lot {before.lot} to {after.lot}"
                changes.append(Stretch(after.from_m, after.from_m + CHANGE_TAIL_M, name))
    return tuple(changes)


# Wire after a change of lot that the change may explain [m] (chosen here; a crosshead's own tail is longer).
CHANGE_TAIL_M = 300.0


def members_of(bench: Bench, period_m: float) -> tuple[tuple[float, float], ...]:
    """Place of each spark fault that belongs to a repeat of `period_m` [m], and the probability that it does."""
    tester = bench.line.instrument("spark tester")
    places, unsure = fault_places(bench)
    least = float(np.hypot(unsure, (tester.window_m if tester is not None else 0.0) / np.sqrt(12.0)))
    sure, ratio = family_probabilities(places, period_m, least)
    return tuple(
        (float(at), float(p))
        for one in zip(places, sure, ratio, strict=True)
        for at, p, times in zip(*one, strict=True)
        if p >= MEMBER_P and times > 1.0
    )


def _repeats(bench: Bench, found: RepeatSearch | Refused | None) -> tuple[Repeat, ...]:
    if not isinstance(found, RepeatSearch):
        return ()
    shown = (one for one in found.tested if one.p_value < REPEAT_P and not one.harmonic_of)
    return tuple(Repeat(one.period_m, one.name, members_of(bench, one.period_m)) for one in shown)[:1]


def _drifts(bench: Bench, findings: Sequence[Finding]) -> tuple[Stretch, ...]:
    drifts = []
    steady: dict[str, tuple[Floats, Floats]] = {}
    for one in findings:
        column = one.main.rule.column
        seen = bench.measured.seen.get(column)
        if seen is None or one.to_m - one.from_m < DRIFT_FROM_M or one.main.rule.family not in DIRECTION:
            continue
        if column not in steady:
            known = seen.fit & seen.steady
            steady[column] = (seen.at_m[known], seen.value[known])
        drift = drift_before(*steady[column], one, "at least", unit=one.main.rule.unit, back_m=DRIFT_BACK_M)
        if drift is not None:
            drifts.append(replace(drift, to_m=max(drift.to_m, one.to_m)))
    return tuple(drifts)

"""From a basis and the readings it names to a judgement, as rows and frames: the part that needs no store.

It runs the same in the process that owns the store, in another process and on another machine.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline.columns import WALL_CHANNELS
from pipeline.errors import ReelproofError
from pipeline.found import together
from pipeline.job.basis import Basis
from pipeline.messages import Message, message, said_json
from pipeline.products.product import find_product
from pipeline.record.judged_rows import (
    agreement_rows,
    answer_rows,
    event_rows,
    finding_rows,
    gap_rows,
    journal_record,
    lack_rows,
    limit_rows,
    reel_places,
    reel_rows,
    requirement_rows,
    warning_rows,
)
from pipeline.record.stretches_on_file import FILE as STRETCHES
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.steps.answers import answers_of
from pipeline.steps.bench import bench_of
from pipeline.steps.judge import judge_run
from pipeline.steps.line_checks import check_line
from pipeline.steps.measure import measure_run
from pipeline.steps.place import place_run
from pipeline.steps.plausible import implausible, not_concluded
from pipeline.steps.run_patterns import patterns_of
from pipeline.steps.stability import stability_sightings
from pipeline.steps.stretches import reel_summaries, stretches
from pipeline.trust.calibration import days_of_run
from pipeline.why import First, Lacking

# File name without ending -> the frame of one load.
Readings = Callable[[str], pl.DataFrame]


@dataclass(frozen=True, slots=True)
class Judgement:
    """A judgement of one run that is not on file yet.

    Args:
        basis: what it stands on.
        outcome: ``judged`` or ``no conclusion``.
        reason: why there is no conclusion; None otherwise.
        lengths: lengths of the assessment's row by column [m].
        tables: table of the store -> its rows, without the number of the assessment.
        files: file name without ending -> frame at full rate or in stretches, or its Parquet file, as bytes or on disk;
            empty where there is no conclusion.
        record: what the journal keeps of it.
        duration_s: how long it took [s].
    """

    basis: Basis
    outcome: str
    reason: Message | None
    lengths: dict[str, float]
    tables: dict[str, pl.DataFrame]
    files: Mapping[str, pl.DataFrame | bytes | Path]
    record: dict[str, Any]
    duration_s: float


def judgement_of(basis: Basis, readings_of: Readings) -> Judgement:
    """Place, measure and judge one run.

    Args:
        basis: what the judgement stands on.
        readings_of: gives the frames ``logged``, ``events`` and ``flagged`` of the load.
    """
    began = time.monotonic()
    readings, events, flagged = (readings_of(name) for name in ("logged", "events", "flagged"))
    run, line, plant = basis.run, basis.line, basis.plant
    wanted = run.product
    product = find_product(wanted.construction, wanted.size, wanted.conductor, wanted.metal)
    lacks = implausible(readings, run, line, product)
    if lacks:
        return _no_conclusion(basis, lacks, began)
    try:
        placed = place_run(readings, events, flagged, run, line)
        measured = measure_run(
            readings,
            flagged,
            placed,
            line,
            run.covering,
            product.conductor_mm,
            product.covering is not None,
            line.mass_balance(wanted.construction, wanted.size),
            plant.spark_test,
        )
        checks = check_line(readings, flagged, placed.placement, measured, run, line, product.conductor_mm)
    except ReelproofError as fault:
        return _no_conclusion(basis, not_concluded(fault.complaints), began)
    # From here on the walls' own readings are asked for, and the place of a reading in its file: let go of the rest.
    clock = readings["time_utc"]
    readings = readings.select(
        "row", "file_no", "line", *(one for one in WALL_CHANNELS if one in readings.columns)
    )
    days = days_of_run(clock[0], clock[-1], plant.zone)
    bench = bench_of(run, line, plant, product, basis.head["shift_date"], placed, measured, checks, days)
    summaries = reel_summaries(bench.measured, bench.placed, readings)
    readings, clock = readings.select("row", "file_no", "line"), clock.clear()
    patterns = patterns_of(bench)
    judged = judge_run(bench, basis.known, stability_sightings(bench, patterns))
    answers = (*answers_of(bench, judged), *patterns)
    placement = bench.placed.placement
    steady = placement.phases.filter(pl.col("phase") == "STEADY")
    return Judgement(
        basis,
        "judged",
        None,
        {
            "made_m": placement.made_m - placement.start_m,
            "steady_m": float((steady["to_m"] - steady["from_m"]).sum()),
            "on_reels_m": sum(reel.length_m for reel in bench.placed.reels),
            "scrap_m": sum(one.to_m - one.from_m for one in bench.placed.loose),
        },
        {
            "placed.reel": reel_places(bench),
            "placed.phase": placement.phases.select("from_m", "to_m", "phase"),
            "placed.counter_event": placement.counter_events.select(
                "row", "kind", "at_m", "size_m", pl.lit("").alias("sentence"), "said"
            ),
            "placed.event": event_rows(bench),
            "placed.warning": warning_rows(bench.placed.warnings),
            "measured.reel": summaries,
            "measured.agreement": agreement_rows(bench),
            "measured.gap": gap_rows(judged),
            "judged.limit": limit_rows(judged),
            "judged.requirement": requirement_rows(bench, judged),
            "judged.finding": finding_rows(bench, judged, readings),
            "judged.reel": reel_rows(bench, judged),
            "judged.lack": lack_rows({one.reel.id: one.lacks for one in judged.reels}),
            "judged.answer": answer_rows(answers),
        },
        {
            "placed": placement.readings,
            "measured": bench.measured.recorded(),
            STRETCHES: stretches(bench.measured, placement.made_m, placement.start_m),
        },
        journal_record(basis.sha256, basis.head["load_id"], judged),
        time.monotonic() - began,
    )


def _no_conclusion(basis: Basis, lacks: tuple[Lacking, ...], began: float) -> Judgement:
    """Nothing can be concluded about the run: every reel of its sheet is put down as such."""
    record = {
        "outcome": "no conclusion",
        "load_id": basis.head["load_id"],
        "basis_sha256": basis.sha256,
        "reasons": [said_json(one.told) for one in lacks],
    }
    return Judgement(
        basis,
        "no conclusion",
        together(*(one.told for one in lacks)),
        dict.fromkeys(("made_m", "steady_m", "on_reels_m", "scrap_m"), 0.0),
        {
            "judged.reel": _open_reels(basis.run),
            "judged.lack": lack_rows({reel.id: lacks for reel in basis.run.reels}),
            "placed.reel": _sheet_places(basis.run, basis.line),
        },
        {},
        record,
        time.monotonic() - began,
    )


def _open_reels(run: RunSheet) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "run_id": run.id,
                "reel_id": reel.id,
                "standing": "no conclusion",
                "reasons": [],
                "first_action": "",
                "first_said": said_json(message(First.MEND_DATA)),
                "length_m": reel.to_m - reel.from_m,
                "steady_m": 0.0,
                "wall_unmonitored_m": reel.to_m - reel.from_m,
                "diameter_unmonitored_m": reel.to_m - reel.from_m,
                "spark_untested_m": reel.to_m - reel.from_m,
                "spark_faults": 0,
                "spark_counts": 0,
                "surface_flaws": 0,
                "findings": 0,
            }
            for reel in run.reels
        ],
    )


def _sheet_places(run: RunSheet, line: LineSheet) -> pl.DataFrame:
    take_up = line.take_up_station_m
    return pl.DataFrame(
        [
            {
                "run_id": run.id,
                "reel_id": reel.id,
                "reel_no": number,
                "from_m": reel.from_m - take_up,
                "to_m": reel.to_m - take_up,
                "from_counter_m": reel.from_m,
                "to_counter_m": reel.to_m,
            }
            for number, reel in enumerate(run.reels)
        ]
    )

"""Assess: from a run on file to a judgement on file, once for each basis; earlier judgements stay."""

from __future__ import annotations

import hashlib
import json
import time
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline import __version__
from pipeline.errors import ReelproofError
from pipeline.nonconformance.numbering import KnownFinding
from pipeline.nonconformance.numbering import known as remembered
from pipeline.products.product import find_product
from pipeline.review.asking import not_on_file
from pipeline.review.finding_on_file import finding_of
from pipeline.review.journal import note, note_all
from pipeline.review.judged_rows import (
    agreement_rows,
    event_rows,
    finding_rows,
    gap_rows,
    journal_record,
    limit_rows,
    reel_places,
    reel_rows,
    requirement_rows,
    result_rows,
    sentences,
)
from pipeline.review.line_review import review_lines
from pipeline.review.loading import STORE_TURN, put_texts_on_file
from pipeline.review.reel_record import KIND as REEL
from pipeline.review.reel_record import reel_records
from pipeline.review.sealing import ASSESSMENT_TABLES, seals_of
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.plant_sheet import PlantSheet, read_plant_sheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.answers import answers_of
from pipeline.steps.bench import Bench, bench_of
from pipeline.steps.judge import Judged, judge_run
from pipeline.steps.line_checks import check_line
from pipeline.steps.load import SheetText, text_of
from pipeline.steps.measure import measure_run
from pipeline.steps.place import place_run
from pipeline.steps.plausible import implausible
from pipeline.steps.run_patterns import patterns_of
from pipeline.steps.stretches import reel_summaries, stretches
from pipeline.store.layout import folder_of
from pipeline.store.readings import read_frame, sweep, written_folder

if TYPE_CHECKING:
    from pipeline.store.database import Store

# Raised when a change of method can change a judgement, so that runs are judged again.
METHOD_VERSION = "3"


@dataclass(frozen=True, slots=True)
class AssessOutcome:
    """What an assessment came to.

    Args:
        run_id: the run.
        assessment_id: the judgement on file.
        was_new: False if the run was judged on the same basis before.
        outcome: ``judged`` or ``no conclusion``.
        reason: why there is no conclusion, "" otherwise.
        releasable: reels the evidence would let go.
        held: reels held.
        findings: findings on reels.
    """

    run_id: str
    assessment_id: int
    was_new: bool
    outcome: str
    reason: str
    releasable: int
    held: int
    findings: int


@dataclass(frozen=True, slots=True)
class _Basis:
    """What a judgement stands on, read back from the store."""

    head: dict[str, Any]
    run: RunSheet
    line: LineSheet
    plant: PlantSheet
    plant_sha256: str
    sha256: str


def assess_runs(
    store: Store,
    runs: tuple[str, ...],
    told: Callable[[str, int], None] = lambda _run, _more: None,
    plant_sheet: Path | None = None,
) -> tuple[AssessOutcome, ...]:
    """Judge the runs named, or every run on file.

    Args:
        store: the store, open to write.
        runs: runs to judge; none means all.
        told: told the run that was judged.
        plant_sheet: judge by this plant sheet instead of the one a run was loaded with, for example after a
            revision of a limit; both judgements stay on file.

    Raises:
        NotFoundError: a run is not on file.
    """
    sweep(store)
    known = [row["run_id"] for row in store.ask("questions/current_runs")]
    for run_id in runs:
        if run_id not in known:
            raise not_on_file("run", run_id, known)
    plant = read_plant_for_judging(plant_sheet) if plant_sheet is not None else None
    outcomes = []
    for run_id in runs or tuple(known):
        outcomes.append(assess_run(store, run_id, plant))
        told(run_id, 1)
    with STORE_TURN:
        review_lines(store)
    return tuple(outcomes)


def read_plant_for_judging(path: Path) -> SheetText:
    """The text of a plant sheet, once it is known to be whole.

    Raises:
        SheetError: the sheet cannot be used.
    """
    read_plant_sheet(path)
    return text_of(path, "plant")


def assess_run(store: Store, run_id: str, plant: SheetText | None = None) -> AssessOutcome:
    """Judge one run on file; a judgement on the same basis is not made twice.

    Args:
        store: the store, open to write.
        run_id: the run.
        plant: plant sheet to judge by; the one the run was loaded with where it is None.

    Raises:
        ReelproofError: the run cannot be placed at all.
    """
    began = time.monotonic()
    with STORE_TURN:
        basis = _basis(store, run_id, plant)
        earlier = store.ask("questions/assessments_of_run", run_id=run_id)
        same = [row for row in earlier if row["basis_sha256"] == basis.sha256]
        if same:
            return _outcome(store, same[-1], was_new=False)
        known = _known_findings(store, run_id)
    readings = read_frame(store, basis.head["load_folder"], "logged")
    events = read_frame(store, basis.head["load_folder"], "events")
    flagged = read_frame(store, basis.head["load_folder"], "flagged")
    wanted = basis.run.product
    product = find_product(wanted.construction, wanted.size, wanted.conductor, wanted.metal)
    reasons = implausible(readings, basis.run, basis.line, product)
    if reasons:
        with STORE_TURN:
            return _no_conclusion(store, basis, reasons, began)
    try:
        placed = place_run(readings, events, flagged, basis.run, basis.line)
    except ReelproofError as fault:
        with STORE_TURN:
            return _no_conclusion(store, basis, tuple(str(one) for one in fault.complaints), began)
    measured = measure_run(
        readings,
        flagged,
        placed,
        basis.line,
        basis.run.covering,
        product.conductor_mm,
        product.covering is not None,
        basis.line.mass_balance(wanted.construction, wanted.size),
    )
    checks = check_line(
        readings,
        flagged,
        placed.placement,
        measured,
        basis.run,
        basis.line,
        product.conductor_mm,
    )
    bench = bench_of(
        basis.run, basis.line, basis.plant, product, basis.head["shift_date"], placed, measured, checks
    )
    judged = judge_run(bench, known)
    answers = (*answers_of(bench, judged), *patterns_of(bench))
    with STORE_TURN:
        return _put_on_file(store, basis, bench, judged, answers, readings, began)


def _basis(store: Store, run_id: str, plant: SheetText | None) -> _Basis:
    head = next(row for row in store.ask("questions/current_runs") if row["run_id"] == run_id)
    if plant is not None:
        put_texts_on_file(store, (plant,))
    plant_sha256 = head["plant_sheet_sha256"] if plant is None else plant.sha256
    texts = {
        kind: tomllib.loads(store.ask("questions/sheet", sha256=sha256)[0]["text"])
        for kind, sha256 in (
            ("run", head["run_sheet_sha256"]),
            ("line", head["line_sheet_sha256"]),
            ("plant", plant_sha256),
        )
    }
    whole = json.dumps([head["load_id"], plant_sha256, METHOD_VERSION, __version__], separators=(",", ":"))
    return _Basis(
        head,
        RunSheet.model_validate(texts["run"]["run"]),
        LineSheet.model_validate(texts["line"]["line"]),
        PlantSheet.model_validate(texts["plant"]),
        plant_sha256,
        hashlib.sha256(whole.encode()).hexdigest(),
    )


def _known_findings(store: Store, run_id: str) -> tuple[KnownFinding, ...]:
    """Every finding the run ever had, as last seen."""
    return tuple(remembered(finding_of(row)) for row in store.ask("questions/known_findings", run_id=run_id))


def _outcome(store: Store, row: dict[str, Any], *, was_new: bool) -> AssessOutcome:
    standings = [
        one["standing"]
        for one in store.ask("questions/reels_of_assessment", assessment_id=row["assessment_id"])
    ]
    findings = store.ask("questions/findings_of_assessment", assessment_id=row["assessment_id"])
    return AssessOutcome(
        row["run_id"],
        row["assessment_id"],
        was_new,
        row["outcome"],
        row["reason"],
        standings.count("releasable"),
        standings.count("held"),
        len(findings),
    )


def _assessment_row(
    basis: _Basis, assessment_id: int, outcome: str, reason: str, began: float, **lengths: float
) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "assessment_id": assessment_id,
            "run_id": basis.run.id,
            "load_id": basis.head["load_id"],
            "basis_sha256": basis.sha256,
            "plant_sheet_sha256": basis.plant_sha256,
            "method_version": METHOD_VERSION,
            "software": __version__,
            "assessed_utc": datetime.now(UTC).replace(tzinfo=None),
            "outcome": outcome,
            "reason": reason,
            "made_m": lengths.get("made_m", 0.0),
            "steady_m": lengths.get("steady_m", 0.0),
            "on_reels_m": lengths.get("on_reels_m", 0.0),
            "scrap_m": lengths.get("scrap_m", 0.0),
            "folder": _folder(basis, assessment_id) if outcome == "judged" else "",
            "duration_s": time.monotonic() - began,
        }
    )


def _folder(basis: _Basis, assessment_id: int) -> str:
    day = basis.head["shift_date"]
    return folder_of(basis.head["plant"], basis.head["line"], day, basis.run.id, assessment_id=assessment_id)


def _next_id(store: Store) -> int:
    return int(store.ask("questions/next_assessment_id")[0]["assessment_id"])


def _no_conclusion(store: Store, basis: _Basis, reasons: tuple[str, ...], began: float) -> AssessOutcome:
    """Nothing can be concluded about the run: every reel of its sheet is put down as such."""
    assessment_id = _next_id(store)
    reason = " ".join(reasons)
    reels = pl.DataFrame(
        [
            {
                "run_id": basis.run.id,
                "reel_id": reel.id,
                "standing": "no conclusion",
                "reasons": list(reasons),
                "first_action": "Mend what the reason names, load the run again and assess it.",
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
            for reel in basis.run.reels
        ]
    ).with_columns(pl.lit(assessment_id, pl.Int32).alias("assessment_id"))
    take_up = basis.line.take_up_station_m
    places = pl.DataFrame(
        [
            {
                "run_id": basis.run.id,
                "reel_id": reel.id,
                "reel_no": number,
                "from_m": reel.from_m - take_up,
                "to_m": reel.to_m - take_up,
                "from_counter_m": reel.from_m,
                "to_counter_m": reel.to_m,
            }
            for number, reel in enumerate(basis.run.reels)
        ]
    ).with_columns(pl.lit(assessment_id, pl.Int32).alias("assessment_id"))
    row = _assessment_row(basis, assessment_id, "no conclusion", reason, began)
    with store.transaction():
        store.append("judged.assessment", row)
        store.append("judged.reel", reels)
        store.append("placed.reel", places)
        record = {"load_id": basis.head["load_id"], "basis_sha256": basis.sha256, "reasons": list(reasons)}
        _note(store, basis.run.id, assessment_id, "", {"outcome": "no conclusion", **record})
    return _outcome(store, row.row(0, named=True), was_new=True)


def _put_on_file(
    store: Store,
    basis: _Basis,
    bench: Bench,
    judged: Judged,
    answers: tuple[AnswerRow, ...],
    readings: pl.DataFrame,
    began: float,
) -> AssessOutcome:
    assessment_id = _next_id(store)
    placement = bench.placed.placement
    steady = placement.phases.filter(pl.col("phase") == "STEADY")
    row = _assessment_row(
        basis,
        assessment_id,
        "judged",
        "",
        began,
        made_m=placement.made_m - placement.start_m,
        steady_m=float((steady["to_m"] - steady["from_m"]).sum()),
        on_reels_m=sum(reel.length_m for reel in bench.placed.reels),
        scrap_m=sum(one.to_m - one.from_m for one in bench.placed.loose),
    )
    frames = {"placed": placement.readings, "measured": bench.measured.frame}

    def mine(frame: pl.DataFrame) -> pl.DataFrame:
        return frame.with_columns(pl.lit(assessment_id, pl.Int32).alias("assessment_id"))

    with written_folder(store, row["folder"][0], frames), store.transaction():
        store.append("judged.assessment", row)
        store.append("placed.reel", mine(reel_places(bench)))
        store.append("placed.phase", mine(placement.phases.select("from_m", "to_m", "phase")))
        store.append(
            "placed.counter_event",
            mine(placement.counter_events.select("row", "kind", "at_m", "size_m", "sentence")),
        )
        store.append("placed.event", mine(event_rows(bench)))
        store.append("placed.warning", mine(sentences(bench.placed.warnings)))
        store.append("measured.stretch", mine(stretches(bench.measured, placement.made_m, placement.start_m)))
        store.append("measured.reel", mine(reel_summaries(bench.measured, bench.placed)))
        store.append("measured.agreement", mine(agreement_rows(bench)))
        store.append("measured.gap", mine(gap_rows(judged)))
        store.append("judged.limit", mine(limit_rows(judged)))
        store.append("judged.requirement", mine(requirement_rows(bench, judged)))
        store.append("judged.finding", mine(finding_rows(bench, judged, readings)))
        store.append("judged.reel", mine(reel_rows(bench, judged)))
        store.append("judged.result", mine(result_rows(answers)))
        record = journal_record(basis.sha256, basis.head["load_id"], judged)
        _note(store, basis.run.id, assessment_id, row["folder"][0], record)
    return _outcome(store, row.row(0, named=True), was_new=True)


def _note(store: Store, run_id: str, assessment_id: int, folder: str, record: dict[str, Any]) -> None:
    """Put the judgement into the journal, sealed: with the hashes of its rows and files; then each reel of it."""
    seals = seals_of(store, ASSESSMENT_TABLES, folder, assessment_id=assessment_id)
    note(
        store,
        "assessment",
        run_id,
        {"assessment_id": assessment_id, "folder": folder, "seals": seals, **record},
    )
    note_all(store, REEL, reel_records(store, assessment_id))

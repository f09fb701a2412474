"""Assess: from a run on file to a judgement on file, once for each basis; earlier judgements stay."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline import __version__
from pipeline.found import together
from pipeline.job.alone import refusal_of
from pipeline.job.basis import METHOD_VERSION, basis_of, basis_sha256
from pipeline.job.line_review import review_lines
from pipeline.job.load_on_file import put_texts_on_file
from pipeline.job.loading import STORE_TURN
from pipeline.job.plant_in_force import runs_it_is_for
from pipeline.job.processes import give_back
from pipeline.job.side_by_side import judged_ahead
from pipeline.messages import Message, message, said_json
from pipeline.reasons import Reason
from pipeline.record.journal_on_file import note, note_all
from pipeline.record.not_found import not_on_file
from pipeline.record.reel_record import KIND as REEL
from pipeline.record.reel_record import reel_records
from pipeline.record.sealing import ASSESSMENT_TABLES, seals_of
from pipeline.results import complaint_told
from pipeline.sheets.plant_sheet import read_plant_sheet
from pipeline.steps.load import SheetText, text_of
from pipeline.store.layout import folder_of
from pipeline.store.readings import (
    read_frame,
    run_thinned,
    sweep,
    thinned_folders,
    thinning_of,
    written_folder,
)
from pipeline.store.said_columns import reason_of

if TYPE_CHECKING:
    from pipeline.job.judging import Judgement
    from pipeline.store.database import Store


NOT_AGAIN = "not judged again"


@dataclass(frozen=True, slots=True)
class AssessOutcome:
    """What an assessment came to.

    Args:
        run_id: the run.
        assessment_id: the judgement on file.
        was_new: False if the run's newest judgement stands on the same basis.
        outcome: ``judged``, ``no conclusion`` or ``not judged again``.
        reason: why there is no conclusion or no new judgement; None otherwise.
        releasable: reels the evidence would let go.
        held: reels held.
        findings: findings on reels.
    """

    run_id: str
    assessment_id: int
    was_new: bool
    outcome: str
    reason: Message | None
    releasable: int
    held: int
    findings: int


NOT_JUDGED = "could not be judged"


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
        plant_sheet: judge by this plant sheet, for example after a revision of a limit, and by it from then on;
            earlier judgements stay on file. Runs of other plants are left alone.

    Returns:
        what came of each; a run that could not be judged is `NOT_JUDGED` with the reason, and stops no other.

    Raises:
        NotFoundError: a run is not on file.
        SheetError: the plant sheet is of another plant than a run that was named, or than every run.
    """
    sweep(store)
    heads = {row["run_id"]: row for row in store.ask("questions/current_runs")}
    for run_id in runs:
        if run_id not in heads:
            raise not_on_file("run", run_id, list(heads))
    plant = read_plant_for_judging(plant_sheet) if plant_sheet is not None else None
    outcomes = []
    meant = {head["run_id"] for head in runs_it_is_for(heads.values(), runs, plant)}
    wanted = tuple(one for one in dict.fromkeys(runs or heads) if one in meant)
    # Asked once for all: a store of years has ten thousand runs, and nearly all of them are as they were.
    judged = _judged_on_file(store)
    as_it_was = {
        run_id: judged[run_id][1]
        for run_id in wanted
        if run_id in judged and judged[run_id][0] == basis_sha256(heads[run_id], plant)
    }
    thinned = thinned_folders(store)
    new = [heads[run_id] for run_id in wanted if run_id not in as_it_was]
    with judged_ahead(store, [one for one in new if one["load_folder"] not in thinned], plant) as ahead:
        for run_id in wanted:
            earlier = as_it_was.get(run_id)
            try:
                outcomes.append(
                    _assessed(store, run_id, plant, ahead(run_id)) if earlier is None else earlier
                )
            except Exception as fault:
                refused = refusal_of(fault, f"run {run_id}")
                reason = together(*(complaint_told(one) for one in refused.complaints))
                outcomes.append(AssessOutcome(run_id, 0, False, NOT_JUDGED, reason, 0, 0, 0))
            told(run_id, 1)
    with STORE_TURN:
        review_lines(store)
    return tuple(outcomes)


def _assessed(
    store: Store, run_id: str, plant: SheetText | None, judgement: Judgement | None
) -> AssessOutcome:
    """Put the judgement of a run on file; where there is none, judge it first."""
    if judgement is None:
        outcome = assess_run(store, run_id, plant)
        give_back()
        return outcome
    with STORE_TURN:
        return put_judgement_on_file(store, judgement, plant)


def _judged_on_file(store: Store) -> dict[str, tuple[str, AssessOutcome]]:
    """The newest judgement of each run, with its basis."""
    return {
        row["run_id"]: (
            row["basis_sha256"],
            AssessOutcome(
                row["run_id"],
                row["assessment_id"],
                False,
                row["outcome"],
                reason_of(row),
                row["releasable"],
                row["held"],
                row["findings"],
            ),
        )
        for row in store.ask("questions/outcomes_on_file")
    }


def read_plant_for_judging(path: Path) -> SheetText:
    """The text of a plant sheet, once it is known to be whole.

    Raises:
        SheetError: the sheet cannot be used.
    """
    from pipeline.steps.bench import rules_of

    rules_of(read_plant_sheet(path))
    return text_of(path, "plant")


def assess_run(store: Store, run_id: str, plant: SheetText | None = None) -> AssessOutcome:
    """Judge one run on file, unless its newest judgement stands on the same basis.

    Args:
        store: the store, open to write.
        run_id: the run.
        plant: plant sheet to judge by; that of its newest judgement, else of its load, where it is None.

    Raises:
        ReelproofError: the run cannot be placed at all.
    """
    with STORE_TURN:
        (head,) = store.ask("questions/current_run", run_id=run_id)
        wanted = basis_sha256(head, plant)
        earlier = store.ask("questions/assessments_of_run", run_id=run_id)
        # Only the newest counts: a sheet put back after a revision is judged by again, and is then in force.
        if earlier and earlier[-1]["basis_sha256"] == wanted:
            return _outcome(store, earlier[-1], was_new=False)
        refused = thinned_reason(store, head["load_folder"])
        if refused:
            return _not_again(store, earlier, refused)
        basis = basis_of(store, head, plant)
    from pipeline.job.judging import judgement_of  # here, so that nobody waits for it where nothing is new

    judgement = judgement_of(basis, lambda file: read_frame(store, head["load_folder"], file))
    with STORE_TURN:
        return put_judgement_on_file(store, judgement, plant)


def thinned_reason(store: Store, load_folder: str) -> Message | None:
    """Why a load cannot be judged again, None where it can."""
    row = thinning_of(store, load_folder)
    return None if row is None else together(run_thinned(row), message(Reason.JUDGMENT_STAYS))


def _not_again(store: Store, earlier: list[dict[str, Any]], reason: Message) -> AssessOutcome:
    """A run that cannot be judged again, with what its newest judgement says."""
    was = _outcome(store, earlier[-1], was_new=False)
    return replace(was, outcome=NOT_AGAIN, reason=reason)


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
        reason_of(row),
        standings.count("releasable"),
        standings.count("held"),
        len(findings),
    )


def put_judgement_on_file(store: Store, judgement: Judgement, plant: SheetText | None) -> AssessOutcome:
    """Append a judgement, its full-rate frames and its journal entry, as a whole or not at all.

    Args:
        store: the store, open to write.
        judgement: made on the basis of this store.
        plant: plant sheet it was judged by; None for the one the run was loaded with.
    """
    assessment_id = int(store.ask("questions/next_assessment_id")[0]["assessment_id"])
    row = _assessment_row(judgement, assessment_id)
    folder = row["folder"][0]
    run_id = judgement.basis.run.id
    with written_folder(store, folder, judgement.files), store.transaction():
        if plant is not None:
            put_texts_on_file(store, (plant,))
        store.append("judged.assessment", row)
        for table, rows in judgement.tables.items():
            store.append(table, rows.with_columns(pl.lit(assessment_id, pl.Int32).alias("assessment_id")))
        _note(store, run_id, assessment_id, folder, judgement.record)
    return _outcome(store, row.row(0, named=True), was_new=True)


def _assessment_row(judgement: Judgement, assessment_id: int) -> pl.DataFrame:
    basis, head = judgement.basis, judgement.basis.head
    plant, line, day = head["plant"], head["line"], head["shift_date"]
    return pl.DataFrame(
        {
            "assessment_id": assessment_id,
            "run_id": basis.run.id,
            "load_id": head["load_id"],
            "basis_sha256": basis.sha256,
            "plant_sheet_sha256": basis.plant_sha256,
            "method_version": METHOD_VERSION,
            "software": __version__,
            "assessed_utc": datetime.now(UTC).replace(tzinfo=None),
            "outcome": judgement.outcome,
            "reason": "",
            "said": "" if judgement.reason is None else said_json(judgement.reason),
            **judgement.lengths,
            "folder": folder_of(plant, line, day, basis.run.id, assessment_id=assessment_id)
            if judgement.files
            else "",
            "duration_s": judgement.duration_s,
        }
    )


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

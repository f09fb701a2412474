"""Seal: the journal holds a hash of every row and file that a load, judgement or decision put on file."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.errors import Complaint, ReelproofError
from pipeline.record.journal_on_file import last_after_clock, note
from pipeline.regular_file import opened_regular
from pipeline.store.layout import path_of

if TYPE_CHECKING:
    from pipeline.store.database import Store

# Table -> the question that gives its rows for one load or one assessment, in an order that does not vary.
LOAD_TABLES: dict[str, str] = {
    "logged.load": "questions/load",
    "logged.file": "questions/files_of_load",
    "logged.file_growth": "questions/growth_of_load",
    "logged.set_aside": "questions/all_set_aside_of_load",
    "logged.flag_count": "questions/flag_counts_of_load",
    "logged.material": "questions/materials_of_load",
    "logged.warning": "questions/warnings_of_load",
}
ASSESSMENT_TABLES: dict[str, str] = {
    "judged.assessment": "questions/assessment",
    "placed.reel": "questions/places_of_assessment",
    "placed.phase": "questions/phases_of_assessment",
    "placed.counter_event": "questions/counter_events_of_assessment",
    "placed.event": "questions/events_of_assessment",
    "placed.warning": "questions/placing_warnings_of_assessment",
    "measured.stretch": "questions/stretches_of_assessment",
    "measured.reel": "questions/reel_summaries_of_assessment",
    "measured.agreement": "questions/agreement_of_assessment",
    "measured.gap": "questions/gaps_of_assessment",
    "judged.limit": "questions/limits_of_assessment",
    "judged.requirement": "questions/requirements_of_assessment",
    "judged.finding": "questions/findings_of_assessment",
    "judged.reel": "questions/reels_of_assessment",
    "judged.lack": "questions/lacks_of_assessment",
    "judged.answer": "questions/results_of_assessment",
}
LINE_TABLES: dict[str, str] = {
    "judged.line_review": "questions/line_review",
    "judged.line_answer": "questions/line_results",
    "judged.control_chart": "questions/line_charts",
    "judged.line_point": "questions/line_points",
    "judged.line_signal": "questions/line_signals",
}
# Kind of journal entry -> the table whose rows such an entry keeps, and the question that gives them.
ENTRY_TABLES: dict[str, dict[str, str]] = {
    "disposition": {"journal.act": "questions/acts_of_entry"},
    "cut": {"placed.cut": "questions/cuts_of_entry"},
    "shipment": {"journal.shipment": "questions/shipments_of_entry"},
    "thinning": {"logged.thinning": "questions/thinnings_of_entry"},
    "sample": {"journal.sample": "questions/samples_of_entry"},
}


def frame_sha256(frame: pl.DataFrame) -> str:
    """Hash of a frame's names, kinds and values, row by row in their order, hexadecimal."""
    whole = hashlib.sha256()
    ordered = frame.sort(pl.all()) if frame.height and not _has_lists(frame) else _sorted_by_text(frame)
    for name in sorted(ordered.columns):
        column = ordered[name]
        whole.update(f"{name}:{column.null_count()}".encode())
        if column.dtype == pl.Float64:
            whole.update(np.ascontiguousarray(column.to_numpy(), dtype="<f8").tobytes())
            whole.update(column.is_null().to_numpy().tobytes())
        elif column.dtype.is_integer() and column.null_count() == 0:
            whole.update(column.cast(pl.Int64).to_numpy().astype("<i8").tobytes())
        else:
            whole.update(json.dumps(column.to_list(), default=str, ensure_ascii=False).encode())
    return whole.hexdigest()


def _has_lists(frame: pl.DataFrame) -> bool:
    return any(isinstance(kind, pl.List) for kind in frame.dtypes)


def _sorted_by_text(frame: pl.DataFrame) -> pl.DataFrame:
    if frame.height < 2:
        return frame
    texts = [json.dumps(row, default=str, ensure_ascii=False, sort_keys=True) for row in frame.to_dicts()]
    return frame[sorted(range(len(texts)), key=texts.__getitem__)]


def file_sha256(path: Path) -> str:
    """Hash of a file's bytes, hexadecimal."""
    with opened_regular(path) as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def seals_of(store: Store, tables: dict[str, str], folder: str, **key: object) -> dict[str, dict[str, str]]:
    """Hashes of everything one load or judgement put into the store: its rows by table, its files by name.

    Args:
        store: the store.
        tables: table -> question.
        folder: its folder of readings, "" where it has none.
        key: ``load_id`` or ``assessment_id``.
    """
    rows = {table: frame_sha256(store.ask_frame(question, **key)) for table, question in tables.items()}
    files: dict[str, str] = {}
    if folder:
        home = path_of(store, folder)
        files = {path.name: file_sha256(path) for path in sorted(home.glob("*.parquet"))}
    return {"rows": rows, "files": files}


def note_sealed(
    store: Store, kind: str, subject: str, rows: pl.DataFrame, record: dict[str, Any], folder: str = ""
) -> int:
    """Append rows that one journal entry keeps, and that entry, inside the caller's transaction.

    Args:
        store: the store, open to write.
        kind: a kind of `ENTRY_TABLES`.
        subject: what it happened to.
        rows: the rows, without their ``entry_no``.
        record: what else the entry keeps: text, whole numbers, and lists and objects of these.
        folder: the folder of readings it keeps the hashes of, "" for none.

    Returns:
        number of the entry.
    """
    last = last_after_clock(store)
    entry_no = 1 + (last.entry_no if last else 0)
    ((table, _),) = ENTRY_TABLES[kind].items()
    store.append(table, rows.with_columns(pl.lit(entry_no, pl.Int64).alias("entry_no")))
    seals = seals_of(store, ENTRY_TABLES[kind], folder, entry_no=entry_no)
    home = {"folder": folder} if folder else {}
    if note(store, kind, subject, {**record, **home, "seals": seals}) != entry_no:
        raise ReelproofError(
            Complaint(
                "journal", "the clock was set back this moment; nothing was noted", "Run the command again"
            )
        )
    return entry_no

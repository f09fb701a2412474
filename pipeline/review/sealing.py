"""Seal and verify: the journal holds a hash of every row and file a load or judgement put into the store.

A row changed behind the program's back no longer has the hash its journal entry keeps, and the journal's own
chain shows whether an entry was changed. What this shows is *unchanged since written*, not *true when written*.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.review.journal import broken_entries, journal_of
from pipeline.steps.load import text_sha256
from pipeline.store.readings import READINGS

if TYPE_CHECKING:
    from pipeline.store.database import Store

# Table -> the question that gives its rows for one load or one assessment, in an order that does not vary.
LOAD_TABLES: dict[str, str] = {
    "logged.load": "questions/load",
    "logged.file": "questions/files_of_load",
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
    "measured.gap": "questions/gaps_of_assessment",
    "judged.limit": "questions/limits_of_assessment",
    "judged.requirement": "questions/requirements_of_assessment",
    "judged.finding": "questions/findings_of_assessment",
    "judged.reel": "questions/reels_of_assessment",
    "judged.result": "questions/results_of_assessment",
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
    with path.open("rb") as file:
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
    home = store.folder / READINGS / folder
    files = {path.name: file_sha256(path) for path in sorted(home.glob("*.parquet"))} if folder else {}
    return {"rows": rows, "files": files}


def changes_in(store: Store) -> tuple[str, ...]:
    """Everything in the store that is not as the journal says it was written, a sentence each."""
    told = [one.sentence for one in broken_entries(store)]
    told += [
        f"the text of {row['kind']} sheet {row['name']} no longer has its hash {row['sha256'][:12]}."
        for row in store.ask("questions/sheet_texts")
        if text_sha256(row["text"]) != row["sha256"]
    ]
    for entry in journal_of(store):
        try:
            record: dict[str, Any] = json.loads(entry.record)["record"]
        except (json.JSONDecodeError, KeyError, TypeError):
            continue  # the chain has already told of this entry
        if entry.kind == "load":
            told += _changed(store, record, LOAD_TABLES, f"run {entry.subject}, load", "load_id")
        elif entry.kind == "assessment":
            told += _changed(
                store, record, ASSESSMENT_TABLES, f"run {entry.subject}, assessment", "assessment_id"
            )
    return tuple(told)


def _changed(store: Store, record: dict[str, Any], tables: dict[str, str], what: str, key: str) -> list[str]:
    number = record[key]
    now = seals_of(store, tables, record["folder"], **{key: number})
    then = record["seals"]
    told = [
        f"{what} {number}: rows of {table} are not as they were written."
        for table, digest in then["rows"].items()
        if now["rows"].get(table) != digest
    ]
    for name, digest in then["files"].items():
        if name not in now["files"]:
            told.append(f"{what} {number}: the file {record['folder']}/{name} is missing.")
        elif now["files"][name] != digest:
            told.append(f"{what} {number}: the file {record['folder']}/{name} is not as it was written.")
    return told

"""Load: from a run sheet to a run on file, once for each content."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline import __version__
from pipeline.errors import ReelproofError, StoreError
from pipeline.flags import BY_CODE
from pipeline.review.growing import (
    QUIET_S,
    LogNow,
    files_before,
    growth_rows,
    held_back,
    is_same_reading,
    look_at_logs,
    told_of,
)
from pipeline.review.journal import note
from pipeline.review.sealing import LOAD_TABLES, seals_of
from pipeline.steps.load import Loaded, RunSheets, SheetText, find_run_sheets, load_run, read_run_sheets
from pipeline.store.layout import folder_of
from pipeline.store.readings import sweep, thinning_of, written_folder

if TYPE_CHECKING:
    from pipeline.logs.log_rows import FilesBefore
    from pipeline.store.database import Store

# One connection, one writer: threads that review runs side by side take turns at the store.
STORE_TURN = threading.Lock()
# Logs of more bytes than this are read by way of scratch files in the store, so that memory need not hold them.
LONG_LOGS_BYTES = 200_000_000
_UNPACKS_TO = 8
SCRATCH = "scratch"


@dataclass(frozen=True, slots=True)
class LoadOutcome:
    """What a load came to.

    Args:
        run_id: the run.
        load_id: its load on file.
        was_new: False if the same content was on file already.
        supersedes: the earlier load of this run whose content differed, or None.
        rows_read: rows read from all logs.
        rows_kept: rows kept as readings or events.
        rows_set_aside: lines set aside with a reason.
        rows_new: of the rows read, those that are not of an earlier load.
        told: sentences about files that grew or changed, and lines held back.
        plant_sheet: the plant sheet that the run sheet names; None where it was not looked at.
        plant_sha256: hash of its text as it stands now.
    """

    run_id: str
    load_id: int
    was_new: bool
    supersedes: int | None
    rows_read: int
    rows_kept: int
    rows_set_aside: int
    rows_new: int = 0
    told: tuple[str, ...] = ()
    plant_sheet: Path | None = None
    plant_sha256: str = ""


def load_sheet(
    store: Store, path: Path, on_rows: Callable[[int], None] | None = None, quiet_s: float = QUIET_S
) -> LoadOutcome:
    """Load the run of the run sheet `path` into `store`; content already on file is left as it is.

    Of a log that has grown since the last load only the new rows are read; the load holds the whole run all the same.

    Args:
        store: the store, open to write.
        path: the run sheet.
        on_rows: told how many more rows were read.
        quiet_s: how long a file must have rested for a last line without a line end to be taken as it stands [s].

    Raises:
        ReelproofError: a sheet or log cannot be used; nothing of the run is then on file.
    """
    sheets = read_run_sheets(path)
    with STORE_TURN:
        head, files = _last_load(store, sheets.run.id)
    logs = look_at_logs(sheets, files, time.time(), quiet_s)
    content = sheets.content_sha256(log.now.sha256 for log in logs)
    if head is not None and head["content_sha256"] == content:
        return LoadOutcome(
            head["run_id"],
            head["load_id"],
            False,
            None,
            head["rows_read"],
            head["rows_kept"],
            head["rows_set_aside"],
            told=held_back(logs),
            plant_sheet=sheets.plant_path,
            plant_sha256=sheets.texts[2].sha256,
        )
    with STORE_TURN:
        goes_on = (
            head is not None
            and is_same_reading(sheets, head, _plant_text(store, head))
            and thinning_of(store, head["folder"]) is None
        )
        before = files_before(store, sheets, logs, head if goes_on else None)
    with _scratch(store, logs, sheets) as scratch:
        loaded = load_run(sheets, on_rows, scratch, before)
        with STORE_TURN:
            return _put_on_file(store, _New(loaded, content, logs, before, head))


def _last_load(store: Store, run_id: str) -> tuple[dict[str, Any] | None, list[dict[str, Any]]]:
    """The last load of a run and its files."""
    earlier = store.ask("questions/loads_of_run", run_id=run_id)
    if not earlier:
        return None, []
    load_id = earlier[-1]["load_id"]
    return store.ask("questions/load", load_id=load_id)[0], store.ask(
        "questions/files_of_load", load_id=load_id
    )


def _plant_text(store: Store, head: dict[str, Any]) -> str:
    return str(store.ask("questions/sheet", sha256=head["plant_sheet_sha256"])[0]["text"])


@contextmanager
def _scratch(store: Store, logs: tuple[LogNow, ...], sheets: RunSheets) -> Iterator[Path | None]:
    """A folder for scratch files where the logs may not fit into memory, else None; gone afterwards."""
    size = sum(
        log.now.bytes * (1 if path.suffix.lower() in {".csv", ".txt", ".log", ".tsv"} else _UNPACKS_TO)
        for log, (_, path) in zip(logs, sheets.files, strict=True)
    )
    if size < LONG_LOGS_BYTES:
        yield None
        return
    folder = store.folder / SCRATCH
    try:
        yield folder
    finally:
        with suppress(OSError):
            folder.rmdir()


def load_sheets(
    store: Store,
    paths: tuple[Path, ...],
    told: Callable[[str, int], None] = lambda _what, _more: None,
    quiet_s: float = QUIET_S,
) -> tuple[tuple[LoadOutcome, ...], list[str]]:
    """Load every run below `paths`; a run that cannot be loaded does not stop the others.

    Args:
        store: the store, open to write.
        paths: run sheets, or folders with run sheets below them.
        told: told the run under way and how many more rows were read.
        quiet_s: how long a file must have rested for a last line without a line end to be taken as it stands [s].

    Returns:
        What each load came to, and the sentences about the runs that could not be loaded.
    """
    sweep(store)
    outcomes: list[LoadOutcome] = []
    refused: list[str] = []
    for path in find_run_sheets(paths):
        name = path.parent.name
        try:
            outcomes.append(
                load_sheet(store, path, lambda rows, name=name: told(name, rows), quiet_s)  # type: ignore[misc]
            )
        except ReelproofError as fault:
            if isinstance(fault, StoreError):
                raise
            refused.extend(str(one) for one in fault.complaints)
    return tuple(outcomes), refused


@dataclass(frozen=True, slots=True)
class _New:
    """A load that is to be put on file, what it was read from, and the load before it."""

    loaded: Loaded
    content_sha256: str
    files: tuple[LogNow, ...]
    before: FilesBefore
    head: dict[str, Any] | None


def _put_on_file(store: Store, new: _New) -> LoadOutcome:
    loaded, head = new.loaded, new.head
    supersedes = None if head is None else int(head["load_id"])
    run, logs = loaded.sheets.run, loaded.logs
    load_id = int(store.ask("questions/next_load_id")[0]["load_id"])
    folder = folder_of(run.plant, run.line, loaded.shift_date, run.id, load_id=load_id)
    totals = {
        name: sum(getattr(file, name) for file in logs.files)
        for name in ("rows_read", "rows_kept", "rows_set_aside")
    }
    frames = {"logged": logs.readings, "events": logs.events, "flagged": logs.flagged}
    if logs.lines.width:
        frames["lines"] = logs.lines
    growth = growth_rows(logs, new.files, new.before, load_id, supersedes)
    told = told_of(
        new.files, dict(growth.select("file_no", "rows_new").iter_rows()), new.before, is_first=head is None
    )
    with written_folder(store, folder, frames), store.transaction():
        store.append("logged.load", _load_row(new, load_id, folder, totals))
        store.append("logged.file", _file_rows(loaded, load_id))
        store.append("logged.file_growth", growth)
        store.append("logged.set_aside", _of_load(logs.set_aside, load_id))
        store.append("logged.flag_count", _flag_counts(logs.flagged, load_id))
        store.append("logged.material", _material_rows(loaded.sheets, load_id))
        store.append(
            "logged.warning",
            pl.DataFrame(
                {"load_id": load_id, "sentence": [*logs.warnings, *told]},
                schema={"load_id": pl.Int32, "sentence": pl.String},
            ),
        )
        put_texts_on_file(store, loaded.sheets.texts)
        note(
            store,
            "load",
            run.id,
            {
                "load_id": load_id,
                "folder": folder,
                "content_sha256": new.content_sha256,
                "seals": seals_of(store, LOAD_TABLES, folder, load_id=load_id),
                "files": [{"name": file.name, "sha256": file.sha256} for file in logs.files],
                "supersedes": supersedes,
                **totals,
            },
        )
    return LoadOutcome(
        run.id,
        load_id,
        True,
        supersedes,
        **totals,
        rows_new=int(growth["rows_new"].sum()),
        told=told,
        plant_sheet=loaded.sheets.plant_path,
        plant_sha256=loaded.sheets.texts[2].sha256,
    )


def _load_row(new: _New, load_id: int, folder: str, totals: dict[str, int]) -> pl.DataFrame:
    loaded, sheets, run = new.loaded, new.loaded.sheets, new.loaded.sheets.run
    return pl.DataFrame(
        {
            "load_id": load_id,
            "run_id": run.id,
            "content_sha256": new.content_sha256,
            "run_sheet_sha256": sheets.texts[0].sha256,
            "line_sheet_sha256": sheets.texts[1].sha256,
            "plant_sheet_sha256": sheets.texts[2].sha256,
            "plant": run.plant,
            "line": run.line,
            "construction": sheets.product.construction,
            "size": sheets.product.size.name,
            "conductor": run.product.conductor,
            "metal": run.product.metal,
            "colour": run.product.colour,
            "shift": loaded.shift,
            "shift_date": loaded.shift_date,
            "operator_role": run.operator_role,
            "note": run.note,
            "started_utc": loaded.started,
            "ended_utc": loaded.ended,
            "folder": folder,
            "loaded_utc": datetime.now(UTC).replace(tzinfo=None),
            "software": __version__,
            **totals,
        }
    )


def _file_rows(loaded: Loaded, load_id: int) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "load_id": load_id,
                "file_no": file.file_no,
                "name": file.name,
                "kind": file.kind,
                "sha256": file.sha256,
                "bytes": file.bytes,
                "rows_read": file.rows_read,
                "rows_kept": file.rows_kept,
                "rows_set_aside": file.rows_set_aside,
            }
            for file in loaded.logs.files
        ]
    )


def _of_load(frame: pl.DataFrame, load_id: int) -> pl.DataFrame:
    return frame.with_columns(pl.lit(load_id, pl.Int32).alias("load_id"))


def _flag_counts(flagged: pl.DataFrame, load_id: int) -> pl.DataFrame:
    counted = flagged.group_by("channel", "flag").agg(pl.len().alias("readings")).sort("channel", "flag")
    names = [BY_CODE[code].name for code in counted["flag"]]
    return _of_load(counted, load_id).with_columns(pl.Series("reason", names, pl.String))


def _material_rows(sheets: RunSheets, load_id: int) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "load_id": load_id,
                "material": lot.material,
                "lot": lot.lot,
                "from_m": lot.from_m,
                "to_m": lot.to_m,
            }
            for lot in sheets.run.lots
        ],
        schema={
            "load_id": pl.Int32,
            "material": pl.String,
            "lot": pl.String,
            "from_m": pl.Float64,
            "to_m": pl.Float64,
        },
    )


def put_texts_on_file(store: Store, texts: tuple[SheetText, ...]) -> None:
    """Keep the text of every sheet once, by its hash."""
    known = {row["sha256"] for row in store.ask("questions/sheets_on_file")}
    store.append(
        "logged.sheet",
        pl.DataFrame(
            [
                {"sha256": text.sha256, "kind": text.kind, "name": text.name, "text": text.text}
                for text in {text.sha256: text for text in texts}.values()
                if text.sha256 not in known
            ],
            schema={"sha256": pl.String, "kind": pl.String, "name": pl.String, "text": pl.String},
        ),
    )

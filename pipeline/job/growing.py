"""What became of a run's log files since its last load, and which of their rows need not be read again.

A log that is still being written is read as far as its last line end: a half-written line is held back until it is
finished, or until the file has rested for `QUIET_S` and is taken as it stands. A file that begins with the bytes loaded
before has grown, and only its new rows are read; any other difference is a new version of it, read as a whole. A
compressed log grows as any other where its logger adds to its end. Parquet, and a compressed file that is packed anew,
have other bytes each time: they are new versions. An event list is short, and is read as a whole.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline import __version__
from pipeline.log_notes import LogNote
from pipeline.logs.earlier_rows import earlier_file
from pipeline.logs.grown_file import FileNow, FileOnRecord, bytes_of_whole_lines, compare_with_record
from pipeline.logs.log_rows import FilesBefore
from pipeline.messages import Message, as_written, message, said_json
from pipeline.store.readings import scan_frame

if TYPE_CHECKING:
    from pipeline.logs.run_logs import LoadedRun
    from pipeline.steps.load import RunSheets
    from pipeline.store.database import Store

# Loggers write a line in one go or hold back a few kilobytes; a file at rest for so long is taken as it stands.
QUIET_S = 60.0
PLAIN_LOGS = frozenset({".csv", ".txt", ".log", ".tsv"})
# How much larger than itself a packed log is taken to be.
UNPACKS_TO = 8


@dataclass(frozen=True, slots=True)
class LogNow:
    """A log file as it is, against the run's last load.

    Args:
        name: its name in the run.
        now: what became of it, and the bytes to read.
        record_no: its number in the last load; None if it was not in it.
        held_back: bytes of a half-written last line that are left for a later load.
    """

    name: str
    now: FileNow
    record_no: int | None
    held_back: int


def look_at_logs(
    sheets: RunSheets, records: list[dict[str, Any]], now_s: float, quiet_s: float = QUIET_S
) -> tuple[LogNow, ...]:
    """Every log file of the run, in the order of its number.

    Args:
        sheets: the run's sheets.
        records: the files of its last load; none if there is no load.
        now_s: the present [s since 1970].
        quiet_s: how long a file must have rested to be taken as it stands [s].

    Raises:
        LogError: a file cannot be opened.
    """
    known = {(row["kind"], row["name"]): row for row in reversed(records)}
    found = []
    for log, path in sheets.files:
        name = path.relative_to(sheets.folder).as_posix() if path.is_relative_to(sheets.folder) else str(path)
        row = known.get((log.kind, name))
        record = None if row is None else FileOnRecord(row["sha256"], row["bytes"])
        state = path.stat()
        size = state.st_size
        if now_s - state.st_mtime < quiet_s:
            size = bytes_of_whole_lines(path, log.encoding)
        now = compare_with_record(path, record, size)
        held_back = max(0, state.st_size - size)
        found.append(LogNow(name, now, None if row is None else row["file_no"], held_back))
    return tuple(found)


def told_of(
    logs: tuple[LogNow, ...], new_rows: dict[int, int], before: FilesBefore, *, is_first: bool
) -> tuple[Message, ...]:
    """What is said of files that grew, changed or came since the last load, and about lines held back.

    Args:
        logs: the files.
        new_rows: rows this load read, by file number.
        before: what was read of the files before.
        is_first: True if the run was never loaded before.
    """
    told = []
    for number, log in enumerate(logs):
        if log.now.growth == "grown" and number in before.earlier:
            told.append(message(LogNote.GREW, file=log.name, rows=new_rows[number]))
        elif log.now.growth == "grown":
            told.append(message(LogNote.GREW_READ_WHOLE, file=log.name))
        elif log.now.growth == "changed":
            told.append(message(LogNote.NEW_VERSION, file=log.name))
        elif log.now.growth == "new" and not is_first:
            told.append(message(LogNote.NEW_FILE, file=log.name))
    return (*told, *held_back(logs))


def held_back(logs: tuple[LogNow, ...]) -> tuple[Message, ...]:
    """What a user must know of half-written last lines."""
    return tuple(message(LogNote.HELD_BACK, file=log.name) for log in logs if log.held_back)


def is_same_reading(sheets: RunSheets, head: dict[str, Any], plant_text: str) -> bool:
    """True if the last load was read by the same sheets, clock and program, so that its rows are those of today."""
    plant = tomllib.loads(plant_text)["plant"]
    return bool(
        head["run_sheet_sha256"] == sheets.texts[0].sha256
        and head["line_sheet_sha256"] == sheets.texts[1].sha256
        and head["software"] == __version__
        and plant["zone"] == sheets.plant.plant.zone
    )


def files_before(
    store: Store, sheets: RunSheets, logs: tuple[LogNow, ...], head: dict[str, Any] | None
) -> FilesBefore:
    """How much of each file is to be read, and what was read of it before.

    Args:
        store: the store.
        sheets: the run's sheets.
        logs: the files as they are.
        head: the last load where its rows are those of today; None if there is none.
    """
    limits = {number: log.now.bytes for number, log in enumerate(logs)}
    if head is None:
        return FilesBefore(limits)
    growths = {row["file_no"]: row for row in store.ask("questions/growth_of_load", load_id=head["load_id"])}
    aside = _aside_of(store, head["load_id"])
    earlier = {}
    for number, (log, (mapping, _)) in enumerate(zip(logs, sheets.files, strict=True)):
        growth = growths.get(-1 if log.record_no is None else log.record_no)
        if growth is None or log.now.growth not in {"same", "grown"} or mapping.kind != "readings":
            continue
        if growth["resume_line"] > 0 and growth["clock"]:
            earlier[number] = earlier_file(
                scan_frame(store, head["folder"], "logged" if mapping.long is None else "lines"),
                aside,
                growth["file_no"],
                growth["resume_line"],
                growth["clock"],
                tuple((tag, int(lines)) for tag, lines in json.loads(growth["passed_over"])),
            )
    return FilesBefore(limits, earlier)


def _aside_of(store: Store, load_id: int) -> pl.DataFrame:
    """Lines that a load set aside; what an earlier version wrote of them is kept as written."""
    frame = store.ask_frame("questions/all_set_aside_of_load", load_id=load_id)
    written = pl.Series([said_json(as_written(one)) for one in frame["reason"]], dtype=pl.String)
    return frame.with_columns(pl.col("said").fill_null(written))


def growth_rows(
    loaded: LoadedRun, logs: tuple[LogNow, ...], before: FilesBefore, load_id: int, from_load_id: int | None
) -> pl.DataFrame:
    """Rows of ``logged.file_growth``: what of each file was loaded before, and what is new."""
    rows = []
    for file, log in zip(loaded.files, logs, strict=True):
        earlier = before.earlier.get(file.file_no)
        kept, aside = (0, 0) if earlier is None else (earlier.rows_kept, earlier.set_aside.height)
        rows.append(
            {
                "load_id": load_id,
                "file_no": file.file_no,
                "growth": log.now.growth,
                "from_load_id": None if earlier is None else from_load_id,
                "rows_before": kept + aside,
                "kept_before": kept,
                "set_aside_before": aside,
                "rows_new": file.rows_read - kept - aside,
                "kept_new": file.rows_kept - kept,
                "set_aside_new": file.rows_set_aside - aside,
                "resume_line": file.resume_line,
                "clock": file.clock,
                "passed_over": json.dumps(file.passed_over),
            }
        )
    return pl.DataFrame(rows, infer_schema_length=None)

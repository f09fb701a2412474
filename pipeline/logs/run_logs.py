"""Every log of a run as one table of readings and one of events, with flags, lines set aside and files.

Nothing is judged and nothing is lost: every row of every file is kept as logged or set aside with its reason.

Event lists of a run, spark faults and surface flaws, as one table in the order of the wire.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.columns import CHANNELS
from pipeline.errors import Complaint, LogError
from pipeline.logs.log_rows import (
    CLOCK_FLAGGED,
    KEY_US,
    NOTHING_BEFORE,
    SET_ASIDE,
    UTC,
    FilesBefore,
    LogRows,
    ReadFile,
    read_log,
)
from pipeline.logs.parse_block import TIME_US
from pipeline.logs.plausible_clock import ClockedLog, clock_complaints, clock_notes
from pipeline.logs.row_checks.every_check import flag_readings
from pipeline.messages import Message
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import LogFile, RunSheet

EVENT_SCHEMA: dict[str, pl.DataType] = {
    "event": pl.UInt32(),
    "file_no": pl.UInt16(),
    "line": pl.UInt32(),
    "kind": pl.String(),
    "time_utc": pl.Datetime("us", "UTC"),
    "counter_m": pl.Float64(),
    "spark_kv": pl.Float64(),
    "flaw_size_mm": pl.Float64(),
    "flaw_class": pl.String(),
}
_KINDS = {"spark faults": "spark fault", "surface flaws": "surface flaw"}


def events_of(lists: list[tuple[str, pl.DataFrame]]) -> pl.DataFrame:
    """The events of every list, numbered in the order of time, or of length where a list gives no times.

    Args:
        lists: kind of the list as the run sheet says it, and its rows.
    """
    parts = [pl.DataFrame(schema=EVENT_SCHEMA)]
    for kind, rows in lists:
        if rows.height == 0:
            continue
        have = rows.rename({"class": "flaw_class"}, strict=False)
        parts.append(
            have.select(
                *(
                    pl.col(name).cast(dtype) if name in have.columns else pl.lit(None, dtype).alias(name)
                    for name, dtype in EVENT_SCHEMA.items()
                    if name not in {"event", "kind"}
                ),
                kind=pl.lit(_KINDS[kind]),
            )
        )
    whole = pl.concat(parts, how="diagonal")
    by_time = whole["time_utc"].null_count() <= whole["counter_m"].null_count()
    order = ["time_utc", "counter_m"] if by_time else ["counter_m", "time_utc"]
    return (
        whole.sort(*order, "file_no", "line", nulls_last=True, maintain_order=True)
        .with_columns(event=pl.int_range(pl.len(), dtype=pl.UInt32))
        .select(list(EVENT_SCHEMA))
    )


__all__ = ["FilesBefore", "LoadedRun", "ReadFile", "read_logs"]


@dataclass(frozen=True, slots=True)
class LoadedRun:
    """A run as logged.

    Args:
        readings: columns of `pipeline.columns.LOGGED` that any log carries; ``row`` counts in time order.
        events: columns of `pipeline.columns.EVENTS`, in the order of the wire.
        flagged: readings that must not be used, with the channel and the code of the reason.
        set_aside: lines that could not be kept, with their reasons.
        files: every file with its hash and counts.
        warnings: what a reader of the run must know.
        lines: lines of long tables as they were read, for files that may yet grow; without columns if there are none.
    """

    readings: pl.DataFrame
    events: pl.DataFrame
    flagged: pl.DataFrame
    set_aside: pl.DataFrame
    files: tuple[ReadFile, ...]
    warnings: tuple[Message, ...]
    lines: pl.DataFrame


def read_logs(
    sheet: RunSheet,
    line: LineSheet,
    folder: Path,
    zone: str,
    on_rows: Callable[[int], None] | None = None,
    scratch: Path | None = None,
    before: FilesBefore = NOTHING_BEFORE,
) -> LoadedRun:
    """Every log that the run sheet names, read, put on one clock and checked row by row.

    Args:
        sheet: the run.
        line: its line, for the resolution and noise of the instruments.
        folder: the folder the log files' names start from.
        zone: the plant's IANA zone, for local times of logs that name none.
        on_rows: told how many more rows were read, for a progress bar.
        scratch: a folder with room for the logs unpacked, where they may not fit into memory; the columns of the
            readings then lie in a file there, unlinked already, that the operating system pages in when asked.
        before: what is known of the files before they are read: bytes to read, and rows that were read already.

    Raises:
        LogError: with what is wrong with every log that cannot be read.
    """
    logs: list[tuple[LogFile, LogRows]] = []
    complaints: list[Complaint] = []
    file_no = 0
    for log in sheet.logs:
        try:
            logs.append((log, read_log(log, folder, zone, file_no, on_rows, scratch, before)))
        except LogError as fault:
            complaints.extend(fault.complaints)
        file_no += len(log.files)
    if complaints:
        raise LogError(complaints)
    clocked = [_clocked(log, read) for log, read in logs if "time_utc" in read.rows.columns]
    complaints.extend(clock_complaints(clocked))
    if complaints:
        raise LogError(complaints)
    readings = _readings([read for log, read in logs if log.kind == "readings"])
    clock = pl.concat(
        [pl.DataFrame(schema=CLOCK_FLAGGED), *(read.clock for log, read in logs if log.kind == "readings")]
    )
    flagged = flag_readings(readings, clock, sheet, line)
    events = events_of([(log.kind, read.rows) for log, read in logs if log.kind != "readings"])
    return LoadedRun(
        readings=readings,
        events=events,
        flagged=flagged,
        set_aside=pl.concat([pl.DataFrame(schema=SET_ASIDE), *(read.set_aside for _, read in logs)]),
        files=tuple(file for _, read in logs for file in read.files),
        warnings=(*(note for _, read in logs for note in read.notes), *clock_notes(clocked)),
        lines=_lines([read.lines for _, read in logs if read.lines is not None]),
    )


def _lines(parts: list[pl.DataFrame]) -> pl.DataFrame:
    columns = (pl.col("file_no", "line", TIME_US), pl.col("channel").cast(pl.String), pl.col("value"))
    return pl.concat([part.select(*columns) for part in parts]) if parts else pl.DataFrame()


def _clocked(log: LogFile, read: LogRows) -> ClockedLog:
    rows = read.rows.select(name for name in ("time_utc", "counter_m") if name in read.rows.columns)
    if rows["time_utc"].null_count():
        rows = rows.drop_nulls("time_utc")
    if not rows["time_utc"].is_sorted():
        rows = rows.sort("time_utc", maintain_order=True)
    return ClockedLog(
        name=", ".join(log.files),
        kind=log.kind,
        times_us=rows["time_utc"].to_physical().to_numpy(),
        counter_m=rows["counter_m"].to_numpy() if "counter_m" in rows.columns else None,
    )


def _readings(logs: list[LogRows]) -> pl.DataFrame:
    """All readings in the order of time, numbered."""
    whole = logs[0].rows if len(logs) == 1 else pl.concat([log.rows for log in logs], how="diagonal")
    if len(logs) > 1 or not whole[KEY_US].is_sorted():
        whole = whole.sort(KEY_US, "file_no", "line", maintain_order=True)
    channels = [column.name for column in CHANNELS if column.name in whole.columns]
    return whole.select(
        pl.int_range(pl.len(), dtype=pl.UInt32).alias("row"),
        "file_no",
        "line",
        pl.col("time_utc").cast(UTC),
        *channels,
    )

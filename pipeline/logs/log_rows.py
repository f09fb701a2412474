"""One log of a run, of one file or several in sequence, as rows with an instant in UTC and a sort key."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.flags import CLOCK_STEP, TIME_BACKWARDS
from pipeline.logs.local_time import utc_from_local
from pipeline.logs.log_plan import LogPlan
from pipeline.logs.overlap import without_overlap
from pipeline.logs.parse_block import AWARE, TIME_US
from pipeline.logs.sequence import row_order
from pipeline.logs.text_log import FileEnd, TextLog
from pipeline.sheets.run_sheet import LogFile

KEY_US = "_key_us"
SET_ASIDE = {"file_no": pl.UInt16, "line": pl.UInt32, "reason": pl.String, "text": pl.String}
CLOCK_FLAGGED = {"file_no": pl.UInt16, "line": pl.UInt32, "flag": pl.UInt8}
UTC = pl.Datetime("us", "UTC")


@dataclass(frozen=True, slots=True)
class ReadFile:
    """One log file as it was read; ``rows_read == rows_kept + rows_set_aside``.

    Args:
        file_no: number of the file in the run, from 0, in the order of the run sheet.
        name: its name in the run sheet.
        kind: readings, or which events.
        sha256: hash of the file as it stands on disk.
        bytes: its size on disk.
        rows_read: rows read, blank lines and the header not counted.
        rows_kept: rows read as the mapping says.
        rows_set_aside: rows set aside with a reason.
    """

    file_no: int
    name: str
    kind: str
    sha256: str
    bytes: int
    rows_read: int
    rows_kept: int
    rows_set_aside: int


@dataclass(frozen=True, slots=True)
class LogRows:
    """The rows of one log.

    Args:
        rows: ``file_no``, ``line``, ``time_utc``, ``_key_us`` and a column a channel, as the files have them.
        set_aside: lines set aside.
        clock: rows with something wrong about their clock: file_no, line, flag.
        files: the files.
        notes: sentences for the reader of the run.
    """

    rows: pl.DataFrame
    set_aside: pl.DataFrame
    clock: pl.DataFrame
    files: tuple[ReadFile, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _FileRows:
    rows: pl.DataFrame
    set_aside: pl.DataFrame
    clock: pl.DataFrame
    end: FileEnd
    notes: tuple[str, ...]


def read_log(
    log: LogFile, folder: Path, zone: str, first_file_no: int, on_rows: Callable[[int], None] | None = None
) -> LogRows:
    """Every file of `log`, read and put on the clock of UTC.

    Args:
        log: the mapping.
        folder: the folder file names start from.
        zone: the plant's zone.
        first_file_no: number of the log's first file in the run.
        on_rows: told how many more rows were read.

    Raises:
        LogError: a file cannot be read as the mapping says.
    """
    parts: list[_FileRows] = []
    before_us: int | None = None
    for place, name in enumerate(log.files):
        part = _read_file(log, folder / name, name, zone, first_file_no + place, before_us, on_rows)
        parts.append(part)
        if TIME_US in part.rows.columns and part.rows.height:
            before_us = part.rows[TIME_US].drop_nulls().last()  # type: ignore[assignment]
    files = [
        ReadFile(
            first_file_no + place,
            log.files[place],
            log.kind,
            part.end.sha256,
            part.end.bytes,
            part.end.rows_read,
            part.end.rows_kept,
            part.end.rows_set_aside,
        )
        for place, part in enumerate(parts)
    ]
    rows, doubled, notes = without_overlap([part.rows for part in parts], log, folder)
    if doubled.height:
        counts = dict(doubled.group_by("file_no").len().iter_rows())
        files = [
            replace(
                file,
                rows_kept=file.rows_kept - counts.get(file.file_no, 0),
                rows_set_aside=file.rows_set_aside + counts.get(file.file_no, 0),
            )
            for file in files
        ]
    return LogRows(
        rows=_with_utc(rows),
        set_aside=pl.concat([*(part.set_aside for part in parts), doubled]),
        clock=pl.concat([part.clock for part in parts]),
        files=tuple(files),
        notes=(*(note for part in parts for note in part.notes), *notes),
    )


def _read_file(
    log: LogFile,
    path: Path,
    name: str,
    zone: str,
    file_no: int,
    before_us: int | None,
    on_rows: Callable[[int], None] | None,
) -> _FileRows:
    source = TextLog(path, log, zone)
    rows: list[pl.DataFrame] = []
    aside: list[pl.DataFrame] = []
    for block in source.blocks():
        rows.append(block.rows)
        aside.append(block.set_aside)
        if on_rows is not None:
            on_rows(block.rows.height + block.set_aside.height)
    assert source.plan is not None and source.end is not None  # noqa: S101 - set by reading to the end
    frame = pl.concat([_no_rows(source.plan), *rows])
    number = pl.lit(file_no, pl.UInt16).alias("file_no")
    set_aside = pl.concat(aside).select(number, pl.all()) if aside else pl.DataFrame(schema=SET_ASIDE)
    notes: list[str] = []
    if source.end.open_ended and log.kind == "readings":
        notes.append(f"{name}: the last line does not end in a line end; it is read as it stands.")
    clock = pl.DataFrame(schema=CLOCK_FLAGGED)
    if TIME_US in frame.columns:
        frame, told = _on_utc(frame, source, name, before_us)
        notes += told
        frame, clock, told = _in_order(frame, file_no, name)
        notes += told
    return _FileRows(frame.with_columns(number), set_aside, clock, source.end, tuple(notes))


def _no_rows(plan: LogPlan) -> pl.DataFrame:
    """The columns of a file, with no row in them."""
    schema: dict[str, type[pl.DataType]] = {"line": pl.UInt32}
    if plan.time is not None:
        schema |= {TIME_US: pl.Int64, AWARE: pl.Boolean}
    schema |= {one.channel: pl.Float64 for one in plan.numbers if one.index >= 0}
    named = (("class", plan.classes), ("tag", plan.tag), ("value", plan.value), ("quality", plan.quality))
    return pl.DataFrame(schema=schema | {name: pl.String for name, text in named if text is not None})


def _on_utc(
    frame: pl.DataFrame, source: TextLog, name: str, before_us: int | None
) -> tuple[pl.DataFrame, list[str]]:
    """Times of a local clock moved to UTC."""
    aware = frame[AWARE]
    frame = frame.drop(AWARE)
    local = ~aware & frame[TIME_US].is_not_null()
    if not local.any() or source.plan is None:
        return frame, []
    rows = np.flatnonzero(local.to_numpy())
    us = frame[TIME_US].fill_null(0).to_numpy()
    moved = utc_from_local(us if rows.size == us.size else us[rows], source.plan.zone, before_us)
    whole = moved.us
    if rows.size != us.size:
        whole = us.copy()
        whole[rows] = moved.us
    times = pl.Series(TIME_US, whole)
    if frame[TIME_US].null_count():
        times = times.set(frame[TIME_US].is_null(), None)
    return frame.with_columns(times), [f"{name}: {note}" for note in moved.notes]


def _in_order(frame: pl.DataFrame, file_no: int, name: str) -> tuple[pl.DataFrame, pl.DataFrame, list[str]]:
    """A sort key for the rows of a file, and what is wrong with its clock."""
    if frame[TIME_US].null_count():
        return frame.with_columns(pl.col(TIME_US).alias(KEY_US)), pl.DataFrame(schema=CLOCK_FLAGGED), []
    order = row_order(
        frame[TIME_US].to_numpy(), _floats(frame, "counter_m"), _floats(frame, "line_speed_m_s"), name
    )
    frame = frame.with_columns(pl.Series(KEY_US, order.key_us))
    lines = frame["line"].to_numpy()
    flagged = [
        pl.DataFrame(
            {"file_no": file_no, "line": lines[rows], "flag": flag.code}, schema_overrides=CLOCK_FLAGGED
        )
        for rows, flag in ((order.backwards, TIME_BACKWARDS), (order.steps, CLOCK_STEP))
        if rows.size
    ]
    return frame, pl.concat([pl.DataFrame(schema=CLOCK_FLAGGED), *flagged]), list(order.notes)


def _floats(frame: pl.DataFrame, name: str) -> NDArray[np.float64] | None:
    return frame[name].to_numpy() if name in frame.columns else None


def _with_utc(rows: pl.DataFrame) -> pl.DataFrame:
    if TIME_US not in rows.columns:
        return rows
    return rows.with_columns(
        pl.col(TIME_US).cast(pl.Datetime("us")).dt.replace_time_zone("UTC").alias("time_utc")
    ).drop(TIME_US)

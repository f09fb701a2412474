"""One log of a run, of one file or several in sequence, as rows with an instant in UTC and a sort key."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import chain
from pathlib import Path
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.flags import CLOCK_STEP, DUPLICATE, TIME_BACKWARDS
from pipeline.log_notes import LogNote
from pipeline.logs.earlier_rows import ClockKind, EarlierFile, earlier_blocks
from pipeline.logs.local_time import local_from_utc, utc_from_local
from pipeline.logs.log_plan import LogPlan, mapped
from pipeline.logs.long_table import late_lines, one_row_an_instant
from pipeline.logs.open_log import is_parquet
from pipeline.logs.overlap import doubled_rows, without_overlap
from pipeline.logs.parquet_log import ParquetLog
from pipeline.logs.parse_block import AWARE, PASSED_OVER, TIME_US
from pipeline.logs.scratch_rows import rows_on_disk
from pipeline.logs.sequence import row_order
from pipeline.logs.text_log import FileEnd, TextLog
from pipeline.messages import Message, message
from pipeline.sheets.run_sheet import LogFile

KEY_US = "_key_us"
SET_ASIDE = {"file_no": pl.UInt16, "line": pl.UInt32, "said": pl.String, "text": pl.String}
CLOCK_FLAGGED = {"file_no": pl.UInt16, "line": pl.UInt32, "flag": pl.UInt8}
UTC = pl.Datetime("us", "UTC")


@dataclass(frozen=True, slots=True)
class ReadFile:
    """One log file as it was read; ``rows_read == rows_kept + rows_set_aside``.

    Args:
        file_no: number of the file in the run, from 0, in the order of the run sheet.
        name: its name in the run sheet.
        kind: readings, or which events.
        sha256: hash of the bytes read, which are the whole file unless it was being written.
        bytes: how many those are.
        rows_read: rows read, blank lines and the header not counted.
        rows_kept: rows read as the mapping says.
        rows_set_aside: rows set aside with a reason.
        resume_line: from this line on the file must be read again once it has grown; 0 for all of it.
        clock: whether its times are instants or those of a local clock; "" if that differs from row to row.
        passed_over: lines of a long table before `resume_line` with a tag that is not mapped, by tag.
    """

    file_no: int
    name: str
    kind: str
    sha256: str
    bytes: int
    rows_read: int
    rows_kept: int
    rows_set_aside: int
    resume_line: int = 0
    clock: ClockKind | Literal[""] = ""
    passed_over: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class LogRows:
    """The rows of one log.

    Args:
        rows: ``file_no``, ``line``, ``time_utc``, ``_key_us`` and a column a channel, as the files have them.
        set_aside: lines set aside.
        clock: rows with something wrong about their clock: file_no, line, flag.
        files: the files.
        notes: what a reader of the run must know.
        lines: of a long table, its lines as they were read: file_no, line, time [us of UTC], channel and value.
    """

    rows: pl.DataFrame
    set_aside: pl.DataFrame
    clock: pl.DataFrame
    files: tuple[ReadFile, ...]
    notes: tuple[Message, ...]
    lines: pl.DataFrame | None = None


@dataclass(frozen=True, slots=True)
class FilesBefore:
    """What is known of a run's files before they are read, by the number of the file.

    Args:
        limits: how many bytes to read of a file, where it is still being written.
        earlier: what was read of a file before it grew.
    """

    limits: Mapping[int, int] = field(default_factory=dict)
    earlier: Mapping[int, EarlierFile] = field(default_factory=dict)


NOTHING_BEFORE = FilesBefore()


_PART = 1 << 18


@dataclass(frozen=True, slots=True)
class _FileRows:
    rows: pl.DataFrame
    set_aside: pl.DataFrame
    clock: pl.DataFrame
    end: FileEnd
    kind: ClockKind | Literal[""]
    notes: tuple[Message, ...]


def read_log(
    log: LogFile,
    folder: Path,
    zone: str,
    first_file_no: int,
    on_rows: Callable[[int], None] | None = None,
    scratch: Path | None = None,
    before: FilesBefore = NOTHING_BEFORE,
) -> LogRows:
    """Every file of `log`, read and put on the clock of UTC.

    Args:
        log: the mapping.
        folder: the folder file names start from.
        zone: the plant's zone.
        first_file_no: number of the log's first file in the run.
        on_rows: told how many more rows were read.
        scratch: folder for a scratch file, where the rows may not fit into memory.
        before: what is known of the files before they are read.

    Raises:
        LogError: a file cannot be read as the mapping says.
    """
    parts: list[_FileRows] = []
    before_us: int | None = None
    for place, name in enumerate(log.files):
        reading = _Reading(log, folder, name, zone, first_file_no + place, on_rows, before)
        part = _read_file(reading, before_us, scratch)
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
            part.end.resume_line if part.kind else 0,
            part.kind,
            part.end.passed_over,
        )
        for place, part in enumerate(parts)
    ]
    rows, doubled, notes = without_overlap([part.rows for part in parts], log, folder)
    lines = None
    if log.long is not None:
        lines = rows
        rows, told = _pivoted(rows, log)
        notes += told
    if doubled.height:
        counts = dict(doubled.group_by("file_no").len().iter_rows())
        files = [
            replace(
                file,
                rows_kept=file.rows_kept - counts.get(file.file_no, 0),
                rows_set_aside=file.rows_set_aside + counts.get(file.file_no, 0),
                # What stands in two files was taken out of one, and is there only in the file itself.
                resume_line=0,
            )
            for file in files
        ]
    return LogRows(
        rows=_with_utc(rows),
        set_aside=pl.concat([*(part.set_aside for part in parts), doubled]),
        clock=pl.concat([part.clock for part in parts]),
        files=tuple(files),
        notes=(*(note for part in parts for note in part.notes), *notes),
        lines=lines,
    )


def log_source(
    path: Path, log: LogFile, zone: str, limit: int | None = None, earlier: EarlierFile | None = None
) -> ParquetLog | TextLog:
    """The reader for what the file `path` is; of a text log that grew, for its new rows.

    Raises:
        LogError: the file cannot be opened.
    """
    return ParquetLog(path, log, zone) if is_parquet(path) else TextLog(path, log, zone, limit, earlier)


class _Reading:
    """One file being read: its rows as they come, what else comes of them kept aside."""

    def __init__(
        self,
        log: LogFile,
        folder: Path,
        name: str,
        zone: str,
        file_no: int,
        on_rows: Callable[[int], None] | None,
        before: FilesBefore,
    ) -> None:
        self.log, self.name, self.file_no = log, name, file_no
        self.set_aside = [pl.DataFrame(schema=SET_ASIDE)]
        self.passed_over = [pl.DataFrame(schema=PASSED_OVER)]
        self._earlier = before.earlier.get(file_no)
        self._source = log_source(folder / name, log, zone, before.limits.get(file_no), self._earlier)
        self._on_rows = on_rows

    def rows(self) -> Iterator[pl.DataFrame]:
        """The rows of the file, a block at a time; one frame without rows comes first."""
        number = pl.lit(self.file_no, pl.UInt16).alias("file_no")
        blocks = self._source.blocks()
        # The header is read with the first block, so the columns are known only then.
        first = next(blocks, None)
        yield _no_rows(self.plan)
        if self._earlier is not None:
            self.set_aside.append(self._earlier.set_aside.select(number, pl.all()))
            self.passed_over.append(
                pl.DataFrame(list(self._earlier.passed_over), schema=PASSED_OVER, orient="row")
            )
            yield from earlier_blocks(self._earlier, self.plan)
        for block in chain([] if first is None else [first], blocks):
            self.set_aside.append(block.set_aside.select(number, pl.all()))
            self.passed_over.append(block.passed_over)
            if self._on_rows is not None:
                self._on_rows(block.kept + block.set_aside.height)
            yield block.rows

    @property
    def plan(self) -> LogPlan:
        assert self._source.plan is not None  # noqa: S101 - known from the first block on
        return self._source.plan

    @property
    def end(self) -> FileEnd:
        assert self._source.end is not None  # noqa: S101 - known after the last block
        return self._source.end


def _read_file(reading: _Reading, before_us: int | None, scratch: Path | None) -> _FileRows:
    log, name = reading.log, reading.name
    # One piece a column, so that later steps need not copy it to work on it.
    frame = (
        pl.concat(reading.rows(), rechunk=True)
        if scratch is None or log.kind != "readings" or log.long is not None
        else rows_on_disk(reading.rows(), scratch)
    )
    notes: list[Message] = []
    if reading.end.open_ended and log.kind == "readings":
        notes.append(message(LogNote.OPEN_END, file=name))
    notes += _told_of(pl.concat(reading.passed_over), name)
    clock = pl.DataFrame(schema=CLOCK_FLAGGED)
    kind: ClockKind | Literal[""] = ""
    if TIME_US in frame.columns:
        frame, told, kind = _on_utc(frame, reading.plan, name, before_us)
        notes += told
        if log.kind == "readings" and log.long is None:
            frame, clock, told = _in_order(frame, reading.file_no, name)
            notes += told
    numbered = frame.with_columns(pl.lit(reading.file_no, pl.UInt16).alias("file_no"))
    return _FileRows(numbered, pl.concat(reading.set_aside), clock, reading.end, kind, tuple(notes))


def _no_rows(plan: LogPlan) -> pl.DataFrame:
    """The columns of a file, with no row in them."""
    schema: dict[str, type[pl.DataType]] = {"line": pl.UInt32}
    if plan.time is not None:
        schema |= {TIME_US: pl.Int64, AWARE: pl.Boolean}
    if plan.long is not None:
        channels = pl.Enum([one.channel for one in plan.numbers])
        return pl.DataFrame(schema={**schema, "channel": channels, "value": pl.Float64})
    schema |= {one.channel: pl.Float64 for one in plan.numbers}
    return pl.DataFrame(schema=schema | ({} if plan.classes is None else {"class": pl.String}))


def _told_of(passed_over: pl.DataFrame, name: str) -> list[Message]:
    """What is said of lines of a long table whose tag is not mapped."""
    if passed_over.height == 0:
        return []
    tags = (
        passed_over.group_by("tag").agg(pl.col("lines").sum()).sort("lines", "tag", descending=[True, False])
    )
    shown = [message(LogNote.TAG_LINES, tag=tag, lines=lines) for tag, lines in tags.head(8).iter_rows()]
    more = {"more": tags.height - 8} if tags.height > 8 else {}
    count = int(tags["lines"].sum())
    return [message(LogNote.TAGS_PASSED_OVER, file=name, lines=count, tags=shown, **more)]


def _pivoted(lines: pl.DataFrame, log: LogFile) -> tuple[pl.DataFrame, list[Message]]:
    """The readings of a long table, in the order of time."""
    late = late_lines(lines)
    channels = [channel for channel, _, _ in mapped(log)]
    rows = one_row_an_instant(lines, channels, log.long.slot_s if log.long else 0.0)
    told = []
    if late:
        told.append(message(LogNote.TAGS_LATE, files=log.files, lines=late))
    return rows.with_columns(pl.col(TIME_US).alias(KEY_US)), told


def _on_utc(
    frame: pl.DataFrame, plan: LogPlan, name: str, before_us: int | None
) -> tuple[pl.DataFrame, list[Message], ClockKind | Literal[""]]:
    """Times of a local clock moved to UTC, and whether all were of one."""
    aware, times = frame[AWARE], frame[TIME_US]
    frame = frame.drop(AWARE)
    if aware.all():
        return frame, [], "UTC"
    kind: ClockKind | Literal[""] = ""
    if times.null_count() == 0 and not aware.any():
        moved = utc_from_local(times.to_numpy(), plan.zone, before_us)
        whole = moved.us
        # A file that grows is put together from what is on file, so the way back must be sure.
        kind = "local" if _leads_back(whole, times.to_numpy(), plan) else ""
    else:
        rows = np.flatnonzero((~aware & times.is_not_null()).to_numpy())
        whole = times.fill_null(0).to_numpy().copy()
        moved = utc_from_local(whole[rows], plan.zone, before_us)
        whole[rows] = moved.us
    utc = pl.Series(TIME_US, whole)
    if times.null_count():
        utc = utc.set(times.is_null(), None)
    told = [message(LogNote.IN_FILE, file=name, told=note) for note in moved.notes]
    return frame.with_columns(utc), told, kind


def _leads_back(utc_us: NDArray[np.int64], local_us: NDArray[np.int64], plan: LogPlan) -> bool:
    """Whether the instants give the local times they were made of, looked at a part at a time to spare memory."""
    parts = (slice(start, start + _PART) for start in range(0, utc_us.size, _PART))
    return all((local_from_utc(utc_us[part], plan.zone) == local_us[part]).all() for part in parts)


def _in_order(
    frame: pl.DataFrame, file_no: int, name: str
) -> tuple[pl.DataFrame, pl.DataFrame, list[Message]]:
    """A sort key for the rows of a file, and what is wrong with its clock."""
    order = row_order(
        frame[TIME_US].to_numpy(), _floats(frame, "counter_m"), _floats(frame, "line_speed_m_s"), name
    )
    in_order = not order.backwards.size
    key = pl.col(TIME_US).alias(KEY_US) if in_order else pl.Series(KEY_US, order.key_us)
    frame = frame.with_columns(key)
    doubled, told = doubled_rows(frame, name)
    lines = frame["line"].to_numpy()
    flagged = [
        pl.DataFrame(
            {"file_no": file_no, "line": lines[rows], "flag": flag.code}, schema_overrides=CLOCK_FLAGGED
        )
        for rows, flag in (
            (order.backwards, TIME_BACKWARDS),
            (order.steps, CLOCK_STEP),
            (doubled, DUPLICATE),
        )
        if rows.size
    ]
    return frame, pl.concat([pl.DataFrame(schema=CLOCK_FLAGGED), *flagged]), [*order.notes, *told]


def _floats(frame: pl.DataFrame, name: str) -> NDArray[np.float64] | None:
    return frame[name].to_numpy() if name in frame.columns else None


def _with_utc(rows: pl.DataFrame) -> pl.DataFrame:
    if TIME_US not in rows.columns:
        return rows
    return rows.with_columns(pl.col(TIME_US).cast(UTC).alias("time_utc")).drop(TIME_US)

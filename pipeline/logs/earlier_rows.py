"""What was read of a log file before it grew, so that only its new rows need reading.

Rows on file hold everything a row of the log gave: the figures as they were read, the line, and the instant, from which
the local clock's time follows. So the file's rows are put together again as they came from the reader, and whatever
looks at a row's neighbours (repeated hours, late rows, row checks) sees the file as a whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import polars as pl

from pipeline.logs.local_time import local_from_utc
from pipeline.logs.log_plan import LogPlan
from pipeline.logs.parse_block import AWARE, LINE, TIME_US

ClockKind = Literal["UTC", "local"]
_SLICE = 1 << 20


@dataclass(frozen=True, slots=True)
class EarlierFile:
    """A log file as it was read before.

    Args:
        resume_line: the first line that is not in `rows`.
        clock: whether its times are instants, or those of a local clock.
        rows: ``line``, ``time_utc`` and the channels of its rows kept; of a long table ``line``, ``_time_us`` [us of
            UTC], ``channel`` and ``value`` of its lines.
        set_aside: line, message and text of its lines set aside before `resume_line`.
        rows_kept: rows and lines kept, those with a tag that is not mapped among them.
        passed_over: lines with a tag that is not mapped, by tag.
    """

    resume_line: int
    clock: ClockKind
    rows: pl.LazyFrame
    set_aside: pl.DataFrame
    rows_kept: int
    passed_over: tuple[tuple[str, int], ...] = ()


def earlier_file(
    rows: pl.LazyFrame,
    set_aside: pl.DataFrame,
    file_no: int,
    resume_line: int,
    clock: ClockKind,
    passed_over: tuple[tuple[str, int], ...],
) -> EarlierFile:
    """One file of an earlier load.

    Args:
        rows: the readings of that load; of a long table its lines as they were read.
        set_aside: lines that load set aside.
        file_no: number the file had in it.
        resume_line: from this line on it is to be read again.
        clock: whether its times are instants, or those of a local clock.
        passed_over: lines before that with a tag that is not mapped, by tag.
    """
    kept = (pl.col("file_no") == file_no, pl.col(LINE) < resume_line)
    rows = rows.filter(*kept)
    return EarlierFile(
        resume_line=resume_line,
        clock=clock,
        rows=rows,
        set_aside=set_aside.filter(*kept).select(pl.col(LINE).cast(pl.UInt32), "said", "text"),
        rows_kept=int(rows.select(pl.len()).collect().item()) + sum(lines for _, lines in passed_over),
        passed_over=passed_over,
    )


def earlier_blocks(earlier: EarlierFile, plan: LogPlan) -> Iterator[pl.DataFrame]:
    """The rows as the reader gave them, in the order of the file, some at a time."""
    names = earlier.rows.collect_schema().names()
    if "time_utc" in names:
        instant = pl.col("time_utc").dt.epoch("us").alias(TIME_US)
        in_order = earlier.rows.select(LINE).collect()[LINE].is_sorted()
        earlier_rows = earlier.rows if in_order else earlier.rows.sort(LINE)
        figures = [
            pl.col(one.channel) if one.channel in names else pl.lit(None, pl.Float64).alias(one.channel)
            for one in plan.numbers
        ]
    else:
        instant = pl.col(TIME_US)
        earlier_rows = earlier.rows
        figures = [pl.col("channel").cast(pl.Enum([one.channel for one in plan.numbers])), pl.col("value")]
    start = 0
    while True:
        part = earlier_rows.slice(start, _SLICE).select(pl.col(LINE), instant, *figures).collect()
        if part.height == 0:
            return
        yield _as_read(part, earlier.clock, plan)
        start += _SLICE


def _as_read(part: pl.DataFrame, clock: ClockKind, plan: LogPlan) -> pl.DataFrame:
    times = part[TIME_US]
    if clock == "local":
        times = pl.Series(TIME_US, local_from_utc(times.to_numpy(), plan.zone))
    aware = pl.Series(AWARE, [clock == "UTC"], pl.Boolean).new_from_index(0, part.height)
    rest = part.select(pl.exclude(LINE, TIME_US))
    return pl.DataFrame([part[LINE], times, aware.alias(AWARE)]).hstack(rest)

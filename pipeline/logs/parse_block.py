"""One block of whole lines as typed columns: every line becomes a row, or is set aside with its reason.

A clean block is parsed once, typed, by a reader that refuses a line with too few or too many cells. Only
when it refuses, or when lines and rows do not match one to one, is the block looked at line by line
(`bad_lines`).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.logs.bad_lines import SET_ASIDE_SCHEMA, checked_block
from pipeline.logs.cells import (
    column_types,
    long_faults,
    read_table,
    skipped_times,
    time_cells,
    time_column,
    times_beyond,
)
from pipeline.logs.log_plan import LogPlan
from pipeline.logs.long_table import by_channel
from pipeline.logs.whole_lines import Block

TIME_US, AWARE, LINE = "_time_us", "_aware", "line"
PASSED_OVER = {"tag": pl.String, "lines": pl.UInt32}


@dataclass(frozen=True, slots=True)
class ParsedBlock:
    """What came of a block.

    Args:
        rows: kept rows: ``line``, ``_time_us`` and ``_aware`` where there is a time column, then a column a
            channel in units of the store, and ``class`` of an event; of a long table, ``channel`` and ``value``.
        set_aside: line, message and text of every other line.
        passed_over: lines of a long table with a tag that is not mapped, counted by tag.
    """

    rows: pl.DataFrame
    set_aside: pl.DataFrame
    passed_over: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=PASSED_OVER))

    @property
    def kept(self) -> int:
        """Lines read as the mapping says."""
        return self.rows.height + int(self.passed_over["lines"].sum())


def parse_block(block: Block, plan: LogPlan) -> ParsedBlock:
    """The rows of `block`, read as `plan` says."""
    table = _typed(block, plan)
    if table is not None:
        lines = np.arange(block.first_line, block.first_line + block.lines, dtype=np.uint32)
        rows = typed_rows(table, lines, plan)
        if rows is not None:
            return as_parsed(rows, pl.DataFrame(schema=SET_ASIDE_SCHEMA), plan)
    checked = checked_block(block, plan)
    rows = typed_rows(checked.table, checked.lines, plan)
    if rows is None:
        raise AssertionError("a line that was checked cannot be read")
    return as_parsed(rows, checked.set_aside, plan)


def as_parsed(rows: pl.DataFrame, set_aside: pl.DataFrame, plan: LogPlan) -> ParsedBlock:
    """A block's rows, those of a long table by channel."""
    if plan.long is None:
        return ParsedBlock(rows, set_aside)
    mapped, passed_over = by_channel(rows, plan)
    return ParsedBlock(mapped, set_aside, passed_over)


def _typed(block: Block, plan: LogPlan) -> pa.Table | None:
    """The block as a typed table if each of its lines is a row; None where any line needs a closer look."""
    try:
        table = read_table(block.text, plan, column_types(plan), list(plan.missing))
    except pa.ArrowInvalid:
        return None
    return table if table.num_rows == block.lines else None


def typed_rows(table: pa.Table, lines: NDArray[np.uint32], plan: LogPlan) -> pl.DataFrame | None:
    """Typed columns in units of the store; None if a row's time, place or value cannot be read."""
    placed = np.zeros(lines.size, np.bool_)
    columns = [pl.Series(LINE, lines)]
    if plan.time is not None:
        cells = time_cells(table, plan)
        times = time_column(cells, plan.time_format)
        empty = cells.is_null().to_numpy() if plan.may_lack_time else placed
        placed = times.valid & ~times_beyond(times) & ~skipped_times(times, plan)
        if not (placed | empty).all():
            return None
        time_us = pl.Series(TIME_US, times.us)
        columns.append(time_us.set(pl.Series(empty), None) if empty.any() else time_us)
        columns.append(pl.Series(AWARE, times.aware))
    if plan.long is not None and long_faults({name: table.column(name) for name in table.column_names}, plan):
        return None
    rows = pl.DataFrame(columns).hstack(_cells(table, plan).get_columns())
    if plan.may_lack_time and not (placed | rows["counter_m"].is_not_null().to_numpy()).all():
        return None
    return rows


def _cells(table: pa.Table, plan: LogPlan) -> pl.DataFrame:
    """The mapped columns of numbers, in units of the store, and of text."""
    wanted = [
        _number(f"c{one.index}", one.factor, one.offset).alias(one.channel)
        for one in plan.numbers
        if one.index >= 0
    ]
    named = (("class", plan.classes), ("tag", plan.tag), ("value", plan.value), ("quality", plan.quality))
    wanted += [pl.col(f"c{text.index}").alias(name) for name, text in named if text is not None]
    if not wanted:
        return pl.DataFrame()
    clock = {f"c{column.index}" for column in (plan.time, plan.date) if column is not None}
    used = [name for name in table.column_names if name not in clock]
    frame = pl.from_arrow(table.select(used), rechunk=False)
    assert isinstance(frame, pl.DataFrame)  # noqa: S101 - a table has columns
    return frame.select(wanted)


def _number(name: str, factor: float, offset: float) -> pl.Expr:
    """Figures in the unit of the store; not-a-number is no value."""
    figure = pl.col(name).fill_nan(None)
    if factor != 1.0:
        figure = figure * factor
    return figure if offset == 0.0 else figure + offset

"""Cells of text turned into typed columns, with a reason for every cell that is not what it should be."""

from __future__ import annotations

import csv
from typing import Protocol

import numpy as np
import polars as pl
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import compute as pc
from pyarrow import csv as arrow_csv

from pipeline.log_notes import SetAside
from pipeline.logs.instants import EPOCH_FORMATS, Instants, read_column
from pipeline.logs.local_time import never_shown, standard_zone
from pipeline.logs.log_plan import LogPlan, TextColumn
from pipeline.messages import Message, message

ARROW_BLOCK = 1 << 21
# 1970-01-01 and 2200-01-01, as microseconds since the epoch.
_FIRST_US, _BEYOND_US = 0, 7_258_118_400_000_000
Faults = dict[int, tuple[Message, ...]]
Mask = NDArray[np.bool_]


def column_types(plan: LogPlan) -> dict[int, pa.DataType]:
    """Type of every column that is read, by its place."""
    types: dict[int, pa.DataType] = {one.index: pa.float64() for one in plan.numbers if one.index >= 0}
    for text in (plan.classes, plan.tag, plan.value, plan.quality):
        if text is not None:
            types[text.index] = pa.string()
    if plan.time is not None:
        types[plan.time.index] = pa.float64() if plan.time_format in EPOCH_FORMATS else pa.binary()
    if plan.date is not None:
        types[plan.date.index] = pa.binary()
    return types


def read_table(text: bytes, plan: LogPlan, types: dict[int, pa.DataType], missing: list[str]) -> pa.Table:
    """A table of the columns `types`, named ``c`` and their place, as a strict reader sees it.

    Raises:
        pyarrow.ArrowInvalid: a line has too few or too many cells, or a cell is not of its type.
    """
    return arrow_csv.read_csv(
        pa.BufferReader(text),
        read_options=arrow_csv.ReadOptions(
            column_names=[f"c{place}" for place in range(plan.width)], block_size=ARROW_BLOCK
        ),
        parse_options=arrow_csv.ParseOptions(delimiter=plan.delimiter, newlines_in_values=b'"' in text),
        convert_options=arrow_csv.ConvertOptions(
            column_types={f"c{place}": kind for place, kind in types.items()},
            include_columns=[f"c{place}" for place in types],
            null_values=missing,
            strings_can_be_null=True,
            decimal_point=plan.decimal,
        ),
    )


class Cells(Protocol):
    """A table whose columns can be asked for by place."""

    def column(self, place: int) -> pl.Series:
        """The cells of one column: text that is stripped, or numbers or times as they are; null for no value."""


class TextTable:
    """Records of the right shape, cut into cells of text."""

    def __init__(self, records: list[str], plan: LogPlan) -> None:
        self.height = len(records)
        self._plan = plan
        self._table = self._cut(records)

    def _cut(self, records: list[str]) -> pa.Table:
        plan = self._plan
        types = dict.fromkeys(column_types(plan), pa.string())
        if records:
            try:
                table = read_table("\n".join([*records, ""]).encode(), plan, types, [])
            except pa.ArrowInvalid:
                table = None
            if table is not None and table.num_rows == len(records):
                return table
        # The two readers differ on a mark that RFC 4180 leaves open; the one that counted the cells decides.
        rows = [next(csv.reader([record], delimiter=plan.delimiter)) for record in records]
        return pa.table({f"c{place}": pa.array([row[place] for row in rows], pa.string()) for place in types})

    def column(self, place: int) -> pl.Series:
        """The cells of one column, stripped; null where they stand for no value."""
        cells = pl.Series(f"c{place}", self._table.column(f"c{place}")).str.strip_chars(" \t")
        return cells.set(cells.is_in(list(self._plan.missing)), None)


def typed_columns(cells: Cells, plan: LogPlan) -> tuple[pa.Table, Faults]:
    """Columns as a strict reader would give them, and the first reason of every row that it would refuse."""
    faults: Faults = {}
    columns: dict[str, pa.Array] = {}
    if plan.time is not None:
        day = cells.column(plan.date.index) if plan.date is not None else None
        time = cells.column(plan.time.index)
        if day is not None:
            columns[f"c{plan.date.index}"] = _bytes(day)  # type: ignore[union-attr]
            columns[f"c{plan.time.index}"] = _bytes(time)
            _, bad = _times(day.cast(pl.String) + " " + time.cast(pl.String), plan, plan.time)
        else:
            columns[f"c{plan.time.index}"], bad = _times(time, plan, plan.time)
        _add(faults, bad)
    for one in plan.numbers:
        if one.index >= 0 and f"c{one.index}" not in columns:
            figures, bad = _figures(cells.column(one.index), one.name, plan.decimal)
            columns[f"c{one.index}"] = figures
            _add(faults, bad)
    for text in (plan.classes, plan.tag, plan.value, plan.quality):
        if text is not None:
            columns[f"c{text.index}"] = pa.array(cells.column(text.index).to_list(), pa.string())
    if plan.long is not None:
        _add(faults, long_faults(columns, plan))
    if plan.is_events:
        _add(faults, _nowhere(columns, plan))
    return pa.table(columns), faults


def _add(faults: Faults, more: Faults) -> None:
    for row, reasons in more.items():
        faults[row] = (*faults.get(row, ()), *reasons)


def _figures(cells: pl.Series, name: str, decimal: str) -> tuple[pa.Array, Faults]:
    if cells.dtype.is_numeric():
        return pa.array(cells.cast(pl.Float64).to_numpy(), pa.float64(), from_pandas=True), {}
    text = cells
    if decimal == ",":
        text = text.set(text.str.contains(".", literal=True), "?").str.replace(",", ".", literal=True)
    values = text.cast(pl.Float64, strict=False)
    bad = (values.is_null() & cells.is_not_null()).to_numpy()
    kind = SetAside.NO_DECIMAL_COMMA if decimal == "," else SetAside.NO_NUMBER
    faults: Faults = {
        int(row): (message(kind, column=name, cell=str(cells[int(row)])[:80]),) for row in np.flatnonzero(bad)
    }
    # A cell that says "not a number" in its own way is an empty one.
    return pa.array(values.to_numpy(), pa.float64(), from_pandas=True), faults


# Years 2 to 9998 [s since 1970], whole in every zone: what `datetime` can show.
_SHOWN_S = (-62_104_060_800, 253_370_764_800)


def _cell(cells: pl.Series, row: int) -> object:
    """A cell as it is shown; a time that no calendar holds is shown as its count."""
    if not isinstance(cells.dtype, pl.Datetime):
        return cells[row]
    unit, count = cells.dtype.time_unit, cells.to_physical()[row]
    if count is None or _SHOWN_S[0] < count // {"ms": 10**3, "us": 10**6, "ns": 10**9}[unit] < _SHOWN_S[1]:
        return cells[row]
    return f"{count} {unit} since 1970"


def _times(cells: pl.Series, plan: LogPlan, column: TextColumn) -> tuple[pa.Array, Faults]:
    faults: Faults = {}
    if isinstance(cells.dtype, pl.Datetime):
        array = cells.to_arrow()
    elif plan.time_format in EPOCH_FORMATS:
        array, faults = _figures(cells, column.name, plan.decimal)
    else:
        array = _bytes(cells)
    times = time_column(pa.chunked_array([array]), plan.time_format)
    skipped = skipped_times(times, plan)
    beyond = times_beyond(times)
    for row in np.flatnonzero(~times.valid | skipped | beyond).tolist():
        cell = _cell(cells, row)
        if row in faults or (cell is None and plan.may_lack_time):
            continue
        if cell is None:
            faults[row] = (message(SetAside.TIME_EMPTY, column=column.name),)
            continue
        shown = {"column": column.name, "cell": str(cell)[:80]}
        if beyond[row]:
            faults[row] = (message(SetAside.TIME_OF_NO_LOG, **shown, form=plan.time_format),)
        elif skipped[row]:
            without = standard_zone(plan.zone, int(times.us[row]))
            zone = plan.zone.key
            faults[row] = (message(SetAside.TIME_NEVER_SHOWN, **shown, zone=zone, without=without),)
        else:
            faults[row] = (message(SetAside.NO_TIME, **shown, form=plan.time_format),)
    return array, faults


def _bytes(cells: pl.Series) -> pa.Array:
    texts = cells.cast(pl.String).to_list()
    return pa.array([None if cell is None else cell.encode() for cell in texts], pa.binary())


def time_cells(table: pa.Table, plan: LogPlan) -> pa.ChunkedArray:
    """The column of time of a table, the date put before the time of day where they stand apart."""
    if plan.time is None:
        raise AssertionError("this log has no column of time")
    cells = table.column(f"c{plan.time.index}")
    if plan.date is None:
        return cells
    return pc.binary_join_element_wise(
        table.column(f"c{plan.date.index}"), cells, pa.scalar(b" ", pa.binary())
    )


def _nowhere(columns: dict[str, pa.Array], plan: LogPlan) -> Faults:
    """Events with neither a time nor a length."""
    if not plan.may_lack_time:
        return {}
    counter = next(one for one in plan.numbers if one.channel == "counter_m")
    empty = columns[f"c{counter.index}"].is_null().to_numpy(zero_copy_only=False)
    if plan.time is not None:
        empty = empty & columns[f"c{plan.time.index}"].is_null().to_numpy(zero_copy_only=False)
    time = {} if plan.time is None else {"time": plan.time.name}
    reason = message(SetAside.NO_PLACE, counter=counter.name, **time)
    return {int(row): (reason,) for row in np.flatnonzero(empty)}


def long_faults(columns: dict[str, pa.Array], plan: LogPlan) -> Faults:
    """Lines of a long table that give no usable value of a mapped tag."""
    tag, value, quality = plan.tag, plan.value, plan.quality
    if tag is None or value is None or plan.long is None:
        return {}
    tags = pl.Series("tag", columns[f"c{tag.index}"])
    values = pl.Series("value", columns[f"c{value.index}"])
    wanted = tags.is_in([one.name for one in plan.numbers])
    _, bad = _figures(values.set(~wanted, None), value.name, plan.decimal)
    untagged = (message(SetAside.TAG_EMPTY, column=tag.name),)
    _add(bad, dict.fromkeys(np.flatnonzero(tags.is_null().to_numpy()).tolist(), untagged))
    if quality is not None:
        grades = pl.Series("quality", columns[f"c{quality.index}"])
        poor = (wanted & ~grades.is_in(list(plan.long.good)).fill_null(value=False)).to_numpy()
        _add(
            bad,
            {
                row: (message(SetAside.NOT_GOOD, column=quality.name, cell=grades[row] or ""),)
                for row in np.flatnonzero(poor).tolist()
            },
        )
    return bad


def time_column(column: pa.ChunkedArray, time_format: str) -> Instants:
    """Times of a column as parsed: numbers of an epoch, or texts."""
    if pa.types.is_timestamp(column.type):
        valid = column.is_valid().to_numpy()
        us = _as_us(column.cast(pa.int64()).fill_null(0).to_numpy(), column.type.unit)
        return Instants(us, valid, np.full(us.size, column.type.tz is not None))
    scale = EPOCH_FORMATS.get(time_format)
    if scale is not None:
        figures = column.to_numpy()
        # 2.5e17 us is the year 9892: beyond it is no date of a log.
        valid = np.isfinite(figures) & (np.abs(np.nan_to_num(figures)) < 2.5e17 / scale)
        us = np.rint(np.where(valid, figures, 0.0) * scale).astype(np.int64)
        return Instants(us, valid, np.ones(us.size, np.bool_))
    chunks = [chunk for chunk in column.chunks if len(chunk)]
    if not chunks:
        nothing = np.zeros(0, np.bool_)
        return Instants(np.zeros(0, np.int64), nothing, nothing)
    whole = chunks[0] if len(chunks) == 1 else pa.concat_arrays(chunks)
    _, offsets_buffer, data_buffer = whole.buffers()
    offsets = np.frombuffer(offsets_buffer, np.int32)[whole.offset : whole.offset + len(whole) + 1]
    data = np.frombuffer(data_buffer or b"", np.uint8)
    return read_column(data, offsets.astype(np.int64), time_format)


def _as_us(counts: NDArray[np.int64], unit: str) -> NDArray[np.int64]:
    """Counts of `unit` as microseconds; one that 64 bits could not hold is put where no log can be."""
    if unit == "ns":
        return counts // 1000
    factor = {"s": 1_000_000, "ms": 1000, "us": 1}[unit]
    return np.clip(counts, -_BEYOND_US // factor, _BEYOND_US // factor) * factor


def times_beyond(times: Instants) -> Mask:
    """True where a time is in no year a log can be of."""
    beyond: Mask = times.valid & ((times.us < _FIRST_US) | (times.us >= _BEYOND_US))
    return beyond


def skipped_times(times: Instants, plan: LogPlan) -> Mask:
    """True where a local time was never shown by clocks of its zone."""
    none = np.zeros(times.us.size, np.bool_)
    if times.aware.all():
        return none
    local = times.valid & ~times.aware & ~times_beyond(times)
    skipped = never_shown(times.us if local.all() else times.us[local], plan.zone)
    if skipped is None:
        return none
    none[np.flatnonzero(local)[skipped]] = True
    return none

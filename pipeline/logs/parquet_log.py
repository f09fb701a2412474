"""One Parquet log from its first row to its last, read as a text log is. Its rows count as lines from 1."""

from __future__ import annotations

import hashlib
from collections.abc import Generator
from pathlib import Path

import numpy as np
import polars as pl
import pyarrow as pa
from pyarrow import parquet

from pipeline.errors import Complaint, LogError
from pipeline.log_notes import together_aside
from pipeline.logs.bad_lines import SET_ASIDE_SCHEMA, TEXT_CUT, is_hopeless
from pipeline.logs.cells import Faults, column_types, typed_columns
from pipeline.logs.log_plan import LogPlan, plan_columns
from pipeline.logs.open_log import CHUNK, open_file
from pipeline.logs.parse_block import ParsedBlock, as_parsed, typed_rows
from pipeline.logs.text_log import FileEnd
from pipeline.messages import said_json
from pipeline.sheets.run_sheet import LogFile

_BATCH = 1 << 18


class ParquetLog:
    """A Parquet log, read once by iterating over `blocks`; see `pipeline.logs.text_log.TextLog`."""

    def __init__(self, path: Path, log: LogFile, zone: str) -> None:
        self.path = path
        self.plan: LogPlan | None = None
        self.end: FileEnd | None = None
        self._log = log
        self._zone = zone

    def blocks(self) -> Generator[ParsedBlock]:
        """The rows of the log in its order, a batch at a time.

        Raises:
            LogError: the file cannot be read as the mapping says.
        """
        kept = aside = 0
        with open_file(self.path) as file:
            digest = hashlib.sha256()
            while chunk := file.read(CHUNK):
                digest.update(chunk)
            size = file.tell()
            try:
                source = parquet.ParquetFile(file)
                plan = plan_columns(
                    source.schema_arrow.names, str(self.path), self.path, self._log, self._zone
                )
                self.plan = plan
                self._refuse_types(source.schema_arrow, plan)
                names = {place: source.schema_arrow.names[place] for place in column_types(plan)}
                for batch in source.iter_batches(_BATCH, columns=list(names.values())):
                    parsed = self._parsed(pa.Table.from_batches([batch]), names, kept + aside, plan)
                    kept += parsed.kept
                    aside += parsed.set_aside.height
                    if is_hopeless(kept, aside):
                        break
                    yield parsed
            except (pa.ArrowException, OSError) as fault:
                raise LogError(
                    Complaint(
                        str(self.path),
                        f"the Parquet file is cut short or damaged ({str(fault).splitlines()[0][:120]})",
                        "Copy it again from the logger; if it is still being written, wait until it is whole",
                    )
                ) from None
        if is_hopeless(kept, aside) or (kept == 0 and self._log.kind == "readings"):
            none = f"none of the {aside:,} rows can be read" if aside else "the file has no rows"
            raise LogError(
                Complaint(
                    str(self.path),
                    f"of the first {kept + aside:,} rows only {kept:,} can be read" if kept else none,
                    "Compare the file with its mapping, or take it out of the run sheet",
                )
            )
        self.end = FileEnd(digest.hexdigest(), size, kept + aside, kept, aside, open_ended=False)

    def _refuse_types(self, schema: pa.Schema, plan: LogPlan) -> None:
        complaints = []
        for place in column_types(plan):
            kind = schema.field(place).type
            is_time = any(clock is not None and place == clock.index for clock in (plan.time, plan.date))
            allowed = (
                pa.types.is_integer(kind)
                or pa.types.is_floating(kind)
                or pa.types.is_decimal(kind)
                or pa.types.is_string(kind)
                or pa.types.is_large_string(kind)
                or pa.types.is_dictionary(kind)
                or (is_time and pa.types.is_temporal(kind))
            )
            if not allowed:
                complaints.append(
                    Complaint(
                        str(self.path),
                        f"column '{schema.field(place).name}' holds {kind}, not {'times' if is_time else 'numbers'}",
                        "Name another column in the mapping, or export this one as numbers or text",
                    )
                )
        if complaints:
            raise LogError(complaints)

    def _parsed(self, table: pa.Table, names: dict[int, str], before: int, plan: LogPlan) -> ParsedBlock:
        columns, faults = typed_columns(_ParquetTable(table, names, plan), plan)
        lines = np.arange(before + 1, before + 1 + table.num_rows, dtype=np.uint32)
        fine = np.ones(table.num_rows, np.bool_)
        fine[list(faults)] = False
        rows = typed_rows(columns.filter(pa.array(fine)), lines[fine], plan)
        if rows is None:
            raise AssertionError("a row that was checked cannot be read")
        return as_parsed(rows, _set_aside(table, lines, faults), plan)


class _ParquetTable:
    """Columns of a batch, text as a text log would give it, numbers and times as they are."""

    def __init__(self, table: pa.Table, names: dict[int, str], plan: LogPlan) -> None:
        self._table = table
        self._names = names
        self._plan = plan

    def column(self, place: int) -> pl.Series:
        cells = pl.Series(self._table.column(self._names[place]))
        if isinstance(cells.dtype, pl.Datetime):
            return cells
        text = {
            one.index
            for one in (self._plan.classes, self._plan.tag, self._plan.value, self._plan.quality)
            if one
        }
        if cells.dtype.is_numeric() and place not in text:
            return cells
        cells = cells.cast(pl.String).str.strip_chars(" \t")
        return cells.set(cells.is_in(list(self._plan.missing)), None)


def _shown(column: pa.ChunkedArray) -> list[object]:
    """The values of a column; times that no calendar holds as their counts."""
    try:
        values: list[object] = column.to_pylist()
    except (ValueError, OverflowError):
        values = column.cast(pa.int64()).to_pylist()
    return values


def _set_aside(table: pa.Table, lines: np.ndarray, faults: Faults) -> pl.DataFrame:
    order = sorted(faults)
    found = table.take(pa.array(order, pa.int64()))
    columns = [_shown(column) for column in found.columns]
    rows = [dict(zip(found.column_names, row, strict=True)) for row in zip(*columns, strict=True)]
    return pl.DataFrame(
        {
            "line": lines[order],
            "said": [said_json(together_aside(faults[row])) for row in order],
            "text": [", ".join(f"{name}={value}" for name, value in row.items())[:TEXT_CUT] for row in rows],
        },
        schema=SET_ASIDE_SCHEMA,
    )

"""Records as an XLSX workbook (ISO/IEC 29500) or a Parquet file, with numbers, days and times as such."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from dashboards.comma_table import Cell

if TYPE_CHECKING:
    import polars as pl


def _frame(heads: Sequence[str], rows: Iterable[Sequence[Cell]]) -> pl.DataFrame:
    import polars as pl

    columns = zip(*rows, strict=True)
    found = {
        head: pl.Series(head, column, strict=False) for head, column in zip(heads, columns, strict=False)
    }
    return pl.DataFrame([found.get(head, pl.Series(head, [], pl.String)) for head in heads])


def parquet_table(heads: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """The rows as a Parquet file; a column's type is that of its values.

    Args:
        heads: column names, with their units.
        rows: cells, in the order of `heads`.
    """
    out = io.BytesIO()
    _frame(heads, rows).write_parquet(out)
    return out.getvalue()


def workbook(title: str, heads: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """The rows as a workbook of one sheet, whose heads stay in view; no text in it is run as a formula.

    Args:
        title: the sheet's name, of at most 31 letters.
        heads: column names, with their units.
        rows: cells, in the order of `heads`.
    """
    import xlsxwriter

    out = io.BytesIO()
    plain = {
        "strings_to_formulas": False, "strings_to_urls": False, "in_memory": True, "remove_timezone": True,
    }  # fmt: skip
    with xlsxwriter.Workbook(out, plain) as book:
        _frame(heads, rows).write_excel(
            book,
            title,
            freeze_panes=(1, 0),
            autofit=True,
            header_format={"bold": True},
            float_precision=3,
        )
    return out.getvalue()

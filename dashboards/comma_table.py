"""Records as a CSV file (RFC 4180) that a spreadsheet opens without running anything in it."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
Cell = str | float | int | date | datetime | None


def cell_text(value: Cell) -> str:
    """A cell; a text that a spreadsheet might take for a formula gets an apostrophe in front."""
    if value is None:
        return ""
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.10g}"
    text = " ".join(str(value).split())
    if text[:1] in {"=", "+", "-", "@"} and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def comma_table(heads: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """The file's bytes: UTF-8 with a mark, so that a spreadsheet knows.

    Args:
        heads: column names, with their units.
        rows: cells, in the order of `heads`.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(heads)
    for row in rows:
        writer.writerow([cell_text(one) for one in row])
    return out.getvalue().encode("utf-8-sig", "replace")

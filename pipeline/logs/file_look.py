"""A first look at an unknown log: its encoding, delimiter, decimal mark, header and some of its cells."""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import polars as pl
import pyarrow as pa
from pyarrow import parquet

from pipeline.errors import Complaint, LogError
from pipeline.logs.open_log import OpenLog, is_parquet, marked_encoding, open_file

SAMPLE_BYTES = 1 << 20
SAMPLE_ROWS = 20_000
DELIMITERS = (",", ";", "\t", "|", " ")
NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+")
_POINT_NUMBER = re.compile(r"[+-]?\d+\.\d+")


@dataclass(frozen=True, slots=True)
class FileLook:
    """What a log looks like.

    Args:
        path: the file.
        encoding: encoding of its text; "" for Parquet.
        delimiter: column separator.
        decimal: decimal mark.
        header_line: number of the line that names the columns.
        names: the names of the columns.
        cells: some rows, as text.
        doubts: what a person should look at.
    """

    path: Path
    encoding: str
    delimiter: str
    decimal: str
    header_line: int
    names: tuple[str, ...]
    cells: pl.DataFrame
    doubts: tuple[str, ...]


def look_at(path: Path) -> FileLook:
    """A first look at the log `path`, at its first megabyte at most.

    Raises:
        LogError: it cannot be opened, is no text, or holds no table.
    """
    if is_parquet(path):
        return _look_at_parquet(path)
    encoding = _encoding_of(path)
    with OpenLog(path, encoding) as opened:
        head = b""
        for chunk in opened.text():
            head += chunk
            if len(head) >= SAMPLE_BYTES:
                break
    text = head[:SAMPLE_BYTES].decode("utf-8", "replace").replace("\r\n", "\n").replace("\r", "\n")
    lines = text.split("\n")
    if len(head) > SAMPLE_BYTES or not lines[-1]:
        lines = lines[:-1]
    if not any(line.strip() for line in lines):
        raise LogError(Complaint(str(path), "the file is empty", "Name another file"))
    delimiter, header = _delimiter_and_header(lines, path)
    rows = list(csv.reader(lines[header:], delimiter=delimiter))
    names = tuple(cell.strip() for cell in rows[0])
    body = [row for row in rows[1 : SAMPLE_ROWS + 1] if len(row) == len(names)]
    doubts = []
    if not body:
        doubts.append("The file has a header and no rows; units and time format are guesses by name only.")
    twice = sorted(name for name, times in Counter(names).items() if name and times > 1)
    if twice:
        doubts.append(
            f"More than one column is called {' or '.join(map(repr, twice))}; give each its own name before it is used."
        )
    table = pl.DataFrame(
        {f"c{place}": [row[place].strip() for row in body] for place in range(len(names))},
        schema={f"c{place}": pl.String for place in range(len(names))},
    )
    decimal = _decimal_of(table, delimiter)
    return FileLook(path, encoding, delimiter, decimal, header + 1, names, table, tuple(doubts))


def _look_at_parquet(path: Path) -> FileLook:
    try:
        source = parquet.ParquetFile(path)
        names = tuple(source.schema_arrow.names)
        batch = next(source.iter_batches(SAMPLE_ROWS), None)
    except (pa.ArrowException, OSError):
        raise LogError(
            Complaint(str(path), "the Parquet file is cut short or damaged", "Copy it again from the logger")
        ) from None
    frame = pl.DataFrame() if batch is None else pl.DataFrame(pl.from_arrow(batch))
    text = frame.select(
        pl.col(name).dt.strftime("%Y-%m-%dT%H:%M:%S%.6f")
        if dtype == pl.Datetime
        else pl.col(name).cast(pl.String)
        for name, dtype in frame.schema.items()
    )
    cells = text.rename({name: f"c{place}" for place, name in enumerate(text.columns)}).fill_null("")
    return FileLook(path, "", ",", ".", 1, names, cells, ())


def _encoding_of(path: Path) -> str:
    """Encoding by the first bytes: a mark or zeros as in UTF-16, bytes that are UTF-8, else Windows' Latin."""
    with open_file(path) as file:
        if marked_encoding(file.read(4)):
            return "utf-8"
    with OpenLog(path, "latin-1") as opened:
        try:
            head = next(opened.text(), b"")
        except LogError as fault:
            told = re.search(r'encoding = "(utf-16-.e)"', str(fault))
            if told is None:
                raise
            return told.group(1)
    raw = head.decode("utf-8", "replace").encode("latin-1", "replace")[:SAMPLE_BYTES]
    try:
        codecs.getincrementaldecoder("utf-8")("strict").decode(raw)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _delimiter_and_header(lines: list[str], path: Path) -> tuple[str, int]:
    """The delimiter that cuts most lines into the same number of cells, and the line that names the columns."""
    some = lines[:400]
    best: tuple[float, str, int] | None = None
    for delimiter in DELIMITERS:
        counts = [len(row) for row in csv.reader(some, delimiter=delimiter) if row]
        usual, times = Counter(counts).most_common(1)[0] if counts else (1, 0)
        if usual < 2:
            continue
        # Many cells are worth less than many equal lines; a space or comma inside texts gives few equal ones.
        score = times / len(counts) + min(usual, 20) / 200
        # A decimal comma cuts rows evenly too, but not the names above them.
        score += 0.1 if counts[0] == usual else 0.0
        if best is None or score > best[0]:
            best = (score, delimiter, usual)
    if best is None:
        raise LogError(
            Complaint(
                str(path),
                "no comma, semicolon, tab, bar or space cuts these lines into columns",
                "Export the log as a table, one row a line",
            )
        )
    _, delimiter, width = best
    for place, line in enumerate(some):
        row = next(csv.reader([line], delimiter=delimiter), [])
        if len(row) == width and sum(1 for cell in row if NUMBER.fullmatch(cell.strip())) <= width / 3:
            return delimiter, place
    raise LogError(
        Complaint(
            str(path),
            "no line names the columns: every line holds numbers",
            "Put a line with the names of the columns at the top of the log",
        )
    )


def _decimal_of(cells: pl.DataFrame, delimiter: str) -> str:
    if delimiter == ",":
        return "."
    sample = [cell for column in cells.head(50).iter_columns() for cell in column.to_list()]
    commas = sum(1 for cell in sample if _COMMA_NUMBER.fullmatch(cell))
    points = sum(1 for cell in sample if _POINT_NUMBER.fullmatch(cell))
    return "," if commas > points else "."

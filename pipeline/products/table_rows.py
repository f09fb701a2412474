"""Which values are on file: the rows of the product tables shipped with the program, and their sources.

Every row names the document, edition and table the value was seen in, the sources that showed it, and how
sure it is (`SourceStanding`). Tables are read once and never changed.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

from pipeline.products.source_standing import SourceStanding

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Source:
    """A document a value was seen in.

    Args:
        source: its short name in the tables.
        document: what it is.
        where_seen: the kind of copy that was read; mostly public excerpts, not the licensed document.
        standing: whether the copy is of the document's own text, or something else.
    """

    source: str
    document: str
    where_seen: str
    standing: SourceStanding


@dataclass(frozen=True, slots=True)
class Figure:
    """One value on file, with what it stands on.

    Args:
        name: what it is.
        value: the value, in `unit`.
        low: low end of its range, equal to `value` where there is no range.
        high: high end of its range.
        unit: its unit in this program, "" for a pure number.
        record: the value as the document prints it, with the document's unit.
        document: document, edition and table it was seen in; "" where none was seen.
        sources: short names of the sources (`source_named`).
        standing: how sure it is.
        note: what a reader must know beside it.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    record: str
    document: str
    sources: tuple[str, ...]
    standing: SourceStanding
    note: str = ""


@cache
def table_rows(name: str) -> tuple[Row, ...]:
    """All rows of the product table `name`, in the order of the file."""
    text = files("pipeline.products").joinpath("tables", f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


@lru_cache(maxsize=1)
def _sources() -> Mapping[str, Source]:
    return {
        row["source"]: Source(
            row["source"], row["document"], row["where_seen"], SourceStanding(row["standing"])
        )
        for row in table_rows("sources")
    }


def source_named(source: str) -> Source:
    """The source whose short name is `source`; KeyError for a name no table uses."""
    return _sources()[source]


def sources_of(row: Row) -> tuple[str, ...]:
    """Short names of the sources of a table row."""
    return tuple(row["source"].split(";")) if row["source"] else ()


def where_seen(sources: Iterable[str]) -> str:
    """The kinds of copies that sources were read in, as one phrase; names of no table are left out."""
    known = _sources()
    return "; ".join(dict.fromkeys(known[name].where_seen for name in sources if name in known))


def document_of(row: Row) -> str:
    """Document, edition and table of a row as one phrase; "" where no document was seen."""
    parts = [row["document"]]
    if row["edition"]:
        parts.append(row["edition"])
    if row["table"]:
        parts.append(row["table"])
    return ", ".join(part for part in parts if part)


def figure_of(row: Row, name: str, column: str, unit: str, scale: float = 1.0) -> Figure:
    """The value in a row's `column` as a figure.

    Args:
        row: the table row.
        name: what the value is.
        column: the column it stands in; ``low`` and ``high`` of the row are its range where they exist.
        unit: the unit of this program.
        scale: factor from the row's unit to `unit`.
    """
    value = float(row[column]) * scale
    ranged = column == "typical"
    record = f"{row[column]} {row.get('unit', '')}".strip()
    return Figure(
        name=name,
        value=value,
        low=float(row["low"]) * scale if ranged else value,
        high=float(row["high"]) * scale if ranged else value,
        unit=unit,
        record=record,
        document=document_of(row),
        sources=sources_of(row),
        standing=SourceStanding(row["standing"]),
        note=row["note"],
    )

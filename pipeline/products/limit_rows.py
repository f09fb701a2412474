"""Which limits are on file: rows that say for which types, sizes and dates a limit holds.

The program's own rows come from its tables; a plant adds rows in its plant sheet. Values are looked up and
kept with their unit of record; none is worked out from another, except where the document itself states a
percentage of another limit. Where a value stands in mil and in mm both are held and the stricter judges.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date
from functools import lru_cache
from typing import Any

from pipeline.products.sizes import Size, size_named
from pipeline.products.source_standing import SourceStanding
from pipeline.products.table_rows import Row, sources_of, table_rows
from pipeline.units import MM_PER_INCH, MM_PER_MIL

REQUIREMENTS: tuple[str, ...] = (
    "minimum average wall",
    "minimum wall at any point",
    "covering at any point",
    "concentricity",
    "conductor diameter",
    "overall diameter",
    "spark test voltage",
)
# Requirements that may have a greatest value; a limit of any other is a least value.
DIAMETERS: tuple[str, ...] = ("conductor diameter", "overall diameter")
OF_AVERAGE = "% of minimum average wall"
OF_DIAMETER = "% of overall diameter at minimum walls"
OF_CONDUCTOR = "% of nominal conductor diameter"
# Unit of record -> unit of this program and factor to it.
UNITS: dict[str, tuple[str, float]] = {
    "mil": ("mm", MM_PER_MIL),
    "in": ("mm", MM_PER_INCH),
    "mm": ("mm", 1.0),
    "um": ("mm", 0.001),
    "%": ("%", 1.0),
    "kV": ("kV", 1.0),
    "V": ("kV", 0.001),
    OF_AVERAGE: (OF_AVERAGE, 1.0),
    OF_DIAMETER: (OF_DIAMETER, 1.0),
    OF_CONDUCTOR: (OF_CONDUCTOR, 1.0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitRecord:
    """What is on record of a limit, wherever it stands: in a table, on a sheet, judged by, or shown.

    Args:
        limit_id: its name, never reused.
        requirement: one of `REQUIREMENTS`.
        sense: ``at least`` or ``at most``.
        value: the limit in `unit`.
        unit: mm, kV, % or one of the percentages of another dimension.
        value_of_record: the limit as the document states it.
        unit_of_record: the document's unit.
        requirement_set: the standard or plant rule whose requirement it is.
        document: where the value was seen.
        edition: its edition.
        table: its table or clause.
        revision: revision of this row.
        effective_from: first day in force; None where it is not known.
        effective_to: last day in force; None while no end is set.
        entered_by: role that entered it.
        checked_by: role that checked it.
        standing: how sure it is.
        note: what a reader must know beside it.
    """

    limit_id: str
    requirement: str
    sense: str
    value: float
    unit: str
    value_of_record: float
    unit_of_record: str
    requirement_set: str
    document: str
    edition: str
    table: str
    revision: str
    effective_from: date | None
    effective_to: date | None
    entered_by: str
    checked_by: str
    standing: SourceStanding
    note: str = ""

    def recorded(self) -> dict[str, Any]:
        """Its record by name, without what a row or a wire adds."""
        return {one.name: getattr(self, one.name) for one in fields(LimitRecord)}


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitRow(LimitRecord):
    """A limit and where it applies.

    Args:
        types: type letters it applies to; one of them on the wire is enough.
        size_from: smallest size.
        size_to: largest size.
        sources: short names of the sources.
        replaces: id of the program's row that this one takes the place of, "" for none.
        beside: the same limit in the other unit of record, which is laxer, with its standing; "" where there is none.
        stated_mm: the document's own figure [mm], which constructions are built up from; None where it is `value`.
        stated: the same as the document prints it, "" where it is the value of record.
    """

    types: tuple[str, ...]
    size_from: Size
    size_to: Size
    sources: tuple[str, ...]
    replaces: str = ""
    beside: str = ""
    stated_mm: float | None = None
    stated: str = ""

    @property
    def relative(self) -> bool:
        """True if the limit is a percentage of another dimension of the wire."""
        return self.unit in (OF_AVERAGE, OF_DIAMETER, OF_CONDUCTOR)

    @property
    def cited(self) -> str:
        """Document, edition and table as one phrase."""
        return ", ".join(part for part in (self.document, self.edition, self.table) if part)

    def applies_to(self, types: Iterable[str], size: Size) -> bool:
        """True if it holds for a wire of these types and this size, dates aside."""
        inside = self.size_from.order <= size.order <= self.size_to.order
        return inside and bool(set(types) & set(self.types))

    @property
    def first_day(self) -> date:
        """First day in force; the earliest there is where it is not known."""
        return self.effective_from or date.min

    def in_force(self, on: date) -> bool:
        """True if it is in force on that day; a row whose start is not known holds for every earlier day."""
        return self.first_day <= on and (self.effective_to is None or on <= self.effective_to)


@lru_cache(maxsize=1)
def package_rows() -> tuple[LimitRow, ...]:
    """The limits shipped with the program."""
    found = []
    for row in table_rows("limits"):
        held, beside = _records(row)
        unit, factor = UNITS[held[1]]
        starts, ends = row["effective_from"], row["effective_to"]
        found.append(
            LimitRow(
                limit_id=row["limit_id"],
                types=tuple(row["types"].split(";")),
                size_from=size_named(row["size_from"]),
                size_to=size_named(row["size_to"]),
                requirement=row["requirement"],
                sense=row["sense"],
                value=held[0] * factor,
                unit=unit,
                value_of_record=held[0],
                unit_of_record=held[1],
                requirement_set=row["requirement_set"],
                document=row["document"],
                edition=row["edition"],
                table=row["table"],
                revision=row["revision"],
                effective_from=date.fromisoformat(starts) if starts else None,
                effective_to=date.fromisoformat(ends) if ends else None,
                entered_by=row["entered_by"],
                checked_by=row["checked_by"],
                sources=sources_of(row),
                standing=held[2],
                note=row["note"],
                beside=beside,
                stated_mm=float(row["value"]) * UNITS[row["unit"]][1] if held[1] != row["unit"] else None,
                stated=f"{float(row['value']):g} {row['unit']}" if held[1] != row["unit"] else "",
            )
        )
    return tuple(found)


def _records(row: Row) -> tuple[tuple[float, str, SourceStanding], str]:
    """Value, unit and standing of the record that judges, and the laxer record beside it in words."""
    records = [(float(row["value"]), row["unit"], SourceStanding(row["standing"]))]
    if row["beside_mm"]:
        records.append((float(row["beside_mm"]), "mm", SourceStanding(row["beside_standing"])))
    # Least values only: the greater is the stricter. Of two alike the document's own unit stands.
    strictest = max(records, key=lambda one: round(one[0] * UNITS[one[1]][1], 9))
    others = [f"{value:g} {unit} ({standing})" for value, unit, standing in records if unit != strictest[1]]
    return strictest, "; ".join(others)

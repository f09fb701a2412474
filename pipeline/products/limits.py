"""Which limits a wire is judged by on a day, which are missing, and which of several is hardest to meet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

from pipeline.found import together
from pipeline.messages import Measure, Message, as_written, message
from pipeline.products.limit_rows import (
    DIAMETERS,
    OF_AVERAGE,
    OF_CONDUCTOR,
    OF_DIAMETER,
    LimitRecord,
    LimitRow,
    package_rows,
)
from pipeline.products.product import Product
from pipeline.products.requirement_sets import ANY, AVERAGE, EVERY_SET, Certificate, asked_of_wire
from pipeline.products.source_standing import standing_on_file
from pipeline.products.table_rows import table_rows, where_seen
from pipeline.tuned import Tuned
from pipeline.why import Why
from pipeline.wording.say import plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit(LimitRecord):
    """One limit in force for one wire; its unit is mm, kV or %.

    Args:
        source: short names of the sources, joined by ``;``.
        types: the type letters it applies to.
        where: the kind of copy it was seen in, "" where a plant entered it.
        beside: the same limit in the other unit of record, which is laxer, with its standing; "" for none.
        said: what must be said where a run is judged by it: that the run is older than the document read.
    """

    source: str
    types: tuple[str, ...] = ()
    where: str = ""
    beside: str = ""
    said: Message | None = None

    @property
    def as_recorded(self) -> str:
        """The value of record as it is printed."""
        return f"{self.value_of_record:g}"

    def told(self, value: Measure | None = None) -> Message:
        """The limit with its document and revision, in its unit of record unless a `value` is given."""
        return message(
            Tuned.LIMIT,
            requirement=self.requirement,
            sense=self.sense,
            limit=value or Measure(self.value_of_record, self.unit_of_record),
            set=self.requirement_set,
            cited=tuple(part for part in (self.document, self.edition, self.table) if part),
            revision=self.revision,
            standing=self.standing,
        )


@dataclass(frozen=True, slots=True)
class Missing:
    """A requirement that cannot be judged because no limit is on file.

    Args:
        requirement: what should be limited.
        requirement_set: whose requirement it is; ``*`` where any would do.
        on: the day asked about; None if none was.
        told: the reason, with what the table of requirements notes beside it.
        remedy: what would answer it.
    """

    requirement: str
    requirement_set: str
    on: date | None
    told: Message
    remedy: Message


def limits_in_force(
    product: Product,
    on: date | None,
    plant_limits: Iterable[LimitRow] = (),
    certificate: Certificate = EVERY_SET,
) -> tuple[Limit, ...]:
    """Every limit in force for a product on a day, of every requirement set that applies, side by side.

    Args:
        product: the wire.
        on: the day the run was made; None for the limits with no end set.
        plant_limits: the plant's own rows (``PlantSheet.limit_rows``), kept whatever their set; one that names a
            program row in `replaces` takes its place while it is in force.
        certificate: what the plant's lots are certified to (``PlantSheet.certificate``); every set on file where
            left out.

    Returns:
        Limits in the order of requirement set, then requirement; empty if none is on file. A percentage of an
        average that is not on file is left out here and told by `missing_requirements`.
    """
    kept = _rows_in_force(product, on, plant_limits, certificate)
    return tuple(_limit(row, product, kept, on) for row in kept if _can_be_worked_out(row, kept))


def missing_requirements(
    product: Product,
    on: date | None,
    plant_limits: Iterable[LimitRow] = (),
    certificate: Certificate = EVERY_SET,
) -> tuple[Missing, ...]:
    """What cannot be judged for want of a limit: one record for each set and requirement without one.

    Args:
        product: the wire.
        on: the day the run was made; None for the requirements with no end set.
        plant_limits: the plant's own rows.
        certificate: what the plant's lots are certified to; every set on file where left out.
    """
    rows = tuple(plant_limits)
    limits = limits_in_force(product, on, rows, certificate)
    names = tuple(one.name for one in product.types)
    without: dict[tuple[str, str], list[str]] = {}
    notes: dict[tuple[str, str], dict[str, None]] = {}
    for one in asked_of_wire(names, certificate, on):
        if not any(
            is_limit_of(limit, one.requirement, one.requirement_set, one.type_name) for limit in limits
        ):
            key = (one.requirement_set, one.requirement)
            without.setdefault(key, []).append(one.type_name)
            notes.setdefault(key, {})[one.note] = None
    missing = [
        _missing(requirement, named, product, tuple(types), on, tuple(notes[named, requirement]))
        for (named, requirement), types in without.items()
    ]
    held = {one.requirement for one in limits}
    missing += [
        _missing(row["requirement"], ANY, product, names, on, (row["note"],))
        for row in table_rows("requirements")
        if row["requirement_set"] == ANY and row["requirement"] not in held
    ]
    kept = _rows_in_force(product, on, rows, certificate)
    missing += [_without_average(row, product, on) for row in kept if not _can_be_worked_out(row, kept)]
    return tuple(missing)


def is_limit_of(limit: Limit, requirement: str, requirement_set: str, type_name: str) -> bool:
    """True if a limit is what a set asks of a type; a wall is limited by a least value only."""
    directed = limit.sense == "at least" or requirement in DIAMETERS
    same = (limit.requirement, limit.requirement_set) == (requirement, requirement_set)
    return directed and same and type_name in limit.types


def _missing(
    requirement: str,
    named: str,
    product: Product,
    types: tuple[str, ...],
    on: date | None,
    notes: tuple[str, ...],
) -> Missing:
    which = {
        "requirement_set": "" if named == ANY else named,
        "types": " and ".join(types) if len(types) < len(product.types) else "",
        "day": "" if on is None else f"{on:%Y-%m-%d}",
    }
    told = message(
        Why.NO_LIMIT,
        requirement=requirement,
        product=product.name,
        **{name: text for name, text in which.items() if text},
    )
    noted = [as_written(one) for one in notes if one]
    return Missing(requirement, named, on, together(told, *noted), message(Why.ENTER_LIMIT))


def _without_average(row: LimitRow, product: Product, on: date | None) -> Missing:
    return Missing(
        row.requirement,
        row.requirement_set,
        on,
        message(
            Why.NO_AVERAGE,
            limit_id=row.limit_id,
            requirement_set=row.requirement_set,
            product=product.name,
        ),
        message(Why.ENTER_AVERAGE),
    )


def _rows_in_force(
    product: Product, on: date | None, plant_limits: Iterable[LimitRow], certificate: Certificate
) -> tuple[LimitRow, ...]:
    """Rows that hold for the wire on the day: the program's of the sets that apply, and all of the plant's."""
    names = tuple(one.name for one in product.types)
    plant = [row for row in plant_limits if row.applies_to(names, product.size) and _holds(row, on)]
    replaced = {row.replaces for row in plant if row.replaces}
    applying = {name: certificate.sets_for(name) for name in names}
    rows = [
        row
        for row in package_rows()
        if row.applies_to(names, product.size)
        and _holds(row, on)
        and row.limit_id not in replaced
        and any(row.requirement_set in applying[name] for name in names if name in row.types)
    ]
    return (*rows, *plant)


def _holds(row: LimitRow, on: date | None) -> bool:
    return row.effective_to is None if on is None else row.in_force(on)


def _averages_of(row: LimitRow, rows: Sequence[LimitRow]) -> list[float]:
    """The minimum average walls [mm] of a row's set for its types."""
    return [
        one.value
        for one in rows
        if (one.requirement, one.requirement_set) == (AVERAGE, row.requirement_set)
        and not one.relative
        and set(one.types) & set(row.types)
    ]


def _can_be_worked_out(row: LimitRow, rows: Sequence[LimitRow]) -> bool:
    return row.unit != OF_AVERAGE or bool(_averages_of(row, rows))


def _said(row: LimitRow, on: date | None) -> Message | None:
    """That a run is older than the document its limit was read in, where the limit's start is not known."""
    if row.effective_from is not None or on is None or not row.edition[:4].isdigit():
        return None
    if on.year >= int(row.edition[:4]):
        return None
    return message(Why.OLDER_THAN_DOCUMENT, document=row.document, edition=row.edition, year=str(on.year))


def _note(row: LimitRow, said: Message | None) -> str:
    """What a reader must know: the laxer record beside it, its start where that is not known, and the row's note."""
    stricter = f"Stricter than {row.beside} beside it; both are held." if row.beside else ""
    start = (plain(said) if said else "Start of validity not known.") if row.effective_from is None else ""
    return " ".join(part for part in (stricter, start, row.note) if part)


def _limit(row: LimitRow, product: Product, rows: Sequence[LimitRow], on: date | None) -> Limit:
    value, unit = row.value, row.unit
    if row.unit == OF_DIAMETER:
        value, unit = row.value / 100.0 * product.overall_mm, "mm"
    if row.unit == OF_CONDUCTOR:
        value, unit = row.value / 100.0 * product.conductor_mm, "mm"
    if row.unit == OF_AVERAGE:
        value, unit = row.value / 100.0 * max(_averages_of(row, rows)), "mm"
    said = _said(row, on)
    return Limit(
        **{**row.recorded(), "value": value, "unit": unit, "note": _note(row, said)},
        source=";".join(row.sources),
        types=row.types,
        where=where_seen(row.sources),
        beside=row.beside,
        said=said,
    )


_RECORDED = tuple(one.name for one in fields(LimitRecord))
# Columns of judged.limit that are called otherwise there.
_COLUMNS = {"table": "table_or_clause", "standing": "status"}


def row_of_limit(limit: Limit) -> dict[str, Any]:
    """A limit as a row of judged.limit."""
    record = {_COLUMNS.get(name, name): value for name, value in limit.recorded().items()}
    return {**record, "status": limit.standing.value, "source": limit.source}


def limit_on_file(row: Mapping[str, Any]) -> Limit:
    """The limit of a row of judged.limit; judgements of earlier stores kept no note."""
    record: dict[str, Any] = {name: row.get(_COLUMNS.get(name, name)) for name in _RECORDED}
    record |= {"standing": standing_on_file(row["status"]), "note": row.get("note") or ""}
    return Limit(**record, source=row["source"])

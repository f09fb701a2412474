"""Which limits a wire is judged by on a day, which are missing, and which of several is hardest to meet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.products.limit_rows import OF_AVERAGE, OF_DIAMETER, LimitRow, package_rows
from pipeline.products.product import Product
from pipeline.products.table_rows import Row, table_rows

ANY = "*"


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit in force for one wire.

    Args:
        limit_id: name of the row it was looked up in.
        requirement: what is limited.
        sense: ``at least`` or ``at most``.
        value: the limit in `unit`.
        unit: mm, kV or %.
        value_of_record: the limit as its document states it.
        unit_of_record: the document's unit.
        requirement_set: the standard or plant rule whose requirement it is.
        document: where the value was seen.
        edition: its edition.
        table: its table or clause.
        revision: revision of the row.
        effective_from: first day in force.
        effective_to: last day in force; None while no end is set.
        entered_by: role that entered it.
        checked_by: role that checked it.
        source: short names of the sources, joined by ``;``.
        status: how sure it is.
        note: what a reader must know beside it.
        types: the type letters it applies to.
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
    effective_from: date
    effective_to: date | None
    entered_by: str
    checked_by: str
    source: str
    status: str
    note: str = ""
    types: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """The limit in words, with its document and revision."""
        cited = ", ".join(part for part in (self.document, self.edition, self.table) if part)
        return (
            f"{self.requirement} {self.sense} {self.value_of_record:g} {self.unit_of_record} "
            f"({self.requirement_set}; {cited}; revision {self.revision}; {self.status})"
        )


@dataclass(frozen=True, slots=True)
class Missing:
    """A requirement that cannot be judged because no limit is on file.

    Args:
        requirement: what should be limited.
        requirement_set: whose requirement it is; ``*`` where any would do.
        on: the day asked about; None if none was.
        sentence: the reason, for a reader.
        remedy: what would answer it.
    """

    requirement: str
    requirement_set: str
    on: date | None
    sentence: str
    remedy: str


def limits_in_force(
    product: Product,
    on: date | None,
    plant_limits: Iterable[LimitRow] = (),
    requirement_sets: Sequence[str] | None = None,
) -> tuple[Limit, ...]:
    """Every limit in force for a product on a day, of every requirement set, side by side.

    Args:
        product: the wire.
        on: the day the run was made; None for the limits with no end set.
        plant_limits: the plant's own rows (``PlantSheet.limit_rows``); one that names a program row in
            `replaces` takes its place while it is in force.
        requirement_sets: the sets the lot is certified to; None for all on file. The plant's own rows for
            concentricity, overall diameter and spark test are kept whatever their set.

    Returns:
        Limits in the order of requirement set, then requirement; empty if none is on file.
    """
    names = tuple(one.name for one in product.types)
    plant = [row for row in plant_limits if row.applies_to(names, product.size) and _holds(row, on)]
    replaced = {row.replaces for row in plant if row.replaces}
    rows = [
        row
        for row in package_rows()
        if row.applies_to(names, product.size) and _holds(row, on) and row.limit_id not in replaced
    ]
    kept = [row for row in (*rows, *plant) if _asked(row, requirement_sets)]
    return tuple(_limit(row, product, kept) for row in kept)


def missing_requirements(
    product: Product,
    on: date | None,
    plant_limits: Iterable[LimitRow] = (),
    requirement_sets: Sequence[str] | None = None,
) -> tuple[Missing, ...]:
    """What cannot be judged for want of a limit: one record for each requirement without one.

    Args:
        product: the wire.
        on: the day the run was made; None for the requirements with no end set.
        plant_limits: the plant's own rows.
        requirement_sets: the sets the lot is certified to; None for all on file.
    """
    limits = limits_in_force(product, on, plant_limits, requirement_sets)
    missing = []
    for row in table_rows("requirements"):
        named = row["requirement_set"]
        if named != ANY and requirement_sets is not None and named not in requirement_sets:
            continue
        if not _in_dates(on, row["applies_from"], row["applies_to"]):
            continue
        without = _types_without(row, product, limits)
        if without:
            missing.append(_missing(row, product, without, on))
    return tuple(missing)


def most_demanding(limits: Iterable[Limit]) -> tuple[Limit, ...]:
    """For each requirement and sense the limit that is hardest to meet; ties keep the first.

    A wire marked with several types, or certified to several standards, that meets these meets them all.

    No page asks for it: a reel is held against each limit; the simulator's truth is held against these.
    """
    hardest: dict[tuple[str, str], Limit] = {}
    for one in limits:
        key = (one.requirement, one.sense)
        held = hardest.get(key)
        if held is None or (one.value > held.value if one.sense == "at least" else one.value < held.value):
            hardest[key] = one
    return tuple(hardest.values())


def _types_without(row: Row, product: Product, limits: Sequence[Limit]) -> tuple[str, ...]:
    """Types of the product for which a requirement has no limit in force."""
    asked = set(row["types"].split(";"))
    types = [one.name for one in product.types if asked == {ANY} or one.name in asked]
    covered: set[str] = set()
    for one in limits:
        if one.requirement == row["requirement"] and row["requirement_set"] in (ANY, one.requirement_set):
            covered |= set(one.types)
    if row["requirement_set"] == ANY and covered:
        return ()
    return tuple(name for name in types if name not in covered)


def _missing(row: Row, product: Product, types: tuple[str, ...], on: date | None) -> Missing:
    requirement, named = row["requirement"], row["requirement_set"]
    whose = "" if named == ANY else f" to {named}"
    if len(types) < len(product.types):
        whose += f" as type {' and '.join(types)}"
    day = "" if on is None else f" on {on:%Y-%m-%d}"
    told = f" {row['note']}" if row["note"] else ""
    return Missing(
        requirement,
        named,
        on,
        f"Not judged: no limit on file for {requirement} of {product.name}{whose}{day}.{told}",
        "Enter it in the plant sheet under [[limits]] with document, revision and dates.",
    )


def _asked(row: LimitRow, requirement_sets: Sequence[str] | None) -> bool:
    if requirement_sets is None or row.requirement_set in requirement_sets:
        return True
    return row.requirement in ("concentricity", "overall diameter", "spark test voltage")


def _holds(row: LimitRow, on: date | None) -> bool:
    return row.effective_to is None if on is None else row.in_force(on)


def _in_dates(on: date | None, first: str, last: str) -> bool:
    if on is None:
        return not last
    return (not first or date.fromisoformat(first) <= on) and (not last or on <= date.fromisoformat(last))


def _limit(row: LimitRow, product: Product, rows: Sequence[LimitRow]) -> Limit:
    value, unit = row.value, row.unit
    if row.unit == OF_DIAMETER:
        value, unit = row.value / 100.0 * product.overall_mm, "mm"
    if row.unit == OF_AVERAGE:
        average = max(
            one.value
            for one in rows
            if one.requirement == "minimum average wall" and one.requirement_set == row.requirement_set
        )
        value, unit = row.value / 100.0 * average, "mm"
    return Limit(
        limit_id=row.limit_id,
        requirement=row.requirement,
        sense=row.sense,
        value=value,
        unit=unit,
        value_of_record=row.value_of_record,
        unit_of_record=row.unit_of_record,
        requirement_set=row.requirement_set,
        document=row.document,
        edition=row.edition,
        table=row.table,
        revision=row.revision,
        effective_from=row.effective_from,
        effective_to=row.effective_to,
        entered_by=row.entered_by,
        checked_by=row.checked_by,
        source=";".join(row.sources),
        status=row.status,
        note=row.note,
        types=row.types,
    )

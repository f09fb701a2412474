"""What is wrong with limits that a plant enters, all of it at once and in words.

A limit is refused if nobody can say where it comes from, if its figure cannot be meant in its unit, if it
contradicts another limit, or if two limits would hold for the same wire on the same day.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

from pipeline.products.limit_rows import (
    DIAMETERS,
    OF_AVERAGE,
    OF_CONDUCTOR,
    OF_DIAMETER,
    REQUIREMENTS,
    UNITS,
    LimitRow,
    package_rows,
)
from pipeline.products.requirement_sets import set_misspelled

# Widest figures that can be meant, in the unit of this program (common practice, no source).
PLAUSIBLE: dict[str, dict[str, tuple[float, float]]] = {
    "minimum average wall": {"mm": (0.2, 4.0)},
    "minimum wall at any point": {"mm": (0.15, 4.0), OF_AVERAGE: (50.0, 100.0)},
    "covering at any point": {"mm": (0.05, 1.0)},
    "concentricity": {"%": (30.0, 100.0)},
    "conductor diameter": {"mm": (0.5, 40.0), OF_CONDUCTOR: (90.0, 110.0)},
    "overall diameter": {"mm": (1.0, 60.0), OF_DIAMETER: (80.0, 125.0)},
    "spark test voltage": {"kV": (0.5, 40.0)},
}
# A minimum at any point in mm or mil may be no smaller a share of its average than one written in percent [%].
LEAST_OF_AVERAGE = PLAUSIBLE["minimum wall at any point"][OF_AVERAGE][0]


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a row.

    Args:
        row: number of the row in the list, from 0.
        key: the key it is about, "" for the whole row.
        found: what was found, without a full stop.
        remedy: what to do, without a full stop.
    """

    row: int
    key: str
    found: str
    remedy: str


def faults_of_limits(rows: Sequence[LimitRow]) -> tuple[Fault, ...]:
    """Everything wrong with a plant's limit rows, by themselves and against each other and the program's.

    Args:
        rows: the plant's rows, in the order of its sheet.
    """
    found: list[Fault] = []
    for number, row in enumerate(rows):
        found += _alone(number, row)
        found += _named(number, row)
    odd = {fault.row for fault in found if fault.key in ("unit", "value")}
    for number, row in enumerate(rows):
        others = [(f"limit '{other.limit_id}'", other) for other in rows[:number]]
        found += _overlapping(number, row, others, rows)
        if number not in odd:
            found += _contradicting(number, row, rows)
    return tuple(found)


def _alone(number: int, row: LimitRow) -> Iterator[Fault]:
    if not row.document.strip():
        found = f"limit '{row.limit_id}' names no document"
        yield Fault(number, "document", found, "Say in which document the value stands")
    if not "".join(row.sources).strip():
        yield Fault(
            number,
            "source",
            f"limit '{row.limit_id}' has no source",
            "Say who saw the value and in which copy",
        )
    if row.requirement not in REQUIREMENTS:
        yield Fault(
            number,
            "requirement",
            f"'{row.requirement}' is not a requirement",
            f"It may be {', '.join(REQUIREMENTS)}",
        )
        return
    if row.sense != "at least" and row.requirement not in DIAMETERS:
        yield Fault(
            number,
            "sense",
            f"limit '{row.limit_id}' says {row.sense}, but {row.requirement} is limited by a least value",
            "Write at least, or take the key out",
        )
    meant = set_misspelled(row.requirement_set)
    if meant is not None:
        yield Fault(
            number,
            "requirement_set",
            f"'{row.requirement_set}' is not how the requirement set '{meant}' is written",
            f"Write {meant}",
        )
    if row.size_from.order > row.size_to.order:
        yield Fault(
            number,
            "size_from",
            f"{row.size_from.name} is larger than {row.size_to.name}",
            "Give the smallest size first",
        )
    if row.effective_to is not None and row.effective_to < row.first_day:
        yield Fault(
            number,
            "effective_to",
            f"the limit ends on {row.effective_to}, before it starts on {row.effective_from}",
            "Give the last day it is in force",
        )
    yield from _figure(number, row)


def _figure(number: int, row: LimitRow) -> Iterator[Fault]:
    """A figure that cannot be meant in its unit, with the unit it may have been meant in."""
    ranges = PLAUSIBLE[row.requirement]
    if row.unit not in ranges:
        units = [unit for unit, (own, _) in UNITS.items() if own in ranges]
        yield Fault(
            number,
            "unit",
            f"{row.unit_of_record} does not measure {row.requirement}",
            f"It may be {', '.join(units)}",
        )
        return
    low, high = ranges[row.unit]
    if low <= row.value <= high:
        return
    meant = [
        unit
        for unit, (own, factor) in UNITS.items()
        if own == row.unit and low <= row.value_of_record * factor <= high
    ]
    in_ours = "" if row.unit_of_record == row.unit else f" ({row.value:.4g} {row.unit})"
    hint = f"If {row.value_of_record:g} {' or '.join(meant)} is meant, write that unit" if meant else ""
    bounds = f"A figure from {low:g} to {high:g} {row.unit} can be meant"
    yield Fault(
        number,
        "value",
        f"{row.value_of_record:g} {row.unit_of_record}{in_ours} cannot be the {row.requirement} "
        "of building wire",
        f"{bounds}. {hint}" if hint else bounds,
    )


def _named(number: int, row: LimitRow) -> Iterator[Fault]:
    """An id that the program's own rows use, or a row to replace that is not there."""
    known = {one.limit_id: one for one in package_rows()}
    if row.limit_id in known:
        yield Fault(
            number,
            "id",
            f"'{row.limit_id}' is a limit of the product tables",
            "Give this one its own id; to take the other's place write it under replaces",
        )
    if not row.replaces:
        return
    if row.replaces not in known:
        yield Fault(
            number,
            "replaces",
            f"'{row.replaces}' is not a limit of the product tables",
            "Copy the id from the product's limits, or take the key out",
        )
    elif known[row.replaces].requirement != row.requirement:
        yield Fault(
            number,
            "replaces",
            f"'{row.replaces}' is a limit for {known[row.replaces].requirement}, not {row.requirement}",
            "Name a limit for the same requirement",
        )
    elif _laxer(row, known[row.replaces]) and not row.note.strip():
        other = known[row.replaces]
        yield Fault(
            number,
            "note",
            f"limit '{row.limit_id}' of {row.value_of_record:g} {row.unit_of_record} is laxer than "
            f"'{other.limit_id}' of {other.value_of_record:g} {other.unit_of_record}, which it replaces",
            "Check the figure; if the document does state it, say so in a note",
        )


def _laxer(row: LimitRow, other: LimitRow) -> bool:
    """True if a row lets through wire that the row it replaces would not."""
    if row.unit != other.unit:
        return True
    less = row.value < other.value - 1e-9
    more = row.value > other.value + 1e-9
    return less if other.sense == "at least" else more


def _meet(one: LimitRow, other: LimitRow) -> bool:
    """True if some wire on some day falls under both rows."""
    sizes = one.size_from.order <= other.size_to.order and other.size_from.order <= one.size_to.order
    days = (one.effective_to is None or other.first_day <= one.effective_to) and (
        other.effective_to is None or one.first_day <= other.effective_to
    )
    return sizes and days and bool(set(one.types) & set(other.types))


def _overlapping(
    number: int, row: LimitRow, before: Sequence[tuple[str, LimitRow]], rows: Sequence[LimitRow]
) -> Iterator[Fault]:
    replaced = {one.replaces for one in rows if one.replaces}
    program = [
        (f"limit '{one.limit_id}' of the product tables", one)
        for one in package_rows()
        if one.limit_id not in replaced
    ]
    for title, other in (*before, *program):
        alike = (row.requirement_set, row.requirement, row.sense)
        if alike != (other.requirement_set, other.requirement, other.sense) or not _meet(row, other):
            continue
        ends = other.effective_to
        if title.endswith("tables"):
            remedy = f'Write replaces = "{other.limit_id}" if this one takes its place'
        else:
            remedy = _parting(row, other)
        yield Fault(
            number,
            "effective_from",
            f"from {max(row.first_day, other.first_day)} both this limit and {title} "
            f"({other.effective_from or 'start not known'} to {ends or 'no end'}) hold for {row.requirement} "
            f"to {row.requirement_set}",
            remedy,
        )


def _parting(one: LimitRow, other: LimitRow) -> str:
    """How to part two revisions of one limit."""
    earlier, later = sorted((one, other), key=lambda row: row.first_day)
    if earlier.first_day == later.first_day:
        return "Keep one of them, or let one start after the other ends"
    day = later.first_day - timedelta(days=1)
    return f"End '{earlier.limit_id}' before the later one starts: effective_to = {day}"


_WITHIN = ("minimum wall at any point", "covering at any point")
_AVERAGE = "minimum average wall"


def _contradicting(number: int, row: LimitRow, rows: Sequence[LimitRow]) -> Iterator[Fault]:
    """A point above its average or far under it, or a covering thicker than its wall, whichever row is new."""
    replaced = {one.replaces for one in rows if one.replaces}
    standing = [one for one in package_rows() if one.limit_id not in replaced]
    if row.requirement in _WITHIN:
        pairs = [(row, other) for other in (*rows, *standing) if other.requirement == _AVERAGE]
    elif row.requirement == _AVERAGE:
        pairs = [(other, row) for other in standing if other.requirement in _WITHIN]
    else:
        return
    for inner, average in pairs:
        if inner.relative or average.relative or not _meet(inner, average) or _fits(inner, average):
            continue
        figure = f"{inner.value_of_record:g} {inner.unit_of_record}"
        wall = f"{average.value_of_record:g} {average.unit_of_record}"
        figure, wall = (
            (figure, f"{wall} ('{average.limit_id}')")
            if inner is row
            else (f"{figure} ('{inner.limit_id}')", wall)
        )
        if inner.requirement == _WITHIN[0]:
            side = "above" if inner.value > average.value else f"under {LEAST_OF_AVERAGE:g} % of"
            found = f"a minimum at any point of {figure} is {side} the minimum average of {wall}"
        else:
            found = f"a covering of {figure} is not thinner than the insulation's minimum average of {wall}"
        yield Fault(number, "value", found, "Check the figure, its unit and the sizes")
        return


def _fits(inner: LimitRow, average: LimitRow) -> bool:
    """True if a point or covering can stand beside an average; points count within one requirement set."""
    if inner.requirement == _WITHIN[0]:
        least = LEAST_OF_AVERAGE / 100.0 * average.value
        return (
            inner.requirement_set != average.requirement_set or least <= inner.value <= average.value + 1e-9
        )
    return inner.value < average.value

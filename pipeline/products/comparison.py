"""How two constructions differ, value by value, and whether the sources are sure enough to say so."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.products.construction_sheet import ConstructionSheet
from pipeline.products.sheet_line import SheetLine

# A published figure of one table has no counterpart in the other's, so these sections are not compared.
_NOT_COMPARED = ("published for comparison",)


@dataclass(frozen=True, slots=True)
class ComparedLine:
    """One value in both constructions.

    Args:
        section: heading it stands under.
        name: what the value is.
        unit: unit of both.
        first: the first construction's line; None where it has none.
        second: the second construction's line; None where it has none.
        difference: second less first [`unit`]; None where one is missing.
        ratio: second over first; None where one is missing or the first is zero.
        distinct: False if their ranges overlap, so that the sources do not tell them apart; None where one
            is missing.
    """

    section: str
    name: str
    unit: str
    first: SheetLine | None
    second: SheetLine | None
    difference: float | None
    ratio: float | None
    distinct: bool | None


@dataclass(frozen=True, slots=True)
class ConstructionComparison:
    """Two construction sheets side by side.

    Args:
        first: the first sheet.
        second: the second sheet.
        lines: each value of either, in the order of the sheets.
        cautions: sentences to show with it.
    """

    first: ConstructionSheet
    second: ConstructionSheet
    lines: tuple[ComparedLine, ...]
    cautions: tuple[str, ...]


def compare_constructions(first: ConstructionSheet, second: ConstructionSheet) -> ConstructionComparison:
    """Two construction sheets compared value by value.

    Args:
        first: sheet of the first construction (`construction_sheet`).
        second: sheet of the second.
    """
    ours, theirs = _by_name(first), _by_name(second)
    names = dict.fromkeys((*ours, *theirs))
    cautions = [*first.cautions, *(one for one in second.cautions if one not in first.cautions)]
    if first.family != second.family:
        cautions.append(
            "The two constructions are of different materials: a value that is better in one may be bought "
            "with another that is worse. The adopted code says where each may be used."
        )
    return ConstructionComparison(
        first=first,
        second=second,
        lines=tuple(_compared(name, ours.get(name), theirs.get(name)) for name in names),
        cautions=tuple(cautions),
    )


def _by_name(sheet: ConstructionSheet) -> dict[tuple[str, str], SheetLine]:
    """Lines by section and general name; of several with one name the greatest value."""
    found: dict[tuple[str, str], SheetLine] = {}
    for line in sheet.lines:
        if line.section in _NOT_COMPARED:
            continue
        key = (line.section, _general(line.name))
        held = found.get(key)
        if held is None or (line.value or 0.0) > (held.value or 0.0):
            found[key] = line
    return found


def _general(name: str) -> str:
    """The name without the one material or requirement set it is about, so that unlike ones compare."""
    if name.startswith("density of "):
        return "density"
    if name.startswith("relative permittivity of "):
        return f"relative permittivity of the {_layer(name)}"
    return name.split(", ")[0]


def _layer(name: str) -> str:
    return "covering" if name.endswith("nylon") else "insulation"


def _compared(name: tuple[str, str], first: SheetLine | None, second: SheetLine | None) -> ComparedLine:
    known = [one for one in (first, second) if one is not None]
    difference = ratio = None
    distinct: bool | None = None
    values = [one.value for one in known if one.value is not None]
    if first is not None and second is not None and len(values) == 2:
        difference = values[1] - values[0]
        ratio = values[1] / values[0] if values[0] else None
        distinct = _apart(first, second)
    return ComparedLine(name[0], name[1], known[0].unit, first, second, difference, ratio, distinct)


def _apart(first: SheetLine, second: SheetLine) -> bool:
    if first.low is None or first.high is None or second.low is None or second.high is None:
        return False
    return first.high < second.low or second.high < first.low

"""Which limits and listing options a plant enters, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from pipeline.errors import Complaint, NotFoundError
from pipeline.products.limit_checks import faults_of_limits
from pipeline.products.limit_rows import DIAMETERS, UNITS, LimitRow
from pipeline.products.requirement_sets import known_sets, nearest_set
from pipeline.products.sizes import size_named
from pipeline.products.source_standing import SourceStanding
from pipeline.products.type_letters import types_named
from pipeline.sheets.toml_file import Sheet

Requirement = Literal[
    "minimum average wall",
    "minimum wall at any point",
    "covering at any point",
    "concentricity",
    "conductor diameter",
    "overall diameter",
    "spark test voltage",
]
Sense = Literal["at least", "at most"]
Unit = Literal[
    "mil", "in", "mm", "um", "%", "kV", "V",
    "% of minimum average wall", "% of overall diameter at minimum walls",
    "% of nominal conductor diameter",
]  # fmt: skip
Told = Annotated[str, Field(min_length=1)]


class EnteredLimit(Sheet):
    """A limit the plant enters.

    Args:
        id: the plant's name of the limit, never reused.
        types: type letters it applies to, for example ``["XHHW-2"]``.
        size_from: smallest size.
        size_to: largest size.
        requirement: what is limited.
        sense: at least or at most; may be left out for all but the two diameters.
        value: the limit.
        unit: unit of the document the limit stands in.
        requirement_set: the standard or plant rule whose requirement it is.
        document: the document it stands in.
        edition: its edition.
        table: its table or clause.
        revision: the plant's revision of this limit.
        effective_from: first day in force.
        effective_to: last day in force; left out while no end is set.
        entered_by: role that entered it.
        checked_by: role that checked it.
        source: who saw the value and in which copy.
        replaces: id of the program's limit that this one takes the place of.
        note: what a reader must know beside it.
    """

    id: Told
    types: Annotated[tuple[str, ...], Field(min_length=1)]
    size_from: str
    size_to: str
    requirement: Requirement
    sense: Sense | None = None
    value: Annotated[float, Field(gt=0)]
    unit: Unit
    requirement_set: Told
    document: str = ""
    edition: str = ""
    table: str = ""
    revision: Told
    effective_from: date
    effective_to: date | None = None
    entered_by: Told
    checked_by: Told
    source: str = ""
    replaces: str = ""
    note: str = ""

    @model_validator(mode="after")
    def _directed(self) -> EnteredLimit:
        if self.sense is None and self.requirement in DIAMETERS:
            raise ValueError(f"the {self.requirement} needs 'sense': at least or at most")
        return self


class Listing(Sheet):
    """An option of the plant's listing: it belongs to the listing, not to the wire type.

    Args:
        types: type letters it applies to.
        option: what is listed, for example ``sunlight resistant``.
        size_from: smallest size.
        size_to: largest size.
        conditions: conditions such as a colour, "" for none.
        source: where the plant's listing says so.
    """

    types: Annotated[tuple[str, ...], Field(min_length=1)]
    option: Told
    size_from: str
    size_to: str
    conditions: str = ""
    source: Told


# What a row says in the plant's own words.
_AS_ENTERED = (
    "requirement", "requirement_set", "document", "edition", "table", "revision", "effective_from", "effective_to",
    "entered_by", "checked_by", "note", "replaces",
)  # fmt: skip


def limit_row(one: EnteredLimit) -> LimitRow:
    """An entered limit in the form the product rooms take, its value converted exactly."""
    unit, factor = UNITS[one.unit]
    return LimitRow(
        **{name: getattr(one, name) for name in _AS_ENTERED},
        limit_id=one.id,
        types=tuple(dict.fromkeys(found.name for name in one.types for found in types_named(name))),
        size_from=size_named(one.size_from),
        size_to=size_named(one.size_to),
        sense=one.sense or "at least",
        value=one.value * factor,
        unit=unit,
        value_of_record=one.value,
        unit_of_record=one.unit,
        sources=(one.source,) if one.source else (),
        standing=SourceStanding.PLANT,
    )


def name_complaints(
    path: Path,
    limits: Sequence[EnteredLimit],
    listings: Sequence[Listing],
    certified: Mapping[str, Sequence[str]],
) -> list[Complaint]:
    """Types, sizes and requirement sets that are not on file, and limit ids that stand more than once."""
    entries: list[tuple[str, EnteredLimit | Listing]] = []
    entries += [(f"limits[{n}]", one) for n, one in enumerate(limits, 1)]
    entries += [(f"listings[{n}]", one) for n, one in enumerate(listings, 1)]
    complaints: list[Complaint] = []
    for key, one in entries:
        for name in one.types:
            complaints += _not_found(f"{path}: {key}.types", name, types_named)
        complaints += _not_found(f"{path}: {key}.size_from", one.size_from, size_named)
        complaints += _not_found(f"{path}: {key}.size_to", one.size_to, size_named)
    for construction, sets in certified.items():
        complaints += _not_found(f"{path}: certified", construction, types_named)
        where = f'{path}: certified."{construction}"'
        if not sets:
            complaints.append(
                Complaint(where, "it names no requirement set", "Name one, or take the key out")
            )
        complaints += sets_not_known(where, sets, [one.requirement_set for one in limits])
    ids = [one.id for one in limits]
    complaints += [
        Complaint(f"{path}: limits", f"the id '{name}' stands more than once", "Give each limit its own id")
        for name in sorted({one for one in ids if ids.count(one) > 1})
    ]
    return complaints


def sets_not_known(where: str, sets: Iterable[str], own: Iterable[str]) -> Iterator[Complaint]:
    """Requirement sets of a sheet that neither the program nor a limit of the plant names.

    Args:
        where: file and key, for the complaint.
        sets: the sets as the sheet writes them.
        own: the sets of the limits that the plant enters.
    """
    own = tuple(dict.fromkeys(own))
    for name in sets:
        if name in known_sets() or name in own:
            continue
        near = nearest_set(name, own)
        hint = f"The nearest is {near}. " if near else ""
        listed = "; ".join(dict.fromkeys((*known_sets(), *own)))
        yield Complaint(where, f"'{name}' is not a requirement set on file", f"{hint}On file are {listed}")


def limit_complaints(path: Path, limits: Sequence[EnteredLimit], second_person: bool) -> list[Complaint]:
    """Everything wrong with the limits as a whole (`pipeline.products.limit_checks`), with file and key."""
    complaints = []
    for fault in faults_of_limits([limit_row(one) for one in limits]):
        key = f"limits[{fault.row + 1}]" + (f".{fault.key}" if fault.key else "")
        complaints.append(Complaint(f"{path}: {key}", fault.found, fault.remedy))
    if second_person:
        complaints += [
            Complaint(
                f"{path}: limits[{number}].checked_by",
                f"'{one.checked_by}' entered and checked limit '{one.id}'",
                "The sheet's second_person.limits asks for another role",
            )
            for number, one in enumerate(limits, 1)
            if one.entered_by == one.checked_by
        ]
    return complaints


def _not_found(where: str, name: str, look_up: Callable[[str, str], object]) -> list[Complaint]:
    try:
        look_up(name, where)
    except NotFoundError as fault:
        return list(fault.complaints)
    return []

"""Which requirement sets a wire is held to: by each type marked on it, and by what its plant certifies it to.

A requirement set is a standard or a plant's own rule. The type letters alone call for some (THHN for UL 83); a plant
may certify a type to more. Nothing that a plant writes takes away a set that the type letters call for.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date

from pipeline.products.table_rows import Row, table_rows
from pipeline.products.type_letters import types_named

ANY = "*"
AVERAGE, POINT = "minimum average wall", "minimum wall at any point"


@dataclass(frozen=True, slots=True)
class SetRequirement:
    """One requirement that a set asks of a type.

    Args:
        requirement_set: whose requirement it is.
        type_name: the type letters.
        requirement: what must be limited.
        note: what a reader must know beside it.
    """

    requirement_set: str
    type_name: str
    requirement: str
    note: str


@dataclass(frozen=True, slots=True)
class Certificate:
    """What a plant's lots are certified to.

    Args:
        named: by construction as the sheet writes it (one type, or several joined by ``/``), its requirement sets.
        entered: (requirement set, type) of the limits the plant enters.
    """

    named: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    entered: frozenset[tuple[str, str]] = frozenset()

    def sets_for(self, type_name: str) -> tuple[str, ...]:
        """The requirement sets a type is held to.

        Those its letters call for, and those the plant names for it; every set on file where the plant names none.
        In a construction of several types a set goes to those it applies to, and to all if it applies to none.

        Args:
            type_name: type letters in this program's spelling.
        """
        certified: list[str] = []
        listed = False
        for construction, sets in self.named.items():
            types = [one.name for one in types_named(construction)]
            if type_name not in types:
                continue
            listed = True
            for name in sets:
                applies = [one for one in types if self._applies(name, one)]
                if type_name in (applies or types):
                    certified.append(name)
        if not listed:
            certified = [row["requirement_set"] for row in _rows_of(type_name)]
        return tuple(dict.fromkeys((*sets_of_letters(type_name), *certified)))

    def _applies(self, name: str, type_name: str) -> bool:
        on_file = any(row["requirement_set"] == name for row in _rows_of(type_name))
        return on_file or (name, type_name) in self.entered


EVERY_SET = Certificate()


def known_sets() -> tuple[str, ...]:
    """Every requirement set the program knows, in the order of its table."""
    return tuple(
        dict.fromkeys(row["requirement_set"] for row in table_rows("requirements") if row["types"] != ANY)
    )


def sets_of_letters(type_name: str) -> tuple[str, ...]:
    """The requirement sets that the type letters call for whatever a certificate says."""
    rows = _rows_of(type_name)
    return tuple(
        dict.fromkeys(row["requirement_set"] for row in rows if row["called_for_by"] == "type letters")
    )


def asked_of(type_name: str, requirement_set: str, on: date | None) -> tuple[SetRequirement, ...]:
    """What a set asks of a type on a day.

    Args:
        type_name: the type letters.
        requirement_set: the set.
        on: the day the run was made; None for the newest issue.

    Returns:
        An average and a point of the insulation, and what else the set's rows say. A set without a row for the type
        is asked for both all the same, so that it is never passed over.
    """
    own = [row for row in _rows_of(type_name) if row["requirement_set"] == requirement_set]
    rows = [row for row in own if _in_dates(on, row["applies_from"], row["applies_to"])]
    if rows:
        return tuple(
            SetRequirement(requirement_set, type_name, row["requirement"], row["note"]) for row in rows
        )
    note = f"The program knows no requirement of {requirement_set} for type {type_name}."
    return tuple(SetRequirement(requirement_set, type_name, one, note) for one in (AVERAGE, POINT))


def asked_of_wire(
    types: Iterable[str], certificate: Certificate, on: date | None
) -> tuple[SetRequirement, ...]:
    """What every set that applies asks of a wire marked with `types` on the day `on`."""
    return tuple(
        one
        for type_name in types
        for requirement_set in certificate.sets_for(type_name)
        for one in asked_of(type_name, requirement_set, on)
    )


def set_misspelled(name: str) -> str | None:
    """The known set that `name` spells otherwise in blanks, hyphens or case; None where there is none."""
    if name in known_sets():
        return None
    return next((one for one in known_sets() if _plain(one) == _plain(name)), None)


def nearest_set(name: str, others: Iterable[str] = ()) -> str | None:
    """The known set, or the one of `others`, that `name` comes nearest to; None if none is near."""
    by_plain = {_plain(one): one for one in (*others, *known_sets())}
    near = difflib.get_close_matches(_plain(name), by_plain, n=1, cutoff=0.6)
    return by_plain[near[0]] if near else None


def _plain(name: str) -> str:
    return re.sub(r"[^a-z0-9]", "", name.lower())


def _rows_of(type_name: str) -> list[Row]:
    return [row for row in table_rows("requirements") if type_name in row["types"].split(";")]


def _in_dates(on: date | None, first: str, last: str) -> bool:
    if on is None:
        return not last
    return (not first or date.fromisoformat(first) <= on) and (not last or on <= date.fromisoformat(last))

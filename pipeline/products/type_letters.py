"""What the type letters on a wire mean, and which family of construction they belong to.

The vocabulary is the wire code's (NFPA 70-2023, Table 310.4(1), trade names and coverings). A conductor may
carry several types, such as THHN/THWN-2: it must then meet all of them.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import lru_cache

from pipeline.errors import Complaint, NotFoundError
from pipeline.products.source_standing import SourceStanding
from pipeline.products.table_rows import document_of, sources_of, table_rows


@dataclass(frozen=True, slots=True)
class WireType:
    """One type designation.

    Args:
        name: the type letters.
        family: construction it is made as: ``THHN/THWN-2`` (PVC and nylon) or ``XHHW-2`` (XLPE).
        meaning: what the wire code calls it.
        dry_c: highest conductor temperature in dry and damp locations [degC]; None where it was not seen.
        wet_c: highest conductor temperature in wet locations [degC]; None where it may not be used wet or was not seen.
        wet_use: ``yes``, ``no`` or ``not seen``: whether it may be used in wet locations.
        volts: rated voltage [V].
        document: where that was seen.
        sources: short names of the sources.
        standing: how sure it is.
        note: what a reader must know beside it.
    """

    name: str
    family: str
    meaning: str
    dry_c: float | None
    wet_c: float | None
    wet_use: str
    volts: float
    document: str
    sources: tuple[str, ...]
    standing: SourceStanding
    note: str


@dataclass(frozen=True, slots=True)
class Letter:
    """One letter group of a type and what it says."""

    letters: str
    meaning: str
    sources: tuple[str, ...]
    standing: SourceStanding


@lru_cache(maxsize=1)
def all_types() -> tuple[WireType, ...]:
    """Every type on file."""
    return tuple(
        WireType(
            name=row["type"],
            family=row["family"],
            meaning=row["name"],
            dry_c=float(row["dry_c"]) if row["dry_c"] else None,
            wet_c=float(row["wet_c"]) if row["wet_c"] else None,
            wet_use=row["wet_use"],
            volts=float(row["volts"]),
            document=document_of(row),
            sources=sources_of(row),
            standing=SourceStanding(row["standing"]),
            note=row["note"],
        )
        for row in table_rows("types")
    )


def types_named(construction: str, where: str = "construction") -> tuple[WireType, ...]:
    """The types that a construction such as ``THHN/THWN-2`` or ``XHHW-2`` carries, as written.

    Args:
        construction: one type, or several of one family joined by ``/``.
        where: the place to name in a complaint.

    Raises:
        NotFoundError: a type is not on file (the nearest is named), or the types are of two families.
    """
    on_file = {one.name.upper(): one for one in all_types()}
    asked = [part.strip() for part in re.split(r"[/,]| or ", construction) if part.strip()]
    unknown = [part for part in asked if part.upper() not in on_file]
    if unknown or not asked:
        wrong = unknown[0] if unknown else construction
        near = difflib.get_close_matches(wrong.upper(), on_file, n=1, cutoff=0.5)
        nearest = f"The nearest is {on_file[near[0]].name}. " if near else ""
        remedy = f"{nearest}On file are {', '.join(one.name for one in all_types())}"
        raise NotFoundError(Complaint(where, f"'{wrong}' is not a wire type on file", remedy))
    types = tuple(dict.fromkeys(on_file[part.upper()] for part in asked))
    families = sorted({one.family for one in types})
    if len(families) > 1:
        by_family = "; ".join(
            f"{', '.join(one.name for one in types if one.family == family)} is made as {family}"
            for family in families
        )
        raise NotFoundError(
            Complaint(
                where,
                f"'{construction}' joins types of different materials: {by_family}",
                "Name types of one family",
            )
        )
    return types


def letters_of(name: str) -> tuple[Letter, ...]:
    """The letter groups of the type `name` in order, each with its meaning; letters not on file are left out.

    The longest group on file is read first, so HH is one group and not twice H.
    """
    groups = {row["letters"]: row for row in table_rows("type_letters")}
    rest, found = name.upper(), []
    while rest:
        size = next((n for n in range(len(rest), 0, -1) if rest[:n] in groups), 0)
        if size:
            row = groups[rest[:size]]
            found.append(
                Letter(row["letters"], row["meaning"], sources_of(row), SourceStanding(row["standing"]))
            )
        rest = rest[max(size, 1) :]
    return tuple(found)

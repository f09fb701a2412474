"""How a command writes lengths, places, walls and sentences: in the plant's own units."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from pipeline.errors import ReelproofError
from pipeline.length.reel_places import figure_told, length_told
from pipeline.messages import Said

if TYPE_CHECKING:
    from pipeline.length.reel_places import Unit
    from pipeline.store.database import Store


# A place or length in metres, as sentences write it.
_METRES = re.compile(r"(?<![\w.,])(\d[\d,]*(?:\.\d+)?) m\b")


@contextmanager
def complaints_in_units(store: Store, *, only_places: bool = False) -> Iterator[None]:
    """Words of complaints with their figures in the plant's units, where the store is open.

    Args:
        store: the store, open.
        only_places: True where what was typed has a unit of its own, as a wall in a table of samples.

    Raises:
        ReelproofError: what was raised, in the plant's units.
    """
    from pipeline.record.plant_sheet_on_file import unit_of_plant

    try:
        yield
    except ReelproofError as fault:
        shown = InUnits(unit_of_plant(store))
        worded = shown.places if only_places else shown.sentence
        told = [replace(one, found=worded(one.found), remedy=worded(one.remedy)) for one in fault.complaints]
        raise type(fault)(told) from None


@dataclass(frozen=True, slots=True)
class InUnits:
    """Figures in one plant's units.

    Args:
        unit: ft or m, the plant's unit of length.
    """

    unit: Unit

    @property
    def system(self) -> Literal["us", "si"]:
        """The unit system that goes with it."""
        return "us" if self.unit == "ft" else "si"

    def length(self, length_m: float) -> str:
        """A length or place with its unit."""
        return length_told(length_m, self.unit)

    def figure(self, length_m: float) -> str:
        """A length or place without its unit."""
        return figure_told(length_m, self.unit)

    def sentence(self, told: Said) -> str:
        """A sentence or message with its figures in the plant's units."""
        from dashboards.sentences import in_units

        return in_units(told, self.system).replace("\u00a0", " ")

    def places(self, told: str) -> str:
        """A sentence with its places and lengths of wire in the plant's units, and walls as they are."""

        def moved(found: re.Match[str]) -> str:
            return length_told(float(found[1].replace(",", "")), self.unit)

        return _METRES.sub(moved, told) if self.unit == "ft" else told

    def sentences(self, told: Iterable[Said]) -> tuple[str, ...]:
        """Sentences or messages, each with its figures in the plant's units."""
        return tuple(self.sentence(one) for one in told)

    def quantity(self, value: float | None, unit: str, otherwise: str = "none") -> str:
        """A figure of a requirement with its unit: mil or mm for a wall, as it is for what has one unit only.

        Args:
            value: the figure, in the store's unit; None gives `otherwise`.
            unit: the store's unit.
            otherwise: shown for None.
        """
        from pipeline.wording.kinds import kind_of, text_of

        if value is None:
            return otherwise
        system = self.system
        return f"{text_of(value, kind_of(unit), system)} {kind_of(unit).side(system).unit}".strip()

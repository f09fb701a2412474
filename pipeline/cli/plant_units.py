"""How a command writes lengths, places, walls and sentences: in the plant's own units."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipeline.length.reel_places import figure_told, length_told
from pipeline.messages import Said

if TYPE_CHECKING:
    from pipeline.length.reel_places import Unit


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
        from pipeline.wording.say import text_in

        return text_in(told, self.system).replace("\u00a0", " ")

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

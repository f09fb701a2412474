"""How a figure is shown: both unit systems, sensible digits, and never rounded across a limit.

Conversions are exact: 1 in = 25.4 mm, 1 ft = 0.3048 m, 1 lb = 0.45359237 kg (international yard and pound
agreement, 1959; NIST SP 811, appendix B.8); 1 psi = 1 lbf/in2 = 0.0689475729... bar with g_n = 9.80665 m/s2
(the same appendix). How many digits each kind shows is this program's choice: about a tenth of a usual
gauge's uncertainty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from pipeline.units import M_PER_FOOT, MM_PER_MIL

System = Literal["us", "si"]
KG_PER_POUND = 0.45359237
BAR_PER_PSI = KG_PER_POUND * 9.80665 / (0.0254**2) / 1.0e5
NARROW_SPACE = "\u202f"
MINUS = "\u2212"
INFINITY_TEXT = "\u221e"


@dataclass(frozen=True, slots=True)
class Side:
    """One unit system's way to show a kind of quantity: shown = stored * factor + offset."""

    unit: str
    factor: float
    decimals: int
    offset: float = 0.0


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: what the store's unit becomes in mil and foot (`us`) and in mm and metre (`si`)."""

    us: Side
    si: Side

    def side(self, system: System) -> Side:
        """The side for one unit system."""
        return self.us if system == "us" else self.si


def _same(unit: str, decimals: int) -> Kind:
    return Kind(Side(unit, 1.0, decimals), Side(unit, 1.0, decimals))


KINDS: dict[str, Kind] = {
    "wall": Kind(Side("mil", 1 / MM_PER_MIL, 2), Side("mm", 1.0, 3)),
    "fine wall": Kind(Side("mil", 0.001 / MM_PER_MIL, 2), Side("\u00b5m", 1.0, 1)),
    "swing": Kind(Side("mil", 0.001 / MM_PER_MIL, 3), Side("\u00b5m", 1.0, 2)),
    "diameter": Kind(Side("mil", 1 / MM_PER_MIL, 1), Side("mm", 1.0, 3)),
    "length": Kind(Side("ft", 1 / M_PER_FOOT, 0), Side("m", 1.0, 0)),
    "place": Kind(Side("ft", 1 / M_PER_FOOT, 1), Side("m", 1.0, 1)),
    "turn": Kind(Side("ft", 1 / M_PER_FOOT, 2), Side("m", 1.0, 3)),
    "speed": Kind(Side("ft/min", 60 / M_PER_FOOT, 0), Side("m/min", 60.0, 0)),
    "per length": Kind(Side("per 1000 ft", M_PER_FOOT, 3), Side("per km", 1.0, 3)),
    "mass": Kind(Side("lb", 1 / KG_PER_POUND, 0), Side("kg", 1.0, 0)),
    "mass per length": Kind(Side("lb/1000 ft", M_PER_FOOT / KG_PER_POUND, 3), Side("kg/km", 1.0, 3)),
    "temperature": Kind(Side("°F", 1.8, 0, 32.0), Side("°C", 1.0, 1)),
    "pressure": Kind(Side("psi", 1 / BAR_PER_PSI, 0), Side("bar", 1.0, 1)),
    "voltage": _same("kV", 1),
    "percent": _same("%", 1),
    "angle": _same("°", 0),
    "rotation": _same("rpm", 1),
    "output a turn": Kind(Side("lb/h per rpm", 1 / KG_PER_POUND, 3), Side("kg/h per rpm", 1.0, 3)),
    "days": _same("days", 1),
    "wall per length": Kind(
        Side("mil per 1000 ft", M_PER_FOOT / MM_PER_MIL, 3), Side("\u00b5m per km", 1000.0, 2)
    ),
    "wall per speed": Kind(
        Side("mil per 100 ft/min", 100.0 * M_PER_FOOT / (60.0 * MM_PER_MIL), 2),
        Side("\u00b5m per m/min", 1000.0 / 60.0, 1),
    ),
    "wall per rotation": Kind(Side("mil per rpm", 1 / MM_PER_MIL, 2), Side("\u00b5m per rpm", 1000.0, 1)),
    "wall per temperature": Kind(
        Side("mil per \u00b0F", 1 / (1.8 * MM_PER_MIL), 2), Side("\u00b5m per \u00b0C", 1000.0, 1)
    ),
    "wall per pressure": Kind(
        Side("mil per 100 psi", 100.0 * BAR_PER_PSI / MM_PER_MIL, 2), Side("\u00b5m per bar", 1000.0, 1)
    ),
    "ratio": _same("times", 2),
    "order": _same("in the order made", 0),
    "number": _same("", 2),
    "count": _same("", 0),
    "stress": _same("kV/mm", 2),
    "capacitance": _same("pF/m", 1),
    "variance": Kind(Side("mil\u00b2", 1 / MM_PER_MIL**2, 3), Side("\u00b5m\u00b2", 1e6, 1)),
    "area": Kind(Side("kcmil", 1 / 0.5067074790974977, 2), Side("mm²", 1.0, 3)),
    "resistance": Kind(Side("Ω/1000 ft", M_PER_FOOT, 4), Side("Ω/km", 1.0, 4)),
}

_OF_UNIT = {
    "mm": "wall",
    "um": "fine wall",
    "m": "length",
    "m/s": "speed",
    "/km": "per length",
    "1/km": "per length",
    "per km": "per length",
    "faults/km": "per length",
    "faults per km": "per length",
    "km^-1": "per length",
    "kg": "mass",
    "kg/km": "mass per length",
    "g/m": "mass per length",
    "degC": "temperature",
    "bar": "pressure",
    "kV": "voltage",
    "%": "percent",
    "deg": "angle",
    "rpm": "rotation",
    "kg/h per rpm": "output a turn",
    "d": "days",
    "days": "days",
    "mm/km": "wall per length",
    "mm per m/s": "wall per speed",
    "mm per rpm": "wall per rotation",
    "mm per degC": "wall per temperature",
    "mm per bar": "wall per pressure",
    "times": "ratio",
    "in the order made": "order",
    "": "number",
    "1": "number",
    "kV/mm": "stress",
    "pF/m": "capacitance",
    "mm2": "area",
    "mm^2": "variance",
    "ohm/km": "resistance",
}


def kind_of(unit: str) -> Kind:
    """The kind of quantity that a store unit belongs to; an unknown unit is shown as it is in both systems."""
    name = _OF_UNIT.get(unit)
    return KINDS[name] if name else _same(unit, 3)


def grouped(value: float, decimals: int, system: System) -> str:
    """`value` with `decimals` digits after the point and its thousands set apart."""
    if math.isinf(value):
        return (MINUS if value < 0 else "") + INFINITY_TEXT
    text = f"{value:,.{decimals}f}"
    if float(text.replace(",", "")) == 0.0:
        text = text.removeprefix("-")
    if system == "si":
        text = text.replace(",", NARROW_SPACE)
    return text.replace("-", MINUS)


def _sign(figure: float) -> int:
    return (figure > 0) - (figure < 0)


def decimals_against(shown: float, against: float, decimals: int) -> int:
    """Digits needed so that a figure and the limit it is held against keep their order when both are rounded.

    12.98 against 13 must not be shown as 13.0 beside 13. At most four digits are added.

    Args:
        shown: the figure, in the unit shown.
        against: the limit, in the unit shown.
        decimals: digits it would have otherwise.
    """
    true_side = _sign(shown - against)
    for more in range(5):
        if _sign(round(shown, decimals + more) - round(against, decimals + more)) == true_side:
            return decimals + more
    return decimals + 4


def text_of(
    value: float, kind: Kind, system: System, against: float | None = None, known_to: float | None = None
) -> str:
    """A figure without its unit, as shown in one unit system.

    Args:
        value: the figure, in the store's unit.
        kind: kind of quantity.
        system: unit system.
        against: limit it stands beside, in the store's unit; the digits keep it on its side.
        known_to: standard uncertainty it stands beside, in the store's unit; it gets no digit below that one's first.
    """
    side = kind.side(system)
    shown = value * side.factor + side.offset
    decimals = side.decimals
    if known_to is not None:
        decimals = max(decimals_for_width(known_to * side.factor, decimals + 1) - 1, 0)
    if against is not None and math.isfinite(shown):
        # The conversion of value and limit must not itself make or break a tie.
        limit = shown if value == against else against * side.factor + side.offset
        decimals = decimals_against(shown, limit, decimals)
    return grouped(shown, decimals, system)


def decimals_for_width(width: float, most: int) -> int:
    """Digits after the point that show two figures of an interval's half width, `most` at the most."""
    if not math.isfinite(width) or width <= 0:
        return most
    return max(0, min(most, 1 - math.floor(math.log10(width))))

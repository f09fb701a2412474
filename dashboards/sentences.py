"""Sentences with figures in them, shown in the reader's units without changing what was written.

A sentence on file names its figures in one unit, or in two (``0.317 mm (12.5 mil)``). A page shows the text as
written in its own unit system and the converted figure in the other; the text as written stays in the page.
"""

from __future__ import annotations

import re

from markupsafe import Markup, escape

from dashboards.quantities import KINDS, Kind, System, grouped
from pipeline.units import MM_PER_INCH

# From here on a length in millimetres is no wall any more, and inches read better than mil.
SHORT_MM, LONG_MM = 5.0, 100.0
_NUMBER = r"(?<![\w.,-])[-\u2212]?\d[\d,\u202f]*(?:\.\d+)?"
_BOTH = re.compile(rf"({_NUMBER}) mm \(({_NUMBER}) mil\)")
_ONE = re.compile(rf"({_NUMBER})[ \u00a0](mm|mil|km|m/s|m/min|m|ft/min|ft|per km|kg/km|kg)(?![\w/²³])")
# unit as written -> kind, the system it belongs to, and its size in the store's unit
_UNITS: dict[str, tuple[str, System, float]] = {
    "mm": ("wall", "si", 1.0),
    "mil": ("wall", "us", 0.0254),
    "m": ("place", "si", 1.0),
    "km": ("length", "si", 1000.0),
    "ft": ("place", "us", 0.3048),
    "m/s": ("speed", "si", 1.0),
    "m/min": ("speed", "si", 1.0 / 60.0),
    "ft/min": ("speed", "us", 0.3048 / 60.0),
    "per km": ("per length", "si", 1.0),
    "kg/km": ("mass per length", "si", 1.0),
    "kg": ("mass", "si", 1.0),
}


def _pair(us: str, si: str) -> Markup:
    return Markup('<span class="us">{}</span><span class="si">{}</span>').format(us, si)


def _converted(number: str, unit: str) -> Markup:
    """One figure in both unit systems; as written in its own."""
    name, own, size = _UNITS[unit]
    other: System = "si" if own == "us" else "us"
    plain = number.replace(",", "").replace("\u202f", "").replace("\u2212", "-")
    if unit == "mm" and abs(float(plain)) >= SHORT_MM:
        digits = 3 if abs(float(plain)) < LONG_MM else 1
        return _pair(f"{float(plain) / MM_PER_INCH:,.{digits}f}\u00a0in", f"{number}\u00a0mm")
    kind: Kind = KINDS[name]
    side = kind.side(other)
    digits = side.decimals
    if name == "place" and "." not in number:
        digits = 0
    shown = f"{grouped(float(plain) * size * side.factor, digits, other)}\u00a0{side.unit}"
    written = f"{number}\u00a0{unit}"
    return _pair(written, shown) if own == "us" else _pair(shown, written)


def _pieces(text: str) -> Markup:
    out, at = Markup(""), 0
    for found in _ONE.finditer(text):
        out += escape(text[at : found.start()]) + _converted(found[1], found[2])
        at = found.end()
    return out + escape(text[at:])


def words(text: str) -> Markup:
    """A sentence whose figures follow the reader's choice of units.

    Args:
        text: the sentence as it is on file; anything in it is escaped.
    """
    out, at = Markup(""), 0
    for found in _BOTH.finditer(text):
        out += _pieces(text[at : found.start()])
        out += _pair(f"{found[2]}\u00a0mil", f"{found[1]}\u00a0mm")
        at = found.end()
    return out + _pieces(text[at:])

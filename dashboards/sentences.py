"""Sentences with figures in them, shown in the reader's units without changing what was written.

A sentence on file names its figures in one unit, or in two (``0.317 mm (12.5 mil)``). A page shows the text as
written in its own unit system and the converted figure in the other; the text as written stays in the page.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import lru_cache

from markupsafe import Markup, escape

from pipeline.messages import Said, Written, as_message
from pipeline.quantity import Asked
from pipeline.units import MM_PER_INCH
from pipeline.wording.kinds import KINDS, System, grouped
from pipeline.wording.say import Piece, heading, pieces

# From here on a length in millimetres is no wall any more, and inches read better than mil.
SHORT_MM, LONG_MM = 5.0, 100.0
_NUMBER = r"(?<![\w.,+-])[-+\u2212]?\d[\d,\u202f]*(?:\.\d+)?"
_UNIT = r"(?P<unit>mm|um|\u00b5m|mil|km|m/s|m/min|m|ft/min|ft|per km|g/km|kg/km|kg)(?![\w/²³])"
# The basis of a figure, by its unit of inference.
BASIS = {
    "reading": "per reading",
    "section average": "per section",
    "point at specimen scale": "per specimen",
    "reel": "per reel",
    "event": "per event",
}
# Of a figure with one unit: ``3 mm``, ``3 to 5 mm``, ``3 (2 to 5) mm``, ``3 mm (2 to 5)``, ``3 mm (+/- 1)``.
_FIGURE = re.compile(
    rf"(?P<metric>{_NUMBER}) (?P<fine>mm|um) \((?P<mil>{_NUMBER}) mil\)"
    rf"|(?:(?P<first>{_NUMBER})(?P<between> to | and | or ))?(?P<number>{_NUMBER})"
    rf"(?: \((?P<low>{_NUMBER}) to (?P<high>{_NUMBER})\))?[ \u00a0]{_UNIT}"
    rf"(?: \((?P<mark>\+/- )?(?P<after>{_NUMBER})(?: to (?P<end>{_NUMBER}))?\))?"
)
# Where a figure may start: the pattern above costs much more than this one at every other letter.
_START = re.compile(r"[-+\u2212]?\d")
# A figure after one of these belongs to a list or product whose other figures have no unit of their own.
_LISTED = re.compile(r"(?<![\w.,-])\d[\d.,]*(?<=\d)(?:,|,? and|,? or|,? to| x| by|/|\u2013|-) ?$")
# unit as written -> kind, the system it belongs to, and its size in the store's unit
_UNITS: dict[str, tuple[str, System, float]] = {
    "mm": ("wall", "si", 1.0),
    "um": ("wall", "si", 0.001),
    "\u00b5m": ("wall", "si", 0.001),
    "mil": ("wall", "us", 0.0254),
    "m": ("place", "si", 1.0),
    "km": ("length", "si", 1000.0),
    "ft": ("place", "us", 0.3048),
    "m/s": ("speed", "si", 1.0),
    "m/min": ("speed", "si", 1.0 / 60.0),
    "ft/min": ("speed", "us", 0.3048 / 60.0),
    "per km": ("per length", "si", 1.0),
    "kg/km": ("mass per length", "si", 1.0),
    "g/km": ("mass per length", "si", 0.001),
    "kg": ("mass", "si", 1.0),
}


def _converted(number: str, unit: str) -> tuple[str, System, str]:
    """One figure without its unit in the other system, that system, and the unit it then has."""
    name, own, size = _UNITS[unit]
    other: System = "si" if own == "us" else "us"
    plain = float(number.replace(",", "").replace("\u202f", "").replace("\u2212", "-"))
    sign = "+" if number.startswith("+") else ""
    if unit == "mm" and abs(plain) >= SHORT_MM:
        return f"{sign}{plain / MM_PER_INCH:,.{3 if abs(plain) < LONG_MM else 1}f}", other, "in"
    side = KINDS[name].side(other)
    digits = 0 if name == "place" and "." not in number else side.decimals
    return sign + grouped(plain * size * side.factor, digits, other), other, side.unit


def _both(found: re.Match[str]) -> dict[System, str]:
    """A figure with its range, in both unit systems; as written in its own."""
    unit = found["unit"]
    _, other, other_unit = _converted(found["number"], unit)

    def told(figure: Callable[[str], str], shown_unit: str) -> str:
        start = f"{figure(found['first'])}{found['between']}" if found["first"] is not None else ""
        range_ = f" ({figure(found['low'])} to {figure(found['high'])})" if found["low"] is not None else ""
        after = ""
        if found["after"] is not None:
            end = f" to {figure(found['end'])}" if found["end"] is not None else ""
            after = f" ({found['mark'] or ''}{figure(found['after'])}{end})"
        return f"{start}{figure(found['number'])}{range_}\u00a0{shown_unit}{after}"

    written = told(lambda number: number, "\u00b5m" if unit == "um" else unit)
    converted = told(lambda number: _converted(number, unit)[0], other_unit)
    return {"si": written, "us": converted} if other == "us" else {"us": written, "si": converted}


def _figures(text: str) -> list[re.Match[str]]:
    """Every figure of a text that has a unit, in order."""
    found, at = [], 0
    while (start := _START.search(text, at)) is not None:
        figure = _FIGURE.match(text, start.start())
        if figure is not None:
            found.append(figure)
        at = figure.end() if figure is not None else start.start() + 1
    return found


def _mixed(figures: list[re.Match[str]]) -> set[str]:
    """Quantities that a text names in both unit systems: it speaks of the units themselves."""
    seen: dict[str, set[System]] = {}
    for found in figures:
        if found["mil"] is None:
            name, own, _ = _UNITS[found["unit"]]
            seen.setdefault("place" if name == "length" else name, set()).add(own)
    return {name for name, systems in seen.items() if len(systems) > 1}


def pieces_of(told: Said | Asked) -> tuple[Piece, ...]:
    """What is told, cut at its figures; words kept as they were written are cut by their figures' pattern."""
    if isinstance(told, Asked):
        return heading(told)
    told = as_message(told)
    if told.code == Written.AS_WRITTEN:
        return _pieces(str(told.arguments["text"]))
    return pieces(told)


@lru_cache(maxsize=4096, typed=True)
def _pieces(text: str) -> tuple[Piece, ...]:
    """The text cut at its figures: a plain piece as it stands, a figure in both unit systems.

    Figures stay as written where the text names the quantity in both systems, and in lists and products. The same
    sentences stand on many pages, so what they come to is kept.
    """
    figures = _figures(text)
    mixed, at = _mixed(figures), 0
    cut: list[Piece] = []
    for found in figures:
        if found["mil"] is not None:
            sign = "\u00b5m" if found["fine"] == "um" else "mm"
            both: dict[System, str] = {
                "us": f"{found['mil']}\u00a0mil",
                "si": f"{found['metric']}\u00a0{sign}",
            }
        else:
            name = _UNITS[found["unit"]][0]
            if ("place" if name == "length" else name) in mixed or _LISTED.search(text[: found.start()]):
                continue
            both = _both(found)
        cut += [text[at : found.start()], both]
        at = found.end()
    return (*cut, text[at:])


@lru_cache(maxsize=4096, typed=True)
def words(told: Said | Asked) -> Markup:
    """A sentence, message or heading whose figures follow the reader's choice of units on the page.

    Args:
        told: what is on file; anything in it is escaped.
    """
    out = Markup("")
    for piece in pieces_of(told):
        if isinstance(piece, str):
            out += escape(piece)
        else:
            out += Markup('<span class="us">{us}</span><span class="si">{si}</span>').format(**piece)
    return out


def in_units(told: Said | Asked, system: System) -> str:
    """A sentence, message or heading with its figures in one unit system, for print.

    Args:
        told: what is on file.
        system: the unit system.
    """
    return "".join(piece if isinstance(piece, str) else piece[system] for piece in pieces_of(told))

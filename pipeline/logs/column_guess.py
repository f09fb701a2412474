"""Which channel and unit an unknown column likely is: by its name, and by the size of its figures.

Ranges are those of building wire from 14 AWG to 1000 kcmil and names those seen on such lines (common practice, no
source). A guess is a proposal; a person confirms it.

Whether an unknown log is a long table, one value a line: which column names the value and which holds it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import polars as pl

from pipeline.columns import CHANNEL_BY_NAME
from pipeline.errors import ReelproofError
from pipeline.logs.file_look import NUMBER, FileLook
from pipeline.logs.plausible_units import CANDIDATES
from pipeline.units import scale_and_offset

_VALUE_NAME = re.compile(r"value|wert|reading|^val$|^y$|valeur", re.IGNORECASE)
_QUALITY_NAME = re.compile(r"quality|status|qual|güte|state", re.IGNORECASE)
_MOST_TAGS = 500


@dataclass(frozen=True, slots=True)
class LongGuess:
    """The columns of a long table, by place from 0; ``quality`` is None where there is none."""

    tag: int
    value: int
    quality: int | None


def guess_long(look: FileLook, clock: set[int | None]) -> LongGuess | None:
    """The columns of a long table; None if the log does not look like one.

    Args:
        look: the log.
        clock: places of the columns of time.
    """
    places = [place for place in range(len(look.names)) if place not in clock]
    value = next((place for place in places if _VALUE_NAME.search(look.names[place])), None)
    quality = next((place for place in places if _QUALITY_NAME.search(look.names[place])), None)
    if value is None or len(places) > 6:
        return None
    tags = [
        place for place in places if place not in {value, quality} and _names_things(look.cells[f"c{place}"])
    ]
    if not tags:
        return None
    return LongGuess(tags[0], value, quality)


def _names_things(cells: pl.Series) -> bool:
    """True for a column of a few texts that stand again and again and are no numbers."""
    distinct = cells.unique().to_list()
    words = [text for text in distinct if text and not NUMBER.fullmatch(text)]
    return (
        2 <= len(words) <= _MOST_TAGS and len(words) >= 0.9 * len(distinct) and cells.len() >= 2 * len(words)
    )


# Names are matched in small letters, cut into words. First match wins, so the narrow ones stand first.
_NAMES: tuple[tuple[str, str], ...] = (
    ("spark_counts", r"(spark|fault|hv).*\b(counts?|cnt|no|num|total)\b|\bcounts? .*spark"),
    ("spark_kv", r"^volt\w* kv$|(spark|hv|test).*\b(kv|volts?|voltage)\b|^kv$|^volt(age)?s?$"),
    (
        "covering_screw_speed_rpm",
        r"(nylon|cover|skin|jacket|coex|ext(r|ruder)? ?2|\be2).*\b(rpm|screw|speed|drehzahl)\b",
    ),
    ("screw_speed_rpm", r"\brpm\b|screw|drehzahl|ext(r|ruder)? ?1? .*speed"),
    ("melt_pressure_bar", r"press|\bpsi\b|\bbar\b|druck|\bmpa\b|\bkpa\b"),
    ("melt_temperature_c", r"melt.*\b(temp\w*|[cf]|deg ?[cf])\b|temp\w* melt|massetemp|^temp|^melt"),
    ("line_speed_m_s", r"speed|veloc|geschw|\bfpm\b|\bm min\b|\bmpm\b|\bft min\b|^v$|vitesse"),
    ("conductor_mm", r"\bcond|\bbare\b|\bcore\b|copper|strand|leiter|\bwire dia"),
    ("hot_diameter_mm", r"\bhot\b|\bwarm\b"),
    (
        "diameter_x_mm",
        r"\b(cold|od|dia\w*|durchmesser|d)\b.* ?\b(x|1|a|h)\b|^d ?x\b|^(od|dia|diameter|durchmesser)( (in|mm|mil))?$",
    ),
    ("diameter_y_mm", r"\b(cold|od|dia\w*|durchmesser|d)\b.* ?\b(y|2|b|v)\b|^d ?y\b"),
    ("flaw_size_mm", r"flaw|defect|lump|neck|\bsize\b|height|fehler"),
    (
        "counter_m",
        r"count|length|footage|\bfeet\b|meter|metre|encoder|l(ae|ä)nge|longueur|^pos|^len|^ft$|^m$",
    ),
)
_WALL = re.compile(r"^(.*?(?:wall|thick|wand|wt|\bw|_w|ch|sens)\D*?)0*(\d{1,2})(\D*)$", re.IGNORECASE)
_LETTERED_WALL = re.compile(r"(?:wall|thick\w*|wand)[ _.-]*([a-h])(?![a-z])", re.IGNORECASE)
# Where a figure of each kind of wire lies, in the unit of the store.
USUAL: dict[str, tuple[float, float]] = {
    "line_speed_m_s": (0.2, 30.0),
    "hot_diameter_mm": (1.8, 45.0),
    "wall": (0.2, 3.5),
    "diameter_x_mm": (1.8, 45.0),
    "diameter_y_mm": (1.8, 45.0),
    "conductor_mm": (1.2, 33.0),
    "screw_speed_rpm": (3.0, 300.0),
    "covering_screw_speed_rpm": (2.0, 300.0),
    "melt_temperature_c": (120.0, 350.0),
    "melt_pressure_bar": (20.0, 700.0),
    "spark_kv": (1.0, 25.0),
    "flaw_size_mm": (0.05, 50.0),
}
_UNIT_MARKS: tuple[tuple[str, str], ...] = (
    ("ft/min", r"fpm|ft ?/ ?min|feet.?per.?min"),
    ("m/min", r"mpm|m ?/ ?min"),
    ("m/s", r"m ?/ ?s|mps"),
    ("ft/s", r"fps|ft ?/ ?s"),
    ("mil", r"mils?|thou"),
    ("mm", r"mm|millim"),
    ("um", r"um|µm|micron"),
    ("in", r"in|inch(es)?|\""),
    ("ft", r"ft|feet|foot|footage"),
    ("m", r"m|met(er|re)s?"),
    ("degF", r"°f|deg_?f|f"),
    ("degC", r"°c|deg_?c|c"),
    ("psi", r"psi"),
    ("bar", r"bar"),
    ("MPa", r"mpa"),
    ("kPa", r"kpa"),
    ("kV", r"kv"),
    ("V", r"v|volts?"),
    ("rpm", r"rpm|u/min|1/min"),
)
US_UNITS = {"mil", "in", "ft", "ft/min", "ft/s", "degF", "psi"}


@dataclass(frozen=True, slots=True)
class ColumnGuess:
    """What a column likely is.

    Args:
        name: its name in the log.
        channel: our channel; None if no channel fits.
        unit: its unit.
        middle: its middle figure as logged; None if it has no numbers.
        doubt: what a person should look at, or "".
    """

    name: str
    channel: str | None
    unit: str
    middle: float | None
    doubt: str


def guess_channel(name: str) -> str | None:
    """Our channel for a column of that name, walls aside; None if no name fits."""
    plain = " ".join(_words(name))
    return next((channel for channel, pattern in _NAMES if re.search(pattern, plain)), None)


def guess_walls(names: tuple[str, ...]) -> tuple[str, ...]:
    """Columns that are the sensors of one wall gauge, in their own order of numbers or letters.

    One column alone is taken for a sensor if its name speaks of a wall and carries a 1.
    """
    lettered = [(found.group(1).lower(), name) for name in names if (found := _LETTERED_WALL.search(name))]
    letters = sorted(letter for letter, _ in lettered)
    if len(letters) > 1 and letters == [chr(97 + place) for place in range(len(letters))]:
        return tuple(name for _, name in sorted(lettered))
    groups: dict[tuple[str, str], list[tuple[int, str]]] = {}
    for name in names:
        found = _WALL.match(name)
        if found:
            groups.setdefault((found.group(1), found.group(3)), []).append((int(found.group(2)), name))
    best = max(groups.values(), key=len, default=[])
    numbers = sorted(number for number, _ in best)
    if len(best) == 1 and numbers == [1] and re.search(r"wall|wand|thick", best[0][1], re.IGNORECASE):
        return (best[0][1],)
    if len(best) < 2 or numbers != list(range(numbers[0], numbers[0] + len(best))):
        return ()
    return tuple(name for _, name in sorted(best))


def _words(name: str) -> list[str]:
    """The words of a column's name in small letters: cut at marks, and where a capital follows a small letter."""
    apart = re.sub(r"([a-zäöü]{2})([A-Z])", r"\1 \2", name)
    return [word for word in re.split(r"[^A-Za-z0-9äöüÄÖÜµ°\"]+", apart.lower()) if word]


def unit_by_name(name: str) -> str | None:
    """The unit that a column's name carries: in brackets, or as its last words."""
    bracket = re.search(r"[\[(<{]\s*([^\])>}]+?)\s*[\])>}]", name)
    words = _words(name)
    pieces = [bracket.group(1).lower()] if bracket else []
    pieces += ["/".join(words[-2:]), "_".join(words[-2:]), *words[-1:]]
    for piece in pieces:
        for unit, pattern in _UNIT_MARKS:
            if re.fullmatch(pattern, piece.strip()):
                return unit
    return None


def guess_unit(channel: str, name: str, middle: float | None, prefers_us: bool) -> tuple[str, str]:
    """The likely unit of a column and a doubt about it, or "".

    Args:
        channel: our channel.
        name: the column's name.
        middle: its middle figure; None if it has none.
        prefers_us: True if other columns of the log are in inches, feet or mil.
    """
    store = CHANNEL_BY_NAME[channel].unit
    if store == "":
        return "", ""
    named = unit_by_name(name)
    named = named if named is not None and _converts(named, store) else None
    low, high = USUAL.get("wall" if channel.startswith("wall_") else channel, (float("-inf"), float("inf")))
    fitting = [
        unit
        for unit in CANDIDATES[store]
        if middle is not None and low <= _stored(middle, unit, store) <= high
    ]
    fitting.sort(key=lambda unit: (unit in US_UNITS) != prefers_us)
    if named is not None:
        if middle is None or named in fitting or not fitting:
            return named, ""
        return named, f"The name says {named}, but {middle:.4g} would be usual in {fitting[0]}."
    if not fitting:
        return (
            store,
            "" if middle is None else f"The figures, {middle:.4g} in the middle, are unusual in any unit.",
        )
    if channel == "counter_m":
        return fitting[0], f"The name gives no unit; {fitting[0]} is assumed."
    if len(fitting) == 1:
        return fitting[0], ""
    return fitting[0], f"The name gives no unit; the size of the figures fits {_either(fitting)}."


def _converts(unit: str, store: str) -> bool:
    try:
        scale_and_offset(unit, store, "")
    except ReelproofError:
        return False
    return True


def _stored(figure: float, unit: str, store: str) -> float:
    factor, offset = scale_and_offset(unit, store, "")
    return figure * factor + offset


def _either(units: list[str]) -> str:
    return units[0] if len(units) == 1 else f"{', '.join(units[:-1])} or {units[-1]}"

"""A code and its arguments as words, in either unit system; figures are converted as numbers.

A template names arguments as ``{name}`` or ``{name:how}``. How an argument is shown:

- a figure with its unit (`Measure`): in the reader's unit, with the digits of its kind; ``:turn`` names another kind,
  ``:.3`` shows so many significant digits, ``:+.3`` with its sign;
- a figure beside a limit: ``:wall<limit`` gives it the digits that keep it on its side of the argument ``limit``;
- a place or stretch of the wire: in the reader's unit, with the end it counts from where that must be told;
- a number: by a Python format such as ``:.2f`` or ``:,d``; ``:share`` in per cent; ``:p`` a p-value with its
  sign; ``:onein`` a small chance; ``:#reel|reels`` counts;
- a code or the id of a channel: ``:code`` and ``:channel`` give its words, a name of the plant's own stays as it is;
- ``:Channel`` and ``:Text`` begin with a capital;
- a message: as its own words; several things: joined by commas, as sentences by ``:sentences``, by semicolons by
  ``:clauses``, by ``and`` by ``:and``, the last by ``or`` by ``:either``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from string import Formatter

from pipeline.messages import Between, Measure, Message, Place, Said, Slot, as_message
from pipeline.quantity import Asked
from pipeline.wording.kinds import (
    KINDS,
    MINUS,
    NARROW_SPACE,
    Kind,
    System,
    decimals_against,
    grouped,
    kind_of,
)
from pipeline.wording.templates import CHANNELS, TEMPLATES
from pipeline.words import counted

Piece = str | dict[System, str]
NBSP = "\u00a0"
_PLAIN = str.maketrans({NBSP: " ", NARROW_SPACE: "", MINUS: "-"})
SYSTEMS: tuple[System, System] = ("us", "si")
# Chances below this are told as below it (chosen here).
LEAST_TOLD = 1e-4


class UnknownCodeError(KeyError):
    """A code without a template."""


@lru_cache(maxsize=1024)
def fields_of(template: str) -> tuple[tuple[str, str | None, str], ...]:
    """The parts of a template: text before a field, the argument it names (None at the end), how it is shown."""
    return tuple((text, name, how or "") for text, name, how, _ in Formatter().parse(template))


def template_of(code: str, arguments: Mapping[str, Slot]) -> str:
    """The first template of a code whose arguments are all there.

    Raises:
        UnknownCodeError: the code has no template that these arguments fill.
    """
    for one in TEMPLATES.get(code, ()):
        if all(name is None or name in arguments for _, name, _ in fields_of(one)):
            return one
    raise UnknownCodeError(f"{code} {sorted(arguments)}")


def pieces(message: Message) -> tuple[Piece, ...]:
    """A message cut at its figures: plain text, and figures in both unit systems.

    Args:
        message: the message.

    Raises:
        UnknownCodeError: a code has no template.
    """
    arguments = message.arguments
    found: list[Piece] = []
    for text, name, how in fields_of(template_of(message.code, arguments)):
        found.append(text)
        if name is not None:
            found += _shown(arguments[name], how, arguments)
    return tuple(one for one in found if one != "")


def heading(asked: Asked) -> tuple[Piece, ...]:
    """What an answer is about, as a label that begins with a capital letter; whose it is comes first."""
    made = [*pieces(Message(asked.quantity, _with_symbol(asked)))]
    if asked.whose:
        made = [f"{asked.whose}: ", *made]
    if made and isinstance(made[0], str):
        made[0] = made[0][:1].upper() + made[0][1:]
    return tuple(made)


def pieces_of(told: Said | Asked) -> tuple[Piece, ...]:
    """A message, heading or sentence cut at its figures."""
    return heading(told) if isinstance(told, Asked) else pieces(as_message(told))


def text_in(told: Said | Asked, system: System) -> str:
    """A message, heading or sentence as plain text in one unit system."""
    made = pieces_of(told)
    return "".join(one if isinstance(one, str) else one[system] for one in made)


def plain(told: Said, system: System = "si") -> str:
    """A message or a sentence as plain text with plain spaces and signs, metric as the store is if not told else."""
    return text_in(told, system).translate(_PLAIN)


def plain_heading(asked: Asked) -> str:
    """What an answer is about as plain text, metric as the store is."""
    return text_in(asked, "si").translate(_PLAIN)


def named(code: str) -> str:
    """The words for a code without arguments.

    Raises:
        UnknownCodeError: it has none.
    """
    return template_of(code, {})


def _with_symbol(asked: Asked) -> tuple[tuple[str, Slot], ...]:
    """An index that was refused has no symbol of its own: it takes that of performance on the limit's side."""
    arguments = asked.arguments
    if "symbol" in arguments or "sense" not in arguments:
        return asked.slots
    return (*asked.slots, ("symbol", "PpkL" if arguments["sense"] == "at least" else "PpkU"))


def _shown(value: Slot, how: str, beside: Mapping[str, Slot]) -> list[Piece]:
    if isinstance(value, Measure):
        how, _, other = how.partition("<")
        return [_measure(value, how, _figure_of(beside.get(other)))]
    if isinstance(value, Place | Between):
        return [*_place(value)]
    if isinstance(value, Message):
        return [*pieces(value)]
    if isinstance(value, tuple):
        joined: list[Piece] = []
        between = {"sentences": " ", "clauses": "; ", "and": " and "}.get(how, ", ")
        for place, one in enumerate(value):
            if place:
                joined.append(" or " if how == "either" and place == len(value) - 1 else between)
            joined += _shown(one, how, beside)
        return joined
    if isinstance(value, str):
        return [_named(value, how)]
    if value is None or isinstance(value, bool):
        raise TypeError(f"{value} has no words of its own")
    return [_number(value, how)]


def _named(value: str, how: str) -> str:
    if how in ("channel", "Channel"):
        channel, space, when = value.partition(" ")
        words = CHANNELS.get(channel, channel) + space + when
        return words[:1].upper() + words[1:] if how == "Channel" else words
    if how == "Text":
        return value[:1].upper() + value[1:]
    if how == "code":
        return TEMPLATES[value][0]
    return value


def _number(value: float, how: str) -> str:
    if how.startswith("#"):
        one, _, several = how[1:].partition("|")
        return counted(value, one, several)
    if how == "share":
        return f"{100.0 * value:.4g}{NBSP}%"
    if how == "chance":
        return "under 0.0001" if value < LEAST_TOLD else f"{value:.2g}"
    if how == "p":  # a p-value; nobody reads on below the least
        return f"p < {LEAST_TOLD:.4f}" if value < LEAST_TOLD else f"p = {min(value, 1.0):.2g}"
    if how == "onein":
        return f"1 in {1.0 / max(value, 1e-12):,.0f}"
    if how == "passings":  # how many times a reel passes a level on average, as the share of reels that do
        one_in = 1.0 / -math.expm1(-value)
        return "half of all reels" if abs(one_in - 2.0) < 1e-9 else f"one reel in {one_in:,.0f}"
    if how == "part":
        return {2: "a half", 3: "a third", 4: "a quarter", 5: "a fifth"}.get(
            int(value), f"a {value:g}th part"
        )
    return format(value, how)


def _figure_of(limit: Slot) -> float | None:
    """The figure of a limit, or of the message that cites it [unit of the store]."""
    if isinstance(limit, Message):
        limit = limit.arguments.get("value")
    return limit.value if isinstance(limit, Measure) else None


def _place(value: Place | Between) -> list[Piece]:
    kind, ends = KINDS["place"], (value.at_m,) if isinstance(value, Place) else (value.from_m, value.to_m)
    shown: dict[System, str] = {}
    for system in SYSTEMS:
        side = kind.side(system)
        figures = " to ".join(grouped(one * side.factor, side.decimals, system) for one in ends)
        shown[system] = f"{figures}{NBSP}{side.unit}"
    return [shown, f" from the {value.end}"] if value.end else [shown]


def _measure(value: Measure, how: str, against: float | None = None) -> Piece:
    name, _, digits = how.partition(".")
    signed = name.endswith("+")
    name = name.removesuffix("+")
    kind = KINDS[name] if name else kind_of(value.unit)
    made = {one: _figure(value.value, kind, one, digits, signed, against) for one in SYSTEMS}
    return made["us"] if made["us"] == made["si"] else made


def _figure(
    value: float, kind: Kind, system: System, digits: str, signed: bool, against: float | None
) -> str:
    side = kind.side(system)
    shown = value * side.factor + side.offset
    decimals = side.decimals
    if digits and shown and math.isfinite(shown):
        decimals = max(int(digits) - 1 - math.floor(math.log10(abs(shown))), 0)
        # A limit stated as 15 mil is not shown as 15.00.
        text = grouped(shown, decimals, system)
        if "." in text:
            text = text.rstrip("0").rstrip(".")
    else:
        if against is not None and math.isfinite(shown):
            # The conversion of value and limit must not itself make or break a tie.
            limit = shown if value == against else against * side.factor + side.offset
            decimals = decimals_against(shown, limit, decimals)
        text = grouped(shown, decimals, system)
    if signed and shown > 0.0:
        text = f"+{text}"
    return f"{text}{NBSP}{side.unit}".rstrip(NBSP)

"""Where on a reel does a place lie? One origin for every page, command and print: the reel's outer end.

The outer end comes off first, so the rewinder's counter starts there, and so does whoever finds a fault on
wire that was delivered. The core end's figure stands beside it. Wire is wound on from the core outward, so a
place of the run counts the other way round on its reel.
"""

from __future__ import annotations

import re
from typing import Literal

from pipeline.messages import Between, Message, Place, Slot, Written, as_written, message
from pipeline.units import foot_from_m, m_from_foot
from pipeline.why import Ends

Unit = Literal["ft", "m"]
Span = tuple[float, float]

OUTER = "outer end"
CORE = "core end"
COUNTED = "Places on a reel count from its outer end, which comes off first."

_RANGE = r"from (?P<start>-?\d+(?:\.\d+)?) m to (?P<end>-?\d+(?:\.\d+)?) m\b"
_PLACE = re.compile(rf"\b(?:{_RANGE}|(?P<word>at|from|to) (?P<at>-?\d+(?:\.\d+)?) m\b)")


def place_on_reel(wire_m: float, reel_to_m: float) -> float:
    """A place of the run as a place on its reel, from the outer end [m].

    Args:
        wire_m: place on the wire of the run [m].
        reel_to_m: last metre of the reel's wire on the run [m], which lies at the outer end.
    """
    return reel_to_m - wire_m


def wire_of_place(place_m: float, reel_to_m: float) -> float:
    """A place on a reel as a place on the wire of its run [m].

    Args:
        place_m: place from the reel's outer end [m].
        reel_to_m: last metre of the reel's wire on the run [m].
    """
    return reel_to_m - place_m


def from_other_end(place_m: float, length_m: float) -> float:
    """A place counted from one end of a reel, counted from the other [m].

    Args:
        place_m: place from either end [m].
        length_m: wire on the reel [m].
    """
    return length_m - place_m


def span_from_other_end(span_m: Span, length_m: float) -> Span:
    """A stretch counted from one end of a reel, counted from the other, its nearer end first [m]."""
    return from_other_end(span_m[1], length_m), from_other_end(span_m[0], length_m)


def span_on_reel(from_m: float, to_m: float, reel_from_m: float, reel_to_m: float) -> Span:
    """A stretch of the run as a stretch of its reel, from the outer end and kept to the reel [m].

    Args:
        from_m: start on the wire of the run [m].
        to_m: end [m].
        reel_from_m: first metre of the reel's wire [m].
        reel_to_m: last metre [m].
    """
    length = reel_to_m - reel_from_m
    low, high = place_on_reel(to_m, reel_to_m), place_on_reel(from_m, reel_to_m)
    return min(max(low, 0.0), length), min(max(high, 0.0), length)


def in_unit(length_m: float, unit: Unit) -> float:
    """A length [m] in feet or metres."""
    return foot_from_m(length_m) if unit == "ft" else length_m


def metres(length: float, unit: Unit) -> float:
    """A length in feet or metres [m]."""
    return m_from_foot(length) if unit == "ft" else length


def figure_told(length_m: float, unit: Unit) -> str:
    """A place or length without its unit, to a tenth."""
    text = f"{in_unit(length_m, unit):,.1f}"
    return "0.0" if text == "-0.0" else text


def length_told(length_m: float, unit: Unit) -> str:
    """A place or length with its unit, to a tenth: ``1,434.2 ft``."""
    return f"{figure_told(length_m, unit)} {unit}"


def place_on(place_m: float, length_m: float) -> Message:
    """A place on a reel from both its ends, to be told.

    Args:
        place_m: place from the outer end [m].
        length_m: wire on the reel [m].
    """
    return message(
        Ends.PLACE, outer=Place(place_m, OUTER), core=Place(from_other_end(place_m, length_m), CORE)
    )


def span_told(span_m: Span, length_m: float, unit: Unit = "m") -> str:
    """A stretch of a reel in words, with the other end's figures beside it.

    Args:
        span_m: start and end from the outer end [m].
        length_m: wire on the reel [m].
        unit: unit it is told in.
    """
    low, high = span_from_other_end(span_m, length_m)
    return (
        f"{figure_told(span_m[0], unit)} to {length_told(span_m[1], unit)} from the {OUTER} "
        f"({figure_told(low, unit)} to {length_told(high, unit)} from the {CORE})"
    )


def told_on_reel(told: Message, reel_to_m: float) -> Message:
    """A message whose places are of the run, with places on the reel instead, from its outer end.

    Whoever stands at a reel cannot use a place of the run. The end is told with the first place only.

    Args:
        told: as it is on file.
        reel_to_m: last metre of the reel's wire on the run [m].
    """
    if told.code == Written.AS_WRITTEN:
        return as_written(_written_on_reel(str(told.arguments["text"]), reel_to_m))
    ends = [OUTER]

    def moved(value: Slot) -> Slot:
        if isinstance(value, Place):
            return Place(place_on_reel(value.at_m, reel_to_m), ends.pop() if ends else "")
        if isinstance(value, Between):
            low, high = place_on_reel(value.to_m, reel_to_m), place_on_reel(value.from_m, reel_to_m)
            return Between(low, high, ends.pop() if ends else "")
        if isinstance(value, Message):
            return Message(value.code, tuple((name, moved(one)) for name, one in value.slots))
        if isinstance(value, tuple):
            return tuple(moved(one) for one in value)
        return value

    return Message(told.code, tuple((name, moved(one)) for name, one in told.slots))


def _written_on_reel(sentence: str, reel_to_m: float) -> str:
    """The same of a sentence as an earlier version wrote it."""
    told = False

    def moved(found: re.Match[str]) -> str:
        nonlocal told
        of = "" if told else f" from the {OUTER}"
        told = True
        if found["word"] is not None:
            return f"{found['word']} {place_on_reel(float(found['at']), reel_to_m):.1f} m{of}"
        low, high = (place_on_reel(float(found[name]), reel_to_m) for name in ("end", "start"))
        return f"from {low:.1f} m to {high:.1f} m{of}"

    return _PLACE.sub(moved, sentence)

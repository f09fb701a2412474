"""What the program has to say, as a code with typed arguments; words are made of it only where it is shown.

Codes are stable names: they are stored, selected by and compared. The words for them stand in `pipeline.wording`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from numbers import Integral, Real
from typing import Any


class Code(StrEnum):
    """A set of codes; each of them has a template in the vocabulary."""


class Written(Code):
    """Words that are no code's: a person's, or a sentence of an earlier version of this program."""

    AS_WRITTEN = "as written"


@dataclass(frozen=True, slots=True)
class Measure:
    """A figure with its unit, so that it can be shown in the reader's.

    Args:
        value: the figure, in `unit`.
        unit: a unit of the store, for example ``mm`` or ``m``.
    """

    value: float
    unit: str


def um(mm: float) -> Measure:
    """A small length as it is told [um]."""
    return Measure(1000.0 * mm, "um")


@dataclass(frozen=True, slots=True)
class Place:
    """A place on the wire, so that it can be counted from another end and shown in the reader's unit.

    Args:
        at_m: the place [m], from the start of the run or from the end of a reel.
        end: the end it counts from, where that must be told with it.
    """

    at_m: float
    end: str = ""


@dataclass(frozen=True, slots=True)
class Between:
    """A stretch of the wire, as `Place`.

    Args:
        from_m: its start [m].
        to_m: its end [m].
        end: the end it counts from, where that must be told with it.
    """

    from_m: float
    to_m: float
    end: str = ""


@dataclass(frozen=True, slots=True)
class Message:
    """A code and its arguments, in the order they were given.

    Args:
        code: what is said.
        slots: its arguments by name.
    """

    code: str
    slots: tuple[tuple[str, Slot], ...] = ()

    @property
    def arguments(self) -> dict[str, Slot]:
        """The arguments by name."""
        return dict(self.slots)


Slot = str | bool | int | float | None | Measure | Place | Between | Message | tuple["Slot", ...]


def slot(value: Any) -> Slot:
    """`value` as an argument of a message: numbers of any library as plain numbers, sequences as tuples.

    Raises:
        TypeError: it cannot be an argument.
    """
    if value is None or isinstance(value, (Measure, Place, Between, Message)):
        return value
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, str | bool):
        return value
    if isinstance(value, Integral):
        return int(value)
    if isinstance(value, Real):
        return float(value)
    if isinstance(value, tuple | list):
        return tuple(slot(one) for one in value)
    if type(value).__name__ == "bool":  # a truth value of an array library
        return bool(value)
    raise TypeError(f"{type(value).__name__} cannot be an argument of a message")


def slots_of(arguments: Mapping[str, Any]) -> tuple[tuple[str, Slot], ...]:
    """Arguments by name as the arguments of a message."""
    return tuple((name, slot(value)) for name, value in arguments.items())


def message(code: Code, /, **arguments: Any) -> Message:
    """A message of a code and its arguments.

    Args:
        code: what is said.
        **arguments: what its template names.
    """
    return Message(code, slots_of(arguments))


def as_written(text: str) -> Message:
    """Words kept as they were written."""
    return Message(Written.AS_WRITTEN, (("text", text),))


# Complaints and pages still hold words of their own, where their codes will stand; nothing below them does.
Said = Message | str


def as_message(said: Said) -> Message:
    """A message; a bare code as a message without arguments, a sentence as words kept as they were written."""
    if isinstance(said, Message):
        return said
    return Message(said) if isinstance(said, Code) else as_written(said)


def said(code: Code, /, **arguments: Any) -> str:
    """A message as JSON text, as rows and entries of the journal keep it."""
    return said_json(message(code, **arguments))


def to_json(value: Slot) -> Any:
    """An argument or a message as JSON holds it: a figure with a unit and a message as objects."""
    if isinstance(value, Measure):
        return {"value": value.value, "unit": value.unit}
    if isinstance(value, Place | Between):
        return asdict(value)
    if isinstance(value, Message):
        return {"code": str(value.code), "arguments": {name: to_json(one) for name, one in value.slots}}
    if isinstance(value, tuple):
        return [to_json(one) for one in value]
    return value


def said_json(said: Said) -> str:
    """A message as JSON text."""
    return json.dumps(to_json(as_message(said)), ensure_ascii=False)


def from_json(value: Any) -> Slot:
    """What `to_json` gave, as it was."""
    if isinstance(value, list):
        return tuple(from_json(one) for one in value)
    if isinstance(value, dict) and "code" in value:
        return message_of(value)
    if isinstance(value, dict) and "at_m" in value:
        return Place(float(value["at_m"]), str(value["end"]))
    if isinstance(value, dict) and "from_m" in value:
        return Between(float(value["from_m"]), float(value["to_m"]), str(value["end"]))
    if isinstance(value, dict):
        return Measure(float(value["value"]), str(value["unit"]))
    return slot(value)


def message_of(value: Mapping[str, Any]) -> Message:
    """A message of its JSON object."""
    return Message(
        str(value["code"]), tuple((name, from_json(one)) for name, one in value["arguments"].items())
    )

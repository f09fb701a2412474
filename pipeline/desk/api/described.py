"""Records as JSON, and what that JSON is: both from the one declaration of each record.

Keys are the record's field names, which carry their units; what a field means is what its record's docstring says.
A figure that is not finite is null. A message is its code, its arguments and its words in the plant's units.
"""

from __future__ import annotations

import inspect
import math
import re
import types
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from enum import Enum
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

from pipeline.messages import Measure, Message, as_message, to_json
from pipeline.wording.kinds import System
from pipeline.wording.say import plain

Schema = dict[str, Any]
__all__ = ["Description", "Schema", "System", "as_json"]
MESSAGE: Schema = {
    "type": "object",
    "description": "What the program says: a stable code with its arguments, and its words in the plant's units.",
    "required": ["code", "arguments", "text"],
    "additionalProperties": False,
    "properties": {
        "code": {"type": "string"},
        "arguments": {"type": "object"},
        "text": {"type": "string"},
    },
}


def as_json(value: Any, system: System) -> Any:
    """A record as JSON holds it.

    Args:
        value: a record, or anything that a record's fields hold.
        system: the plant's units, for the words of messages.

    Raises:
        TypeError: no record holds that.
    """
    if isinstance(value, Message):
        return {**to_json(value), "text": plain(value, system)}
    if is_dataclass(value) and not isinstance(value, type):
        said = _said_fields(type(value))
        return {
            one.name: as_json(_as_said(getattr(value, one.name), one.name in said), system)
            for one in fields(value)
        }
    if isinstance(value, Enum):
        return value.value
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, datetime):
        return (value if value.tzinfo is not None else value.replace(tzinfo=UTC)).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(name): as_json(one, system) for name, one in value.items()}
    if isinstance(value, frozenset):
        return sorted(as_json(one, system) for one in value)
    if isinstance(value, Sequence):
        return [as_json(one, system) for one in value]
    raise TypeError(f"a record holds {type(value).__name__}")


def _as_said(value: Any, is_said: bool) -> Any:
    """A field that holds words or a message, as a message; several of them, each as one."""
    if not is_said or value is None:
        return value
    return as_message(value) if isinstance(value, str | Message) else tuple(map(as_message, value))


def _is_said(hint: Any) -> bool:
    """Whether a type is that of words that may be a message."""
    parts = set(get_args(hint)) if get_origin(hint) in (Union, types.UnionType) else set()
    return {Message, str} <= parts and Measure not in parts


@cache
def _said_fields(record: type) -> frozenset[str]:
    """The fields of a record that hold words that may be a message, or several."""
    hints = get_type_hints(record)
    return frozenset(
        name for name, hint in hints.items() if _is_said(hint) or any(map(_is_said, get_args(hint)))
    )


class Description:
    """Schemas of records, each once, as they are asked for."""

    def __init__(self) -> None:
        self.schemas: dict[str, Schema] = {"Message": MESSAGE}
        self._of: dict[str, type] = {"Message": Message}

    def of(self, hint: Any) -> Schema:
        """The schema of a type that a record's field may have.

        Raises:
            TypeError: no record may hold it, or two records have one name.
        """
        origin, parts = get_origin(hint), get_args(hint)
        if origin is Annotated:
            return self.of(parts[0])
        if hint is Message or _is_said(hint):
            found = {"$ref": "#/components/schemas/Message"}
            return {"anyOf": [found, {"type": "null"}]} if type(None) in parts else found
        if Measure in parts:  # an argument of a message: a figure, a name, a place, or several of them
            return {}
        if origin in (Union, types.UnionType):
            return self._one_of(parts)
        if origin is Literal:
            return {"enum": list(parts)}
        if origin in (tuple, list, Sequence, frozenset):
            return self._listed(origin, parts)
        if origin in (dict, Mapping):
            return {"type": "object", "additionalProperties": self.of(parts[1])}
        if is_dataclass(hint) and isinstance(hint, type):
            return self._record(hint)
        return self._plain(hint)

    def _one_of(self, parts: Sequence[Any]) -> Schema:
        listed = [self.of(one) for one in parts if one is not type(None)]
        if type(None) in parts and len(listed) == 1 and "type" in listed[0]:
            kinds = listed[0]["type"]
            return {**listed[0], "type": [kinds, "null"] if isinstance(kinds, str) else kinds}
        return {"anyOf": [*listed, *([{"type": "null"}] if type(None) in parts else [])]}

    def _listed(self, origin: Any, parts: Sequence[Any]) -> Schema:
        if origin is tuple and Ellipsis not in parts:
            return {
                "type": "array",
                "prefixItems": [self.of(one) for one in parts],
                "minItems": len(parts),
                "maxItems": len(parts),
            }
        return {"type": "array", "items": self.of(parts[0])}

    def _plain(self, hint: Any) -> Schema:
        if isinstance(hint, type) and issubclass(hint, Enum):
            return {"enum": [one.value for one in hint]}
        kinds: dict[Any, Schema] = {
            str: {"type": "string"},
            bool: {"type": "boolean"},
            int: {"type": "integer"},
            float: {"type": ["number", "null"]},
            datetime: {"type": "string", "format": "date-time"},
            date: {"type": "string", "format": "date"},
            type(None): {"type": "null"},
        }
        if hint not in kinds:
            raise TypeError(f"no record may hold {hint}")
        return dict(kinds[hint])

    def _record(self, record: type) -> Schema:
        name = record.__name__
        if self._of.setdefault(name, record) is not record:
            raise TypeError(f"two records are called {name}")
        if name not in self.schemas:
            self.schemas[name] = {}  # a record that holds itself ends here
            doc = inspect.cleandoc(record.__doc__ or "")
            hints, told = get_type_hints(record, include_extras=True), meanings(record)
            self.schemas[name] = {
                "type": "object",
                "description": doc.partition("\n")[0],
                "required": [one.name for one in fields(record)],
                "additionalProperties": False,
                "properties": {
                    one.name: _with_meaning(self.of(hints[one.name]), told.get(one.name, ""))
                    for one in fields(record)
                },
            }
        return {"$ref": f"#/components/schemas/{name}"}


def _with_meaning(schema: Schema, told: str) -> Schema:
    return {**schema, "description": told} if told else schema


@cache
def meanings(record: type) -> Mapping[str, str]:
    """What each field of a record means, with its unit, as the record's docstring says."""
    _, _, listed = inspect.cleandoc(record.__doc__ or "").partition("Args:\n")
    found: dict[str, str] = {}
    name = ""
    for line in listed.split("\n"):
        begins = re.match(r" {4}(\w+): (.*)", line)
        if begins:
            name = begins[1]
            found[name] = begins[2]
        elif name and line.startswith(" " * 8):
            found[name] += f" {line.strip()}"
        elif line.strip():
            break
    return found

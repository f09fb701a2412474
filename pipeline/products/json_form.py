"""How a record of this program is written as JSON: plain values, dates as ISO 8601."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date

from pipeline.messages import Message, to_json
from pipeline.wording.say import plain

Json = dict[str, "Json"] | list["Json"] | str | int | float | bool | None


def as_json(record: object) -> Json:
    """A frozen record, or a tuple or mapping of them, as values that the json module writes.

    A message is its code, its arguments, and its words. Fields a record keeps to itself (``repr=False``) are left out.

    Args:
        record: dataclass, mapping, sequence, date, text, number or None. Infinite and undefined numbers
            become None, since JSON has none.

    Raises:
        TypeError: a value of another kind.
    """
    if record is None or isinstance(record, str | bool | int):
        return record
    if isinstance(record, float):
        return record if math.isfinite(record) else None
    if isinstance(record, date):
        return record.isoformat()
    if isinstance(record, Message):
        return {**as_json(to_json(record)), "words": plain(record)}  # type: ignore[dict-item]
    if is_dataclass(record) and not isinstance(record, type):
        return {one.name: as_json(getattr(record, one.name)) for one in fields(record) if one.repr}
    if isinstance(record, Mapping):
        return {str(key): as_json(value) for key, value in record.items()}
    if isinstance(record, tuple | list | set | frozenset):
        return [as_json(one) for one in record]
    if hasattr(record, "model_dump"):  # a part of a sheet
        return as_json(record.model_dump())
    if hasattr(record, "tolist"):  # an array or a number of an array library
        return as_json(record.tolist())
    raise TypeError(f"a {type(record).__name__} has no JSON form")

"""Which bytes stand for a record? Canonical JSON, so that the same record always has the same hash.

Source: RFC 8785, JSON Canonicalization Scheme: names sorted by UTF-16 code units, no white space, UTF-8,
numbers as ECMAScript writes them.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from json.encoder import encode_basestring
from typing import Any

from pipeline.errors import Complaint, ReelproofError

# Whole numbers beyond this are not held by a binary64 number, which is what JSON readers use (RFC 7493, 2.2).
GREATEST_WHOLE = 2**53 - 1


def _refuse(where: str, found: str, remedy: str) -> ReelproofError:
    return ReelproofError(Complaint(where, found, remedy))


def number_text(value: float) -> str:
    """A binary64 number as ECMAScript writes it: the shortest digits that give it back.

    Args:
        value: the number; not-a-number and infinity have no place in JSON.

    Source: RFC 8785, 3.2.2.3 and appendix B; ECMA-262, Number::toString.
    """
    if not math.isfinite(value):
        raise _refuse(
            "canonical JSON", f"{value} is no JSON number", "Leave the field out or write it as text"
        )
    if value == 0.0:
        return "0"
    sign = "-" if value < 0 else ""
    mantissa, _, exponent = repr(abs(value)).partition("e")
    whole, _, fraction = mantissa.partition(".")
    digits = (whole + fraction).lstrip("0")
    # The value is 0.DIGITS x 10^point.
    leading = len(whole + fraction) - len(digits)
    point = len(whole) - leading + int(exponent or 0)
    digits = digits.rstrip("0")
    count = len(digits)
    if count <= point <= 21:
        return sign + digits + "0" * (point - count)
    if 0 < point <= 21:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    power = point - 1
    shown = digits[0] + (f".{digits[1:]}" if count > 1 else "")
    return f"{sign}{shown}e{'+' if power > 0 else '-'}{abs(power)}"


def _string_text(value: str, where: str) -> str:
    if not value.isascii():
        try:
            value.encode("utf-8")
        except UnicodeEncodeError:
            raise _refuse(
                where, "a text holds half of a surrogate pair", "Give text that can be written as UTF-8"
            ) from None
    return encode_basestring(value)


def canonical_text(value: Any, where: str = "record") -> str:
    """A JSON value in canonical form.

    Args:
        value: mappings with text keys, sequences, text, numbers, True, False and None.
        where: name of the record, for the complaint.

    Raises:
        ReelproofError: something in it has no canonical form.
    """
    if _is_plain(value):
        text = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        if text.isascii():
            return text
    return _text_of(value, where)


def _is_plain(value: Any) -> bool:
    """Whether the standard encoder writes it canonically: no real or great number, every name ASCII."""
    left = [value]
    while left:
        one = left.pop()
        kind = type(one)
        if kind is dict:
            if not all(type(name) is str and name.isascii() for name in one):
                return False
            left.extend(one.values())
        elif kind is list or kind is tuple:
            left.extend(one)
        elif kind is int:
            if abs(one) > GREATEST_WHOLE:
                return False
        elif kind is not str and one is not None and kind is not bool:
            return False
    return True


def _text_of(value: Any, where: str) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _string_text(value, where)
    if isinstance(value, int):
        if abs(value) > GREATEST_WHOLE:
            raise _refuse(
                where, f"{value} is too great for a JSON number", "Write whole numbers beyond 2^53 as text"
            )
        return str(value)
    if isinstance(value, float):
        return number_text(value)
    if isinstance(value, Mapping):
        return _object_text(value, where)
    if isinstance(value, Sequence) and not isinstance(value, bytes | bytearray):
        return f"[{','.join(_text_of(one, where) for one in value)}]"
    raise _refuse(
        where,
        f"a {type(value).__name__} has no place in JSON",
        "Use text, numbers, true, false, null, lists and objects",
    )


def _object_text(value: Mapping[Any, Any], where: str) -> str:
    names = list(value)
    if not all(isinstance(name, str) for name in names):
        raise _refuse(where, "a name is no text", "Name every field by text")
    # Plain names sort by code unit as they stand; journals hold hardly any others.
    plain = all(name.isascii() for name in names)
    names.sort(key=None if plain else lambda name: str(name).encode("utf-16-be", "surrogatepass"))
    fields = [f"{_string_text(name, where)}:{_text_of(value[name], where)}" for name in names]
    return f"{{{','.join(fields)}}}"


def canonical_bytes(value: Any, where: str = "record") -> bytes:
    """A JSON value in canonical form as UTF-8, ready to be hashed."""
    return canonical_text(value, where).encode()


def read_canonical(text: str) -> Any:
    """The JSON value of a text as RFC 8785 reads it: numbers beyond 2^53 are binary64, not whole.

    Raises:
        ValueError: the text is no JSON.
    """
    return json.loads(text, parse_int=_whole_or_real)


def _whole_or_real(digits: str) -> int | float:
    whole = int(digits)
    return whole if abs(whole) <= GREATEST_WHOLE else float(digits)

"""How a TOML sheet is read and checked: every complaint at once, each with file and key.

Which values may stand in a sheet at all, whatever they mean: finite, of a size and depth that a person writes.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails

from pipeline.errors import Complaint, SheetError
from pipeline.regular_file import NotRegularError, text_of_file
from pipeline.words import counted

DEEPEST = 16
MOST_VALUES = 100_000
LONGEST_TEXT = 20_000
# Beyond it a whole number is no longer exact as a float, and no length, time or count of a plant is so large.
GREATEST = 2.0**53


def out_of_bounds(content: dict[str, Any]) -> list[tuple[str, str]]:
    """Values of a sheet that nobody writes on purpose: the key of each, and what is wrong with it.

    Args:
        content: the sheet as it was read.
    """
    told: list[tuple[str, str]] = []
    waiting: list[tuple[str, Any, int]] = [("", content, 0)]
    seen = 0
    while waiting:
        key, value, depth = waiting.pop()
        seen += 1
        if seen > MOST_VALUES:
            return [("", f"it has more than {MOST_VALUES:,} values")]
        if depth > DEEPEST:
            return [(key[:60], f"tables or lists stand in each other more than {DEEPEST} deep")]
        if isinstance(value, dict):
            waiting += [
                (f"{key}.{name}" if key else str(name), one, depth + 1) for name, one in value.items()
            ]
        elif isinstance(value, list):
            waiting += [(f"{key}[{number}]", one, depth + 1) for number, one in enumerate(value, 1)]
        elif isinstance(value, str):
            if len(value) > LONGEST_TEXT:
                told.append((key, f"this text has {len(value):,} characters"))
        elif isinstance(value, (int, float)) and not isinstance(value, bool):
            if isinstance(value, float) and not math.isfinite(value):
                told.append((key, f"{value} is no number to calculate with"))
            elif not -GREATEST <= value <= GREATEST:
                told.append((key, "this number is far too large"))
    return sorted(told)


MOST_TOLD = 20


class Sheet(BaseModel):
    """Base of every sheet and part of one: unknown keys are complaints, values are frozen."""

    model_config = ConfigDict(extra="forbid", frozen=True, str_strip_whitespace=True)


AnySheet = TypeVar("AnySheet", bound=Sheet)


def read_sheet(path: Path, model: type[AnySheet]) -> AnySheet:
    """The sheet in the TOML file `path`, checked against `model`.

    Raises:
        SheetError: the file cannot be read, is not TOML, or has wrong, missing or unknown keys.
    """
    try:
        text = text_of_file(path)
    except FileNotFoundError:
        raise SheetError(
            Complaint(str(path), "there is no such file", "Check the path, and the folder you are in")
        ) from None
    except IsADirectoryError:
        raise SheetError(
            Complaint(str(path), "this is a folder, not a sheet", "Name the .toml file itself")
        ) from None
    except PermissionError:
        raise SheetError(
            Complaint(str(path), "you may not read this file", "Ask for read permission, or copy it")
        ) from None
    except NotRegularError as fault:
        raise SheetError(
            Complaint(str(path), fault.strerror or "", "A sheet is a text file of a few pages; name that")
        ) from None
    except OSError as fault:
        raise SheetError(
            Complaint(
                str(path), f"it cannot be read ({fault.strerror})", "Copy it to this machine and try again"
            )
        ) from None
    except UnicodeDecodeError as fault:
        raise SheetError(
            Complaint(
                str(path), f"byte {fault.start} is not UTF-8 text", "Save the sheet as UTF-8 and try again"
            )
        ) from None
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise SheetError(
            Complaint(str(path), f"this is not TOML: {fault}", "Mend that line and try again")
        ) from None
    except (ValueError, RecursionError) as fault:
        # The library has no class for a number of thousands of digits, nor for a thousand brackets.
        found = "brackets stand in each other too deep" if isinstance(fault, RecursionError) else str(fault)
        raise SheetError(
            Complaint(
                str(path), f"this is no sheet: {found.partition(';')[0]}", "Mend that value and try again"
            )
        ) from None
    beyond = out_of_bounds(content)
    if beyond:
        raise SheetError(
            Complaint(f"{path}: {key}" if key else str(path), found, "Write a value that is meant")
            for key, found in beyond[:MOST_TOLD]
        )
    first = next((name for name, field in model.model_fields.items() if field.is_required()), None)
    if not content and first is not None:
        raise SheetError(
            Complaint(str(path), "the sheet is empty", f"Begin it with [{first}], or name another file")
        )
    try:
        return model.model_validate(content)
    except ValidationError as fault:
        raise SheetError(_complaint(path, one) for one in _own(fault.errors())) from None


def _own(faults: list[ErrorDetails]) -> list[ErrorDetails]:
    """Faults, without lists that are short only because their parts are refused."""
    places = [one["loc"] for one in faults]
    return [
        one
        for one in faults
        if one["type"] != "too_short"
        or not any(place[: len(one["loc"])] == one["loc"] for place in places if len(place) > len(one["loc"]))
    ]


def _key(location: tuple[int | str, ...]) -> str:
    key = ""
    for part in location:
        if isinstance(part, int):
            key += f"[{part + 1}]"
        else:
            key += f".{part}" if key else part
    return key


# What may stand there, by pydantic's name of the fault.
_WRITE = {
    "string_type": "Write text, in quotes",
    "float_type": "Write a number",
    "float_parsing": "Write a number",
    "int_type": "Write a whole number",
    "int_parsing": "Write a whole number",
    "int_from_float": "Write a whole number",
    "bool_type": "Write true or false",
    "bool_parsing": "Write true or false",
    "list_type": "Write a list, in [ ]",
    "tuple_type": "Write a list, in [ ]",
    "model_type": "Write its keys below it, or in { }",
    "dict_type": "Write its keys below it, or in { }",
}


def remedy_of(fault: ErrorDetails) -> str:
    """What may stand where pydantic found something else, in our words."""
    if fault["type"] == "too_short":
        return f"Write at least {counted(fault['ctx']['min_length'], 'part', 'parts')}"
    return _WRITE.get(str(fault["type"]), str(fault["msg"]).replace("Input should be", "It should be"))


def _complaint(path: Path, fault: ErrorDetails) -> Complaint:
    """A validation fault of pydantic in our words."""
    kind = str(fault["type"])
    place = f"{path}: {_key(tuple(fault['loc']))}" if fault["loc"] else str(path)
    context = fault.get("ctx") or {}
    value = fault.get("input")
    shown = repr(value) if isinstance(value, str | int | float | bool) else f"a {type(value).__name__}"
    if value == []:
        shown = "an empty list"
    if kind == "missing":
        return Complaint(place, "this key is missing", "Add it to the sheet")
    if kind == "extra_forbidden":
        return Complaint(place, "this key is not known here", "Check its spelling, or take it out")
    if kind in {"literal_error", "enum"}:
        return Complaint(place, f"found {shown}", f"It may be {context['expected']}")
    if kind == "string_pattern_mismatch":
        return Complaint(
            place,
            f"found {shown}",
            "It may hold letters, digits, dot, dash and underscore, and starts with a letter or digit",
        )
    if kind == "value_error":
        return Complaint(place, str(context["error"]), "Mend it and try again")
    return Complaint(place, f"found {shown}", remedy_of(fault))

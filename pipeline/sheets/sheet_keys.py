"""Every key a sheet may have, with its meaning, kind, unit and default, read from the sheets' own declarations."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, get_args

from pydantic import BaseModel

from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.sheets.run_sheet import RunSheet

SHEETS: dict[str, type[BaseModel]] = {"plant": PlantSheet, "line": LineSheet, "run": RunSheet}


@dataclass(frozen=True, slots=True)
class SheetKey:
    """One key.

    Args:
        key: the key with the tables it stands in, joined by dots; ``*`` for a name of the plant's own.
        kind: what may stand there.
        unit: its unit, "" for none.
        default: what holds where it is left out; "must be given" where nothing does.
        meaning: what it says.
        example: what stands there in the sample sheet; "" where it says nothing of it.
    """

    key: str
    kind: str
    unit: str
    default: str
    meaning: str
    example: str = ""


def keys_of(model: type[BaseModel], before: str = "") -> Iterator[SheetKey]:
    """The keys of a sheet, in the order of its declaration.

    Args:
        model: the sheet, or a part of one.
        before: the tables it stands in, with a dot behind.
    """
    told = _meanings(model)
    for name, field in model.model_fields.items():
        key = before + (field.alias or name)
        parts = _models_in(field.annotation)
        default = (
            "must be given" if field.is_required() else _shown(field.get_default(call_default_factory=True))
        )
        meaning = told.get(name, field.description or "")
        unit = re.search(r"\[([^\]]+)\]", meaning)
        kind = "table" if parts else _kind(field.annotation)
        yield SheetKey(
            key,
            kind,
            unit.group(1) if unit else "",
            "" if parts and not field.is_required() else default,
            meaning,
        )
        named = ".*." if "dict[" in str(field.annotation) else "."
        for part in parts:
            yield from keys_of(part, key + named)


def with_examples(keys: Iterable[SheetKey], sample: Mapping[str, Any]) -> Iterator[SheetKey]:
    """The keys with what stands there in a sample sheet.

    Args:
        keys: the keys.
        sample: the sheet, as its TOML is read.
    """
    listed = tuple(keys)
    parted = {one.key.rpartition(".")[0].removesuffix(".*") for one in listed}
    for one in listed:
        found = () if one.key in parted else _values_at(sample, one.key.split("."))
        yield replace(one, example=next(map(_toml, found), ""))


def _values_at(sheet: Any, path: Sequence[str]) -> Iterator[Any]:
    """What stands at a path of keys, the first of each list and table of the plant's own names first."""
    if not path:
        yield sheet
    elif isinstance(sheet, list):
        for one in sheet:
            yield from _values_at(one, path)
    elif isinstance(sheet, dict):
        for one in sheet.values() if path[0] == "*" else [sheet[path[0]]] if path[0] in sheet else []:
            yield from _values_at(one, path[1:])


def _toml(value: Any) -> str:
    """A value as a sheet writes it."""
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, dict):
        named = (f"{_toml_key(name)} = {_toml(one)}" for name, one in value.items())
        return f"{{ {', '.join(named)} }}"
    return f'"{value}"' if isinstance(value, str) else _shown(value)


def _toml_key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else f'"{name}"'


def _meanings(model: type[BaseModel]) -> dict[str, str]:
    """What the docstrings of a model and its bases say of each field."""
    told: dict[str, str] = {}
    for one in reversed(model.__mro__):
        text = inspect.cleandoc(one.__doc__ or "").partition("Args:\n")[2]
        for name, said in re.findall(r"^ {4}(\w+): (.+(?:\n {8}.+)*)", text, re.M):
            told[name] = " ".join(said.split())
    return told


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if inspect.isclass(annotation) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models_in(part)]


def _kind(annotation: Any) -> str:
    text = str(annotation)
    if "Literal" in text:
        return " or ".join(re.findall(r"'([^']*)'", text.split("Literal", 1)[1].split("]")[0]))
    for python, words in (
        ("tuple", "list"),
        ("dict", "table"),
        ("bool", "true or false"),
        ("datetime", "instant"),
    ):
        if python in text:
            return words
    for python, words in (("date", "day"), ("float", "number"), ("int", "whole number")):
        if re.search(rf"\b{python}\b", text):
            return words
    return "text"


def _shown(value: Any) -> str:
    if value is None or value in ("", (), {}):
        return "none"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, tuple):
        return ", ".join(_shown(one) for one in value)
    return str(value)

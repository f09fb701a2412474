"""Cases of typing errors: every key of the three sheets misspelt, dropped, blank, of another type, sign, size or unit.

Truth is the wire's. A sheet that cannot be meant may be refused or may hold good wire; what no typing error may do is
let wire go that is plainly bad by a published limit or by the spark tester.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np

from tests.release_matrix.cases import Case, Label, Sheet
from tests.release_matrix.data_cases import Scene, scenes
from tests.release_matrix.plants import PlantText

_KEY = re.compile(r"^(\s*)([A-Za-z_\"][\w\" .-]*?)(\s*=\s*)(.+)$")
_INLINE = re.compile(r"([a-z_]+)( = )(-?[\d.]+|\"[^\"]*\"|true|false)")
_NUMBER = re.compile(r"-?\d+(\.\d+)?(e-?\d+)?")
FACTORS = {
    "a thousand times": 1000.0,
    "a thousandth": 0.001,
    "mil for mm": 1.0 / 0.0254,
    "mm for mil": 0.0254,
    "ft for m": 1.0 / 0.3048,
    "m for ft": 0.3048,
}
# How many of the many errors of a sheet one scene tries; which, its seed chooses.
TRIED = 14
# Whoever changes these changes which wire is meant: nothing is known then of what must become of it.
MEANT = ("from_m", "to_m", "id", "line_sheet", "plant_sheet")


def errors_of(key: str, value: str) -> Iterator[tuple[str, str]]:
    """Every typing error in one line of a sheet: its name and the line with it."""
    yield f"{key} misspelt", f"{key.rstrip(chr(34))}x{chr(34) if key.endswith(chr(34)) else ''} = {value}"
    yield f"{key} dropped", ""
    yield f"{key} blank", f'{key} = ""'
    if _NUMBER.fullmatch(value):
        number = float(value)
        yield f"{key} in quotes", f'{key} = "{value}"'
        yield f"{key} negative", f"{key} = {-abs(number) or -1.0!r}"
        yield f"{key} zero", f"{key} = 0.0"
        yield f"{key} nan", f"{key} = nan"
        for name, factor in FACTORS.items():
            yield f"{key} {name}", f"{key} = {number * factor!r}"
    elif value.startswith('"'):
        yield f"{key} a number", f"{key} = 7"
        yield f"{key} value misspelt", f'{key} = {value[:-1]}x"'
        yield f"{key} value in capitals", f"{key} = {value.upper()}"
    elif value in ("true", "false"):
        yield f"{key} the other way", f"{key} = {'false' if value == 'true' else 'true'}"


def mutations(text: str) -> list[tuple[str, str]]:
    """A sheet with one typing error, for every error of every key: name and text."""
    lines = text.split("\n")
    found: list[tuple[str, str]] = []
    for number, line in enumerate(lines):
        told = _KEY.match(line)
        if told is None:
            continue
        _, key, _, value = told.groups()
        changed = list(errors_of(key, value))
        for part in _INLINE.finditer(value) if value.startswith("{") else ():
            low, high = part.span()
            changed += [
                (f"{key}.{name}", f"{key} = {value[:low]}{new or 'x = 1'}{value[high:]}")
                for name, new in errors_of(part.group(1), part.group(3))
            ]
        found += [
            (f"line {number + 1}: {name}", "\n".join([*lines[:number], new, *lines[number + 1 :]]))
            for name, new in changed
        ]
    return found


def _loosely(label: Label) -> Label:
    return label if label[0] == "hold" else ("either", "")


def _tried(every: list[tuple[str, str]], rng: np.random.Generator, tried: int) -> list[tuple[str, str]]:
    chosen = rng.permutation(len(every))[:tried]
    return [every[int(k)] for k in sorted(chosen)]


class _Text(PlantText):
    """A plant's sheet as it was typed."""

    def __init__(self, typed: str) -> None:
        object.__setattr__(self, "typed", typed)

    @property
    def text(self) -> str:
        return self.typed  # type: ignore[attr-defined, no-any-return]


def _typed(number: int) -> Callable[[PlantText], PlantText]:
    return lambda sheet: _Text(mutations(sheet.text)[number][1])


def mutated_plants(rounds: int, tried: int = 3 * TRIED) -> Iterator[Case]:
    """Typing errors of the plant's sheet. Its own least wall, where it has one, is its own to set."""
    from tests.release_matrix.plants import plant_for

    for scene in scenes(rounds, 4000, ("thin", "pinhole", "off centre")):
        if scene.wire == "off centre" and (scene.made.plant_point or scene.line.ring is None):
            continue
        every = mutations(plant_for(scene.line, scene.made).text)
        numbers = sorted(int(k) for k in scene.rng.permutation(len(every))[:tried])
        sheets = tuple(Sheet(every[k][0], _typed(k), _loosely) for k in numbers)
        yield Case(
            "typing error, plant", f"{scene.wire} wire", scene.line, scene.made, scene.plan, sheets=sheets
        )


def _line_or_run(kind: str, scene: Scene, name: str, text: str) -> Case:
    case = Case(kind, f"{name}, {scene.wire} wire", scene.line, scene.made, scene.plan, good_may_be_held=True)
    change = lambda _: text  # noqa: E731
    return replace(case, line_text=change) if "line" in kind else replace(case, run_text=change)


def mutated_lines(rounds: int, tried: int = TRIED) -> Iterator[Case]:
    """Typing errors of the line's sheet."""
    from tests.other_lines.writing import line_sheet_text

    for scene in scenes(rounds, 4100, ("thin", "pinhole", "off centre")):
        for name, text in _tried(mutations(line_sheet_text(scene.line)), scene.rng, tried):
            yield _line_or_run("typing error, line", scene, name, text)


def mutated_runs(rounds: int, tried: int = TRIED) -> Iterator[Case]:
    """Typing errors of the run's sheet, but for where its reels end, which is where they are said to end."""
    from tests.other_lines.writing import log_of, run_sheet_text, stated_covering

    for scene in scenes(rounds, 4200, ("thin", "pinhole", "off centre")):
        text = run_sheet_text(scene.run, "R1", log_of(scene.run), stated_covering(scene.run))
        every = [one for one in mutations(text) if one[0].split(": ")[1].split(" ")[0] not in MEANT]
        for name, typed in _tried(every, scene.rng, tried):
            yield _line_or_run("typing error, run", scene, name, typed)


MUTATED: dict[str, Callable[[int], Iterator[Case]]] = {
    one.__name__: one for one in (mutated_plants, mutated_lines, mutated_runs)
}

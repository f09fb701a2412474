"""No default is shown as a check that held: whether an assumption held is worked out, handed in, or not checked.

Read off the source: what stands for "held" is no constant but None, and no parameter that has another default.
"""

import ast
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import pipeline
from pipeline.messages import message
from pipeline.notes import Note
from pipeline.results import Result
from pipeline.statistics.minimum_of_reel import LowerTail, reel_risk

SOURCES = sorted(Path(pipeline.__file__).parent.rglob("*.py"))


def held_of(source: str) -> Iterator[tuple[str, bool]]:
    """What stands for "held" in each assumption made, and whether it may be a default."""
    for function in ast.walk(ast.parse(source)):
        if not isinstance(function, ast.FunctionDef):
            continue
        of = function.args
        after = dict(zip([one.arg for one in of.args[::-1]], of.defaults[::-1], strict=False))
        named = {one.arg: value for one, value in zip(of.kwonlyargs, of.kw_defaults, strict=True) if value}
        defaults = {
            name
            for name, value in (after | named).items()
            if not (isinstance(value, ast.Constant) and value.value is None)
        }
        for call in ast.walk(function):
            if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Assumption":
                held = call.args[1]
                fixed = isinstance(held, ast.Constant) and held.value is not None
                yield ast.unparse(held), fixed or (isinstance(held, ast.Name) and held.id in defaults)


def test_no_default_stands_as_evidence() -> None:
    found = [(path.name, held) for path in SOURCES for held, bad in held_of(path.read_text()) if bad]
    assert found == []
    assert sum(1 for path in SOURCES for _ in held_of(path.read_text())) > 40


@pytest.mark.parametrize(
    ("source", "bad"),
    [
        ("def f(alike: float = 1.0):\n    return Assumption(n, alike, e)", True),
        ("def f(*, alike=True):\n    return Assumption(n, alike, e)", True),
        ("def f():\n    return Assumption(n, True, e)", True),
        ("def f(alike=None):\n    return Assumption(n, alike, e)", False),
        ("def f(alike):\n    return Assumption(n, alike > 1.0, e)", False),
    ],
)
def test_the_search_finds_a_default(source: str, bad: bool) -> None:
    assert [found for _, found in held_of(source)] == [bad]


def test_a_fit_nobody_asked_whether_it_converged_is_not_checked() -> None:
    depths = np.random.default_rng(3).exponential(0.004, 60)
    found = reel_risk(depths, LowerTail(0.42, 0.004, 0.0, 0.001), limit=0.40, reel_m=2000.0)
    assert isinstance(found, Result)
    assert {one.held for one in found.assumptions} == {None}
    assert all(one.evidence == message(Note.NOT_CHECKED) for one in found.assumptions)

"""Every bad value at every argument of every public function of the statistics: refused in words, never a number."""

import importlib
import inspect
import math
import pkgutil
import types
import typing
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Literal, get_args, get_origin

import pytest
from numpy.typing import ArrayLike

import pipeline.statistics
from pipeline.arguments import OWN_WORDS, ROWS, SHARES, check, kinds_of
from pipeline.errors import MethodRefusal
from pipeline.results import Refused
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.minimum_of_reel import LowerTail, reel_risk
from pipeline.statistics.rate_comparison import compare_rates


def public() -> dict[str, Callable[..., Any]]:
    found = {}
    for module in pkgutil.iter_modules(pipeline.statistics.__path__):
        loaded = importlib.import_module(f"pipeline.statistics.{module.name}")
        for name, function in inspect.getmembers(loaded, callable):
            own = getattr(function, "__module__", "") == loaded.__name__
            if own and not name.startswith("_") and not inspect.isclass(function):
                found[f"{module.name}.{name}"] = function
    return found


PUBLIC = public()


def bad_values(name: str, kind: Any) -> list[Any]:
    kinds = get_args(kind) if get_origin(kind) in {types.UnionType, typing.Union} else (kind,)
    if any(get_origin(one) is Literal for one in kinds):
        return ["no such word", 7]
    if kind == ArrayLike:
        return [
            ["a", "b"],
            "words",
            [[["0.4"]], ["x"]],
            *([[[0.4, 0.41], [0.42, 0.4]]] if name in ROWS else []),
        ]
    if float in kinds or int in kinds:
        bad: list[Any] = ["0.4", b"1", object()]
        bad += [] if name in OWN_WORDS else [math.nan]
        bad += [2.0, -1.0, 0.0, 1.0] if name in SHARES else []
        bad += [1.5, math.inf] if float not in kinds else []
        return bad
    return []


def test_every_public_function_is_checked() -> None:
    assert len(PUBLIC) > 120
    assert [name for name, one in PUBLIC.items() if not hasattr(one, "__wrapped__")] == []


@pytest.mark.parametrize("name", PUBLIC)
def test_every_bad_value_is_refused_in_words(name: str) -> None:
    function = PUBLIC[name]
    for argument in inspect.signature(function).parameters:
        kind = kinds_of(inspect.unwrap(function)).get(argument)
        for bad in bad_values(argument, kind):
            with pytest.raises(MethodRefusal) as told:
                check(argument, bad, kind, argument)
            assert str(told.value).endswith(".") and "{" not in str(told.value)


DEPTHS = [0.001 * one for one in range(1, 41)]
RISK = {"limit": 0.385, "reel_m": 1500.0}
TAIL = LowerTail(0.42, 0.008, -0.1, len(DEPTHS) / 6e4)
# Inputs that once came back as a figure.
ONCE_A_FIGURE: dict[str, Callable[[], Any]] = {
    "a shape that is no number": lambda: reel_risk(DEPTHS, replace(TAIL, shape=math.nan), **RISK),
    "a confidence of 2": lambda: reel_risk(DEPTHS, TAIL, **RISK, confidence=2.0),
    "an unknown test": lambda: compare_rates(3, 1e4, 5, 1e4, test="chance"),  # type: ignore[arg-type]
    "a negative count": lambda: event_rate(-1, 1e4),
    "a count that is text": lambda: event_rate("3", 1e4),  # type: ignore[arg-type]
    "a two-dimensional table of depths": lambda: reel_risk([DEPTHS, DEPTHS], TAIL, **RISK),
    "depths that are text": lambda: reel_risk(["deep"] * 40, TAIL, **RISK),
}


@pytest.mark.parametrize("case", ONCE_A_FIGURE)
def test_what_once_came_back_as_a_figure_is_refused(case: str) -> None:
    try:
        answer = ONCE_A_FIGURE[case]()
    except MethodRefusal as told:
        assert str(told).endswith(".")
        return
    assert isinstance(answer, Refused), answer

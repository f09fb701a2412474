"""What a swing is locked to, coherence, and swings without a fixed step."""

import numpy as np
import pytest

from pipeline.errors import MethodRefusal
from pipeline.results import Refused
from pipeline.statistics.order_tracking import (
    Tracked,
    track,
)
from tests.said import said

N = 6000
TIME = np.arange(N) * 0.1
LENGTH = np.cumsum(8 + 4 * np.arange(N) / N) * 0.1
NOISE = np.random.default_rng(1).normal(size=N)


def tracked(*given: object, **named: object) -> Tracked:
    answer = track(*given, **named)  # type: ignore[arg-type]
    assert isinstance(answer, Tracked)
    return answer


@pytest.mark.parametrize(("axis", "at", "period"), [("length", LENGTH, 10.0), ("time", TIME, 1.0)])
def test_a_ramp_separates_length_from_time(axis: str, at: np.ndarray, period: float) -> None:
    # Worked out apart: ramp of 8 to 12 m/s: .161 of the power on the true axis, .0035 on the other; .246
    # and .0070 the other way round.
    found = tracked(0.6 * np.sin(2 * np.pi * at / period) + NOISE, {"length": LENGTH, "time": TIME})
    assert found.locked_to == axis
    assert found.lines[0].period == pytest.approx(period, rel=0.005)
    assert found.lines[0].sharpness > 10 * found.lines[1].sharpness


def test_turns_of_the_screw_are_an_axis_too() -> None:
    turns = np.cumsum(1.0 + 0.3 * np.sin(np.arange(N) / 900)) * 0.1
    found = tracked(
        0.6 * np.sin(2 * np.pi * turns) + NOISE, {"length": LENGTH, "screw turns": turns, "time": TIME}
    )
    assert found.locked_to == "screw turns"
    assert found.lines[0].period == pytest.approx(1.0, rel=0.01)


def test_at_constant_speed_nothing_can_be_told() -> None:
    found = tracked(0.6 * np.sin(2 * np.pi * TIME) + NOISE, {"length": 10 * TIME, "time": TIME})
    assert found.locked_to == ""
    assert said(found.words).startswith("Cannot separate length-based from time-based causes: ")
    assert said(found.words).endswith(" %). A larger change of speed would separate them.")


def test_only_a_range_of_periods_may_be_looked_at() -> None:
    x = 3 * np.sin(2 * np.pi * LENGTH / 40) + 0.6 * np.sin(2 * np.pi * LENGTH / 10) + NOISE
    found = tracked(
        x, {"length": LENGTH, "time": TIME}, {"length": 5.0, "time": 0.5}, {"length": 20.0, "time": 2.0}
    )
    assert found.lines[0].period == pytest.approx(10.0, rel=0.005)


def test_too_little_is_refused() -> None:
    few = track(np.ones(20), {"a": np.arange(20.0), "b": np.arange(20.0)})
    assert isinstance(few, Refused)
    assert said(few.reason) == "20 readings are too few; 128 are needed."
    flat = track(np.ones(200), {"a": np.arange(200.0), "b": np.arange(200.0)})
    assert isinstance(flat, Refused)
    assert said(flat.reason) == "The readings do not move; there is nothing to swing."


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: track([1.0], {"a": [1.0]}), "axes: 1 was given. Give two axes or more to compare."),
        (
            lambda: track(NOISE, {"length": LENGTH[::-1], "time": TIME}),
            "axes: length: does not rise. Give places in order on every axis.",
        ),
        (
            lambda: track(NOISE, {"length": LENGTH[:5], "time": TIME}),
            "axes: length: 5 places for 6000 values. Give one for each.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

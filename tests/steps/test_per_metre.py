"""Means of wire are per metre of wire, whatever the rows. A straight line's mean is its middle (derivation)."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.length import intervals
from pipeline.simulator.lines import line_l1
from pipeline.steps.evidence import Seen


def _seen(at_m: np.ndarray, value: np.ndarray) -> Seen:
    every = np.ones(at_m.size, dtype=np.bool_)
    gauge = line_l1().instrument("wall gauge")
    assert gauge is not None
    return Seen(
        "mean_wall_mm", "mm", gauge, np.arange(at_m.size), at_m, value, every, every, every, 0.003, 0.1, 5.0,
        intervals.NONE,
    )  # fmt: skip


def test_a_reel_that_begins_with_a_ramp_has_the_mean_of_its_wire() -> None:
    """Speed rises evenly over 40 s and then stays: rows are dense where the wall is thick."""
    seconds = np.arange(0.0, 100.0, 0.2)
    at_m = np.where(seconds < 40.0, 0.05 * seconds**2, 80.0 + 4.0 * (seconds - 40.0))
    seen = _seen(at_m, 0.5 - 0.0001 * at_m)
    here = seen.rows_within(0.0, 320.0)
    mean, sd = seen.per_metre(here)
    assert mean == pytest.approx(0.5 - 0.0001 * 160.0, abs=5e-5)
    assert sd == pytest.approx(0.0001 * 320.0 / np.sqrt(12.0), rel=0.01)
    assert float(seen.value[here].mean()) > mean + 0.002


def test_equal_steps_give_the_plain_mean_and_deviation() -> None:
    value = np.random.default_rng(1).standard_normal(200)
    seen = _seen(np.arange(200.0), value)
    mean, sd = seen.per_metre(np.arange(200))
    assert (mean, sd) == pytest.approx((value.mean(), value.std(ddof=1)), rel=1e-9)
    assert np.isnan(seen.per_metre(np.array([3]))[1])

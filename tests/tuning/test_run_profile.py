"""Averages along the wire against NumPy's own sums, and what a band of runs is."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from pipeline.length.steady_state import STEADY, STOP
from pipeline.tuning.run_profile import RunProfile, made_m, run_profile, spread_of


def run(**other: Any) -> Any:
    """A run of 100 m from the counter's 3,000 m on, as far as the averages look at it; slow over its first half."""
    at = 3000.0 + np.concatenate([np.linspace(0.0, 50.0, 400, endpoint=False), np.linspace(50.0, 100.0, 100)])
    ones = np.ones(at.size)
    given = {
        "run_id": "R1", "die_m": at, "wall_at_m": at - 4.0, "mean_mm": np.where(at < 3052.0, 0.4, 0.5),
        "cos_mm": 0.03 * ones, "sin_mm": -0.04 * ones, "diameter_at_m": at - 9.0, "diameter_mm": 3.0 * ones,
        "wall_counts": ones.astype(bool), "diameter_counts": ones.astype(bool), "phase": np.full(at.size, STEADY),
        "machine": {"melt_temperature_c": 180.0 + (at - 3000.0) / 100.0, "melt_pressure_bar": np.nan * ones},
    }  # fmt: skip
    return SimpleNamespace(**{**given, **other})


def test_each_metre_weighs_alike_wherever_the_counter_began() -> None:
    found = run_profile(run(), 10.0)
    assert made_m(run()) == pytest.approx(100.0)
    assert found.means["mean_wall_mm"].size == 11
    # 48 of the 96 m that the wall gauge saw are thin, whatever four fifths of the rows say.
    assert found.overall["mean_wall_mm"] == pytest.approx(0.45, abs=0.006)
    assert found.overall["eccentricity_mm"] == pytest.approx(0.05)
    assert found.means["melt_temperature_c"][:3] == pytest.approx([180.05, 180.15, 180.25], abs=0.002)
    assert "melt_pressure_bar" not in found.means


def test_what_does_not_count_leaves_a_gap() -> None:
    one = run()
    among = (one.die_m >= 3020.0) & (one.die_m < 3050.0)
    found = run_profile(
        run(phase=np.where(among, STOP, STEADY), wall_counts=~among, mean_mm=np.where(among, 9.0, 0.4)), 10.0
    )
    assert np.isnan(found.means["melt_temperature_c"][2:5]).all()
    assert found.overall["mean_wall_mm"] == pytest.approx(0.4)


def test_noise_of_readings_is_no_eccentricity() -> None:
    """A circle's mean radius about its own center is the noise's; the average section's center is not moved by it."""
    noise = np.random.default_rng(5).normal(0.0, 0.05, (2, 500))
    found = run_profile(run(cos_mm=noise[0], sin_mm=noise[1]), 50.0)
    assert found.means["eccentricity_mm"][0] < 0.01


def test_a_band_is_the_lowest_and_highest_of_those_that_have_wire_there() -> None:
    empty: dict[str, float] = {}
    first = RunProfile("A", 1.0, {"x": np.array([1.0, np.nan, 3.0])}, empty)
    second = replace(first, run_id="B", means={"x": np.array([2.0, np.nan])})
    third = replace(first, run_id="C", means={})
    low, high = spread_of((first, second, third), "x")
    assert low[[0, 2]].tolist() == [1.0, 3.0] and high[[0, 2]].tolist() == [2.0, 3.0]
    assert np.isnan(low[1]) and np.isnan(high[1])

"""Noise of a gauge from line stops, wire read twice, and three instruments on one wire."""

import numpy as np
import pytest
from invented_trust import NO_FLAGS

from pipeline.length.placement import place_readings
from pipeline.length.steady_state import STOP
from pipeline.results import Refused, Result
from pipeline.trust.repeatability import (
    stop_repeatability,
    stops_of,
)
from tests.said import said


def test_pooled_over_stops_with_its_interval() -> None:
    """200 repetitions of three stops of 100 readings with 4 um of noise: the 95 % interval holds it in about 95 %."""
    stops = [np.arange(100) + 1000 * k for k in range(3)]
    inside, found_sd = 0, []
    for seed in range(200):
        rng = np.random.default_rng(seed)
        readings = 0.5 + 0.02 * rng.standard_normal(3100).cumsum() / 50
        for k, rows in enumerate(stops):
            readings[rows] = 0.48 + 0.01 * k + 0.004 * rng.standard_normal(100)
        found = stop_repeatability(readings, stops, 0.0001)
        assert isinstance(found, Result)
        inside += found.low <= 0.004 <= found.high
        found_sd.append(found.estimate)
    assert 182 <= inside <= 199
    assert np.mean(found_sd) == pytest.approx(0.004, rel=0.01)


def test_wire_that_cools_at_a_stop_is_not_noise() -> None:
    rng = np.random.default_rng(1)
    rows = np.arange(300)
    cooling = 0.5 - 1e-4 * rows + 0.004 * rng.standard_normal(300)
    found = stop_repeatability(cooling, [rows], 0.001)
    assert isinstance(found, Result)
    assert found.estimate == pytest.approx(0.004, rel=0.1)


def test_a_coarse_gauge_shows_its_step_and_not_its_noise() -> None:
    found = stop_repeatability(np.full(100, 0.48), [np.arange(100)], 0.01)
    assert isinstance(found, Result)
    assert found.estimate == pytest.approx(0.01 / np.sqrt(12))
    assert said(found.warnings) == ("The gauge's step is coarser than its noise; the step decides.",)


def test_no_stop_is_refused() -> None:
    for stops in ([], [np.arange(4)]):
        refused = stop_repeatability(np.full(100, 0.48), stops, 0.001)
        assert isinstance(refused, Refused)
        assert said(refused.reason) == (
            "Needs a stop of at least 10 readings of this gauge. Without one, gauge noise and wire "
            "variation cannot be separated."
        )


def test_the_simulated_gauge_at_its_stops(simulated) -> None:
    """The simulator's truth, ours: 4 um of noise a wall sensor, 2 um a diameter axis; a stop of 60 s."""
    from pipeline.simulator.speed import plain_plan

    for seed in range(3):
        plan = plain_plan(800 / 60, 4000.0, 30.0, stops=((2000.0, 60.0),))
        run = simulated("14 AWG", seed, plan=plan)
        placement = place_readings(run.readings, NO_FLAGS, run.scenario.line)
        stops = stops_of(
            placement.readings["phase"].to_numpy(), STOP, placement.readings["speed_m_s"].to_numpy()
        )
        for channel, noise in (("wall_1_mm", 0.004), ("wall_5_mm", 0.004), ("diameter_x_mm", 0.002)):
            found = stop_repeatability(run.readings[channel].to_numpy(), stops, 0.000254)
            assert isinstance(found, Result)
            assert found.low * 0.95 <= noise <= found.high * 1.05
            assert found.estimate == pytest.approx(noise, rel=0.12)

"""The whole path from log to wall against the simulator's truth, over seeds and speeds.

The simulator is ours: agreement shows that the program is consistent with itself, and nothing about real wire.
What was reached is written beside each check.
"""

import numpy as np
import pytest
from invented_walls import NO_FLAGS, covering

from pipeline.length.events import place_events
from pipeline.length.placement import place_readings
from pipeline.length.steady_state import STEADY
from pipeline.simulator.speed import plain_plan
from pipeline.simulator.troubles import EncoderReset, EncoderSlip, SparkFaults, ThinAllRound, ThinOneSide
from pipeline.wall.offset import mean_offset
from pipeline.wall.sections import measure_walls
from pipeline.wall.two_layers import insulation_bounds

SPEEDS = (100.0, 400.0, 800.0, 1200.0)


def troubled(simulated, speed_m_min: float, seed: int):
    """A run with a dip, a stop, a reset, a slip of 45 m, two thin places and four faults."""
    v, length = speed_m_min / 60, max(2500.0, 8.0 * speed_m_min)
    at = tuple(np.linspace(0.3, 0.9, 7) * length)
    long = max(0.3 * v, 2.0)
    troubles = (
        ThinAllRound(at[0], long, 0.08),
        ThinOneSide(at[3], long, 0.08, 200.0),
        SparkFaults("random", (*at[1:3], *at[4:6])),
        EncoderReset(at[2] + 30.0),
        EncoderSlip(at[4] + 200.0, at[4] + 260.0, 45.0),
    )
    plan = plain_plan(v, length, 30.0, dips=((0.35 * length, 0.6, 20.0),), stops=((0.55 * length, 30.0),))
    run = simulated("14 AWG", seed, speed_m_min=speed_m_min, plan=plan, troubles=troubles)
    placement = place_readings(run.readings, NO_FLAGS, run.scenario.line)
    return run, placement, (at[0] + long / 2, at[3] + long / 2)


@pytest.mark.parametrize("speed", SPEEDS)
@pytest.mark.parametrize("seed", range(3))
def test_length_and_defects_land_within_a_reading(simulated, speed: float, seed: int) -> None:
    """Reached: length to 0.11 m through a reset and a slip of 45 m; thin places within a reading.

    Faults lie up to half an electrode (0.45 m) from the middle of it, where they are put; at 100 m/min that is
    more than a reading of 0.17 m and within the stated uncertainty.
    """
    run, placement, thin_at = troubled(simulated, speed, seed)
    reading_m = speed / 60 * 0.1
    assert np.abs(placement.at_m - run.true_x_m).max() < min(reading_m, 0.15)
    assert placement.counter_events["kind"].to_list() == ["reset", "slip"]
    line = run.scenario.line
    measured = measure_walls(run.readings, NO_FLAGS, placement, line, covering(), 1.628)
    at = measured["wall_at_m"].to_numpy()
    thinnest = measured["thinnest_wall_mm"].to_numpy()
    for place in thin_at:
        near = np.abs(at - place) < 10 + 5 * reading_m
        low = near & (thinnest < np.nanmin(thinnest[near]) + 0.02)
        assert abs(at[low].mean() - place) < reading_m
    placed = place_events(run.events, run.readings, placement, line)
    error = placed["at_m"].to_numpy() - [one.wire_m for one in run.truth.events]
    assert np.abs(error).max() < max(reading_m, 0.5)
    assert np.all(np.abs(error) < 2.0 * placed["at_sd_m"].to_numpy())


@pytest.mark.parametrize("seed", range(6))
def test_offset_size_direction_and_thinnest_wall(simulated, seed: int) -> None:
    """Single layer, 5 um noise, offset 45 um. Asked: size 2 % and noise, angle 2 degrees, thinnest unbiased.

    Reached on means of 100 m: size within 0.3 um, angle within 0.5 degrees, thinnest within 0.3 um.
    """
    run = simulated("1/0 AWG", seed, length_m=1500.0)
    line, wire = run.scenario.line, run.wire
    placement = place_readings(run.readings, NO_FLAGS, line)
    measured = measure_walls(run.readings, NO_FLAGS, placement, line, None, run.scenario.wire.conductor_mm)
    at, s = measured["wall_at_m"].to_numpy(), wire["s_m"].to_numpy()
    steady = (placement.phase_on_wire(at) == STEADY) & (at < s[-1] - 1)
    true_cos, true_sin, true_thin = (
        np.interp(at, s, wire[name]) for name in ("c1_mm", "s1_mm", "thinnest_mm")
    )
    error_cos = measured["ecc_cos_mm"].to_numpy() - true_cos
    noise = 0.005 * np.sqrt(2 / 8)
    # 0.14 m of wire a reading: what lies within a reading adds a little to the noise.
    assert np.std(error_cos[steady]) == pytest.approx(noise, rel=0.08)
    for begin in range(200, 1200, 100):
        block = steady & (at >= begin) & (at < begin + 100)
        found = mean_offset(
            measured["ecc_cos_mm"].to_numpy()[block], measured["ecc_sin_mm"].to_numpy()[block], 0.005, 8
        )
        truth_cos, truth_sin = true_cos[block].mean(), true_sin[block].mean()
        size = np.hypot(truth_cos, truth_sin)
        angle = np.degrees(np.arctan2(-truth_sin, -truth_cos)) % 360
        assert found.size_mm == pytest.approx(size, abs=0.0005)
        assert abs((found.thin_angle_deg - angle + 180) % 360 - 180) < 0.8
    error = (measured["thinnest_wall_mm"].to_numpy() - true_thin)[steady]
    assert abs(error.mean()) < 0.0003
    assert error.std() == pytest.approx(0.005 * np.sqrt(3 / 8), rel=0.10)
    single = np.degrees(np.arctan2(-measured["ecc_sin_mm"].to_numpy(), -measured["ecc_cos_mm"].to_numpy()))
    wrong = (single - np.degrees(np.arctan2(-true_sin, -true_cos)) + 180) % 360 - 180
    # The offset wanders about its 45 um, and the direction is the less sure the smaller it is.
    # Standard error of the direction: sg sqrt(2/N) / e.
    sure = np.degrees(0.005 * np.sqrt(2 / 8) / np.hypot(true_cos, true_sin)[steady])
    assert np.std(wrong[steady]) == pytest.approx(np.sqrt(np.mean(np.square(sure))), rel=0.08)


@pytest.mark.parametrize(
    ("speed", "size_um", "angle_deg", "sd_um"),
    [(100.0, 0.3, 0.4, 3.3), (400.0, 0.5, 0.8, 3.5), (800.0, 0.8, 1.5, 4.0), (1200.0, 1.5, 1.7, 4.4)],
)
def test_offset_and_thinnest_wall_at_every_speed(
    simulated, speed: float, size_um: float, angle_deg: float, sd_um: float
) -> None:
    """Single layer, 5 um noise, means of 100 m: 600 readings at 100 m/min, 50 at 1200.

    Reached, in order of speed: size 0.18, 0.28, 0.48, 0.95 um; angle 0.26, 0.51, 0.96, 1.07 degrees; thinnest wall of
    one reading unbiased to 0.3 um with a standard deviation of 3.16, 3.35, 3.84, 4.20 um, where 5 sqrt(3/8) = 3.06 um
    is stated: a longer stretch of wire in one reading adds its own variation, which the stated figure leaves out.
    """
    run = simulated("1/0 AWG", 3, speed_m_min=speed, length_m=max(1500.0, 3.0 * speed))
    line, wire = run.scenario.line, run.wire
    placement = place_readings(run.readings, NO_FLAGS, line)
    measured = measure_walls(run.readings, NO_FLAGS, placement, line, None, run.scenario.wire.conductor_mm)
    at, s = measured["wall_at_m"].to_numpy(), wire["s_m"].to_numpy()
    steady = (placement.phase_on_wire(at) == STEADY) & (at < s[-1] - 1)
    cos, sin = measured["ecc_cos_mm"].to_numpy(), measured["ecc_sin_mm"].to_numpy()
    true_cos, true_sin, thin = (np.interp(at, s, wire[name]) for name in ("c1_mm", "s1_mm", "thinnest_mm"))
    blocks = 0
    for begin in np.arange(at[steady].min() + 10.0, at[steady].max() - 110.0, 100.0):
        block = steady & (at >= begin) & (at < begin + 100.0)
        found = mean_offset(cos[block], sin[block], 0.005, 8)
        a, b = true_cos[block].mean(), true_sin[block].mean()
        assert abs(found.size_mm - np.hypot(a, b)) < 1e-3 * size_um
        away = (found.thin_angle_deg - np.degrees(np.arctan2(-b, -a)) + 180.0) % 360.0 - 180.0
        assert abs(away) < angle_deg
        blocks += 1
    assert blocks >= 8
    error = (measured["thinnest_wall_mm"].to_numpy() - thin)[steady]
    assert abs(error.mean()) < 0.0003
    assert 0.005 * np.sqrt(3 / 8) * 0.95 < error.std() < 1e-3 * sd_um


@pytest.mark.parametrize("seed", range(6))
def test_under_a_covering_the_thinnest_insulation_lies_within_its_bounds(simulated, seed: int) -> None:
    """Two layers under one gauge. The mean is true to the covering's own error; the thinnest wall is bounded.

    It fails, as it must, to measure: the insulation's offset read from the total is wrong by up to the
    covering's own, some 5 um here.
    """
    run = simulated("14 AWG", seed, length_m=6000.0)
    line, wire = run.scenario.line, run.wire
    placement = place_readings(run.readings, NO_FLAGS, line)
    told = covering(mean_mm=0.118, offset_mm=0.009, uncertainty_mm=0.003)
    measured = measure_walls(run.readings, NO_FLAGS, placement, line, told, 1.628)
    at, s = measured["wall_at_m"].to_numpy(), wire["s_m"].to_numpy()
    steady = (placement.phase_on_wire(at) == STEADY) & (at < s[-1] - 5)
    for begin in range(1000, 5000, 500):
        block = steady & (at >= begin) & (at < begin + 500)
        true = {name: np.interp(at[block], s, wire[name]).mean() for name in ("mean_mm", "c1_mm", "s1_mm")}
        found = mean_offset(
            measured["ecc_cos_mm"].to_numpy()[block], measured["ecc_sin_mm"].to_numpy()[block], 0.004, 8
        )
        mean = measured["mean_wall_mm"].to_numpy()[block].mean()
        assert mean == pytest.approx(true["mean_mm"], abs=2 * told.uncertainty_mm)
        bounds = insulation_bounds(mean + told.mean_mm, found.size_mm, told)
        thinnest = true["mean_mm"] - np.hypot(true["c1_mm"], true["s1_mm"])
        slack = 2 * told.uncertainty_mm
        assert bounds.thinnest_at_worst_mm - slack <= thinnest <= bounds.thinnest_at_best_mm + slack

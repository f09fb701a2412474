"""Stations checked by the readings: the simulator's truth over seeds, a wrong sheet, a slipping wheel.

The simulator's truth is ours: agreement shows consistency, not how real wire behaves.
"""

import numpy as np
import polars as pl
import pytest
from invented_line import NO_FLAGS

from pipeline.length.placement import place_readings
from pipeline.length.station_offset import check_distance, unit_of_distances
from pipeline.length.steady_state import STEADY
from pipeline.wording.say import plain
from tests.said import said


def gauges(run, wrong: bool = False):
    line = run.scenario.line
    placement = place_readings(run.readings, NO_FLAGS, line)
    wall, cold = line.instrument("wall gauge"), line.instrument("cold diameter gauge")
    at = placement.at_m - wall.station_m
    mean = (
        run.readings.select(pl.mean_horizontal([f"wall_{k}_mm" for k in range(1, 9)])).to_series().to_numpy()
    )
    steady = placement.phase_on_wire(at) == STEADY
    diameter = (
        run.readings.select(pl.mean_horizontal("diameter_x_mm", "diameter_y_mm")).to_series().to_numpy()
    )
    return (
        "the wall gauge",
        at,
        np.where(steady, mean, np.nan),
        "the cold diameter gauge",
        placement.at_m - cold.station_m,
        diameter,
        cold.station_m - wall.station_m,
    )


@pytest.mark.parametrize("speed", [100.0, 400.0, 800.0, 1200.0])
@pytest.mark.parametrize("seed", range(3))
def test_stations_are_recovered_within_half_a_reading_interval(simulated, speed: float, seed: int) -> None:
    run = simulated("14 AWG", seed, length_m=speed * 10.0, speed_m_min=speed)
    found = check_distance(*gauges(run))
    reading_m = speed / 60.0 * 0.1
    true = (64.0 - 62.0) * run.scenario.encoder_scale
    assert said(found.verdict) == "agrees"
    assert abs(found.found_m - true) < 0.5 * reading_m
    assert found.low_m - 0.1 * reading_m <= true <= found.high_m + 0.1 * reading_m


def test_a_wrong_station_is_a_finding_and_the_readings_stay(simulated) -> None:
    run = simulated("14 AWG", 5, length_m=8000.0, stations_m={"L1-CD": 68.5})
    found = check_distance(*gauges(run))
    assert said(found.verdict) == "disagrees"
    assert found.found_m == pytest.approx(6.5, abs=0.2)
    assert plain(found.told) == (
        f"The wall gauge and the cold diameter gauge see the same wire {found.found_m:.3f} m apart "
        f"({found.low_m:.3f} m to {found.high_m:.3f} m); the line sheet says 2.000 m. Measure the line and correct "
        "'station_m', or look for a slipping wheel; readings stay placed by the line sheet."
    )


def test_a_distance_that_changes_along_the_run_is_told() -> None:
    rng = np.random.default_rng(3)
    cause = np.convolve(rng.standard_normal(30_000), np.ones(8) / 8, "same")
    at = np.arange(30_000.0)
    slipping = at + 3e-4 * at
    found = check_distance(
        "the wall gauge", at, cause, "the cold diameter gauge", at, np.interp(at, slipping, cause), 2.0
    )
    assert found.drifts
    assert found.drift_m_per_km == pytest.approx(0.3, abs=0.05)
    assert plain(found.told).endswith("a wheel slips or a path changes.")


def test_unrelated_gauges_are_not_tested() -> None:
    rng = np.random.default_rng(4)
    at = np.arange(5000.0)
    found = check_distance(
        "the wall gauge",
        at,
        rng.standard_normal(5000),
        "the spark tester",
        at,
        rng.standard_normal(5000),
        2.0,
    )
    assert said(found.verdict) == "not tested"
    assert plain(found.told).startswith(
        "The distance between the wall gauge and the spark tester could not be checked. They do not vary together "
        "beyond chance (correlation "
    )


def test_no_wire_in_common_and_too_little_wire() -> None:
    at = np.arange(50.0)
    apart = check_distance("a", at, at, "b", at + 1000.0, at, 2.0)
    assert (
        plain(apart.told) == "The distance between a and b could not be checked. They have no wire in common."
    )
    short = check_distance("a", at, at, "b", at, at, 2.0)
    assert plain(short.told) == (
        "The distance between a and b could not be checked. It needs at least 100 samples; there are 49."
    )
    nothing = np.full(50, np.nan)
    assert said(check_distance("a", at, nothing, "b", at, at, 2.0).verdict) == "not tested"


@pytest.mark.parametrize(("factor", "found"), [(1.0, None), (0.3048, 0.3048), (1 / 0.3048, 1 / 0.3048)])
def test_gauges_too_far_apart_by_a_ratio_of_units_say_that_lengths_are_in_another(factor, found) -> None:
    """Invented: one cause, seen 40 m apart, on a counter and by a speed that are both off by the factor."""
    rng = np.random.default_rng(6)
    cause = np.convolve(rng.standard_normal(6_000), np.ones(6) / 6, "same")
    front = np.arange(6_000) * factor
    first, second = (
        np.interp(np.arange(6_000) - back, np.arange(6_000), cause) + 0.3 * rng.standard_normal(6_000)
        for back in (10, 50)
    )
    # The sheet's stations are in true metres, the counter is not.
    told = check_distance("one", front - 10.0, first, "other", front - 50.0, second, 40.0)
    assert unit_of_distances([told]) == pytest.approx(found) if found else unit_of_distances([told]) is None


def test_a_station_that_is_wrong_by_no_ratio_of_units_is_no_unit() -> None:
    rng = np.random.default_rng(7)
    cause = np.convolve(rng.standard_normal(6_000), np.ones(6) / 6, "same")
    at = np.arange(6_000.0)
    for off in (-25.0, -4.0, 7.0, 30.0, 60.0):
        told = check_distance("one", at, cause, "other", at, np.roll(cause, int(off)), 40.0)
        assert unit_of_distances([told]) is None

"""The truth is really in the logs: each reading, derived anew from the true wire by other means, fits its noise.

Here the wire under an instrument is found with np.interp from the instant, the counter and the station; the
simulator uses running sums over a moving piece of wire.
"""

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray
from scipy.stats import chi2

from pipeline.simulator.speed import plain_plan
from tests.simulator.in_memory import SimulatedRun, short_scenario, simulate_in_memory

SCALE = 1.0003


def column(run: SimulatedRun, name: str) -> NDArray[np.float64]:
    assert run.readings is not None
    return run.readings[name].to_numpy().astype(np.float64)


def true_at(
    run: SimulatedRun, name: str, station_m: float, window_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Mean of a true field over the wire before an instrument, from 21 points across its window."""
    assert run.wire is not None and run.true_x_m is not None
    s_m, values = run.wire["s_m"].to_numpy(), run.wire[name].to_numpy()
    middle = run.true_x_m - SCALE * station_m
    places = [np.interp(middle + part * window_m, s_m, values) for part in np.linspace(-0.5, 0.5, 21)]
    return np.trapezoid(places, dx=0.05, axis=0)


def windows(run: SimulatedRun) -> NDArray[np.float64]:
    assert run.true_x_m is not None
    return np.abs(np.gradient(run.true_x_m))


@pytest.fixture(scope="module")
def thhn() -> SimulatedRun:
    return simulate_in_memory(short_scenario("14 AWG", length_m=4000.0), 21)


@pytest.fixture(scope="module")
def xhhw() -> SimulatedRun:
    plan = plain_plan(1.4, 420.0, 40.0, stops=((200.0, 60.0),))
    return simulate_in_memory(short_scenario("1/0 AWG", plan=plan), 22)


def assert_noise(residual: NDArray[np.float64], noise_mm: float) -> None:
    """No offset, and the spread of the stated noise (chi-squared, 1e-6 each side) plus 3 % for the grid."""
    count = residual.size
    assert abs(residual.mean()) < 5 * noise_mm / np.sqrt(count)
    low, high = np.sqrt(chi2.ppf([1e-6, 1 - 1e-6], count - 1) / (count - 1)) * noise_mm
    assert low < residual.std(ddof=1) < 1.03 * high


def test_mean_of_wall_sensors_is_the_true_mean_wall_of_the_wire_they_saw(xhhw: SimulatedRun) -> None:
    walls = np.stack([column(xhhw, f"wall_{number}_mm") for number in range(1, 9)])
    residual = walls.mean(axis=0) - true_at(xhhw, "mean_mm", 70.0, windows(xhhw))
    known = column(xhhw, "counter_m") > 80.0
    assert_noise(residual[known], 0.005 / np.sqrt(8))


def test_each_wall_sensor_reads_the_harmonics_at_its_angle(xhhw: SimulatedRun) -> None:
    first = true_at(xhhw, "c1_mm", 70.0, windows(xhhw)), true_at(xhhw, "s1_mm", 70.0, windows(xhhw))
    known = column(xhhw, "counter_m") > 80.0
    walls = np.stack([column(xhhw, f"wall_{number}_mm") for number in range(1, 9)])
    theta = 2 * np.pi * np.arange(8) / 8
    # Projection on cos and sin: sd of each is noise x sqrt(2/N) (derived).
    for wave, truth in zip((np.cos(theta), np.sin(theta)), first, strict=True):
        assert_noise((2 / 8 * wave @ walls - truth)[known], 0.005 * np.sqrt(2 / 8))


def test_a_gauge_over_both_layers_reads_insulation_and_covering(thhn: SimulatedRun) -> None:
    walls = np.stack([column(thhn, f"wall_{number}_mm") for number in range(1, 9)])
    both = true_at(thhn, "mean_mm", 62.0, windows(thhn)) + true_at(thhn, "covering_mm", 62.0, windows(thhn))
    known = column(thhn, "counter_m") > 80.0
    assert_noise((walls.mean(axis=0) - both)[known], 0.004 / np.sqrt(8))


def test_cold_diameter_is_the_true_one_and_its_axes_differ_by_the_oval(thhn: SimulatedRun) -> None:
    mean = (column(thhn, "diameter_x_mm") + column(thhn, "diameter_y_mm")) / 2
    known = column(thhn, "counter_m") > 80.0
    residual = (mean - true_at(thhn, "diameter_mm", 64.0, windows(thhn)))[known]
    assert_noise(residual, 0.002 / np.sqrt(2))
    # Oval of 2 um with the thin side at 30 degrees: D0 - D90 = 4 c2, c2 = -2 um x cos 60 degrees (derived).
    assert (column(thhn, "diameter_x_mm") - column(thhn, "diameter_y_mm"))[known].mean() == pytest.approx(
        -0.004, abs=0.0015
    )


def test_plastic_is_conserved_from_hot_to_cold(xhhw: SimulatedRun) -> None:
    # Area of plastic hot x density ratio = area cold, at the same metre of wire; ratio 0.935 +/- wandering 0.0012.
    assert xhhw.true_x_m is not None
    x_m = xhhw.true_x_m
    fresh = np.concatenate([[True], np.diff(x_m) > 1e-6])
    s_m = np.linspace(100.0, 280.0, 2000)

    def on_wire(name: str, station_m: float) -> NDArray[np.float64]:
        return np.interp(s_m, x_m[fresh] - SCALE * station_m, column(xhhw, name)[fresh])

    conductor = on_wire("conductor_mm", -8.0)
    cold = (on_wire("diameter_x_mm", 72.0) + on_wire("diameter_y_mm", 72.0)) / 2
    hot = on_wire("hot_diameter_mm", 1.5)
    ratio = (cold**2 - conductor**2) / (hot**2 - conductor**2)
    assert ratio.mean() == pytest.approx(0.935, abs=0.002)
    assert ratio.std() < 0.003


def test_a_station_half_a_metre_off_shows(xhhw: SimulatedRun) -> None:
    # The check above can fail: at the wrong station the residual is larger.
    walls = np.stack([column(xhhw, f"wall_{number}_mm") for number in range(1, 9)]).mean(axis=0)
    known = column(xhhw, "counter_m") > 80.0
    right, wrong = (
        (walls - true_at(xhhw, "mean_mm", station_m, windows(xhhw)))[known].std()
        for station_m in (70.0, 70.5)
    )
    assert wrong > 1.2 * right


def test_a_station_the_line_sheet_has_wrong_is_where_it_truly_is() -> None:
    scenario = short_scenario("1/0 AWG", length_m=300.0, stations_m={"L2-WG": 68.8})
    run = simulate_in_memory(scenario, 5)
    walls = np.stack([column(run, f"wall_{number}_mm") for number in range(1, 9)]).mean(axis=0)
    known = column(run, "counter_m") > 80.0
    assert_noise((walls - true_at(run, "mean_mm", 68.8, windows(run)))[known], 0.005 / np.sqrt(8))
    assert run.truth.stations_m["wall gauge"] == 68.8


def test_a_stop_shows_the_gauge_its_own_noise(xhhw: SimulatedRun) -> None:
    assert xhhw.readings is not None and xhhw.true_x_m is not None
    standing = np.concatenate([[False], np.diff(xhhw.true_x_m) == 0.0]) & (xhhw.true_x_m > 100.0)
    standing &= xhhw.true_x_m < 400.0
    assert 590 <= standing.sum() <= 601
    for number in range(1, 9):
        still = column(xhhw, f"wall_{number}_mm")[standing]
        low, high = np.sqrt(chi2.ppf([1e-6, 1 - 1e-6], still.size - 1) / (still.size - 1)) * 0.005
        # Rounding to 1 um adds q^2/12 to the variance.
        assert low < np.sqrt(still.var(ddof=1) - 1e-6 / 12) < high


def test_readings_stand_on_steps_of_the_resolution(thhn: SimulatedRun) -> None:
    steps = column(thhn, "wall_1_mm") / 0.000254
    assert np.abs(steps - np.round(steps)).max() < 1e-6


def test_speed_and_counter_are_of_one_motion(thhn: SimulatedRun) -> None:
    # Counter = scale x integral of speed (trapezoid); the speed reading's noise adds 0.05 % of a step a reading.
    counter, speed = column(thhn, "counter_m"), column(thhn, "line_speed_m_s")
    integral = SCALE * np.concatenate([[0.0], np.cumsum(0.05 * (speed[1:] + speed[:-1]))])
    allowed = 5 * 0.0005 * speed.max() * 0.1 * np.sqrt(speed.size) + 0.03048
    assert np.abs(integral - counter).max() < allowed


def test_every_channel_is_within_its_plausible_range(thhn: SimulatedRun, xhhw: SimulatedRun) -> None:
    from pipeline.columns import CHANNEL_BY_NAME

    for run in (thhn, xhhw):
        assert run.readings is not None
        for name in run.readings.columns[4:]:
            declared = CHANNEL_BY_NAME[name]
            values = run.readings[name]
            assert values.dtype == pl.Float64
            assert declared.low is not None and declared.high is not None
            assert values.is_between(declared.low, declared.high).all(), name

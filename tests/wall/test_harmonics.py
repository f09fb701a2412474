"""Wall round a section from N sensors: worked numbers, missing sensors, noise, lobes."""

import numpy as np
import pytest

from pipeline.wall.harmonics import design, sensor_angles_rad, sensor_set
from pipeline.wall.offset import (
    lowest_sensor_overstates_by_mm,
    mean_offset,
    order_seen_as,
)
from tests.wall.one_section import section


def walls(sensors: int, mean: float, e: float, thin_deg: float, **lobes: tuple[float, float]) -> np.ndarray:
    angles = sensor_angles_rad(sensors)
    read = mean - e * np.cos(angles - np.radians(thin_deg))
    for order, (size, at_deg) in lobes.items():
        k = int(order.removeprefix("order_"))
        read = read + size * np.cos(k * (angles - np.radians(at_deg)))
    return read


def test_four_sensors_by_hand() -> None:
    """By hand: 0.480, e sqrt(0.040^2 + 0.010^2) = 0.041231, thin at 165.964 degrees, thinnest 0.438769."""
    read = section(np.array([0.52, 0.47, 0.44, 0.49]))
    assert read is not None
    assert read.mean_wall_mm == pytest.approx(0.480)
    assert read.eccentricity_mm == pytest.approx(0.041231, abs=5e-7)
    assert read.thin_angle_deg == pytest.approx(165.964, abs=5e-4)
    assert read.thinnest_wall_mm == pytest.approx(0.438769, abs=5e-7)
    assert read.thinnest_at_deg == pytest.approx(read.thin_angle_deg)


def test_eight_sensors_by_an_independent_script() -> None:
    """Independent script: second harmonic 0.00125, thinnest with it 0.438450 at 170.1 degrees."""
    readings = np.array([0.52, 0.50, 0.47, 0.445, 0.44, 0.455, 0.49, 0.515])
    first, both = section(readings), section(readings, orders=2)
    assert first is not None
    assert both is not None
    assert first.mean_wall_mm == pytest.approx(0.479375)
    assert first.eccentricity_mm == pytest.approx(0.041415, abs=5e-7)
    assert first.thin_angle_deg == pytest.approx(166.854, abs=5e-4)
    assert first.thinnest_wall_mm == pytest.approx(0.437960, abs=5e-7)
    assert both.ovality_mm == pytest.approx(0.00125)
    assert both.thinnest_wall_mm == pytest.approx(0.438450, abs=5e-7)
    assert both.thinnest_at_deg == pytest.approx(170.1, abs=0.05)


@pytest.mark.parametrize("sensors", range(3, 17))
def test_every_number_of_sensors_recovers_an_exact_wall(sensors: int) -> None:
    read = section(walls(sensors, 0.5, 0.03, 77.0))
    assert read is not None
    assert read.mean_wall_mm == pytest.approx(0.5)
    assert read.eccentricity_mm == pytest.approx(0.03)
    assert read.thin_angle_deg == pytest.approx(77.0)
    assert read.thinnest_factor == pytest.approx(np.sqrt(3.0 / sensors))
    assert read.mean_factor == pytest.approx(np.sqrt(1.0 / sensors))


@pytest.mark.parametrize("sensors", [5, 6, 8, 12, 16])
def test_any_sensor_may_be_missing(sensors: int) -> None:
    exact = walls(sensors, 0.5, 0.03, 200.0)
    for missing in range(sensors):
        read = exact.copy()
        read[missing] = np.nan
        found = section(read)
        assert found is not None
        assert found.sensors_used == sensors - 1
        assert found.thinnest_wall_mm == pytest.approx(0.47)
        assert found.thinnest_factor > np.sqrt(3.0 / sensors)


def test_least_squares_equals_a_general_solver_when_sensors_are_missing() -> None:
    """Against numpy.linalg.lstsq on the same columns."""
    rng = np.random.default_rng(11)
    for _ in range(50):
        live = rng.random(8) > 0.3
        if live.sum() < 5:
            continue
        read = np.where(live, 0.5 + rng.normal(0, 0.02, 8), np.nan)
        found = section(read)
        if found is None:
            continue
        solved = np.linalg.lstsq(design(sensor_angles_rad(8)[live], 1), read[live], rcond=None)[0]
        assert (found.mean_wall_mm, found.ecc_cos_mm, found.ecc_sin_mm) == pytest.approx(tuple(solved))


def test_all_sensors_out_one_left_and_three_on_one_side_measure_nothing() -> None:
    assert section(np.full(8, np.nan)) is None
    one = np.full(8, np.nan)
    one[3] = 0.4
    assert section(one) is None
    crowded = np.full(8, np.nan)
    crowded[:3] = 0.4
    assert section(crowded) is None
    assert not sensor_set(8, 0b111, 1).measured
    assert sensor_set(4, 0b1011, 1).measured


def test_the_false_offset_by_simulation_and_the_three_ways_to_average() -> None:
    rng = np.random.default_rng(8)
    read = walls(4, 0.5, 0.010, 120.0) + rng.normal(0, 0.004, (40_000, 4))
    parts = read @ sensor_set(4, 0b1111).solve.T
    e = np.hypot(parts[:, 1], parts[:, 2])
    assert 1e3 * e.mean() == pytest.approx(10.41, abs=0.05)  # averaging lengths: biased
    vector = mean_offset(parts[:, 1], parts[:, 2], 0.004, 4)
    assert vector is not None
    assert 1e3 * vector.size_mm == pytest.approx(10.0, abs=0.06)
    assert vector.thin_angle_deg == pytest.approx(120.0, abs=0.3)
    assert vector.wandering_mm < 0.0005


def test_averaging_percent_concentricity_misleads() -> None:
    """The trap: a perfectly centred wire under noise averages to 98.5 %, its mean vector gives 100 %."""
    rng = np.random.default_rng(9)
    read = np.full((20_000, 4), 0.48) + rng.normal(0, 0.004, (20_000, 4))
    parts = read @ sensor_set(4, 0b1111).solve.T
    e = np.hypot(parts[:, 1], parts[:, 2])
    averaged = (100 * (parts[:, 0] - e) / (parts[:, 0] + e)).mean()
    vector = mean_offset(parts[:, 1], parts[:, 2], 0.004, 4)
    assert vector is not None
    assert averaged == pytest.approx(98.53, abs=0.05)
    assert 100 * (0.48 - vector.size_mm) / (0.48 + vector.size_mm) > 99.97


def test_lowest_sensor_against_the_harmonic_minimum() -> None:
    """Derived: with four sensors and the thin side between two, 0.4379 against 0.4203; the truth is 0.421."""
    angles = sensor_angles_rad(4) - np.radians(45.0)
    # Wall along rays from the conductor's centre: t = -e cos a + sqrt(R^2 - e^2 sin^2 a) - r.
    seen = -0.06 * np.cos(angles) + np.sqrt(1.295**2 - (0.06 * np.sin(angles)) ** 2) - 0.814
    read = section(seen)
    assert read is not None
    assert seen.min() == pytest.approx(0.4379, abs=5e-5)
    assert read.thinnest_wall_mm == pytest.approx(0.4203, abs=5e-5)
    assert 1e3 * lowest_sensor_overstates_by_mm(0.06, 4) == pytest.approx(17.57, abs=0.01)
    assert 1e3 * lowest_sensor_overstates_by_mm(0.06, 8) == pytest.approx(4.567, abs=0.001)
    assert lowest_sensor_overstates_by_mm(1.0, 4) == pytest.approx(0.293, abs=5e-4)


def test_lowest_of_many_noisy_readings_is_pessimistic() -> None:
    """Derived by simulation: a constant 0.400 mm under 4 um noise shows 0.3866 in 1500 readings."""
    lows = [np.random.default_rng(seed).normal(0.4, 0.004, 1500).min() for seed in range(200)]
    averaged = [
        np.random.default_rng(seed).normal(0.4, 0.004, 1500).reshape(60, 25).mean(axis=1).min()
        for seed in range(200)
    ]
    assert np.mean(lows) == pytest.approx(0.3866, abs=0.0006)
    assert np.mean(averaged) == pytest.approx(0.3981, abs=0.0003)


def test_three_lobes_pass_for_an_offset_on_four_sensors_and_not_on_eight() -> None:
    """Derived: a three-lobe of 5 um is a false offset of 5 um on four sensors, one for one."""
    four, eight = (section(walls(n, 0.5, 0.0, 0.0, order_3=(0.005, 0.0))) for n in (4, 8))
    assert four is not None
    assert eight is not None
    assert four.eccentricity_mm == pytest.approx(0.005)
    assert eight.eccentricity_mm == pytest.approx(0.0, abs=1e-12)
    assert [order_seen_as(k, 4) for k in (1, 2, 3, 4, 5)] == [1, 2, 1, 0, 1]
    assert [order_seen_as(k, 8) for k in (1, 2, 3, 4, 7, 9)] == [1, 2, 3, 4, 1, 1]
    seven = section(walls(8, 0.5, 0.0, 0.0, order_7=(0.005, 0.0)))
    assert seven is not None
    assert seven.eccentricity_mm == pytest.approx(0.005)


def test_turning_the_gauge_turns_the_direction_only() -> None:
    read = np.array([0.52, 0.50, 0.47, 0.445, 0.44, 0.455, 0.49, 0.515])
    for turn in range(8):
        found = section(np.roll(read, turn), orders=2)
        assert found is not None
        assert found.thinnest_wall_mm == pytest.approx(0.438450, abs=5e-7)
        assert (found.thin_angle_deg - 45.0 * turn) % 360 == pytest.approx(166.854, abs=5e-4)


def test_mean_offset_of_nothing_one_and_equal_sections() -> None:
    nothing = np.full(3, np.nan)
    assert mean_offset(nothing, nothing, 0.004, 8) is None
    one = mean_offset(np.array([0.01]), np.array([0.0]), 0.004, 8)
    assert one is not None
    equal = mean_offset(np.full(10, -0.01), np.zeros(10), 0.004, 8)
    assert equal is not None
    assert (equal.size_mm, equal.thin_angle_deg, equal.wandering_mm) == (pytest.approx(0.01), 0.0, 0.0)

"""Uncertainty of the measured quantities."""

import pytest

from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.sheets.run_sheet import Covering
from pipeline.trust.uncertainty import measured_uncertainty


def line(wall: bool = True, sees: str = "insulation") -> LineSheet:
    instruments = [
        Instrument(id="E", kind="encoder", station_m=0.0),
        Instrument(
            id="D", kind="cold diameter gauge", station_m=60.0, uncertainty_mm=0.002, resolution_mm=0.001
        ),
    ]
    if wall:
        instruments.append(
            Instrument(id="W", kind="wall gauge", station_m=20.0, sensors=8, sees=sees, uncertainty_mm=0.005)
        )
    return LineSheet(
        id="L", name="x", plant="x", revision="1", take_up_station_m=100.0, instruments=tuple(instruments)
    )


def test_noise_averages_and_calibration_does_not() -> None:
    """By hand: u 5 um, noise 4 um, so 3 um lasts; mean 4/sqrt 8 = 1.414, thinnest 4 sqrt(3/8) = 2.449 um."""
    found = measured_uncertainty(line(), None, wall_noise_mm=0.004)
    mean, thin = found["mean_wall_mm"], found["thinnest_wall_mm"]
    assert (mean.noise_mm, mean.lasting_mm) == pytest.approx((0.0014142, 0.003), abs=5e-8)
    assert (thin.noise_mm, thin.lasting_mm) == pytest.approx((0.0024495, 0.003), abs=5e-8)
    assert thin.total_mm == pytest.approx(0.0038730, abs=5e-8)
    assert mean.of_mean_mm(1e9) == pytest.approx(0.003)
    assert mean.of_mean_mm(2.0) == pytest.approx((0.001**2 + 0.003**2) ** 0.5)


def test_without_a_stop_all_of_it_lasts() -> None:
    found = measured_uncertainty(line(), None)
    assert found["mean_wall_mm"].of_mean_mm(1e9) == pytest.approx(0.005)
    assert found["mean_wall_mm"].basis == (
        "the line sheet's uncertainty, all of it taken to last: no stop told noise apart"
    )


def test_a_covering_adds_what_is_assumed_of_it() -> None:
    told = Covering(mean_mm=0.118, uncertainty_mm=0.003, offset_mm=0.009, basis="cut samples")
    found = measured_uncertainty(line(sees="insulation and covering"), told, wall_noise_mm=0.004)
    assert found["mean_wall_mm"].lasting_mm == pytest.approx((0.003**2 + 0.003**2) ** 0.5)
    # The covering's own offset is a bound and no part of it: the thinnest wall is judged at its worse bound.
    assert found["thinnest_wall_mm"].lasting_mm == pytest.approx((2 * 0.003**2) ** 0.5)
    apart = measured_uncertainty(line(), told, wall_noise_mm=0.004)
    assert apart["mean_wall_mm"].lasting_mm == pytest.approx(0.003)


def test_a_line_that_measures_diameter_only() -> None:
    found = measured_uncertainty(line(wall=False), None)
    assert set(found) == {"diameter_mm", "mean_wall_mm"}
    assert found["mean_wall_mm"].lasting_mm == pytest.approx(0.001)


def test_fewer_sensors_are_less_sure() -> None:
    all_of_them = measured_uncertainty(line(), None, wall_noise_mm=0.004)
    four = measured_uncertainty(line(), None, wall_noise_mm=0.004, used=4)
    assert four["thinnest_wall_mm"].noise_mm == pytest.approx(
        all_of_them["thinnest_wall_mm"].noise_mm * 2**0.5
    )

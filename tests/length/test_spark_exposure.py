"""Cycles of the test voltage at each point of the wire, and the wire left untested."""

import numpy as np
import pytest
from invented_line import NO_FLAGS, invented_line, log_of, made_by, speed_profile

from pipeline.length import intervals
from pipeline.length.placement import place_readings
from pipeline.length.spark_exposure import (
    chance_of_detection,
    fastest_speed_m_s,
    spark_exposure,
)
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Instrument
from tests.said import said

SECONDS = np.arange(6000) * 0.1


def line_with(frequency_hz, window_m=0.9):
    line = invented_line()
    tester = Instrument(
        id="S1", kind="spark tester", station_m=90.0, window_m=window_m, frequency_hz=frequency_hz
    )
    return line.model_copy(update={"instruments": (*line.instruments[:-1], tester)})


def exposure(speed, frequency_hz=60.0, kv=7.5, least_kv=None, window_m=0.9, cycles_asked=9.0):
    log = log_of(SECONDS, made_by(SECONDS, speed), speed)
    line = line_with(frequency_hz, window_m)
    read = None if kv is None else np.broadcast_to(np.asarray(kv, dtype=float), SECONDS.shape).copy()
    return spark_exposure(place_readings(log, NO_FLAGS, line), line, read, least_kv, cycles_asked)


def test_the_worked_speeds() -> None:
    """By hand: nine cycles at 60 Hz allow 33.33 ft/min per inch; 36 in 1200, 24 in 800 ft/min; 3 kHz, 6 in 10 000."""
    foot_a_minute = 0.3048 / 60
    for inches, hertz, wanted in ((1, 60, 100 / 3), (36, 60, 1200), (24, 60, 800), (6, 3000, 10_000)):
        assert fastest_speed_m_s(hertz, inches * 0.0254) / foot_a_minute == pytest.approx(wanted)


def test_chance_of_detection_by_hand() -> None:
    found = [chance_of_detection(n, 0.2) for n in (18, 9, 4)]
    assert found == pytest.approx([0.981986, 0.865782, 0.5904], abs=5e-7)


def test_at_constant_speed_every_point_has_f_l_over_v() -> None:
    found = exposure(np.full(SECONDS.size, 5.0))
    assert not isinstance(found, Refused)
    inside = np.isfinite(found.cycles)
    assert found.cycles[inside] == pytest.approx(10.8)
    assert (
        intervals.length_m(found.untested) < 1.0
    )  # the first half electrode, which the log does not show entering


def test_wire_that_passed_too_fast_is_untested_length() -> None:
    speed = speed_profile(SECONDS, [(0, 5), (200, 5), (220, 10), (400, 10), (420, 5), (600, 5)])
    found = exposure(speed)
    assert not isinstance(found, Refused)
    # Too fast above 60 x 0.9 / 9 = 6 m/s: from 204 s to 416 s.
    made = made_by(SECONDS, speed)
    wanted = np.interp([204.0, 416.0], SECONDS, made) - 90.0
    assert found.under_exposed.shape == (1, 2)
    assert found.under_exposed[0] == pytest.approx(wanted, abs=1.5)
    assert not found.no_voltage.size
    total = intervals.length_m(found.tested) + intervals.length_m(found.untested)
    assert total == pytest.approx(made[-1] - 90.0, abs=1.0)


def test_the_dwell_follows_the_real_speed_through_a_ramp() -> None:
    """Against the instants of entering and leaving found by root finding on the exact integral of the speed."""
    from scipy.optimize import brentq

    speed = speed_profile(SECONDS, [(0, 1), (600, 10)])
    found = exposure(speed)
    assert not isinstance(found, Refused)
    made = lambda t: t + 0.5 * (9 / 600) * t * t  # noqa: E731
    for row in (2000, 3500, 5000):
        s = found.at_m[row]
        leave = brentq(lambda t, s=s: made(t) - (s + 90.45), 0, 700)
        enter = brentq(lambda t, s=s: made(t) - (s + 89.55), 0, 700)
        assert found.cycles[row] == pytest.approx(60 * (leave - enter), rel=2e-3)


def test_a_stop_over_stresses_the_spot_in_the_electrode() -> None:
    speed = speed_profile(SECONDS, [(0, 5), (200, 5), (205, 0), (300, 0), (305, 5), (600, 5)])
    found = exposure(speed)
    assert not isinstance(found, Refused)
    stood = np.interp(250.0, SECONDS, made_by(SECONDS, speed)) - 90.0
    assert found.over_stressed.shape == (1, 2)
    assert found.over_stressed[0] == pytest.approx([stood - 0.45, stood + 0.45], abs=0.6)
    assert np.nanmax(found.cycles) > 60 * 90


def test_wire_that_passed_without_voltage_is_untested() -> None:
    kv = np.full(SECONDS.size, 7.5)
    kv[3000:3100] = 0.0
    kv[4000:4010] = np.nan
    found = exposure(np.full(SECONDS.size, 5.0), kv=kv)
    assert not isinstance(found, Refused)
    assert intervals.length_m(found.no_voltage) == pytest.approx(50 + 5 + 2 * 1.0, abs=3.0)
    low = exposure(np.full(SECONDS.size, 5.0), kv=7.5, least_kv=8.0)
    assert not isinstance(low, Refused)
    assert intervals.length_m(low.tested) == 0.0
    unlogged = exposure(np.full(SECONDS.size, 5.0), kv=None)
    assert not isinstance(unlogged, Refused)
    assert intervals.length_m(unlogged.tested) == 0.0


def test_all_of_it_tested() -> None:
    found = exposure(np.full(SECONDS.size, 10.0), frequency_hz=3000.0)
    assert not isinstance(found, Refused)
    assert intervals.length_m(found.under_exposed) == 0.0


def test_no_tester_and_no_frequency_are_refused() -> None:
    log = log_of(SECONDS, SECONDS * 5.0, np.full(SECONDS.size, 5.0))
    plain = invented_line()
    without = plain.model_copy(update={"instruments": plain.instruments[:-1]})
    placement = place_readings(log, NO_FLAGS, plain)
    refused = spark_exposure(placement, without, None, None)
    assert isinstance(refused, Refused)
    assert said(refused.reason) == (
        "The line sheet lists no spark tester: no wire of this run is known to be tested. Add it with "
        "'station_m', 'window_m' (its electrode) and 'frequency_hz'."
    )
    silent = spark_exposure(placement, line_with(None), None, None)
    assert isinstance(silent, Refused)
    assert said(silent.reason) == (
        "The line sheet does not give the frequency and the electrode of S1: how long each point was tested "
        "cannot be known, so all of it counts as untested. Add 'frequency_hz' (or 'direct_current') and 'window_m'."
    )


@pytest.mark.parametrize("step_m", [0.25, 0.5, 1.0, 3.0])
def test_a_coarse_counter_makes_neither_untested_nor_tested_wire(step_m: float) -> None:
    """With steps of a quarter of the electrode or more, wire seems to stand and to leap through it at any speed."""
    speed = speed_profile(SECONDS, [(0, 5), (200, 5), (220, 10), (400, 10), (420, 5), (600, 5)])
    made = made_by(SECONDS, speed)
    line = line_with(60.0)
    log = log_of(SECONDS, np.floor(made / step_m) * step_m, speed)
    found = spark_exposure(place_readings(log, NO_FLAGS, line), line, np.full(SECONDS.size, 7.5), None, 9.0)
    assert not isinstance(found, Refused)
    # Too fast above 60 x 0.9 / 9 = 6 m/s: from 204 s to 416 s, and nowhere else.
    low, high = np.interp([204.0, 416.0], SECONDS, made) - 90.0
    assert found.under_exposed[0, 0] == pytest.approx(low, abs=3.0)
    assert found.under_exposed[-1, 1] == pytest.approx(high, abs=3.0)
    assert intervals.length_m(found.under_exposed) == pytest.approx(high - low, abs=4.0)

"""Settling seen in the wire: the R-statistic's worked numbers, its memory, a start that settles late; splices."""

import numpy as np
import polars as pl
import pytest
from invented_line import NO_FLAGS, invented_line, log_of, made_by, speed_profile
from scipy.signal import lfilter

from pipeline.length.placement import place_readings
from pipeline.length.settling import SettlingTrace, phases_with_settling, settled, settled_at_m
from pipeline.length.splices import find_splices
from pipeline.wording.say import plain


def test_a_start_that_settles_late_is_moved_to_settle() -> None:
    """Wall 40 um heavy at first, settling in 60 m; noise 1 um: settled after about 220 m."""
    seconds = np.arange(6000) * 0.1
    speed = speed_profile(seconds, [(0, 0), (5, 10), (600, 10)])
    placement = place_readings(log_of(seconds, made_by(seconds, speed), speed), NO_FLAGS, invented_line())
    at = placement.at_m - 20.0
    rng = np.random.default_rng(1)
    wall = 0.41 + 0.04 * np.exp(-np.maximum(at, 0) / 160.0) + 0.001 * rng.standard_normal(at.size)
    phases = phases_with_settling(placement, [SettlingTrace(at, wall)])
    before = placement.phases.filter(pl.col("phase") == "STEADY")["from_m"][0]
    after = phases.filter(pl.col("phase") == "STEADY")["from_m"][0]
    assert before == pytest.approx(340, abs=20)
    assert 550 < after < 1400
    assert phases["to_m"][-1] == placement.phases["to_m"][-1]
    assert np.all(np.diff(phases["from_m"].to_numpy()) >= 0)
    assert phases["seconds"].sum() == pytest.approx(placement.phases["seconds"].sum())


def test_wire_that_is_settled_at_once() -> None:
    """A wall that only wanders as it does later has no start-up."""
    at = np.arange(0.0, 4000.0)
    wall = 0.41 + 0.003 * lfilter([0.3], [1, -0.95], np.random.default_rng(2).standard_normal(at.size))
    assert settled_at_m(at, wall, 0.0, 4000.0) == 0.0
    assert settled([SettlingTrace(at, wall)], 0.0, 4000.0) == 0.0


def test_where_the_wire_cannot_tell() -> None:
    at = np.arange(0.0, 4000.0)
    noise = 0.001 * np.random.default_rng(3).standard_normal(at.size)
    nothing = np.full(at.size, np.nan)
    assert settled([SettlingTrace(at, nothing)], 0.0, 4000.0) is None
    # What is off for over half of a stretch, or drifts all along it, is what this wire is like: no start-up.
    for values in (np.where(at < 2500.0, 0.45, 0.41) + noise, 0.41 + 1e-5 * at + noise):
        assert settled_at_m(at, values, 0.0, 4000.0) == 0.0
    assert settled_at_m(at, 0.41 + noise, 0.0, 100.0) is None
    # The centre only makes a start longer.
    assert settled([SettlingTrace(at, noise, centre=True)], 0.0, 4000.0) is None
    step = np.where(at < 800.0, 0.04, 0.0)
    both = [SettlingTrace(at, 0.41 + noise), SettlingTrace(at, step + noise, centre=True)]
    assert settled(both, 0.0, 4000.0) == 800.0


def test_a_thin_place_is_no_start() -> None:
    """Wire that was as it is later before it went wrong stays steady, however wrong."""
    at = np.arange(0.0, 4000.0)
    noise = 0.001 * np.random.default_rng(4).standard_normal(at.size)
    thin = np.where((at > 200.0) & (at < 900.0), 0.33, 0.41)
    assert settled_at_m(at, thin + noise, 0.0, 4000.0) == 0.0


def test_a_splice_is_a_lump_two_gauges_see() -> None:
    rng = np.random.default_rng(5)
    at = np.arange(5000.0)
    conductor = 1.628 + 0.0015 * rng.standard_normal(5000)
    cold = 2.59 + 0.002 * rng.standard_normal(5000)
    conductor[2000] += 0.15
    cold[2001] += 0.13
    cold[4000] += 0.20  # one gauge alone: a drop of water
    found = find_splices(
        {"the conductor gauge": (at, conductor, 0.0015), "the cold diameter gauge": (at, cold, 0.002)}
    )
    assert len(found) == 1
    assert (found[0].from_m, found[0].to_m) == (2000.0, 2001.0)
    assert found[0].height_mm == pytest.approx(0.15, abs=0.01)
    assert plain(found[0].told) == (
        f"Lump {found[0].height_mm:.3f} mm high at 2000.0 m, seen by the cold diameter gauge and the conductor "
        "gauge: taken as a splice. Saleable lengths leave it out."
    )


def test_a_slow_swelling_and_few_readings_are_no_splice() -> None:
    at = np.arange(5000.0)
    swell = 2.59 + 0.05 * np.exp(-(((at - 2500) / 600) ** 2))
    assert find_splices({"a": (at, swell, 0.002), "b": (at, swell, 0.002)}) == ()
    assert find_splices({"a": (at[:3], swell[:3], 0.002), "b": (at[:3], np.full(3, np.nan), 0.002)}) == ()

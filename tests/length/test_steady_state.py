"""Phases of the line from its speed."""

import numpy as np
import pytest
from invented_line import speed_profile

from pipeline.length.steady_state import PHASE_NAMES, SteadyRule, phases_at_die

SECONDS = np.arange(9000) * 0.1


def names(speed: np.ndarray, seconds: np.ndarray = SECONDS, **rule: float) -> list[str]:
    codes = phases_at_die(seconds, speed, SteadyRule(**rule))
    starts = np.flatnonzero(np.diff(codes, prepend=0))
    return [PHASE_NAMES[int(codes[at])] for at in starts]


def noisy(speed: np.ndarray, share: float = 0.003, seed: int = 2) -> np.ndarray:
    return speed * (1 + share * np.random.default_rng(seed).standard_normal(speed.size))


def test_a_whole_shift_in_trade_words() -> None:
    speed = speed_profile(
        SECONDS,
        [
            (0, 0),
            (20, 0),
            (22, 0.5),
            (80, 0.5),
            (110, 10),
            (400, 10),
            (410, 7),
            (500, 7),
            (520, 0),
            (600, 0),
            (630, 10),
            (900, 10),
        ],
    )
    assert names(noisy(speed)) == [
        "STOP", "RAMP-UP", "THREAD", "RAMP-UP", "SETTLE", "STEADY", "SPEED-CHANGE", "SETTLE", "STEADY",
        "RAMP-DOWN", "STOP", "RAMP-UP", "SETTLE", "STEADY",
    ]  # fmt: skip


@pytest.mark.parametrize("set_m_s", [100 / 60, 300 / 60, 800 / 60, 1200 / 60])
@pytest.mark.parametrize("seed", range(3))
def test_speeds_from_100_to_1200_m_a_minute(set_m_s: float, seed: int) -> None:
    speed = speed_profile(SECONDS, [(20, 0), (60, set_m_s), (600, set_m_s), (630, 0), (900, 0)])
    codes = phases_at_die(SECONDS, noisy(speed, seed=seed))
    steady = SECONDS[codes == 5]
    assert steady.min() == pytest.approx(90.0, abs=4.0)
    assert steady.max() == pytest.approx(600.0, abs=3.0)
    stopped = SECONDS[codes == 1]
    assert stopped.min() < 1.0
    assert stopped[stopped > 100].min() == pytest.approx(630.0, abs=0.5)


def test_a_slow_creep_out_of_the_band_is_a_speed_change() -> None:
    speed = speed_profile(SECONDS, [(0, 10), (300, 10), (500, 12), (900, 12)])
    found = names(noisy(speed, 0.001))
    assert found[:2] == ["SETTLE", "STEADY"]
    assert "SPEED-CHANGE" in found
    codes = phases_at_die(SECONDS, noisy(speed, 0.001))
    middle = (SECONDS > 330) & (SECONDS < 480)
    assert (codes[middle] == 5).mean() < 0.35


def test_a_brief_dropout_of_the_speed_signal_is_no_stop() -> None:
    speed = np.full(SECONDS.size, 10.0)
    speed[4000] = 0.0
    assert "STOP" not in names(speed)


def test_a_stop_is_drawn_to_the_row() -> None:
    speed = np.full(SECONDS.size, 5.0)
    speed[3003:3507] = 0.0
    codes = phases_at_die(SECONDS, speed)
    assert np.flatnonzero(codes == 1).tolist() == list(range(3003, 3507))


def test_a_line_that_never_runs_is_stopped_throughout() -> None:
    assert names(np.zeros(SECONDS.size)) == ["STOP"]


def test_a_gap_in_the_log_does_not_upset_the_phases() -> None:
    seconds = np.concatenate([SECONDS[:4000], SECONDS[4000:] + 86_400.0])
    codes = phases_at_die(seconds, np.full(seconds.size, 10.0))
    assert (codes[1000:] == 5).all()


@pytest.mark.parametrize("interval", [0.05, 0.1, 0.5, 1.0, 2.0])
def test_any_reading_interval(interval: float) -> None:
    seconds = np.arange(int(900 / interval)) * interval
    speed = speed_profile(seconds, [(20, 0), (60, 10), (600, 10), (630, 0), (900, 0)])
    assert names(speed, seconds) == ["STOP", "RAMP-UP", "SETTLE", "STEADY", "RAMP-DOWN", "STOP"]


def test_nothing_and_one_reading() -> None:
    assert phases_at_die(np.zeros(0), np.zeros(0)).size == 0
    assert phases_at_die(np.zeros(1), np.zeros(1)).tolist() == [1]


def test_speed_in_any_unit_gives_the_same_phases() -> None:
    speed = noisy(
        speed_profile(SECONDS, [(0, 0), (60, 10), (400, 10), (420, 6), (700, 6), (720, 0), (900, 0)])
    )
    slow = phases_at_die(SECONDS, speed * 0.2, SteadyRule(stop_m_s=0.004))
    assert (slow == phases_at_die(SECONDS, speed)).mean() > 0.99


def test_phases_of_the_simulated_line(simulated) -> None:
    """The simulator's truth, ours: all STEADY wire was made at steady speed, and each stop is found to the metre."""
    import polars as pl
    from invented_line import NO_FLAGS

    from pipeline.length.placement import place_readings
    from pipeline.simulator.speed import plain_plan

    for speed in (100.0, 800.0, 1200.0):
        v, length = speed / 60, max(2500.0, 8 * speed)
        plan = plain_plan(v, length, 30.0, dips=((0.35 * length, 0.6, 20.0),), stops=((0.55 * length, 30.0),))
        run = simulated("14 AWG", 0, speed_m_min=speed, plan=plan)
        placement = place_readings(run.readings, NO_FLAGS, run.scenario.line)
        true_steady = [(a, b) for name, a, b in run.truth.phases if name == "steady"]
        found = placement.phases.filter(pl.col("phase") == "STEADY").rows()
        assert len(found) == len(true_steady)
        for (from_m, to_m, *_), (a, b) in zip(found, true_steady, strict=True):
            assert a - 0.1 <= from_m
            assert to_m <= b + 2.5 * v  # the end of a plateau is found to some two seconds
            assert to_m - from_m > 0.9 * (b - a - 33 * v)
        stood = placement.phases.filter((pl.col("phase") == "STOP") & (pl.col("from_m") > 1))[
            "from_m"
        ].to_list()
        assert stood[0] == pytest.approx(run.truth.stops_m[0], abs=0.5)

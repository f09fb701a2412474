"""Steps of a logger's clock and the places events may have. Clocks are invented; places follow by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.length.clock_steps import clock_steps, gap_m, possible_m, spread_stamps

TRUE = np.arange(600) * 0.5
AT = 4.0 * TRUE
SPEED = np.full(600, 4.0)


def _set(by: float, row: int = 300) -> np.ndarray:
    return TRUE + by * (np.arange(600) >= row)


@pytest.mark.parametrize("by", [-3600.0, -60.0, -5.0, -1.0, 2.0, 7.0, 3600.0])
def test_a_step_is_found_and_time_goes_on_over_it(by: float) -> None:
    steps = clock_steps(_set(by), AT, SPEED)
    assert steps.rows.tolist() == [300]
    assert steps.by_s == pytest.approx([by], abs=0.01)
    assert steps.passed_s == pytest.approx(TRUE, abs=0.01)


def test_a_gap_in_which_the_wire_ran_and_a_stop_are_no_steps() -> None:
    rows = np.r_[0:200, 260:600]
    assert clock_steps(TRUE[rows], AT[rows], SPEED[rows]).rows.size == 0
    speed = np.where((TRUE > 100) & (TRUE < 140), 0.0, 4.0)
    at = np.concatenate(([0.0], np.cumsum(speed[:-1] * 0.5)))
    kept = np.r_[0:210, 270:600]
    assert clock_steps(TRUE[kept], at[kept], speed[kept]).rows.size == 0
    assert clock_steps(TRUE, None, None).rows.size == 0


def test_an_instant_that_came_twice_has_both_places() -> None:
    clock = _set(-20.0)
    steps = clock_steps(clock, AT, SPEED)
    # 140 s by the clock is 140 s before the step, and 160 s after it.
    assert possible_m(np.array([140.0]), clock, steps, AT)[0] == pytest.approx([560.0, 640.0], abs=2.1)
    assert possible_m(np.array([20.0]), clock, steps, AT)[0] == pytest.approx([80.0])


@pytest.mark.parametrize("by", [-20.0, -3600.0, 7.0, 3600.0])
def test_the_true_place_is_among_the_possible_whether_the_list_was_set_or_not(by: float) -> None:
    clock = _set(by)
    steps = clock_steps(clock, AT, SPEED)
    for true in np.arange(0.25, 299.0, 7.3):
        for shown in (true, true + by * (true >= TRUE[300])):
            places = possible_m(np.array([shown]), clock, steps, AT)[0]
            assert min(abs(one - 4.0 * true) for one in places) < 2.1


def test_an_event_in_a_gap_lies_on_all_its_wire() -> None:
    rows = np.r_[0:200, 260:600]
    low, high = gap_m(np.array([50.0, 110.0]), TRUE[rows], AT[rows])
    assert np.isnan(low[0]) and np.isnan(high[0])
    assert (low[1], high[1]) == (AT[199], AT[260])


@pytest.mark.parametrize("hz", [2.0, 3.0, 7.0, 10.0])
@pytest.mark.parametrize("from_s", [0.0, 0.37, 0.93])
def test_rows_that_share_a_stamp_lie_where_they_were_written(hz: float, from_s: float) -> None:
    true = from_s + np.arange(int(60 * hz)) / hz
    spread = spread_stamps(np.floor(true))
    assert np.abs(spread - true).max() < 1.01 / hz
    assert (np.diff(spread) > 0).all()


def test_rows_missing_from_a_stamp_stay_missing() -> None:
    true = np.arange(300) / 10.0
    kept = np.r_[0:103, 106:300]
    steps = np.diff(spread_stamps(np.floor(true[kept])))
    # Which of its rows a stamp lost is not known: the gap is at its end.
    assert np.flatnonzero(steps > 0.15).tolist() == [106]
    assert steps[106] == pytest.approx(0.4)


def test_stamps_as_fine_as_the_log_and_single_repeats_stay() -> None:
    fine = np.arange(100) / 10.0
    assert spread_stamps(fine) is fine
    twice = np.sort(np.concatenate((fine, fine[40:50])))
    assert spread_stamps(twice) is twice
    assert spread_stamps(np.zeros(0)).size == 0 and spread_stamps(np.zeros(5)).tolist() == [0.0] * 5


def test_a_clock_set_back_is_found_in_whole_seconds_too() -> None:
    clock = _set(-20.0)
    steps = clock_steps(spread_stamps(np.floor(clock)), AT, SPEED)
    assert steps.rows.tolist() == [300]
    assert steps.by_s == pytest.approx([-20.0], abs=0.6)

"""The length counter repaired: resets, wraps, reversals, leaps, glitches, slips."""

import numpy as np
import pytest

from pipeline.errors import LogError
from pipeline.length.counter import repair_counter
from pipeline.length.line_length import counter_scale, find_slips, lengths_of_rows, mend_slips
from pipeline.wording.say import plain


def kinds(repaired):
    return [(one.kind, one.from_row, one.to_row) for one in repaired.events]


def test_reversal_and_reset_of_the_worked_vector() -> None:
    """Derived by hand: a fall of 2 is wire pulled back, a fall of 40 is a reset that starts again at 1."""
    logged = np.array([0, 10, 20, 30, 28, 26, 31, 41, 1, 11, 21], dtype=float)
    repaired = repair_counter(logged)
    assert repaired.at_m.tolist() == [0, 10, 20, 30, 28, 26, 31, 41, 42, 52, 62]
    assert repaired.front_m.tolist() == [0, 10, 20, 30, 30, 30, 31, 41, 42, 52, 62]
    assert kinds(repaired) == [("reversal", 4, 5), ("reset", 7, 8)]
    assert [plain(one.told) for one in repaired.events] == [
        "The wire was pulled back 4.0 m at 30.0 m; readings meanwhile repeat wire already read.",
        (
            "The length counter fell from 41.0 m to 1.0 m and started again; the wire is counted on with 1.0 m, "
            "which the counter showed by then; up to one reading's length is lost."
        ),
    ]


def test_a_reset_takes_its_length_from_the_speed_where_there_is_one() -> None:
    logged = np.array([100.0, 101.0, 0.4, 1.4])
    repaired = repair_counter(logged, expected_m=np.ones(3))
    assert repaired.at_m == pytest.approx([100, 101, 102, 103])
    assert repaired.events[0].unsure_m == pytest.approx(0.1)


def test_a_young_counter_that_resets_is_told_from_wire_pulled_back() -> None:
    logged = np.array([0.0, 1.0, 2.0, 3.0, 0.2, 1.2])
    assert repair_counter(logged).events[0].kind == "reversal"
    running = repair_counter(logged, expected_m=np.ones(5))
    assert running.events[0].kind == "reset"
    assert running.at_m == pytest.approx([0, 1, 2, 3, 4, 5])


def test_a_counter_that_wraps_loses_nothing() -> None:
    logged = np.array([9998.0, 9999.0, 0.0, 1.0])
    for expected in (None, np.ones(3)):
        repaired = repair_counter(logged, expected_m=expected)
        assert repaired.at_m.tolist() == [9998, 9999, 10000, 10001]
        assert kinds(repaired) == [("wrap", 1, 2)]
        assert repaired.events[0].unsure_m == 0


def test_a_leap_is_left_out() -> None:
    logged = np.array([10.0, 11.0, 511.0, 512.0])
    repaired = repair_counter(logged, expected_m=np.ones(3), gap_s=np.full(3, 0.1))
    assert repaired.at_m == pytest.approx([10, 11, 12, 13])
    assert kinds(repaired) == [("leap", 1, 2)]
    assert repaired.events[0].size_m == pytest.approx(499)


def test_one_wild_value_is_bridged_and_told() -> None:
    logged = np.arange(20.0)
    logged[7] = 9000.0
    repaired = repair_counter(logged, expected_m=np.ones(19), gap_s=np.full(19, 0.1))
    assert repaired.at_m == pytest.approx(np.arange(20.0))
    assert kinds(repaired) == [("glitch", 7, 7)]


def test_jitter_of_a_standing_counter_is_no_event() -> None:
    logged = np.array([5.0, 5.01, 5.0, 5.01, 5.0, 6.0])
    repaired = repair_counter(logged)
    assert repaired.events == ()
    assert repaired.front_m.tolist() == [5.0, 5.01, 5.01, 5.01, 5.01, 6.0]


@pytest.mark.parametrize("logged", [[], [3.0], [3.0, 3.0, 3.0]])
def test_nothing_one_reading_and_no_movement(logged: list[float]) -> None:
    repaired = repair_counter(np.array(logged))
    assert repaired.at_m.tolist() == logged
    assert repaired.events == ()


def test_any_offset_of_the_counter_shifts_every_length_alike() -> None:
    rng = np.random.default_rng(3)
    logged = np.cumsum(rng.uniform(0.5, 1.5, 500))
    logged[300:] -= logged[300] - 0.5
    plain = repair_counter(logged, expected_m=np.ones(499))
    assert np.all(np.diff(plain.front_m) >= 0)
    assert plain.at_m[-1] - plain.at_m[0] == pytest.approx(logged[299] - logged[0] + 1.0 + logged[-1] - 0.5)


def _slipping(seed: int, lost: slice, n: int = 6000):
    rng = np.random.default_rng(seed)
    seconds = np.arange(n) * 0.1
    true = np.full(n - 1, 1.0)
    speed = np.full(n, 10.0) + rng.normal(0, 0.03, n)
    step = true.copy()
    step[lost] = 0.0
    counter = np.round(np.concatenate(([0.0], np.cumsum(step))), 2)
    expected = 0.05 * (speed[1:] + speed[:-1])
    return seconds, speed, counter, expected


@pytest.mark.parametrize("seed", range(5))
def test_a_dead_encoder_is_found_to_the_row_and_mended_from_the_speed(seed: int) -> None:
    seconds, speed, counter, expected = _slipping(seed, slice(2000, 2351))
    run = np.concatenate(([0.0], np.cumsum(expected)))
    scale = counter_scale(counter, run, seconds)
    slips = find_slips(counter, speed, expected, np.diff(seconds), 1.0, scale)
    assert len(slips) == 1
    first, last = slips[0]
    assert abs(first - 2000) <= 2
    assert abs(last - 2351) <= 2
    mended, events = mend_slips(counter, expected, slips, scale)
    assert mended[-1] == pytest.approx(5999.0, abs=1.5)
    assert events[0].kind == "slip"
    assert events[0].size_m == pytest.approx(351, abs=2)


def test_a_filtered_speed_on_a_ramp_is_no_slip() -> None:
    """A speed signal that lags 0.4 s through a ramp down of 1 m/s2 runs ahead of the counter by 4 m."""
    seconds = np.arange(3000) * 0.1
    true = np.interp(seconds, [0, 100, 110, 300], [10, 10, 0.5, 0.5])
    shown = np.interp(seconds - 0.4, [0, 100, 110, 300], [10, 10, 0.5, 0.5])
    counter = np.concatenate(([0.0], np.cumsum(0.05 * (true[1:] + true[:-1]))))
    expected = 0.05 * (shown[1:] + shown[:-1])
    assert find_slips(counter, shown, expected, np.diff(seconds), 0.01, 1.0) == []


def test_two_slips_are_two_events() -> None:
    seconds, speed, counter, expected = _slipping(1, np.r_[1000:1050, 3000:3100])
    slips = find_slips(counter, speed, expected, np.diff(seconds), 0.01, 1.0)
    assert [
        (abs(a - f) <= 2 and abs(b - t) <= 2)
        for (a, b), (f, t) in zip(slips, [(1000, 1050), (3000, 3100)], strict=False)
    ] == [True, True]


@pytest.mark.parametrize("speed_logged", [True, False])
def test_a_counter_that_leaps_row_after_row_is_in_another_unit(speed_logged: bool) -> None:
    """Inches read as metres: nothing is mended of such a counter; one that leaps a few times still is."""
    seconds = np.arange(600) * 0.5
    speed = np.full(600, 4.0)
    run = 4.0 * seconds
    given = speed if speed_logged else None
    with pytest.raises(LogError) as wrong:
        lengths_of_rows(39.37 * run, given, seconds, None, [])
    assert ("39.370 m for each meter" if speed_logged else "leaps at 599 rows") in str(wrong.value)
    leaping = run.copy()
    leaping[200:] += 300.0
    leaping[400:] += 500.0
    mended = lengths_of_rows(leaping, given, seconds, None, []).at_m
    assert mended[-1] == pytest.approx(run[-1], abs=5.0)

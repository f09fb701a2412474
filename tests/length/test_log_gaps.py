"""Rows missing from a log leave the wire that passed unread and untested, wherever they are missing."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_line import NO_FLAGS, invented_line, log_of, made_by, speed_profile

from pipeline.length import intervals
from pipeline.length.known_length import known_wire
from pipeline.length.line_length import integral_m
from pipeline.length.log_gaps import rows_missing, spacing_s, unlogged_wire
from pipeline.length.placement import place_readings
from pipeline.length.spark_exposure import SparkExposure, spark_exposure

LINE = invented_line()
SECONDS = np.arange(4000) * 0.1


def exposed(seconds: np.ndarray, speed: np.ndarray, made: np.ndarray) -> SparkExposure:
    placement = place_readings(log_of(seconds, made, speed), NO_FLAGS, LINE)
    found = spark_exposure(placement, LINE, np.full(seconds.size, 7.5), None)
    assert isinstance(found, SparkExposure)
    return found


def test_the_log_s_own_spacing_by_hand() -> None:
    assert abs(spacing_s(np.array([0.0, 0.1, 0.2, 0.3, 9.0])) - 0.1) < 1e-9
    assert spacing_s(np.zeros(1)) == 0.0
    # Ten rows a second stamped to the second: a row every 0.1 s, and none missing.
    coarse = np.repeat(np.arange(50.0), 10)
    assert abs(spacing_s(coarse) - 0.1) < 0.003
    assert not rows_missing(coarse).any()
    assert rows_missing(np.delete(coarse, slice(100, 130))).sum() == 1


def test_rows_missing_for_160_s_are_neither_read_nor_tested() -> None:
    """By hand: 5 m/s for 160 s are 800 m; the tester stands at 90 m and its electrode adds 0.45 m at each end."""
    speed = np.full(SECONDS.size, 5.0)
    made = made_by(SECONDS, speed)
    keep = (SECONDS < 100.0) | (SECONDS >= 260.0)
    found = exposed(SECONDS[keep], speed[keep], made[keep])
    gap = found.unlogged
    assert gap.shape == (1, 2)
    assert np.allclose(gap[0], [499.5 - 90.0 - 0.45, 1300.0 - 90.0 + 0.45], atol=1e-6)
    assert intervals.length_m(intervals.within(found.tested, 409.1, 1210.4)) == 0.0
    assert intervals.length_m(found.under_exposed) == 0.0


def test_a_gap_in_a_stop_leaves_no_wire_unread() -> None:
    """The line stands from 101 s to 290 s and the log misses 110 s to 280 s: no wire was made meanwhile."""
    speed = speed_profile(SECONDS, [(0, 5), (100, 5), (101, 0), (290, 0), (291, 5), (400, 5)])
    made = made_by(SECONDS, speed)
    keep = (SECONDS < 110.0) | (SECONDS >= 280.0)
    front, clock = made[keep], SECONDS[keep]
    assert unlogged_wire(clock, front, speed[keep], 0.0).shape == (0, 2)
    found = exposed(clock, speed[keep], front)
    assert intervals.length_m(found.unlogged) == 0.0
    stood = float(np.interp(200.0, SECONDS, made)) - 90.0
    assert intervals.inside(found.tested, np.array([stood - 5.0, stood + 5.0])).all()


def test_standing_wire_has_no_cycles_while_the_log_misses_rows() -> None:
    """Rows are missing for the whole stop, and ran on at a speed too fast for nine cycles otherwise."""
    line = invented_line()
    tester = line.instruments[-1].model_copy(update={"frequency_hz": 60.0})
    line = line.model_copy(update={"instruments": (*line.instruments[:-1], tester)})
    # 60 Hz, 0.9 m and nine cycles allow 6 m/s; the line runs at 8 m/s on either side of the stop.
    speed = np.where((SECONDS > 100.0) & (SECONDS < 200.0), 0.0, 8.0)
    made = np.concatenate(([0.0], np.cumsum(speed[1:] * 0.1)))
    keep = (SECONDS <= 100.0) | (SECONDS >= 199.95)
    placement = place_readings(log_of(SECONDS[keep], made[keep], speed[keep]), NO_FLAGS, line)
    found = spark_exposure(placement, line, np.full(int(keep.sum()), 7.5), None)
    assert isinstance(found, SparkExposure)
    assert intervals.length_m(found.tested) == 0.0


def test_a_leap_of_the_counter_leaves_its_wire_unread() -> None:
    """No row is missing, but 60 m passed between two rows 0.1 s apart at 5 m/s."""
    made = np.arange(200) * 0.5
    made[100:] += 60.0
    (gap,) = unlogged_wire(np.arange(200) * 0.1, made, np.full(200, 5.0), 0.0).tolist()
    assert gap == [49.5, 110.0]


def test_a_speed_alone_makes_wire_through_a_long_gap() -> None:
    """By hand: 2 m/s on both sides of 100 s without a row make 200 m that nothing read; a stop makes none."""
    seconds = np.array([0.0, 1.0, 101.0, 102.0])
    assert integral_m(np.full(4, 2.0), seconds, alone=True).tolist() == [0.0, 2.0, 202.0, 204.0]
    assert integral_m(np.full(4, 2.0), seconds).tolist() == [0.0, 2.0, 2.0, 4.0]
    assert integral_m(np.array([2.0, 0.0, 0.0, 2.0]), seconds, alone=True).tolist() == [0.0, 1.0, 1.0, 2.0]


@settings(max_examples=60, deadline=None)
@given(
    cuts=st.lists(st.tuples(st.integers(50, 3900), st.integers(1, 400)), min_size=1, max_size=6),
    stops=st.lists(st.integers(300, 3600), max_size=2),
    speed_m_s=st.floats(1.0, 20.0),
)
def test_wire_of_any_gap_is_never_counted_as_read_or_tested(
    cuts: list[tuple[int, int]], stops: list[int], speed_m_s: float
) -> None:
    """Property: whichever rows are missing, the middle of the wire that passed is neither read nor tested."""
    speed = np.full(SECONDS.size, speed_m_s)
    for at in stops:
        speed[at : at + 250] = 0.0
    made = made_by(SECONDS, speed)
    keep = np.ones(SECONDS.size, dtype=bool)
    for at, rows in cuts:
        keep[at : at + rows] = False
    clock, front, pace = SECONDS[keep], made[keep], speed[keep]
    found = exposed(clock, pace, front)
    placement = place_readings(log_of(clock, front, pace), NO_FLAGS, LINE)
    front = placement.readings[
        "front_m"
    ].to_numpy()  # where a slip is mended the wire is longer than the counter
    known = known_wire(
        placement.at_m - 20.0, pace, np.ones(clock.size, dtype=bool), 0.1, 0.0, placement.resolution_m
    )
    step = speed_m_s * 0.1
    for before in np.flatnonzero(np.diff(np.flatnonzero(keep)) > 1):
        passed = front[before + 1] - front[before]
        if passed < 1.9 * step + 2.0 * placement.resolution_m:
            continue  # a row missing while the line stood or started
        middle = 0.5 * (front[before] + front[before + 1])
        assert not intervals.inside(found.tested, np.array([middle - 90.0])).any()
        assert not intervals.inside(known, np.array([middle - 20.0])).any()
    total = intervals.length_m(found.tested) + intervals.length_m(found.untested)
    assert abs(total - (front[-1] - 90.0 - front[0])) < 1e-6

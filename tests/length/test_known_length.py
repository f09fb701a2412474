"""Evidence coverage: interval lists, exact to the row."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from invented_line import NO_FLAGS

from pipeline.length import intervals
from pipeline.length.known_length import known_wire
from pipeline.length.placement import place_readings


def iv(*pairs: tuple[float, float]) -> np.ndarray:
    return np.array(pairs, dtype=float).reshape(-1, 2)


def test_interval_algebra_by_hand() -> None:
    wire = intervals.merged(iv((5, 7), (1, 3), (2, 4), (7, 7), (7.5, 8)))
    assert wire.tolist() == [[1, 4], [5, 7], [7.5, 8]]
    assert intervals.merged(wire, bridge_m=0.5).tolist() == [[1, 4], [5, 8]]
    assert intervals.outside(wire, 0, 10).tolist() == [[0, 1], [4, 5], [7, 7.5], [8, 10]]
    assert intervals.within(wire, 3, 6).tolist() == [[3, 4], [5, 6]]
    assert intervals.overlap(wire, iv((3, 5.5), (7.9, 9))).tolist() == [[3, 4], [5, 5.5], [7.9, 8]]
    assert intervals.length_m(wire) == 5.5
    assert intervals.outside(intervals.NONE, 2, 3).tolist() == [[2, 3]]
    assert intervals.overlap(intervals.NONE, wire).shape == (0, 2)
    assert intervals.outside(wire, 3, 3).shape == (0, 2)


pairs = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 15)), max_size=12)


@settings(max_examples=150, deadline=None)
@given(pairs, pairs)
def test_interval_algebra_against_a_painted_ruler(
    first: list[tuple[int, int]], second: list[tuple[int, int]]
) -> None:
    """Against a ruler of 80 cells painted one by one."""
    a, b = (iv(*[(s, s + n) for s, n in some]) for some in (first, second))

    def paint(wire: np.ndarray) -> np.ndarray:
        cells = np.zeros(80, dtype=bool)
        for s, e in wire.astype(int):
            cells[s:e] = True
        return cells

    ma, mb = intervals.merged(a), intervals.merged(b)
    assert np.array_equal(paint(ma), paint(a))
    assert np.array_equal(paint(intervals.overlap(ma, mb)), paint(a) & paint(b))
    assert np.array_equal(paint(intervals.outside(ma, 0, 80)), ~paint(a))
    assert intervals.length_m(ma) == paint(a).sum()


def test_a_drop_out_is_unmonitored_to_the_row() -> None:
    """Readings 0 to 99 a metre apart, 40 to 49 dropped: unmonitored from 39.5 to 49.5 m."""
    at = np.arange(100.0)
    usable = np.ones(100, dtype=bool)
    usable[40:50] = False
    known = known_wire(at, np.full(100, 10.0), usable, 0.1)
    assert known.tolist() == [[-0.75, 39.5], [49.5, 99.75]]


def test_across_a_gap_of_the_log_nothing_is_known() -> None:
    at = np.concatenate([np.arange(10.0), np.arange(30.0, 40.0)])
    known = known_wire(at, np.full(20, 10.0), np.ones(20, dtype=bool), 0.1)
    assert known.tolist() == [[-0.75, 9.75], [29.25, 39.75]]


def test_a_stop_adds_nothing_and_loses_nothing() -> None:
    at = np.concatenate([np.arange(10.0), np.full(50, 9.0), np.arange(10.0, 20.0)])
    known = known_wire(at, np.full(70, 10.0), np.ones(70, dtype=bool), 0.1)
    assert known.tolist() == [[-0.75, 19.75]]


def test_wire_read_twice_counts_once() -> None:
    at = np.array([0.0, 1, 2, 3, 2, 1, 2, 3, 4, 5])
    usable = np.array([1, 1, 0, 1, 1, 1, 0, 1, 1, 1], dtype=bool)
    known = known_wire(at, np.full(10, 10.0), usable, 0.1)
    assert intervals.length_m(known) == pytest.approx(6.5)


def test_nothing_usable_and_no_readings() -> None:
    assert known_wire(np.zeros(0), np.zeros(0), np.zeros(0, dtype=bool), 0.1).shape == (0, 2)
    assert known_wire(np.arange(5.0), np.ones(5), np.zeros(5, dtype=bool), 0.1).shape == (0, 2)


@pytest.mark.parametrize("speed", [100.0, 400.0, 800.0, 1200.0])
def test_the_judgement_sees_a_drop_out_to_half_a_reading_at_every_speed(simulated, speed: float) -> None:
    """What a run's judgement takes for unmonitored, and not the room's own function alone.

    Reached: both ends of 400 m to the row, half way between the last reading and the first one missing.
    """
    from pipeline.simulator.troubles import DropOut
    from pipeline.steps.measure import measure_run
    from pipeline.steps.place import Placed

    length = max(2500.0, 4.0 * speed)
    run = simulated(
        "1/0 AWG", 1, speed_m_min=speed, length_m=length, troubles=(DropOut("L2-WG", 900.0, 1300.0),)
    )
    line = run.scenario.line
    placement = place_readings(run.readings, NO_FLAGS, line)
    placed = Placed(placement, run.events, (), (), ())
    measured = measure_run(run.readings, NO_FLAGS, placed, line, None, run.scenario.wire.conductor_mm)
    seen = placement.at_m - line.instrument("wall gauge").station_m
    first, last = np.flatnonzero(run.readings["wall_1_mm"].is_null().to_numpy())[[0, -1]]
    wanted = (0.5 * (seen[first - 1] + seen[first]), 0.5 * (seen[last] + seen[last + 1]))
    for name in ("mean_wall_mm", "thinnest_wall_mm", "concentricity_pct"):
        (gap,) = measured.seen[name].gaps(300.0, length - 300.0)
        assert gap == pytest.approx(wanted, abs=1e-6)
    assert wanted == pytest.approx((900.0, 1300.0), abs=speed / 60.0 * 0.1)
    assert measured.seen["diameter_mm"].gaps(300.0, length - 300.0) == ()

"""Nonconforming lengths: worked series derived by hand, properties, edge cases and texts."""

import time
from collections.abc import Sequence

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import MethodRefusal
from pipeline.nonconformance.decision import Sense
from pipeline.nonconformance.failing_lengths import (
    IntervalSettings,
    event_intervals,
    nonconforming_intervals,
)

LIMIT = 0.343
# One reading a metre from 1 m; below the limit at 2, 4, 8, 11 and 12 m; within 6.6 um of it at 3 and 5 m.
AT = np.arange(1.0, 15.0)
WALL = (
    np.array([352, 341, 345, 339, 346, 352, 351, 342, 350, 353, 338, 336, 352, 360], dtype=np.float64) / 1000
)


def lengths(
    at: np.ndarray,
    value: np.ndarray,
    limit: float,
    sense: Sense,
    enter_guard: float = 0.0,
    leave_guard: float = 0.0,
    breaks_m: Sequence[float] = (),
    usable: np.ndarray | None = None,
    **settings: float,
) -> pl.DataFrame:
    """With no gap merged and no hole, if not told otherwise."""
    how = IntervalSettings(**({"merge_gap_m": 0.0, "hole_m": np.inf} | settings))
    guards = (enter_guard, leave_guard)
    return nonconforming_intervals(at, value, limit, sense, how, guards, breaks_m=breaks_m, usable=usable)


def spans(frame: pl.DataFrame) -> list[tuple[float, float, float]]:
    return [(a, b, w) for a, b, w in frame.select("from_m", "to_m", "worst").rows()]


def test_every_run_of_low_readings_is_a_length() -> None:
    # Worked by hand: lengths, worst readings, severity 7 um deep and 0.019 mm m of missing wall.
    found = lengths(AT, WALL, LIMIT, "at least")
    assert spans(found) == [(2, 2, 0.341), (4, 4, 0.339), (8, 8, 0.342), (11, 12, 0.336)]
    assert found["readings"].to_list() == [1, 1, 1, 2]
    assert found["worst_at_m"].to_list() == [2, 4, 8, 12]
    assert found["depth"].max() == pytest.approx(0.007)
    assert found["area"].sum() == pytest.approx(0.019)


def test_hysteresis_holds_a_length_open_until_the_wall_is_clear() -> None:
    found = lengths(AT, WALL, LIMIT, "at least", leave_guard=0.0066)
    assert spans(found) == [(2, 5, 0.339), (8, 8, 0.342), (11, 12, 0.336)]


def test_gaps_are_merged_then_both_ends_padded() -> None:
    found = lengths(AT, WALL, LIMIT, "at least", leave_guard=0.0066, merge_gap_m=3.0, pad_m=0.5)
    assert spans(found) == [(1.5, 12.5, 0.336)]
    without = lengths(AT, WALL, LIMIT, "at least", merge_gap_m=2.0)
    assert spans(without) == [(2, 4, 0.339), (8, 8, 0.342), (11, 12, 0.336)]


def test_a_negative_guard_starts_at_what_is_not_shown_to_conform() -> None:
    found = lengths(AT, WALL, LIMIT, "at least", enter_guard=-0.0066, leave_guard=0.0066)
    assert spans(found) == [(2, 5, 0.339), (8, 8, 0.342), (11, 12, 0.336)]


def test_an_upper_limit_is_the_mirror_of_a_lower_one() -> None:
    low = lengths(AT, WALL, LIMIT, "at least", leave_guard=0.004, merge_gap_m=1.0)
    high = lengths(AT, -WALL, -LIMIT, "at most", leave_guard=0.004, merge_gap_m=1.0)
    assert low.drop("worst").equals(high.drop("worst"))
    assert (low["worst"] + high["worst"]).abs().max() == 0.0


def test_a_reading_on_the_limit_conforms_even_after_conversion_from_mil() -> None:
    on_limit = np.array([63 * 0.0254, 1.6002, 1.6001])
    assert on_limit[0] < 1.6002, "63 mil in binary lies just under 1.6002 mm"
    found = lengths(np.array([1.0, 2.0, 3.0]), on_limit, 1.6002, "at least")
    assert spans(found) == [(3, 3, 1.6001)]


def test_a_hole_in_the_readings_ends_a_length() -> None:
    at = np.array([1.0, 2.0, 50.0, 51.0])
    low = np.full(4, 0.30)
    found = lengths(at, low, LIMIT, "at least", hole_m=5.0)
    assert spans(found) == [(1, 2, 0.30), (50, 51, 0.30)]
    # Between the two readings in the hysteresis band nothing carries over the hole.
    band = np.array([0.30, 0.30, 0.344, 0.36])
    held = lengths(at, band, LIMIT, "at least", leave_guard=0.005, hole_m=5.0)
    assert spans(held) == [(1, 2, 0.30)]


def test_no_length_crosses_a_cut_in_the_wire() -> None:
    low = np.full(6, 0.30)
    at = np.arange(1.0, 7.0)
    found = lengths(at, low, LIMIT, "at least", merge_gap_m=5.0, pad_m=0.75, breaks_m=[3.5, 5.0])
    assert spans(found) == [(0.25, 3.5, 0.30), (3.5, 4.75, 0.30), (5.0, 6.75, 0.30)]
    assert found["readings"].to_list() == [3, 1, 2]
    events = event_intervals(np.array([3.4, 3.6, 3.7]), merge_gap_m=1.0, pad_m=0.5, breaks_m=[3.5])
    assert events.select("from_m", "to_m", "readings").rows() == [(2.9, 3.5, 1), (3.5, 4.2, 2)]


def test_extents_of_neighbouring_readings_touch() -> None:
    at = np.array([1.0, 1.5, 2.0, 3.0, 4.0])
    low = np.array([0.30, 0.36, 0.30, 0.36, 0.30])
    found = lengths(at, low, LIMIT, "at least", reading_extent_m=1.0)
    assert spans(found) == [(0.5, 2.5, 0.30), (3.5, 4.5, 0.30)]


def test_masked_and_missing_readings_judge_nothing() -> None:
    low = np.array([0.30, np.nan, 0.30, 0.30])
    usable = np.array([True, True, False, True])
    found = lengths(np.array([1.0, 2.0, 3.0, 4.0]), low, LIMIT, "at least", usable=usable)
    assert found.select("from_m", "to_m", "readings").rows() == [(1.0, 4.0, 2)]
    assert found.select("first_index", "last_index", "worst_index").rows() == [(0, 3, 0)]


@pytest.mark.parametrize("value", [[], [float("nan")], [0.36]])
def test_nothing_wrong_gives_an_empty_frame_with_all_columns(value: list[float]) -> None:
    found = lengths(np.arange(float(len(value))), np.array(value), LIMIT, "at least")
    full = lengths(AT, WALL, LIMIT, "at least")
    assert found.height == 0
    assert found.schema == full.schema


def test_a_single_low_reading_is_found_with_no_area() -> None:
    found = lengths(np.array([7.0]), np.array([0.3]), LIMIT, "at least")
    assert spans(found) == [(7, 7, 0.3)]
    assert found["area"].to_list() == [0.0]


def reference(
    at: list[float], value: list[float], leave: float, gap: float
) -> list[tuple[float, float, int]]:
    """The definition, one reading at a time."""
    lengths: list[list[float]] = []
    inside = False
    for a, v in sorted(zip(at, value, strict=True), key=lambda pair: pair[0]):
        inside = v < LIMIT - 1e-9 or (inside and v < LIMIT + leave - 1e-9)
        if inside and lengths and lengths[-1][3]:
            lengths[-1][1] = a
            lengths[-1][2] += 1
        elif inside:
            lengths.append([a, a, 1, 1])
        if not inside and lengths:
            lengths[-1][3] = 0
    merged: list[list[float]] = []
    for first, last, count, _ in lengths:
        if merged and first - merged[-1][1] <= gap + 1e-9:
            merged[-1][1] = last
            merged[-1][2] += count
        else:
            merged.append([first, last, count])
    return [(a, b, int(n)) for a, b, n in merged]


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.integers(0, 60), st.sampled_from([0.33, 0.343, 0.345, 0.35, 0.36])),
        max_size=40,
        unique_by=lambda pair: pair[0],
    ),
    st.sampled_from([0.0, 0.003, 0.008]),
    st.integers(0, 4),
)
def test_it_equals_the_definition_read_one_reading_at_a_time(
    readings: list[tuple[int, float]], leave: float, gap: int
) -> None:
    at, value = [float(a) for a, _ in readings], [v for _, v in readings]
    found = lengths(np.array(at), np.array(value), LIMIT, "at least", leave_guard=leave, merge_gap_m=gap)
    expected = reference(at, value, leave, gap)
    assert found.select("first_m", "last_m", "readings").rows() == expected


def test_four_million_readings_take_seconds_of_the_processor() -> None:
    rng = np.random.default_rng(7)
    wall = rng.normal(0.352, 0.004, 4_000_000)
    at = np.arange(wall.size) * 0.6
    started = time.process_time()
    found = lengths(at, wall, LIMIT, "at least", leave_guard=0.004, merge_gap_m=2.0)
    taken = time.process_time() - started
    assert found.height > 10_000
    assert found["readings"].sum() >= int((wall < LIMIT).sum())
    assert taken < 5.0, f"{taken:.1f} s of the processor"


def test_events_within_the_merge_length_are_one() -> None:
    # Six counts, four events with a 1 m merge length: worked by hand.
    found = event_intervals(np.array([100.0, 100.4, 101.1, 250.0, 251.3, 900.2]), merge_gap_m=1.0, pad_m=0.5)
    assert found.select("from_m", "to_m", "readings").rows() == [
        (99.5, 101.6, 3),
        (249.5, 250.5, 1),
        (250.8, 251.8, 1),
        (899.7, 900.7, 1),
    ]
    assert found["worst"].null_count() == 4
    assert event_intervals(np.zeros(0), merge_gap_m=1.0, pad_m=0.5).schema == found.schema


def test_what_cannot_be_asked_is_told_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        lengths(AT, WALL[:3], LIMIT, "at least")
    assert str(told.value) == (
        "nonconforming lengths: there are 14 positions and 3 values. Give one position for each value."
    )
    with pytest.raises(MethodRefusal) as told:
        lengths(AT, WALL, LIMIT, "at least", leave_guard=-0.002)
    assert str(told.value) == (
        "nonconforming lengths: the guard to leave (-0.002) is inside the guard to enter (0). "
        "Give a guard to leave of at least minus the guard to enter."
    )
    with pytest.raises(MethodRefusal) as told:
        lengths(AT, WALL, LIMIT, "at least", pad_m=-1.0)
    assert str(told.value) == (
        "nonconforming lengths: a gap, pad, extent or hole is negative or not a number. "
        "Give lengths of 0 m or more."
    )

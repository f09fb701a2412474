"""Counts of the spark tester that its list does not show; expectations derived by hand from the rows given."""

from __future__ import annotations

import polars as pl
import pytest

from pipeline.length.events import unlisted_counts
from pipeline.length.placement import place_readings
from pipeline.sheets.line_sheet import Instrument, LineSheet
from tests.steps.runs import NO_FLAGS

LINE = LineSheet(
    id="X",
    name="x",
    plant="p",
    revision="1",
    take_up_station_m=30.0,
    instruments=(
        Instrument(id="E", kind="encoder", station_m=25.0),
        Instrument(id="S", kind="spark tester", station_m=20.0, window_m=1.0, frequency_hz=50.0),
    ),
)


def _readings(counts: list[float | None]) -> pl.DataFrame:
    n = len(counts)
    return pl.DataFrame(
        {
            "row": pl.Series(range(n), dtype=pl.UInt32),
            "time_utc": pl.Series([1_000_000 * k for k in range(n)], dtype=pl.Datetime("us", "UTC")),
            "counter_m": [2.0 * k for k in range(n)],
            "line_speed_m_s": [2.0] * n,
            "spark_counts": counts,
        }
    )


def _events(at_m: list[float]) -> pl.DataFrame:
    return pl.DataFrame(
        {"kind": ["spark fault"] * len(at_m), "at_m": at_m}, schema={"kind": pl.String, "at_m": pl.Float64}
    )


@pytest.mark.parametrize(
    ("counts", "listed", "expected"),
    [
        # From row 30 (60 m) to row 31 (62 m), less the station at 20 m, half an electrode more on either side.
        ([3.0] * 31 + [5.0] * 20, [], [(39.5, 42.5, 2)]),
        # An entry within two seconds of the wire: listed.
        ([3.0] * 31 + [5.0] * 20, [45.0], []),
        ([3.0] * 31 + [5.0] * 20, [60.0], [(39.5, 42.5, 2)]),
        # A counter that was cleared has counted what it shows since; what it began with is of earlier wire.
        ([7.0] * 31 + [1.0] * 20, [], [(39.5, 42.5, 1)]),
        ([7.0] * 31 + [0.0] * 20, [], []),
        ([7.0] * 51, [], []),
        # Rows without a count: the place is the wire between those that have one.
        ([0.0] * 30 + [None] * 5 + [1.0] * 16, [], [(37.5, 50.5, 1)]),
    ],
)
def test_a_count_without_an_entry_in_the_list_is_a_fault(
    counts: list[float | None], listed: list[float], expected: list[tuple[float, float, int]]
) -> None:
    readings = _readings(counts)
    placement = place_readings(readings, NO_FLAGS, LINE)
    found = unlisted_counts(readings, NO_FLAGS, placement, LINE, _events(listed))
    assert [(one.from_m, one.to_m, one.counts) for one in found] == [
        (pytest.approx(a), pytest.approx(b), c) for a, b, c in expected
    ]


def test_without_a_counter_or_a_tester_nothing_is_said() -> None:
    readings = _readings([0.0] * 10 + [1.0] * 10)
    placement = place_readings(readings, NO_FLAGS, LINE)
    bare = LINE.model_copy(update={"instruments": LINE.instruments[:1]})
    assert unlisted_counts(readings, NO_FLAGS, placement, bare, _events([])) == ()
    assert unlisted_counts(readings.drop("spark_counts"), NO_FLAGS, placement, LINE, _events([])) == ()

"""Events on the wire: by time, by length through a reset, and how sure the place is."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from invented_line import NO_FLAGS, START, invented_line, log_of, made_by, speed_profile

from pipeline import columns
from pipeline.errors import SheetError
from pipeline.length.events import place_events
from pipeline.length.placement import place_readings
from pipeline.sheets.line_sheet import Instrument

LINE = invented_line()
SECONDS = np.arange(4000) * 0.1
SPEED = speed_profile(SECONDS, [(0, 0), (20, 10), (200, 10), (220, 0), (240, 0), (260, 5), (400, 5)])
MADE = made_by(SECONDS, SPEED)
SCHEMA = {
    "event": pl.UInt32,
    "file_no": pl.UInt16,
    "line": pl.UInt32,
    "kind": pl.String,
    "time_utc": pl.Datetime("us", "UTC"),
    "counter_m": pl.Float64,
    "spark_kv": pl.Float64,
    "flaw_size_mm": pl.Float64,
    "flaw_class": pl.String,
}


def events(*, times=None, counters=None, kind="spark fault") -> pl.DataFrame:
    count = len(times if times is not None else counters)
    return pl.DataFrame(
        {
            "event": list(range(count)),
            "file_no": [1] * count,
            "line": list(range(2, count + 2)),
            "kind": [kind] * count,
            "time_utc": [
                None if times is None else START + timedelta(seconds=float(t))
                for t in (times if times is not None else counters)
            ],
            "counter_m": counters,
            "spark_kv": [7.5] * count,
            "flaw_size_mm": [None] * count,
            "flaw_class": [None] * count,
        },
        schema=SCHEMA,
    )


def test_events_by_time_land_on_their_metre_at_any_speed() -> None:
    log = log_of(SECONDS, MADE, SPEED)
    placement = place_readings(log, NO_FLAGS, LINE)
    wire = np.array([50.0, 333.3, 1600.0, 1795.0, 2200.0])
    times = np.interp(wire + 90.0, MADE, SECONDS)
    found = place_events(events(times=times), log, placement, LINE)
    assert found.columns == [one.name for one in columns.PLACED_EVENTS]
    assert found["at_m"].to_numpy() == pytest.approx(wire, abs=0.02)


def test_how_sure_a_place_is() -> None:
    """By hand at 10 m/s: timing 1 m/sqrt 12 = 0.2887, electrode 0.9/sqrt 12 = 0.2598, counter 0.01/sqrt 12."""
    log = log_of(SECONDS, np.round(MADE, 2), SPEED)
    placement = place_readings(log, NO_FLAGS, LINE)
    found = place_events(events(times=[100.0]), log, placement, LINE)
    assert found["at_sd_m"][0] == pytest.approx(np.sqrt(0.288675**2 + 0.259808**2 + 0.002887**2), abs=1e-4)
    slow = place_events(events(times=[300.0]), log, placement, LINE)
    assert slow["at_sd_m"][0] < found["at_sd_m"][0]


def test_events_by_length_are_read_through_a_reset() -> None:
    shown = MADE.copy()
    row = int(np.searchsorted(MADE, 1000.0))
    shown[row:] -= shown[row]
    log = log_of(SECONDS, shown, SPEED)
    placement = place_readings(log, NO_FLAGS, LINE)
    wire = np.array([100.0, 600.0, 950.0, 1500.0])
    counters = np.interp(wire + 90.0, MADE, np.arange(MADE.size))
    listed = shown[np.round(counters).astype(int)]
    found = place_events(events(counters=list(listed)), log, placement, LINE)
    assert found["at_m"].to_numpy() == pytest.approx(wire, abs=1.1)


def test_a_length_that_fits_two_places_goes_to_the_one_its_time_names() -> None:
    shown = MADE.copy()
    row = int(np.searchsorted(MADE, 1000.0))
    shown[row:] -= shown[row]
    log = log_of(SECONDS, shown, SPEED)
    placement = place_readings(log, NO_FLAGS, LINE)
    both = events(times=[float(np.interp(1500.0, MADE, SECONDS))], counters=[500.0])
    assert place_events(both, log, placement, LINE)["at_m"][0] == pytest.approx(1410.0, abs=1.1)
    first = events(counters=[500.0])
    assert place_events(first, log, placement, LINE)["at_m"][0] == pytest.approx(410.0, abs=1.1)


def test_a_reset_between_die_and_tester_makes_the_place_less_sure() -> None:
    shown = MADE.copy()
    row = int(np.searchsorted(MADE, 1130.0))
    shown[row:] -= shown[row] - 0.4
    log = log_of(SECONDS, shown)
    placement = place_readings(log, NO_FLAGS, LINE)
    at = np.interp([1110.0, 1180.0, 1330.0], MADE, SECONDS)
    found = place_events(events(times=at), log, placement, LINE)["at_sd_m"].to_list()
    assert found[1] > found[0] + 0.1
    assert found[2] == pytest.approx(found[0], abs=0.05)


def test_an_event_outside_the_log_is_kept_and_unsure() -> None:
    log = log_of(SECONDS, MADE, SPEED)
    placement = place_readings(log, NO_FLAGS, LINE)
    found = place_events(events(times=[420.0]), log, placement, LINE)
    assert found["at_m"][0] == pytest.approx(MADE[-1] - 90.0)
    assert found["at_sd_m"][0] > 100.0


def test_surface_flaws_take_the_station_of_the_vision_system() -> None:
    line = invented_line(
        instruments=(*LINE.instruments, Instrument(id="V1", kind="surface vision", station_m=100.0))
    )
    log = log_of(SECONDS, MADE, SPEED)
    placement = place_readings(log, NO_FLAGS, line)
    found = place_events(events(times=[100.0], kind="surface flaw"), log, placement, line)
    assert found["at_m"][0] == pytest.approx(float(np.interp(100.0, SECONDS, MADE)) - 100.0)


def test_an_event_no_instrument_could_see_is_a_complaint() -> None:
    log = log_of(SECONDS, MADE, SPEED)
    placement = place_readings(log, NO_FLAGS, LINE)
    with pytest.raises(SheetError) as caught:
        place_events(events(times=[100.0], kind="surface flaw"), log, placement, LINE)
    assert str(caught.value) == (
        "line L9: the run lists events of kind 'surface flaw', and the line sheet has no surface vision. Add the "
        "surface vision with its 'station_m' to the line sheet."
    )


def test_no_events() -> None:
    log = log_of(SECONDS, MADE, SPEED)
    placement = place_readings(log, NO_FLAGS, LINE)
    found = place_events(events(times=[]), log, placement, LINE)
    assert found.columns == [one.name for one in columns.PLACED_EVENTS]
    assert found.height == 0

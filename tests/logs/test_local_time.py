"""Local clocks against the transitions of the IANA time zone database.

The instants are worked out by hand from the rules in its files: `northamerica` (US: second Sunday of March and first
Sunday of November at 2:00 wall clock), `europe` (EU: last Sundays of March and October at 1:00 UTC), `australasia` (LH
and NZ: first Sunday of April at 2:00 and at 2:45 or 2:00 standard) and `asia` (Iran: until 2022). The tests then ask
`zoneinfo`, which reads the database itself, for the same instants.
"""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import LogError
from pipeline.logs.local_time import find_zone, never_shown, standard_zone, transitions_near, utc_from_local
from tests.said import said

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
HOUR = 3_600_000_000
TENTH = 100_000


def us(*parts: int) -> int:
    return (datetime(*parts, tzinfo=UTC) - EPOCH) // timedelta(microseconds=1)


# Zone, instant of the change in UTC, offset before and after [h].
PUBLISHED = [
    ("America/Chicago", (2026, 3, 8, 8, 0), -6, -5),
    ("America/Chicago", (2026, 11, 1, 7, 0), -5, -6),
    ("America/New_York", (2007, 3, 11, 7, 0), -5, -4),
    ("Europe/Berlin", (2026, 3, 29, 1, 0), 1, 2),
    ("Europe/Berlin", (2026, 10, 25, 1, 0), 2, 1),
    ("Europe/London", (2026, 10, 25, 1, 0), 1, 0),
    # Half an hour of daylight saving.
    ("Australia/Lord_Howe", (2026, 4, 4, 15, 0), 11, 10.5),
    # Ahead of UTC by so much that the local day is another one.
    ("Pacific/Auckland", (2026, 4, 4, 14, 0), 13, 12),
    # The last change that Iran made.
    ("Asia/Tehran", (2022, 9, 21, 19, 30), 4.5, 3.5),
]


@pytest.mark.parametrize(("name", "at", "before", "after"), PUBLISHED)
def test_published_transitions_are_found(name, at, before, after):
    zone = ZoneInfo(name)
    found = [change for change in transitions_near(np.array([us(*at)]), zone) if change.at_us == us(*at)]
    assert [(change.before_us, change.after_us) for change in found] == [(before * HOUR, after * HOUR)]


@pytest.mark.parametrize(("name", "at", "before", "after"), PUBLISHED)
def test_a_log_that_runs_over_a_change_is_placed_right(name, at, before, after):
    """Every second from two hours before the change to two hours after it, as its local clock shows them."""
    zone = ZoneInfo(name)
    true = us(*at) + np.arange(-7200, 7200, dtype=np.int64) * 1_000_000
    offset = np.where(true < us(*at), before * HOUR, after * HOUR).astype(np.int64)
    local = true + offset
    assert never_shown(local, zone) is None
    found = utc_from_local(local, zone)
    assert (found.us == true).all()
    assert len(found.notes) == (after < before)


def test_the_repeated_hour_is_told():
    true = us(2026, 11, 1, 7) + np.arange(-40_000, 40_000, dtype=np.int64) * TENTH
    local = true - np.where(true < us(2026, 11, 1, 7), 5 * HOUR, 6 * HOUR)
    found = utc_from_local(local, ZoneInfo("America/Chicago"))
    assert (found.us == true).all()
    (note,) = said(found.notes)
    assert note == (
        "Clocks were put back in America/Chicago: 2026-11-01 01:00 to 02:00 happened twice, and 72,000 readings of "
        "the log are of it. The clock is seen falling back, which separates the passes."
    )


CHICAGO_BACK = us(2026, 11, 1, 7)
FIRST_PASS = np.arange(0, 1800, dtype=np.int64) * 1_000_000 + us(2026, 11, 1, 1, 0)


def test_a_log_that_ends_in_the_first_pass():
    local = np.concatenate([np.arange(-600, 0) * 1_000_000 + us(2026, 11, 1, 1, 0), FIRST_PASS])
    found = utc_from_local(local, ZoneInfo("America/Chicago"))
    assert (np.diff(found.us) == 1_000_000).all()
    assert "taken as the first pass" in said(found.notes[0])


def test_a_log_that_begins_in_the_second_pass():
    local = np.arange(0, 5400, dtype=np.int64) * 1_000_000 + us(2026, 11, 1, 1, 30)
    found = utc_from_local(local, ZoneInfo("America/Chicago"))
    assert found.us[0] == us(2026, 11, 1, 7, 30)
    assert (np.diff(found.us) == 1_000_000).all()
    assert "taken as the second pass" in said(found.notes[0])


def test_a_log_that_gives_no_hint_is_taken_as_the_first_pass_and_told():
    found = utc_from_local(FIRST_PASS, ZoneInfo("America/Chicago"))
    assert found.us[0] == us(2026, 11, 1, 6, 0)
    assert said(found.notes[0]).endswith(
        "The log gives no hint which pass its readings are of; they are taken as the first, and may be off by the "
        "shift. A clock in UTC would leave no doubt."
    )


def test_the_file_before_tells_the_pass():
    found = utc_from_local(FIRST_PASS, ZoneInfo("America/Chicago"), before_us=us(2026, 11, 1, 6, 59, 59))
    assert found.us[0] == us(2026, 11, 1, 7, 0)
    found = utc_from_local(FIRST_PASS, ZoneInfo("America/Chicago"), before_us=us(2026, 11, 1, 5, 59, 59))
    assert found.us[0] == us(2026, 11, 1, 6, 0)


def test_rows_a_little_out_of_order_do_not_look_like_the_clock_falling_back():
    true = CHICAGO_BACK + np.arange(-7000, 7000, dtype=np.int64) * 1_000_000
    true[[1000, 1001, 9000, 9001]] = true[[1001, 1000, 9001, 9000]]
    local = true - np.where(true < CHICAGO_BACK, 5 * HOUR, 6 * HOUR)
    assert (utc_from_local(local, ZoneInfo("America/Chicago")).us == true).all()


def test_a_skipped_hour_was_never_shown():
    local = np.array(
        [us(2026, 3, 8, 1, 59, 59), us(2026, 3, 8, 2, 0), us(2026, 3, 8, 2, 59, 59), us(2026, 3, 8, 3)]
    )
    skipped = never_shown(local, ZoneInfo("America/Chicago"))
    assert skipped is not None
    assert skipped.tolist() == [False, True, True, False]
    assert never_shown(local[[0, 3]], ZoneInfo("America/Chicago")) is None
    assert standard_zone(ZoneInfo("America/Chicago"), us(2026, 3, 8)) == "Etc/GMT+6"
    assert standard_zone(ZoneInfo("Europe/Berlin"), us(2026, 3, 29)) == "Etc/GMT-1"
    assert standard_zone(ZoneInfo("Europe/London"), us(2026, 3, 29)) == "UTC"


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(
        ["America/Chicago", "Europe/Berlin", "Asia/Kolkata", "Pacific/Auckland", "UTC", "America/St_Johns"]
    ),
    st.lists(st.datetimes(datetime(1990, 1, 1), datetime(2037, 12, 31)), min_size=1, max_size=12),
)
def test_unambiguous_local_times_are_placed_as_zoneinfo_places_them(name, times):
    zone = ZoneInfo(name)
    plain = [
        time
        for time in times
        if time.replace(tzinfo=zone).utcoffset() == time.replace(tzinfo=zone, fold=1).utcoffset()
        and time.replace(tzinfo=zone).astimezone(UTC).astimezone(zone).replace(tzinfo=None) == time
    ]
    local = np.array([us(*time.timetuple()[:6]) + time.microsecond for time in plain], np.int64)
    expected = [
        (time.replace(tzinfo=zone).astimezone(UTC) - EPOCH) // timedelta(microseconds=1) for time in plain
    ]
    assert utc_from_local(local, zone).us.tolist() == expected


def test_damaged_clocks_far_away_do_no_harm():
    far = np.array([us(1, 1, 1), us(2026, 7, 1), us(9999, 12, 31)], np.int64)
    found = utc_from_local(far, ZoneInfo("America/Chicago")).us
    assert found[1] == us(2026, 7, 1, 5)
    assert never_shown(far, ZoneInfo("America/Chicago")) is None


@pytest.mark.parametrize("name", ["America/Chicage", "", "../etc", "/etc/passwd", "CST\x00"])
def test_a_zone_that_is_not_there(name):
    with pytest.raises(LogError) as caught:
        find_zone(name, "run.toml: time.zone")
    assert str(caught.value) == (
        f"run.toml: time.zone: there is no time zone '{name}'. Write its IANA name, for example America/Chicago, "
        "Europe/Berlin, Etc/GMT+6 or UTC."
    )

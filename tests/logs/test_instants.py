"""Texts of time, against Python's own reader and the rules of ISO 8601."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.logs.instants import patterns, read_texts

MAY_BE = "it may be ISO 8601, epoch s, epoch ms, epoch us, or a pattern like %d/%m/%Y %H:%M:%S.%f"
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def us_of(time: datetime) -> int:
    return (time.replace(tzinfo=time.tzinfo or UTC) - EPOCH) // timedelta(microseconds=1)


def one(text: str, time_format: str = "ISO 8601") -> int | None:
    found = read_texts([text.encode()], time_format)
    return int(found.us[0]) if found.valid[0] else None


TIMES = st.datetimes(datetime(1900, 1, 1), datetime(2999, 12, 31))


@settings(max_examples=60, deadline=None)
@given(st.lists(TIMES, min_size=1, max_size=20), st.sampled_from(["seconds", "milliseconds", "microseconds"]))
def test_iso_texts_are_read_as_python_reads_them(times, timespec):
    texts = [time.isoformat(timespec=timespec) for time in times]
    found = read_texts([text.encode() for text in texts], "ISO 8601")
    assert found.valid.all()
    assert not found.aware.any()
    assert found.us.tolist() == [us_of(datetime.fromisoformat(text)) for text in texts]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(TIMES, min_size=1, max_size=20),
    st.sampled_from(
        [
            "%d.%m.%Y %H:%M:%S",
            "%d/%m/%Y %H:%M:%S.%f",
            "%m/%d/%Y %I:%M:%S %p",
            "%d-%b-%Y %H:%M:%S,%f",
            "%B %d %Y %H:%M",
            "%Y%j %H:%M:%S",
            "%a %d %b %Y %H.%M.%S",
            "%F %T",
        ]
    ),
)
def test_patterns_are_read_as_python_reads_them(times, pattern):
    plain = pattern.replace("%F", "%Y-%m-%d").replace("%T", "%H:%M:%S")
    texts = [time.strftime(plain) for time in times]
    found = read_texts([text.encode() for text in texts], pattern)
    assert found.valid.all()
    assert found.us.tolist() == [us_of(datetime.strptime(text, plain)) for text in texts]


# The standard's own example, 12 April 1985: ISO 8601:2000(E), 5.2.1 to 5.2.3 (calendar, ordinal and week date), 5.3
# (times of day, [24] for midnight) and 5.4.1 (date and time, basic and extended), read in a public copy. Dates and
# times not printed side by side are put together as 5.4.1 allows.
@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("19850412", datetime(1985, 4, 12)),
        ("1985-04-12", datetime(1985, 4, 12)),
        ("1985102", datetime(1985, 4, 12)),
        ("1985-102", datetime(1985, 4, 12)),
        ("1985W155", datetime(1985, 4, 12)),
        ("1985-W15-5", datetime(1985, 4, 12)),
        ("19850412T101530", datetime(1985, 4, 12, 10, 15, 30)),
        ("1985-04-12T10:15:30", datetime(1985, 4, 12, 10, 15, 30)),
        ("19850412T101530Z", datetime(1985, 4, 12, 10, 15, 30)),
        ("1985-04-12T10:15:30Z", datetime(1985, 4, 12, 10, 15, 30)),
        ("19850412T101530+0400", datetime(1985, 4, 12, 6, 15, 30)),
        ("1985-04-12T10:15:30+04:00", datetime(1985, 4, 12, 6, 15, 30)),
        ("19850412T101530+04", datetime(1985, 4, 12, 6, 15, 30)),
        ("1985-04-12T10:15:30+04", datetime(1985, 4, 12, 6, 15, 30)),
        ("1985-W15-5T10:15+04", datetime(1985, 4, 12, 6, 15)),
        ("1985-102T10:15Z", datetime(1985, 4, 12, 10, 15)),
        ("1985-04-12T23:20:50,5", datetime(1985, 4, 12, 23, 20, 50, 500000)),
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000)),
        # Reduced accuracy (5.3.1.2, from memory), midnight at the end of a day (5.3.2).
        ("1985-04-12T23:20", datetime(1985, 4, 12, 23, 20)),
        ("19850412T2320", datetime(1985, 4, 12, 23, 20)),
        ("1985-04-12T23", datetime(1985, 4, 12, 23)),
        ("1985-04-12T24:00", datetime(1985, 4, 13)),
        ("1985-04-12T24:00:00", datetime(1985, 4, 13)),
        ("1985-04-12T10:15:30-05:30", datetime(1985, 4, 12, 15, 45, 30)),
    ],
)
def test_examples_of_iso_8601(text, time):
    assert one(text) == us_of(time)


# RFC 3339, section 5.8, "Examples": every one of them, from memory, with what its text says of it.
@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520000)),
        ("1996-12-19T16:39:57-08:00", datetime(1996, 12, 20, 0, 39, 57)),
        ("1990-12-31T23:59:60Z", datetime(1991, 1, 1)),
        ("1990-12-31T15:59:60-08:00", datetime(1991, 1, 1)),
        ("1937-01-01T12:00:27.87+00:20", datetime(1937, 1, 1, 11, 40, 27, 870000)),
    ],
)
def test_examples_of_rfc_3339(text, time):
    assert one(text) == us_of(time)


# Weeks at the turn of the year, by the definition of week 01 (ISO 8601:2000, 3.17) and Python's own calendar.
@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2004-W53-6", (2005, 1, 1)),
        ("2005-W52-7", (2006, 1, 1)),
        ("2009-W01-1", (2008, 12, 29)),
        ("2009-W53-7", (2010, 1, 3)),
    ],
)
def test_weeks_at_the_turn_of_the_year(text, day):
    assert one(text) == us_of(datetime(*day))
    assert datetime.fromisocalendar(int(text[:4]), int(text[6:8]), int(text[9])) == datetime(*day)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "2026-02-29T00:00:00",
        "2100-02-29",
        "2026-13-01",
        "2026-00-10",
        "2026-04-31",
        "2026-04-00",
        "2026-03-02T24:00:01",
        "2026-03-02T25:00",
        "2026-03-02T10:60",
        "2026-03-02T10:30:60",
        "2025-W53-1",
        "2026-W10-8",
        "2026-366",
        "2026-000",
        "2026-03-02T10:00+25:00",
        "2026-3-2",
        "26-03-02",
        "2026-03-02x",
        # Fractions of a minute or hour (5.3.1.3) and dates without a day (5.2.1.2) are ISO 8601 too, but of no logger.
        "1985-04-12T23:20,8",
        "1985-04-12T23,3",
        "1985-04",
        "1985-W15",
        "2026-03-02T10:00:00.",
        "2026-03-02T10:00:00.1234567890123",
        "March 2",
        "2026-03-02T1O:00",
        "\u0662\u0660\u0662\u0666-03-02",
        "9" * 60,
        "9" * 200,
    ],
)
def test_what_is_no_time_is_not_read(text):
    assert one(text) is None


def test_seven_figures_of_a_second_and_spaces_around():
    assert one(" 2026-03-02T06:00:00.1234567 ") == us_of(datetime(2026, 3, 2, 6, 0, 0, 123456))


def test_texts_of_many_shapes_in_one_column():
    texts = [
        "2026-03-02T06:00:00",
        "x" * 19,
        "2026-03-02 06:00:00",
        "2026-03-02T06:00:00Z",
        "2026-03-02T06:00:00.5",
    ]
    found = read_texts([text.encode() for text in texts * 30], "ISO 8601")
    assert found.valid.tolist() == [True, False, True, True, True] * 30
    assert found.aware.tolist() == [False, False, False, True, False] * 30
    base = us_of(datetime(2026, 3, 2, 6))
    assert found.us[found.valid].tolist() == [base, base, base, base + 500_000] * 30


def test_more_shapes_than_any_logger_writes():
    rng = np.random.default_rng(0)
    texts = []
    for _ in range(400):
        text = bytearray(b"2026-03-02T06:00:00")
        text[rng.integers(19)] = rng.integers(33, 126)
        texts.append(bytes(text))
    found = read_texts(texts, "ISO 8601")

    def plain(text: bytes) -> int | None:
        single = read_texts([text], "ISO 8601")
        return int(single.us[0]) if single.valid[0] else None

    assert [int(us) if good else None for us, good in zip(found.us, found.valid, strict=True)] == [
        plain(text) for text in texts
    ]


def test_two_figures_of_a_year_are_those_of_posix():
    assert one("01/02/69 00:00", "%d/%m/%y %H:%M") == us_of(datetime(1969, 2, 1))
    assert one("01/02/68 00:00", "%d/%m/%y %H:%M") == us_of(datetime(2068, 2, 1))


def test_noon_and_midnight_of_twelve_hours():
    form = "%m/%d/%Y %I:%M %p"
    assert one("03/02/2026 12:00 AM", form) == us_of(datetime(2026, 3, 2))
    assert one("03/02/2026 12:00 pm", form) == us_of(datetime(2026, 3, 2, 12))
    assert one("03/02/2026 13:00 PM", form) is None
    assert one("03/02/2026 00:00 AM", form) is None


@pytest.mark.parametrize(
    ("time_format", "told"),
    [
        ("%H:%M:%S", f"the time format '%H:%M:%S' has no date or no hour; {MAY_BE}"),
        ("%d/%m/%Y %I:%M", "the time format '%d/%m/%Y %I:%M' has a 12-hour clock (%I) without %p"),
        ("%Q", "'%Q' in the time format '%Q' is not known here"),
        ("%d %d %m %Y %H", "the time format '%d %d %m %Y %H' gives the day twice"),
    ],
)
def test_a_format_that_cannot_be_used_says_why(time_format, told):
    with pytest.raises(ValueError, match="time format") as caught:
        patterns(time_format)
    assert str(caught.value) == told


def test_no_texts_are_no_times():
    assert read_texts([], "ISO 8601").us.size == 0

"""Which instant a log's text of time means: ISO 8601, a strptime pattern, or seconds of the epoch.

Texts of one shape (same length, same marks at the same places) are read together as a table of digits, so a
column of a million times costs a few array operations. Local times stay local here; `local_time` places
them.

Sources: ISO 8601-1:2019, clauses 5.2 to 5.4 (calendar, ordinal and week dates, basic and extended form,
decimal fraction with comma or point, `Z` and offsets); the directives are strptime's, as in POSIX and Python.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Micros = NDArray[np.int64]
Mask = NDArray[np.bool_]
Bytes = NDArray[np.uint8]
_Number = Callable[..., Micros]

US_PER_S = 1_000_000
US_PER_DAY = 86_400 * US_PER_S
EPOCH_FORMATS = {"epoch s": 1e6, "epoch ms": 1e3, "epoch us": 1.0}
_SHAPES = 48
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG_MONTHS = (
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
)
_DIRECTIVES = {
    "Y": r"(?P<year>\d{4})",
    "y": r"(?P<year2>\d{2})",
    "m": r"(?P<month>\d{1,2})",
    "d": r"(?P<day>\d{1,2})",
    "j": r"(?P<ordinal>\d{1,3})",
    "H": r"(?P<hour>\d{1,2})",
    "I": r"(?P<hour12>\d{1,2})",
    "M": r"(?P<minute>\d{1,2})",
    "S": r"(?P<second>\d{1,2})",
    "f": r"(?P<fraction>\d{1,12})",
    "p": r"(?P<half>[AaPp]\.?[Mm]\.?)",
    "b": r"(?P<monthname>[A-Za-z]{3})",
    "B": r"(?P<monthname>[A-Za-z]{3,9})",
    "a": r"[A-Za-z]{2,3}",
    "A": r"[A-Za-z]{6,9}",
    "z": r"(?P<zone>Z|[+-](?:[01]\d|2[0-3]):?(?:[0-5]\d)?)",
    "%": "%",
}
_COMPOUND = {"T": "%H:%M:%S", "F": "%Y-%m-%d", "D": "%m/%d/%y", "R": "%H:%M"}
_CLOCK = (
    r"(?:[Tt ](?P<hour>\d\d)(?::?(?P<minute>\d\d)(?::?(?P<second>\d\d)(?:[.,](?P<fraction>\d{1,12}))?)?)?"
    r" ?(?P<zone>[Zz]|[+-](?:[01]\d|2[0-3])(?::?[0-5]\d)?)?)?"
)
_ISO = (
    r"(?P<year>\d{4})-(?P<month>\d\d)-(?P<day>\d\d)" + _CLOCK,
    r"(?P<year>\d{4})(?P<month>\d\d)(?P<day>\d\d)" + _CLOCK,
    r"(?P<year>\d{4})-?W(?P<week>\d\d)-?(?P<weekday>\d)" + _CLOCK,
    r"(?P<year>\d{4})-?(?P<ordinal>\d{3})" + _CLOCK,
)


@dataclass(frozen=True, slots=True)
class Instants:
    """Times read from text.

    Args:
        us: microseconds since 1970-01-01, of UTC where `aware`, of the local clock elsewhere.
        valid: False where the text is no time.
        aware: True where the text itself says its offset from UTC.
    """

    us: Micros
    valid: Mask
    aware: Mask


@lru_cache(maxsize=64)
def patterns(time_format: str) -> tuple[re.Pattern[bytes], ...]:
    """What a text in `time_format` looks like.

    Raises:
        ValueError: the format is neither ISO 8601 nor a pattern with a date and a time.
    """
    if time_format == "ISO 8601":
        return tuple(re.compile(one.encode()) for one in _ISO)
    text = re.sub("%([TFDR])", lambda found: _COMPOUND[found.group(1)], time_format)
    expression, named = "", set[str]()
    for piece in re.split(r"(%-?.)", text):
        if len(piece) >= 2 and piece[0] == "%":
            directive = _DIRECTIVES.get(piece[-1])
            if directive is None:
                raise ValueError(f"'{piece}' in the time format '{time_format}' is not known here")
            name = re.search("<([a-z0-9]+)>", directive)
            if name and name.group(1) in named:
                raise ValueError(f"the time format '{time_format}' gives the {name.group(1)} twice")
            if name:
                named.add(name.group(1))
            expression += directive
        else:
            expression += re.escape(piece)
    dated = {"month", "day"} <= named or {"monthname", "day"} <= named or "ordinal" in named
    if not dated or not named & {"year", "year2"} or not named & {"hour", "hour12"}:
        raise ValueError(
            f"the time format '{time_format}' has no date or no hour; it may be ISO 8601, epoch s, epoch ms, "
            "epoch us, or a pattern like %d/%m/%Y %H:%M:%S.%f"
        )
    if "hour12" in named and "half" not in named:
        raise ValueError(f"the time format '{time_format}' has a 12-hour clock (%I) without %p")
    return (re.compile(expression.encode()),)


def read_texts(texts: Sequence[bytes] | NDArray[np.object_], time_format: str) -> Instants:
    """Times of a sequence of texts; for a column of a log use `read_column`."""
    joined = b"".join(texts)
    ends = np.cumsum([0, *(len(text) for text in texts)], dtype=np.int64)
    return read_column(np.frombuffer(joined, np.uint8), ends, time_format)


def read_column(data: Bytes, offsets: Micros, time_format: str) -> Instants:
    """Times of a column of texts laid end to end.

    Args:
        data: bytes of all texts.
        offsets: where each text begins, and where the last one ends.
        time_format: ``ISO 8601`` or a strptime pattern.
    """
    expressions = patterns(time_format)
    count = offsets.size - 1
    us = np.zeros(count, np.int64)
    valid = np.zeros(count, np.bool_)
    aware = np.zeros(count, np.bool_)
    lengths = np.diff(offsets)
    for length in np.unique(lengths) if count else ():
        if not 0 < length <= 64:
            continue
        rows = np.flatnonzero(lengths == length)
        if rows.size == count:
            table = data[offsets[0] : offsets[-1]].reshape(count, int(length))
        else:
            table = data[offsets[rows][:, None] + np.arange(length)]
        _read_table(table, rows, expressions, us, valid, aware)
    return Instants(us, valid, aware)


def _read_table(
    table: Bytes,
    rows: Micros,
    expressions: tuple[re.Pattern[bytes], ...],
    us: Micros,
    valid: Mask,
    aware: Mask,
) -> None:
    """Read texts of one length, shape by shape, into `us`, `valid` and `aware` at `rows`."""
    left = np.arange(rows.size)
    for _ in range(_SHAPES):
        if left.size == 0:
            return
        texts = table if left.size == rows.size else table[left]
        sample = texts[0].tobytes()
        found = next((match for one in expressions if (match := one.fullmatch(sample.strip(b" \t")))), None)
        if found is None:
            # Nothing but this very text is known to be wrong.
            same = (texts == texts[0]).all(axis=1)
            same[0] = True
        else:
            indent = len(sample) - len(sample.lstrip(b" \t"))
            same, when, good, is_aware = _read_shape(texts, sample, found, indent)
            at = rows[left[same]]
            us[at], valid[at], aware[at] = when[same], good[same], is_aware
        left = left[~same]
    _read_one_by_one(table, rows, left, expressions, us, valid, aware)


def _read_one_by_one(
    table: Bytes,
    rows: Micros,
    left: NDArray[np.int64],
    expressions: tuple[re.Pattern[bytes], ...],
    us: Micros,
    valid: Mask,
    aware: Mask,
) -> None:
    """Texts of a length with more shapes than any logger writes: damaged ones, so few."""
    for place in left:
        text = table[place : place + 1]
        sample = text[0].tobytes()
        found = next((match for one in expressions if (match := one.fullmatch(sample.strip(b" \t")))), None)
        if found is not None:
            indent = len(sample) - len(sample.lstrip(b" \t"))
            _, when, good, is_aware = _read_shape(text, sample, found, indent)
            us[rows[place]], valid[rows[place]], aware[rows[place]] = when[0], good[0], is_aware


def _read_shape(
    texts: Bytes, sample: bytes, found: re.Match[bytes], indent: int
) -> tuple[Mask, Micros, Mask, bool]:
    """Texts with the marks of `sample` at its places: which they are, when, whether real dates, aware."""
    spans = {
        name: (start + indent, end + indent)
        for name, (start, end) in ((name, found.span(name)) for name in found.re.groupindex)
        if start >= 0
    }
    digits = np.zeros(len(sample), np.bool_)
    for name, (start, end) in spans.items():
        if name not in {"monthname", "half", "zone"}:
            digits[start:end] = True
    free = digits.copy()
    for name in ("monthname", "half"):
        if name in spans:
            free[slice(*spans[name])] = True
    marks = np.flatnonzero(~free)
    same = (texts[:, marks] == texts[0, marks]).all(axis=1)
    figures = texts[:, np.flatnonzero(digits)] - np.uint8(48)
    same &= (figures <= 9).all(axis=1)

    def number(name: str, default: int = 0) -> Micros:
        if name not in spans:
            return np.full(1, default, np.int64)
        start, end = spans[name]
        value = texts[:, start].astype(np.int64) - 48
        for place in range(start + 1, end):
            value = value * 10 + (texts[:, place] - np.uint8(48))
        return value

    day, good = _day_number(texts, spans, number)
    within, good_clock = _time_of_day(texts, spans, number)
    offset = _offset_us(sample[slice(*spans["zone"])].decode()) if "zone" in spans else 0
    when = np.broadcast_to(day * US_PER_DAY + within - offset, same.shape)
    return same, when, np.broadcast_to(good & good_clock, same.shape), "zone" in spans


def _day_number(texts: Bytes, spans: dict[str, tuple[int, int]], number: _Number) -> tuple[Micros, Mask]:
    """Days since 1970-01-01 and whether there is such a day."""
    year = number("year")
    if "year2" in spans:
        # POSIX strptime: 69 to 99 are of the 1900s, 00 to 68 of the 2000s.
        year = number("year2")
        year = np.where(year >= 69, 1900 + year, 2000 + year)
    if "ordinal" in spans:
        ordinal = number("ordinal")
        length = 365 + _is_leap(year)
        return _days_from_civil(year, np.array([1]), ordinal), (ordinal >= 1) & (ordinal <= length)
    if "week" in spans:
        week, weekday = number("week"), number("weekday")
        fourth = _days_from_civil(year, np.array([1]), np.array([4]))
        monday = fourth - (fourth + 3) % 7
        long_year = _weeks_in(year)
        good = (week >= 1) & (week <= long_year) & (weekday >= 1) & (weekday <= 7)
        return monday + (week - 1) * 7 + weekday - 1, good
    month = _named_month(texts, spans["monthname"]) if "monthname" in spans else number("month")
    day = number("day")
    known = (month >= 1) & (month <= 12)
    month = np.where(known, month, 1)
    lengths = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], np.int64)
    longest = lengths[month - 1] + ((month == 2) & _is_leap(year))
    return _days_from_civil(year, month, day), known & (day >= 1) & (day <= longest)


def _time_of_day(texts: Bytes, spans: dict[str, tuple[int, int]], number: _Number) -> tuple[Micros, Mask]:
    """Microseconds since midnight and whether there is such a time."""
    hour = number("hour")
    good = np.ones(1, np.bool_)
    if "hour12" in spans:
        twelve = number("hour12")
        half = texts[:, spans["half"][0]] | np.uint8(32)
        good = (twelve >= 1) & (twelve <= 12) & ((half == ord("a")) | (half == ord("p")))
        hour = twelve % 12 + 12 * (half == ord("p"))
    minute, second, fraction = number("minute"), number("second"), number("fraction")
    if "fraction" in spans:
        figures = spans["fraction"][1] - spans["fraction"][0]
        fraction = fraction * 10 ** (6 - figures) if figures <= 6 else fraction // 10 ** (figures - 6)
    # 24:00:00 is the end of a day (ISO 8601:2004, 4.2.3); second 60 is a leap second.
    end_of_day = (hour == 24) & (minute == 0) & (second == 0) & (fraction == 0)
    leap = (second == 60) & (minute == 59)
    good = good & ((hour < 24) | end_of_day) & (minute < 60) & ((second < 60) | leap)
    return ((hour * 60 + minute) * 60 + second) * US_PER_S + fraction, good


def _named_month(texts: Bytes, span: tuple[int, int]) -> Micros:
    """Month number of English month names; 0 where it is none."""
    start, end = span
    lower = texts[:, start:end] | np.uint8(32)
    month = np.zeros(texts.shape[0], np.int64)
    for number, name in enumerate(_MONTHS if end - start == 3 else _LONG_MONTHS, 1):
        if len(name) == end - start:
            month[(lower == np.frombuffer(name.encode(), np.uint8)).all(axis=1)] = number
    return month


def _offset_us(zone: str) -> int:
    """Offset from UTC in microseconds of ``Z``, ``+hh``, ``+hhmm`` or ``+hh:mm``."""
    if zone in {"Z", "z"}:
        return 0
    figures = zone[1:].replace(":", "").ljust(4, "0")
    seconds = int(figures[:2]) * 3600 + int(figures[2:]) * 60
    return (-seconds if zone[0] == "-" else seconds) * US_PER_S


def _is_leap(year: Micros) -> Micros:
    leap: Micros = (((year % 4 == 0) & (year % 100 != 0)) | (year % 400 == 0)).astype(np.int64)
    return leap


def _days_from_civil(year: Micros, month: Micros, day: Micros) -> Micros:
    """Days since 1970-01-01 of a date of the Gregorian calendar, counted in years that begin in March."""
    y = year - (month <= 2)
    shifted = (month + 9) % 12
    days: Micros = 365 * y + y // 4 - y // 100 + y // 400 + (153 * shifted + 2) // 5 + day - 1 - 719468
    return days


def _weeks_in(year: Micros) -> Micros:
    """Number of ISO weeks of a year: 53 if it begins on a Thursday, or on a Wednesday in a leap year."""
    first = _days_from_civil(year, np.array([1]), np.array([1]))
    weekday = (first + 3) % 7
    weeks: Micros = np.where((weekday == 3) | ((weekday == 2) & (_is_leap(year) == 1)), 53, 52)
    return weeks

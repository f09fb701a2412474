"""How an unknown log writes its time: which column, in which form, and where that is in doubt."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import product

import numpy as np

from pipeline.logs.file_look import FileLook
from pipeline.logs.instants import EPOCH_FORMATS, read_texts

_TIME_NAME = re.compile(r"time|date|stamp|zeit|datum|when|epoch|^t$|^ts$|utc|heure|hora|fecha", re.IGNORECASE)
_DATE = re.compile(r"\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\d{1,2}[ -][A-Za-z]{3,9}[ -]\d{2,4}")
_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?( ?[AaPp]\.?[Mm]\.?)?")
# Seconds of the epoch from 2001 to 2100.
_EPOCH_S = (1.0e9, 4.1e9)
_CLOCKS = ("%H:%M:%S.%f", "%H:%M:%S,%f", "%H:%M:%S", "%H:%M", "%I:%M:%S.%f %p", "%I:%M:%S %p", "%I:%M %p")
_DAY_FIRST = ("%d.%m.%Y", "%d/%m/%Y", "%d-%m-%Y", "%d.%m.%y", "%d/%m/%y", "%d-%m-%y")
_MONTH_FIRST = ("%m/%d/%Y", "%m-%d-%Y", "%m.%d.%Y", "%m/%d/%y", "%m-%d-%y", "%m.%d.%y")
_OTHERS = ("%Y/%m/%d", "%Y.%m.%d", "%d-%b-%Y", "%d %b %Y", "%b %d %Y", "%d-%b-%y", "%d %B %Y")


@dataclass(frozen=True, slots=True)
class TimeGuess:
    """The column and form of time.

    Args:
        place: place of the column, from 0.
        date_place: place of the column of the date, where the time stands apart; else None.
        time_format: ISO 8601, an epoch, or a strptime pattern.
        aware: True if the texts say their offset from UTC.
        doubt: what a person should look at, or "".
    """

    place: int
    date_place: int | None
    time_format: str
    aware: bool
    doubt: str


def guess_time(look: FileLook) -> TimeGuess | None:
    """The column that holds time; None if no column reads as time."""
    named = [bool(_TIME_NAME.search(name)) for name in look.names]
    order = sorted(range(len(look.names)), key=lambda place: (not named[place], place))
    for place in order:
        texts = [cell for cell in look.cells[f"c{place}"].to_list() if cell][:500]
        found = _form_of(texts, look.decimal, named[place]) if texts else None
        if found is not None:
            return TimeGuess(place, None, *found)
    if look.cells.height == 0 and any(named):
        return TimeGuess(
            order[0], None, "ISO 8601", False, "The file has no rows; its time format is not known."
        )
    return _date_and_time(look, order)


def _date_and_time(look: FileLook, order: list[int]) -> TimeGuess | None:
    """Two columns, a date and a time of day, that together read as time."""
    dated = [place for place in order if _share(look, place, _DATE) > 0.9]
    timed = [place for place in order if _share(look, place, _TIME_OF_DAY) > 0.9]
    for date, clock in product(dated, timed):
        pairs = zip(look.cells[f"c{date}"].to_list(), look.cells[f"c{clock}"].to_list(), strict=True)
        texts = [f"{day} {time}" for day, time in pairs if day and time][:500]
        found = _form_of(texts, look.decimal, named=False) if texts else None
        if found is not None:
            return TimeGuess(clock, date, *found)
    return None


def _share(look: FileLook, place: int, pattern: re.Pattern[str]) -> float:
    texts = [cell for cell in look.cells[f"c{place}"].to_list() if cell][:100]
    return sum(1 for text in texts if pattern.fullmatch(text)) / len(texts) if texts else 0.0


def _form_of(texts: list[str], decimal: str, named: bool) -> tuple[str, bool, str] | None:
    raw = [text.encode() for text in texts]
    if _reads(raw, "ISO 8601"):
        return "ISO 8601", bool(read_texts(raw, "ISO 8601").aware.all()), ""
    epoch = _epoch_of(texts, decimal) if named else None
    if epoch is not None:
        return epoch, True, ""
    for date, clock in product(_OTHERS, _CLOCKS):
        if _reads(raw, f"{date} {clock}"):
            return f"{date} {clock}", False, ""
    both = {
        order: next(
            (f"{date} {clock}" for date, clock in product(dates, _CLOCKS) if _reads(raw, f"{date} {clock}")),
            "",
        )
        for order, dates in (("day", _DAY_FIRST), ("month", _MONTH_FIRST))
    }
    if not any(both.values()):
        return None
    if not all(both.values()):
        return both["day"] or both["month"], False, ""
    return _day_or_month_first(raw, both["day"], both["month"])


def _day_or_month_first(raw: list[bytes], day: str, month: str) -> tuple[str, bool, str]:
    """Both read: the one whose times lie closer together, or day first where the date is cut by points."""
    spans = {form: np.ptp(read_texts(raw, form).us) for form in (day, month)}
    if spans[day] != spans[month]:
        return min(spans, key=lambda form: spans[form]), False, ""
    likely = day if b"." in raw[0].split(b" ")[0] else month
    other = month if likely == day else day
    return likely, False, f"Day and month cannot be told apart here: the format may also be {other}."


def _reads(raw: list[bytes], time_format: str) -> bool:
    return bool(read_texts(raw, time_format).valid.mean() > 0.9)


def _epoch_of(texts: list[str], decimal: str) -> str | None:
    figures = []
    for text in texts:
        try:
            figures.append(float(text.replace(decimal, ".")))
        except ValueError:
            continue
    if len(figures) < 0.9 * len(texts):
        return None
    middle = float(np.median(figures))
    for name, scale in EPOCH_FORMATS.items():
        if _EPOCH_S[0] <= middle * scale / 1e6 <= _EPOCH_S[1]:
            return name
    return None

"""From a local clock to UTC: daylight saving, with the repeated hour told apart by the sequence of the log.

Rules come from the IANA time zone database through `zoneinfo`. When clocks are put back, one stretch of
local time happens twice. A log that runs on shows it: its clock falls back by the shift in mid-stretch. Where
it does not fall, the pass that leaves the smaller hole to the readings around it is taken, and that is told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import Complaint, LogError
from pipeline.log_notes import LogNote
from pipeline.messages import Message, message

Micros = NDArray[np.int64]
Mask = NDArray[np.bool_]

_DAY_US = 86_400_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
# The calendar of `zoneinfo` ends here; a clock beyond it is wrong anyway.
_FIRST_US, _LAST_US = -62_000_000_000_000_000, 253_000_000_000_000_000


@dataclass(frozen=True, slots=True)
class Transition:
    """A change of a zone's offset.

    Args:
        at_us: instant of the change [us of UTC].
        before_us: offset until then [us].
        after_us: offset from then on [us].
    """

    at_us: int
    before_us: int
    after_us: int


@dataclass(frozen=True, slots=True)
class UtcTimes:
    """Local times as UTC.

    Args:
        us: microseconds of UTC.
        notes: what is said of repeated stretches.
    """

    us: Micros
    notes: tuple[Message, ...]


def find_zone(name: str, where: str) -> ZoneInfo:
    """The zone of that name.

    Raises:
        LogError: the IANA database has no such zone.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise LogError(
            Complaint(
                where,
                f"there is no time zone '{name}'",
                "Write its IANA name, for example America/Chicago, Europe/Berlin, Etc/GMT+6 or UTC",
            )
        ) from None


def _offset_us(zone: ZoneInfo, at_us: int) -> int:
    offset = (_EPOCH + timedelta(microseconds=at_us)).astimezone(zone).utcoffset()
    return 0 if offset is None else round(offset.total_seconds() * 1e6)


@lru_cache(maxsize=4096)
def _changes_on_day(zone: ZoneInfo, day: int) -> tuple[Transition, ...]:
    """Changes between the start of one UTC day and the next (never two on a day in practice)."""
    low, high = day * _DAY_US, (day + 1) * _DAY_US
    before, after = _offset_us(zone, low), _offset_us(zone, high)
    if before == after:
        return ()
    while high - low > 1_000_000:
        middle = (low + high) // 2_000_000 * 1_000_000
        if _offset_us(zone, middle) == before:
            low = middle
        else:
            high = middle
    return (Transition(high, before, after),)


def _days_of(local_us: Micros) -> Micros:
    """The days on which the times `local_us` fall; every day between them where they are close."""
    low = int(np.clip(local_us.min(), _FIRST_US, _LAST_US)) // _DAY_US
    high = int(np.clip(local_us.max(), _FIRST_US, _LAST_US)) // _DAY_US
    if high - low <= 400:
        return np.arange(low, high + 1)
    return np.unique(np.clip(local_us, _FIRST_US, _LAST_US) // _DAY_US)


def transitions_near(local_us: Micros, zone: ZoneInfo) -> tuple[Transition, ...]:
    """The changes of offset within two days of any of the times `local_us`, in order."""
    wide = np.unique(_days_of(local_us)[:, None] + np.arange(-2, 3))
    return tuple(change for day in wide.tolist() for change in _changes_on_day(zone, day))


def utc_from_local(local_us: Micros, zone: ZoneInfo, before_us: int | None = None) -> UtcTimes:
    """UTC of a log's local times, in the order of the log.

    Times that `never_shown` names have no UTC; do not ask for them.

    Args:
        local_us: the local clock [us since 1970-01-01 of that clock].
        zone: the clock's zone.
        before_us: UTC [us] of the reading before the first, if there is one.
    """
    if local_us.size == 0:
        return UtcTimes(local_us, ())
    utc = local_us - _usual_offset(local_us, zone)
    notes: list[Message] = []
    for change in transitions_near(local_us, zone):
        low = change.at_us + min(change.before_us, change.after_us)
        high = change.at_us + max(change.before_us, change.after_us)
        utc = np.where((local_us >= low - 2 * _DAY_US) & (local_us < high), local_us - change.before_us, utc)
        utc = np.where((local_us >= high) & (local_us < high + 2 * _DAY_US), local_us - change.after_us, utc)
        between = (local_us >= low) & (local_us < high)
        if change.after_us < change.before_us and between.any():
            told = _resolve(local_us, utc, between, change, before_us)
            notes.append(_repeated(change, zone, int(between.sum()), told))
    return UtcTimes(utc, tuple(notes))


def local_from_utc(utc_us: Micros, zone: ZoneInfo) -> Micros:
    """The local clock's times of instants of UTC [us]: what `utc_from_local` was given."""
    if utc_us.size == 0:
        return utc_us
    local = utc_us + _usual_offset(utc_us, zone)
    for change in transitions_near(utc_us, zone):
        since = (utc_us >= change.at_us) & (utc_us // _DAY_US == change.at_us // _DAY_US)
        local = np.where(since, utc_us + change.after_us, local)
    return local


def never_shown(local_us: Micros, zone: ZoneInfo) -> Mask | None:
    """True where clocks in `zone` were put forward over that time; None if there is no such time at all."""
    skipped: Mask | None = None
    for change in transitions_near(local_us, zone) if local_us.size else ():
        if change.after_us > change.before_us:
            low, high = change.at_us + change.before_us, change.at_us + change.after_us
            inside = (local_us >= low) & (local_us < high)
            skipped = inside if skipped is None else skipped | inside
    return skipped if skipped is not None and skipped.any() else None


def _usual_offset(local_us: Micros, zone: ZoneInfo) -> Micros | int:
    """Offset [us] at the start of each day; near a change the caller knows better."""
    days = _days_of(local_us)
    offsets = np.array([_offset_us(zone, int(day) * _DAY_US) for day in days], np.int64)
    if (offsets == offsets[0]).all():
        return int(offsets[0])
    place = np.searchsorted(days, np.clip(local_us, _FIRST_US, _LAST_US) // _DAY_US)
    spread: Micros = offsets[place]
    return spread


def _resolve(
    local: Micros, utc: Micros, between: Mask, change: Transition, before_us: int | None
) -> tuple[Message, ...]:
    """Put every group of readings in the repeated stretch on its first or second pass; `utc` is changed."""
    shift = change.before_us - change.after_us
    rows = np.flatnonzero(between)
    groups = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    told: list[Message] = []
    for group in groups:
        first, last = int(group[0]), int(group[-1])
        falls = np.flatnonzero(np.diff(local[first : last + 1]) < -shift // 2)
        if falls.size:
            split = first + int(falls[0]) + 1
            told.append(message(LogNote.SEEN_FALLING))
        else:
            split, which = _pass_by_neighbours(local, utc, first, last, change, before_us)
            told.append(which)
        utc[first:split] = local[first:split] - change.before_us
        utc[split : last + 1] = local[split : last + 1] - change.after_us
    return tuple(dict.fromkeys(told))


def _pass_by_neighbours(
    local: Micros, utc: Micros, first: int, last: int, change: Transition, before_us: int | None
) -> tuple[int, Message]:
    """Where the second pass begins in a group whose clock never falls: at its start or behind its end."""
    previous = int(utc[first - 1]) if first > 0 else before_us
    following = int(utc[last + 1]) if last + 1 < local.size else None
    if previous is None and following is None:
        return last + 1, message(LogNote.NO_HINT)
    costs = []
    for offset in (change.before_us, change.after_us):
        holes = [] if previous is None else [int(local[first]) - offset - previous]
        holes += [] if following is None else [following - int(local[last]) + offset]
        costs.append(sum(_unlikely(hole) for hole in holes))
    is_first = costs[0] <= costs[1]
    told = message(LogNote.TAKEN_AS_FIRST if is_first else LogNote.TAKEN_AS_SECOND)
    return last + 1 if is_first else first, told


def _unlikely(hole_us: int) -> float:
    """How far a hole between readings speaks against a pass: one long hole less than two, going back most."""
    return math.log1p(hole_us) if hole_us >= 0 else 100.0 + math.log1p(-hole_us)


def _clock(us: int) -> str:
    return (_EPOCH + timedelta(microseconds=us)).strftime("%Y-%m-%d %H:%M")


def _repeated(change: Transition, zone: ZoneInfo, count: int, told: tuple[Message, ...]) -> Message:
    low, high = _clock(change.at_us + change.after_us), _clock(change.at_us + change.before_us)[-5:]
    return message(LogNote.REPEATED_HOUR, zone=zone.key, low=low, high=high, n=count, told=told)


def standard_zone(zone: ZoneInfo, near_us: int) -> str:
    """The zone without daylight saving that a clock in `zone` keeps if it is never put forward."""
    year = 366 * _DAY_US
    return fixed_zone(min(_offset_us(zone, near_us), _offset_us(zone, near_us - year // 2)))


def fixed_zone(offset_us: int) -> str:
    """IANA name of a fixed offset of whole hours; the sign of these names runs against ISO 8601."""
    hours = round(offset_us / 3_600_000_000)
    return "UTC" if hours == 0 else f"Etc/GMT{-hours:+d}"

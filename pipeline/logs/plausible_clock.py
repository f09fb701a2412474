"""Whether the logs of a run are on one clock: a log in another time zone is named before it is placed.

Two hints are used. Lists of events give the same length counter as the readings when both clocks agree. And the
logs of a run begin and end together: a log that lies beside the others, and fits them when moved by whole quarters
of an hour, is in another zone (offsets in use are multiples of 15 minutes, IANA time zone database).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import Complaint
from pipeline.log_notes import LogNote
from pipeline.messages import Message, message

Micros = NDArray[np.int64]
Floats = NDArray[np.float64]

QUARTER_US = 15 * 60 * 1_000_000
# Zones reach from 12 hours behind to 14 hours ahead of UTC, so two zones differ by 26 hours at most.
FARTHEST = 26 * 4
SLACK_US = 120 * 1_000_000
_NEAR_M = 5.0
# Fewer events than this may lie outside for other reasons.
_FEW = 3


@dataclass(frozen=True, slots=True)
class ClockedLog:
    """A log as far as its clock goes.

    Args:
        name: its files, as in the run sheet.
        kind: readings, or which events.
        times_us: its instants, sorted [us of UTC].
        counter_m: the length counter at those instants [m]; None where the log gives none.
    """

    name: str
    kind: str
    times_us: Micros
    counter_m: Floats | None


def clock_complaints(logs: list[ClockedLog]) -> tuple[Complaint, ...]:
    """Logs that are certainly on another clock than the rest of the run.

    Args:
        logs: every log of the run that gives times; the first one of readings that carries the length counter, or
            else the first one of readings, is held to be right.
    """
    right = _right_one(logs)
    if right is None:
        return ()
    found = []
    for log in logs:
        if log is right or log.times_us.size == 0:
            continue
        shift = _shift_of(log, right)
        if shift:
            found.append(
                Complaint(
                    log.name,
                    f"its times do not fit those of {right.name}, but would if moved by {_hours(shift)}: it is "
                    "likely in another time zone",
                    "Set 'zone' of its time in the run sheet (or correct that of the other log)",
                )
            )
    return tuple(found)


def clock_notes(logs: list[ClockedLog]) -> tuple[Message, ...]:
    """What is said of events outside the time that the readings cover."""
    readings = [log for log in logs if log.kind == "readings" and log.times_us.size]
    if not readings:
        return ()
    start = min(int(log.times_us[0]) for log in readings)
    end = max(int(log.times_us[-1]) for log in readings)
    notes = []
    for log in logs:
        if log.kind == "readings":
            continue
        outside = int(np.count_nonzero((log.times_us < start) | (log.times_us > end)))
        if outside:
            every = int(log.times_us.size)
            notes.append(
                message(LogNote.EVENTS_OUTSIDE, file=log.name, outside=outside, all=every, kind=log.kind)
            )
    return tuple(notes)


def _right_one(logs: list[ClockedLog]) -> ClockedLog | None:
    readings = [log for log in logs if log.kind == "readings" and log.times_us.size]
    return next((log for log in readings if log.counter_m is not None), readings[0] if readings else None)


def _shift_of(log: ClockedLog, right: ClockedLog) -> int:
    """Quarters of an hour by which `log` must be moved to fit `right`; 0 if it fits, or if nothing makes it."""
    by_counter = _shift_by_counter(log, right)
    if by_counter is not None:
        return by_counter
    if log.kind == "readings":
        return _shift_by_ends(log.times_us, right.times_us)
    return _shift_by_cover(log.times_us, right.times_us)


def _shift_by_ends(times: Micros, right: Micros) -> int:
    """Readings begin and end with the run: both ends off by the same quarters of an hour, and by little else."""
    first, last = int(right[0] - times[0]), int(right[-1] - times[-1])
    quarters = round((first + last) / 2 / QUARTER_US)
    off = quarters * QUARTER_US
    fits = abs(first - off) <= SLACK_US and abs(last - off) <= SLACK_US
    return quarters if fits and abs(quarters) <= FARTHEST else 0


def _shift_by_cover(times: Micros, right: Micros) -> int:
    """Events happen while the line runs: all are outside the run, and the least shift puts them all inside."""
    if times.size < _FEW:
        return 0
    low, high = int(right[0]) - SLACK_US, int(right[-1]) + SLACK_US
    if bool(((times >= low) & (times <= high)).any()):
        return 0
    for size in range(1, FARTHEST + 1):
        for quarters in (size, -size):
            moved = times + quarters * QUARTER_US
            if int(moved[0]) >= low and int(moved[-1]) <= high and quarters % 4 == 0:
                return quarters
    return 0


def _shift_by_counter(log: ClockedLog, right: ClockedLog) -> int | None:
    """The shift at which both logs show the same length at the same time; None if lengths cannot tell."""
    if log.counter_m is None or right.counter_m is None:
        return None
    some = slice(None, None, max(1, log.times_us.size // 200))
    times, lengths = log.times_us[some], log.counter_m[some]
    known = np.isfinite(lengths)
    there = np.isfinite(right.counter_m)
    times, lengths = times[known], lengths[known]
    if times.size < 3 or np.count_nonzero(there) < 3:
        return None

    known_us, known_m = right.times_us[there], right.counter_m[there]

    def apart(quarters: int) -> float:
        moved = times + quarters * QUARTER_US
        expected = np.interp(moved, known_us, known_m, left=np.nan, right=np.nan)
        inside = np.isfinite(expected)
        if np.count_nonzero(inside) < max(3, times.size // 2):
            return np.inf
        return float(np.median(np.abs(expected[inside] - lengths[inside])))

    if apart(0) <= _NEAR_M * 10:
        return 0
    fits = [(apart(q), abs(q), q) for size in range(1, FARTHEST + 1) for q in (size, -size)]
    best = min(fits)
    return best[2] if best[0] <= _NEAR_M else None


def _hours(quarters: int) -> str:
    minutes = quarters * 15
    sign = "+" if minutes > 0 else "-"
    hours, rest = divmod(abs(minutes), 60)
    return f"{sign}{hours} h" if rest == 0 else f"{sign}{hours} h {rest} min"

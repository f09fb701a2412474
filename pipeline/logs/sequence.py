"""In which order the rows of one log file belong, and where its clock went wrong.

A row whose clock is earlier than the row before it is either late (written after its time: it belongs where its time
says) or the logger's clock was set back (the rows belong in the order of the file). The length counter decides where
there is one: it goes on over a clock step, and falls back for a late row to where the row's time puts it. Rows that
fall elsewhere are another run's, and stay in the order of the file. Without a counter, late rows fill a hole in time,
rows after a step fall among rows that are already there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.log_notes import LogNote
from pipeline.messages import Message, message

Micros = NDArray[np.int64]
Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

_MANY = 500
# Rows looked at around a jump: more than five hours at 10 Hz.
_NEAR = 200_000
_FEW = 2000
_PART = 1 << 20
_COUNTER_SLACK_M = 1.0
_STEP_LEAST_US = 2_000_000


@dataclass(frozen=True, slots=True)
class RowOrder:
    """How the rows of a file are to be put in order.

    Args:
        key_us: sort by this, then by line: the row's time; after a clock set back, the latest before it.
        backwards: rows whose clock is earlier than the row before them in the file.
        steps: rows at which the clock was set forward or back.
        notes: what a reader of the run must know.
    """

    key_us: Micros
    backwards: Rows
    steps: Rows
    notes: tuple[Message, ...]


def row_order(utc_us: Micros, counter_m: Floats | None, speed_m_s: Floats | None, name: str) -> RowOrder:
    """The order of the rows of file `name`.

    Args:
        utc_us: instants in the order of the file [us of UTC].
        counter_m: length counter, NaN where there is none [m].
        speed_m_s: line speed, NaN where there is none [m/s].
        name: the file, for notes.
    """
    none = np.zeros(0, np.int64)
    if utc_us.size < 2:
        return RowOrder(utc_us, none, none, ())
    forward = _set_forward(utc_us, counter_m, speed_m_s)
    backwards = rows_apart(utc_us, lambda apart: apart < 0)
    key, set_back, late = utc_us, none, 0
    if backwards.size > _MANY:
        late = backwards.size
    elif backwards.size:
        key, set_back, late = _sorted_out(utc_us, backwards, counter_m)
    notes = _notes(utc_us, set_back, forward, late, name)
    return RowOrder(key, backwards, np.union1d(set_back, forward), notes)


def rows_apart(utc_us: Micros, is_meant: Callable[[Micros], NDArray[np.bool_]]) -> Rows:
    """Rows whose time from the row before is one that `is_meant`, looked for a part at a time to spare memory."""
    found = [np.zeros(0, np.int64)]
    for start in range(0, utc_us.size - 1, _PART):
        apart = np.diff(utc_us[start : start + _PART + 1])
        found.append(np.flatnonzero(is_meant(apart)) + start + 1)
    return np.concatenate(found)


def _sorted_out(utc: Micros, backwards: Rows, counter: Floats | None) -> tuple[Micros, Rows, int]:
    """Sort key, rows at which the clock was set back, and how many times rows came late."""
    latest = np.maximum.accumulate(utc)
    key = utc.copy()
    set_back: list[int] = []
    late = 0
    done = 0
    for row in backwards.tolist():
        if row < done:
            continue
        # The stretch until the clock has caught up with the latest time before it.
        end = _caught_up(utc, row, int(latest[row - 1]))
        if _was_set_back(utc, row, end, counter):
            set_back.append(row)
            key[row:end] = latest[row - 1]
            done = end
        else:
            late += 1
    return key, np.array(set_back, np.int64), late


def _caught_up(utc: Micros, row: int, latest_us: int) -> int:
    """The first row from `row` on whose clock is not behind `latest_us`; the end of the file if there is none."""
    for start in range(row, utc.size, _NEAR):
        found = np.flatnonzero(utc[start : start + _NEAR] >= latest_us)
        if found.size:
            return start + int(found[0])
    return utc.size


def _was_set_back(utc: Micros, row: int, end: int, counter: Floats | None) -> bool:
    """True if the clock was set back at `row`, False if the rows up to `end` came late."""
    stretch = utc[row : min(end, row + _NEAR)]
    before = np.sort(utc[max(0, row - max(_FEW, 4 * stretch.size)) : row])
    if counter is not None and np.isfinite(counter[row - 1]) and np.isfinite(counter[row]):
        # Where the counter stood when the clock showed this time before; it says most if the wire moved since.
        then = _row_of(utc, row, int(utc[row]))
        if abs(counter[row - 1] - counter[then]) > _COUNTER_SLACK_M:
            on = counter[row] - counter[row - 1] >= -_COUNTER_SLACK_M
            return bool(on or not _fits_among(counter[row], counter[then], counter[min(then + 1, row - 1)]))
    among = np.searchsorted(before, stretch.max(), "right") - np.searchsorted(before, stretch.min(), "left")
    places = np.minimum(np.searchsorted(before, stretch), before.size - 1)
    twins = np.count_nonzero(before[places] == stretch)
    return bool(among > 0 and twins < stretch.size / 2)


def _fits_among(counter_m: float, before_m: float, after_m: float) -> bool:
    """Whether a late row's counter lies between those its time puts it between; another run's rows do not."""
    low, high = min(before_m, after_m), max(before_m, after_m)
    return not (counter_m < low - _COUNTER_SLACK_M or counter_m > high + _COUNTER_SLACK_M)


def _row_of(utc: Micros, row: int, at_us: int) -> int:
    """The last row before `row` whose clock was not yet past `at_us`; the first row near if there is none."""
    for stop in range(row, max(0, row - _NEAR), -_FEW):
        found = np.flatnonzero(utc[max(0, stop - _FEW) : stop] <= at_us)
        if found.size:
            return max(0, stop - _FEW) + int(found[-1])
    return max(0, row - _NEAR)


def _set_forward(utc: Micros, counter: Floats | None, speed: Floats | None) -> Rows:
    """Rows before which the clock jumped ahead while the wire did not move as far as it runs in that time."""
    if counter is None or speed is None:
        return np.zeros(0, np.int64)
    some = np.arange(0, utc.size - 1, max(1, (utc.size - 1) // 100_000))
    usual = max(float(np.median(utc[some + 1] - utc[some])), 0.0)
    gaps = rows_apart(utc, lambda apart: apart > max(_STEP_LEAST_US, 20 * usual)) - 1
    moved = counter[gaps + 1] - counter[gaps]
    slower = np.fmin(speed[gaps], speed[gaps + 1])
    possible = slower * (utc[gaps + 1] - utc[gaps]) / 1e6
    with np.errstate(invalid="ignore"):
        jumped = (slower > 0.5) & (moved >= 0.0) & (moved < 0.2 * possible)
    rows: Rows = gaps[jumped] + 1
    return rows


def _notes(utc: Micros, set_back: Rows, forward: Rows, late: int, name: str) -> tuple[Message, ...]:
    def step(code: LogNote, row: int, sign: float) -> Message:
        seconds = sign * float(utc[row] - utc[row - 1]) / 1e6
        return message(code, file=name, seconds=seconds, at=_stamp(utc[row]))

    notes = [step(LogNote.CLOCK_BACK, row, -1.0) for row in set_back[:5].tolist()]
    notes += [step(LogNote.CLOCK_FORWARD, row, 1.0) for row in forward[:5].tolist()]
    more = max(0, set_back.size - 5) + max(0, forward.size - 5)
    if more:
        notes.append(message(LogNote.MORE_CLOCK_STEPS, file=name, more=more))
    if late:
        notes.append(message(LogNote.LATE_ROWS, file=name, places=late))
    return tuple(notes)


def _stamp(us: np.int64) -> str:
    return str(np.datetime64(int(us), "us").astype("datetime64[s]")).replace("T", " ")

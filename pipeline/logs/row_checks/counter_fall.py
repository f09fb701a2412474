"""Where the length counter fell back: started again, or showed a wrong figure for a moment.

A counter that falls by more than 10 m and stays there was reset or has wrapped. One that is back where it was
within three readings only misread; those readings are spikes. Smaller falls are wire pulled back, which
`pipeline.length` places. 10 m and three readings: common practice, no source.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

FALL_M = 10.0
MOMENT = 3
_PART = 1 << 20
_SAMPLE = 100_000
_NONE = np.zeros(0, np.int64)


def counter_falls(counter_m: Floats) -> tuple[Rows, Rows]:
    """Places of the first reading after each reset, and places of misread figures.

    Args:
        counter_m: the length counter [m] in the order of the log, without gaps.
    """
    if counter_m.size < 2:
        return _NONE, _NONE
    falls = _falls(counter_m)
    if falls.size == 0:
        return _NONE, _NONE
    resets: list[int] = []
    misread: list[int] = []
    some = np.arange(0, counter_m.size - 1, max(1, counter_m.size // _SAMPLE))
    pace = FALL_M + MOMENT * 2.0 * float(np.median(np.abs(counter_m[some + 1] - counter_m[some])))
    for fall in falls.tolist():
        dip = _back_after_dip(counter_m, fall)
        peak = _up_before_fall(counter_m, fall, pace)
        if dip:
            misread.extend(range(fall, dip))
        elif peak:
            misread.extend(range(peak, fall))
        else:
            resets.append(fall)
    return np.array(resets, np.int64), np.array(misread, np.int64)


def _falls(counter: Floats) -> Rows:
    """Places of figures that are 10 m and more below the one before, looked for a part at a time."""
    found = [_NONE]
    for start in range(0, counter.size, _PART):
        part = counter[start : start + _PART + 1]
        found.append(np.flatnonzero(np.diff(part) < -FALL_M) + start + 1)
    return np.concatenate(found)


def _back_after_dip(counter: Floats, fall: int) -> int:
    """Where the counter is back at the level before `fall`, if that is within a moment; else 0."""
    for place in range(fall + 1, min(fall + MOMENT + 1, counter.size)):
        if counter[fall - 1] - FALL_M <= counter[place] <= counter[fall - 1] + FALL_M * MOMENT:
            return place
    return 0


def _up_before_fall(counter: Floats, fall: int, pace: float) -> int:
    """Where the counter leapt up within a moment before `fall`, if it then fell back to where it was; else 0."""
    for place in range(fall - 1, max(fall - MOMENT - 1, 0), -1):
        leapt = counter[place] - counter[place - 1] > pace
        if leapt and abs(counter[fall] - counter[place - 1]) <= pace:
            return place
    return 0

"""Where did the length counter lose its grip on the wire? Counter against line speed.

The deficit of the counter against the speed is followed by a one-sided CUSUM (E.S. Page, Continuous
inspection schemes, Biometrika 41, 1954; from memory). The allowance takes up a speed error of some per cent
and a filtered speed signal on a ramp. A slow disagreement is told, never mended.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.length.counter import CounterEvent
from pipeline.messages import Between, Measure, message
from pipeline.warned import Counted

Floats = NDArray[np.float64]

ALLOWED_SHARE = 0.05
ALLOWED_LAG_S = 0.5
_LONGEST_GAP_S = 2.0
_MOST_SLIPS = 200
_BLOCK_S = 60.0


def counter_scale(at_m: Floats, run_m: Floats, seconds: Floats) -> float:
    """Counter length per length by line speed: the median over minutes in which the wire ran.

    Args:
        at_m: repaired counter [m].
        run_m: length by line speed, the running integral of speed over time [m].
        seconds: time of each row [s].

    Returns:
        The ratio; 1 where there is nothing to compare.
    """
    if at_m.size < 3:
        return 1.0
    edges = np.searchsorted(seconds, np.arange(seconds[0], seconds[-1] + _BLOCK_S, _BLOCK_S))
    edges = np.unique(np.minimum(np.append(edges, at_m.size - 1), at_m.size - 1))
    by_speed, by_counter = np.diff(run_m[edges]), np.diff(at_m[edges])
    moved = by_speed > 5.0
    if not bool(moved.any()):
        return 1.0
    return float(np.median(by_counter[moved] / by_speed[moved]))


def find_slips(
    at_m: Floats, speed_m_s: Floats, expected_m: Floats, gap_s: Floats, resolution_m: float, scale: float
) -> list[tuple[int, int]]:
    """Rows between which the counter ran short of the line speed, as (first, last) positions.

    S_i = max(0, S_(i-1) + expected_i - step_i - k_i) with k_i = 5 % of the expected step plus half a
    second's change of speed; a slip is called when S passes h = max(1 m, 5 counter steps).

    Args:
        at_m: repaired counter [m].
        speed_m_s: line speed [m/s].
        expected_m: wire the speed says ran between each row and the next [m].
        gap_s: time between each row and the next [s].
        resolution_m: smallest step of the counter [m].
        scale: counter length per length by speed, so that a plain scale error is no slip.

    Returns:
        The slips; steps over a gap in the log longer than 2 s are not judged.
    """
    allowance = ALLOWED_SHARE * np.abs(expected_m) + ALLOWED_LAG_S * np.abs(np.diff(speed_m_s))
    drift = scale * expected_m - np.diff(at_m) - allowance
    drift[(gap_s > _LONGEST_GAP_S) | ~np.isfinite(drift)] = 0.0
    limit = max(1.0, 5.0 * resolution_m)
    slips: list[tuple[int, int]] = []
    start = 0
    while start < drift.size and len(slips) < _MOST_SLIPS:
        total = np.cumsum(drift[start:])
        lowest = np.minimum(np.minimum.accumulate(total), 0.0)
        over = total - lowest > limit
        alarm = int(np.argmax(over))
        if not over[alarm]:
            break
        begun = np.flatnonzero(total[: alarm + 1] <= lowest[: alarm + 1])
        first = start + (int(begun[-1]) + 1 if begun.size else 0)
        last = _slip_end(drift, start + alarm)
        slips.append((first, last + 1))
        start = last + 1
    return slips


def _slip_end(drift: Floats, alarm: int) -> int:
    """Last step that still runs short: the one before ten steps that together do not."""
    at = alarm
    while at < drift.size:
        piece = drift[at : at + 100_000]
        total = np.concatenate(([0.0], np.cumsum(piece)))
        if total.size <= 10:
            return drift.size - 1
        calm = np.flatnonzero(total[10:] - total[:-10] <= 0.0)
        if calm.size:
            end = at + int(calm[0])
            # Step back over the calm steps the ten-step sum had to wait for.
            short = np.flatnonzero(drift[max(alarm - 1, 0) : end + 10] > 0.0)
            return max(alarm, (max(alarm - 1, 0) + int(short[-1])) if short.size else alarm)
        at += piece.size - 10 if piece.size > 10 else piece.size
    return drift.size - 1


def mend_slips(
    at_m: Floats, expected_m: Floats, slips: list[tuple[int, int]], scale: float
) -> tuple[Floats, list[CounterEvent]]:
    """The length with each slip's steps taken from the line speed, and the events that say so.

    Args:
        at_m: repaired counter [m].
        expected_m: wire the speed says ran between each row and the next [m].
        slips: first and last row of each slip.
        scale: counter length per length by speed.

    Returns:
        The mended length [m] and one event a slip, with 5 % of the mended length as its uncertainty.
    """
    if not slips:
        return at_m, []
    step = np.diff(at_m)
    mended = step.copy()
    for first, last in slips:
        mended[first:last] = np.maximum(scale * expected_m[first:last], step[first:last])
    length = at_m + np.concatenate(([0.0], np.cumsum(mended - step)))
    events = []
    for first, last in slips:
        lost = float((mended[first:last] - step[first:last]).sum())
        begin, end = float(length[first]), float(length[last])
        events.append(
            CounterEvent(
                "slip",
                first,
                last,
                begin,
                lost,
                ALLOWED_SHARE * (end - begin),
                message(Counted.SLIP, lost=Measure(lost, "m"), span=Between(begin, end)),
            )
        )
    return length, events

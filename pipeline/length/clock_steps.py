"""Where may an event lie whose time the logger's clock gave twice, skipped, or gave while nothing was logged?

Where a clock was set back, instants come twice: an event then has a place before the step and one after it. Where it
was set forward, instants are missing. And the clock of the event's own list may not have been set at all, so the place
by the time that really passed stays possible from the step on (derived). In a gap of the log an event may lie on any
wire that ran meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from pipeline.length.log_gaps import GAP_READINGS, rows_missing, spacing_s

Floats = NDArray[np.float64]

# The wire moves less than this share of what its speed makes in a step of the clock that is no time (chosen here).
MOVED_SHARE = 0.5
# Stamps are coarser than the log where at least this share of its rows has the stamp of a neighbor (chosen here).
STAMPS_SHARE = 0.75
# A stamp with fewer than this share of the usual rows has lost some (chosen here).
WHOLE_STAMP = 0.75


@dataclass(frozen=True)
class ClockSteps:
    """Steps of a logger's clock.

    Args:
        rows: the first row after each step.
        by_s: by how much the clock was set, forward above 0 [s].
        passed_s: time that passed up to each row, from the first [s].
    """

    rows: NDArray[np.int64]
    by_s: Floats
    passed_s: Floats


def spread_stamps(clock_s: Floats) -> Floats:
    """Times of rows [s]; rows that share a stamp coarser than the log lie evenly within it, in the order written.

    Args:
        clock_s: what the clock showed at each row, in the order the rows were written [s].

    Returns:
        The same times where stamps are as fine as the log. A stamp says when its tick began, so its rows lie between it
        and the next (derived); the first stamp of a log may be cut off at its front.
    """
    step = np.diff(clock_s)
    shared = step == 0.0
    beside = np.concatenate(([False], shared)) | np.concatenate((shared, [False]))
    positive = step[step > 0.0]
    if positive.size < 2 or beside.mean() < STAMPS_SHARE:
        return clock_s
    tick = float(np.median(positive))
    first = np.flatnonzero(np.concatenate(([True], ~shared)))
    rows = np.diff(np.append(first, clock_s.size))
    usual = float(np.median(rows))
    parts = np.where(rows < WHOLE_STAMP * usual, usual, rows).astype(np.float64)
    before = np.zeros(first.size)
    before[0] = parts[0] - rows[0]
    number = np.arange(clock_s.size) - np.repeat(first, rows)
    spread: Floats = clock_s + tick * (number + np.repeat(before, rows)) / np.repeat(parts, rows)
    return spread


def clock_steps(clock_s: Floats, counter_m: Floats | None, speed_m_s: Floats | None) -> ClockSteps:
    """The steps of a clock, and the time that passed.

    Args:
        clock_s: what the clock showed at each row, in the order the rows were written, from the first [s].
        counter_m: length counter at each row [m]; None where there is none.
        speed_m_s: line speed at each row [m/s]; None where there is none.
    """
    step = np.diff(clock_s)
    if step.size == 0:
        return ClockSteps(np.zeros(0, np.int64), np.zeros(0), np.zeros(clock_s.size))
    usual = spacing_s(np.maximum.accumulate(clock_s))
    back = step < -1e-6
    forward = np.zeros(step.size, dtype=np.bool_)
    took = np.full(step.size, usual)
    if counter_m is not None and speed_m_s is not None:
        moved = np.diff(counter_m)
        speed = np.fmin(speed_m_s[1:], speed_m_s[:-1])
        with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
            slow = (speed > 0.1) & (moved >= 0.0) & (moved < MOVED_SHARE * speed * step)
            forward = slow & (step > max(2.0 * GAP_READINGS * usual, 1e-6))
            took = np.where((speed > 0.1) & (moved >= 0.0), np.maximum(moved / speed, usual), usual)
    rows = np.flatnonzero(back | forward)
    by_s = step[rows] - took[rows]
    passed = clock_s.copy()
    for row, by in zip(rows.tolist(), by_s.tolist(), strict=True):
        passed[row + 1 :] -= by
    return ClockSteps(rows + 1, by_s, np.maximum.accumulate(passed))


def possible_m(at_s: Floats, clock_s: Floats, steps: ClockSteps, at_m: Floats) -> list[list[float]]:
    """Every length [m] at which an event of each instant may have happened.

    Args:
        at_s: what the event's clock showed, on the scale of `clock_s` [s].
        clock_s: what the logger's clock showed at each row [s].
        steps: its steps.
        at_m: length made up to each row [m].

    Returns:
        For each event its places, without those nearer together than the wire between two rows; empty where no clock
        ever showed its instant.
    """
    slack = 1.5 * spacing_s(steps.passed_s)
    edges = [0, *steps.rows.tolist(), clock_s.size]
    after = [float(clock_s[row - 1 : row + 1].min()) for row in steps.rows.tolist()]
    first = min(after, default=np.inf)
    found = []
    for instant in at_s.tolist():
        places = [
            float(np.interp(instant, clock_s[a:b], at_m[a:b]))
            for a, b in pairwise(edges)
            if clock_s[a] - slack <= instant <= clock_s[b - 1] + slack
        ]
        # From the first step on the list's clock may have gone on unset.
        if max(first, -slack) <= instant <= float(steps.passed_s[-1]) + slack:
            places.append(float(np.interp(instant, steps.passed_s, at_m)))
        found.append(sorted(set(places)))
    return found


def gap_m(at_s: Floats, seconds: Floats, at_m: Floats) -> tuple[Floats, Floats]:
    """Wire that ran while the log missed rows, for events in such a gap: its first and last metre, NaN elsewhere [m].

    Args:
        at_s: instants of the events [s].
        seconds: time of each row, not falling [s].
        at_m: length made up to each row [m].
    """
    low, high = np.full((2, at_s.size), np.nan)
    if seconds.size < 2:
        return low, high
    missing = rows_missing(seconds)
    step = np.clip(np.searchsorted(seconds, at_s, side="right") - 1, 0, seconds.size - 2)
    within = missing[step] & (at_s >= seconds[0]) & (at_s <= seconds[-1])
    low[within], high[within] = at_m[step[within]], at_m[step[within] + 1]
    return low, high

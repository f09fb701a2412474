"""Between which rows of a log did wire pass that nothing read? Rows further apart than the log's own spacing.

A row says what stood before the instruments at its instant, and its neighbours say it of the wire up to half way.
Where rows are missing, whatever instrument reads them, the wire that passed is unread and untested. A line that
stood meanwhile made no wire, so a gap in a stop leaves none.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Neighbours further apart than this many of the log's own steps have a row missing between them: midway between one
# step and two (chosen here).
GAP_READINGS = 1.5


def spacing_s(seconds: Floats) -> float:
    """The log's own time between rows [s]: the median of its steps; 0 for fewer than two rows.

    Args:
        seconds: time of each row, not falling [s].

    Where several rows carry one stamp, because stamps are coarser than the log, the mean of the steps up to the
    least that is told apart stands for it.
    """
    steps = np.diff(seconds)
    if steps.size == 0:
        return 0.0
    median = float(np.median(steps))
    if median > 0.0:
        return median
    stamped = steps[steps > 0.0]
    return float(stamped.min()) / (1.0 + (steps == 0.0).sum() / stamped.size) if stamped.size else 0.0


def rows_missing(seconds: Floats) -> Mask:
    """True for each step between neighbouring rows in which the log misses at least one row.

    Args:
        seconds: time of each row, not falling [s].

    Returns:
        One value fewer than rows.
    """
    steps = np.diff(seconds)
    # Stamps coarser than the log make steps of 0 and of one stamp by turns: no row is missing up to one stamp.
    coarse = steps[steps > 0.0].min() if bool((steps == 0.0).any()) and bool((steps > 0.0).any()) else 0.0
    missing: Mask = steps > max(GAP_READINGS * spacing_s(seconds), float(coarse)) * (1.0 + 1e-9) + 1e-6
    return missing


def wire_missing(seconds: Floats, front_m: Floats, speed_m_s: Floats, resolution_m: float) -> Mask:
    """True for each step in which more wire passed than the rows' speed makes in one step of the log.

    A leap of the length counter leaves wire unread although no row is missing.

    Args:
        seconds: time of each row, not falling [s].
        front_m: length made up to each row [m].
        speed_m_s: line speed at each row [m/s].
        resolution_m: smallest step the counter shows [m].

    Returns:
        One value fewer than rows.
    """
    speed = np.abs(speed_m_s)
    fastest = np.maximum(speed[1:], speed[:-1])
    usual = GAP_READINGS * fastest * np.maximum(spacing_s(seconds), np.diff(seconds))
    missing: Mask = np.diff(front_m) > usual + 2.0 * resolution_m + 1e-6
    return missing


def unlogged_wire(seconds: Floats, front_m: Floats, speed_m_s: Floats, resolution_m: float) -> Floats:
    """Wire at the die that ran while the log missed rows, one row a gap [m]; not merged.

    Args:
        seconds: time of each row, not falling [s].
        front_m: length made up to each row [m].
        speed_m_s: line speed at each row [m/s].
        resolution_m: smallest step the counter shows [m].
    """
    if seconds.size < 2:
        return np.zeros((0, 2))
    passed = np.diff(front_m) > 0.0
    gap = (rows_missing(seconds) | wire_missing(seconds, front_m, speed_m_s, resolution_m)) & passed
    at = np.flatnonzero(gap)
    return np.stack([front_m[at], front_m[at + 1]], axis=1)

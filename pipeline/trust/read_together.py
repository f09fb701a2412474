"""Do the sensors of a ring read one place of the wire together, or does one reading stand for several places?

One sensor that goes round the wire leaves in the other columns their last figure, or its own. Mean and offset are
then made of walls of several places, and short damage on the side that it does not face is in none of them.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Rows = NDArray[np.int64]

# Readings in a window, half of which the next shares, and the fewest that tell anything (chosen here).
WINDOW, FEWEST = 400, 100
# Changing together so many standard deviations more seldom than by chance, and under this share of it.
APART_SD, APART_SHARE = 5.0, 0.7
# Share of rows with one figure in every column, and of rows where that figure leaps by two steps of the gauge or more:
# sensors of their own have noise of their own, and do not leap together to the last digit.
ALIKE_SHARE, LEAPS_SHARE = 0.5, 0.05


def not_read_together(walls: Floats) -> Mask:
    """Rows of windows in which the sensors take turns, or all show one figure that moves.

    Args:
        walls: readings of the sensors, rows x sensors [mm], of moving wire only; NaN where there is none.
    """
    found = np.zeros(walls.shape[0], dtype=np.bool_)
    walls = walls[:, np.isfinite(walls).mean(axis=0) > 0.5] if walls.size else walls
    known = np.flatnonzero(np.isfinite(walls).all(axis=1))
    if walls.shape[1] < 2 or known.size < FEWEST:
        return found
    whole = walls[known]
    steps = np.abs(np.diff(pl.Series(whole.ravel()).unique().sort().to_numpy()))
    least = float(steps[steps > 1e-9].min(initial=np.inf))
    starts = np.arange(0, max(known.size - WINDOW // 2, 1), WINDOW // 2)
    starts = starts[known.size - starts >= FEWEST]
    ends = np.minimum(starts + WINDOW, known.size)
    for start in starts[_in_turns(whole, starts, ends) | _alike(whole, least, starts, ends)].tolist():
        found[known[start : start + WINDOW]] = True
    return found


def _counts(true: Mask, starts: Rows, ends: Rows) -> Rows:
    """How many are true in each window."""
    total = np.zeros((true.shape[0] + 1, *true.shape[1:]), dtype=np.int64)
    np.cumsum(true, axis=0, out=total[1:])
    return np.asarray(total[ends] - total[starts])


def _in_turns(walls: Floats, starts: Rows, ends: Rows) -> Mask:
    """Windows in which sensors change in one row far more seldom than sensors that know nothing of each other would.

    Of the pairs that change in one row, mean and variance for independent sensors are by the elementary symmetric
    polynomials of their shares of changes (factorial moments of a Poisson-binomial count; derived here).
    """
    changed = np.diff(walls, axis=0) != 0.0
    rows = ends - starts - 1
    share = np.zeros((5, starts.size))
    share[0] = 1.0
    for one in (_counts(changed, starts, ends - 1) / rows[:, None]).T:
        share[1:] += one * share[:-1]
    together = changed.sum(axis=1)
    pairs = np.array(
        [int(together[a:b] @ (together[a:b] - 1)) for a, b in zip(starts, ends - 1, strict=True)]
    )
    pairs = pairs / 2.0 / rows
    variance = share[2] + 6.0 * share[3] + 6.0 * share[4] - share[2] ** 2
    apart = (share[2] - pairs) / np.sqrt(np.maximum(variance, 1e-12) / rows)
    return np.asarray((pairs < APART_SHARE * share[2]) & (apart > APART_SD))


def _alike(walls: Floats, step: float, starts: Rows, ends: Rows) -> Mask:
    """Windows in which every sensor shows one figure most of the time, through leaps of two steps and more."""
    alike = np.ptp(walls, axis=1) < step / 2.0
    leaps = alike[1:] & alike[:-1] & (np.abs(np.diff(walls[:, 0])) > 1.5 * step)
    often = _counts(alike, starts, ends) / (ends - starts) > ALIKE_SHARE
    return np.asarray(often & (_counts(leaps, starts, ends - 1) / (ends - starts - 1) > LEAPS_SHARE))

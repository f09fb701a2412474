"""Do the sensors of a ring read one place of the wire together, or does one reading stand for several places?

One sensor that goes round the wire leaves in the other columns their last figure, or its own. Mean and offset are
then made of walls of several places, and short damage on the side that it does not face is in none of them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

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
    steps = np.abs(np.diff(np.unique(whole)))
    least = float(steps[steps > 1e-9].min(initial=np.inf))
    for start in range(0, max(known.size - WINDOW // 2, 1), WINDOW // 2):
        here = whole[start : start + WINDOW]
        if here.shape[0] >= FEWEST and (_in_turns(here) or _alike(here, least)):
            found[known[start : start + WINDOW]] = True
    return found


def _in_turns(walls: Floats) -> bool:
    """Whether sensors change in the same row far more seldom than sensors that know nothing of each other would.

    Of the pairs that change in one row, mean and variance for independent sensors are by the elementary symmetric
    polynomials of their shares of changes (factorial moments of a Poisson-binomial count; derived here).
    """
    changed = np.diff(walls, axis=0) != 0.0
    share = np.zeros(5)
    share[0] = 1.0
    for one in changed.mean(axis=0).tolist():
        share[1:] += one * share[:-1].copy()
    count = changed.sum(axis=1)
    pairs = float((count * (count - 1) / 2.0).mean())
    variance = share[2] + 6.0 * share[3] + 6.0 * share[4] - share[2] ** 2
    apart = (share[2] - pairs) / np.sqrt(max(variance, 1e-12) / changed.shape[0])
    return bool(pairs < APART_SHARE * share[2] and apart > APART_SD)


def _alike(walls: Floats, step: float) -> bool:
    """Whether every sensor shows one figure most of the time, through leaps of two steps and more."""
    alike = np.ptp(walls, axis=1) < step / 2.0
    leaps = alike[1:] & alike[:-1] & (np.abs(np.diff(walls[:, 0])) > 1.5 * step)
    return bool(alike.mean() > ALIKE_SHARE and leaps.mean() > LEAPS_SHARE)

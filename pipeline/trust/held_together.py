"""Do several sensors of a ring repeat their figures over the same rows, as a log does that holds or replaces figures?

One sensor must repeat a figure for long until that is no chance (`row_checks.stuck`); several that do so in the same
rows show it much sooner. A filter that keeps the last figure, or puts a set one, while the wall is under a floor does
it to just the sensors that see the thin wire.
"""

from __future__ import annotations

from math import comb

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Runs in which live sensors would be taken for held, at most (chosen here).
FALSE_ALARMS = 1e-6
# A sensor whose figure repeats in so many rows has steps coarser than its noise, or is read seldom: repeating says
# nothing of it (chosen here).
MOST_REPEATED = 0.3
# Rows of a block (chosen here).
_BLOCK = 100


def held_together(walls: Floats) -> Mask:
    """Readings of sensors that repeat their figures together for longer than chance allows; one column a sensor.

    The chance that m sensors all repeat in a row is the product of their own shares, and as many times that as rows in
    which so many do are more frequent in the run than by the binomial law: sensors may hang together.

    Args:
        walls: figures of the sensors in the order of time, one column each, as logged [any unit]; NaN for none.
    """
    rows, sensors = walls.shape
    held = np.zeros(walls.shape, dtype=np.bool_)
    if rows < 2 or sensors < 2:
        return held
    equal = np.zeros(walls.shape, dtype=np.bool_)
    equal[1:] = walls[1:] == walls[:-1]
    share = equal.mean(axis=0)
    equal[:, share > MOST_REPEATED] = False
    live = int((share <= MOST_REPEATED).sum())
    most = float(share[share <= MOST_REPEATED].max(initial=0.0))
    place = np.arange(rows)[:, None]
    streak = place - np.maximum.accumulate(np.where(equal, 0, place), axis=0)
    together = equal.sum(axis=1)
    # Where fewer than two repeat, the second longest is nothing.
    several = np.flatnonzero(together > 1)
    longest = np.zeros(streak.shape, dtype=streak.dtype)
    longest[several] = -np.sort(-streak[several], axis=1)
    for count in range(2, live + 1):
        steps = longest[:, count - 1]
        if not bool(steps.any()):
            break
        by_chance = float(binom.sf(count - 1, live, most)) if most > 0.0 else 1.0
        # Sensors that are read seldom, or rows logged twice, repeat together far more often than each by itself.
        bound = max(1.0, _usual_share(together >= count) / by_chance)
        each = max(most**count * bound, 1.0 / rows)
        expected = np.log10(each) * steps + np.log10(float(rows * comb(live, count)))
        for end in np.flatnonzero((steps > 0) & (expected < np.log10(FALSE_ALARMS))).tolist():
            first = end - int(steps[end])
            held[first : end + 1, streak[end] >= steps[end]] = True
    return held


def _usual_share(repeated: Mask) -> float:
    """Share of rows in which so many sensors repeat: the middle of blocks, so that no streak excuses itself."""
    blocks = repeated.size // _BLOCK
    if blocks < 3:
        return float(repeated.mean())
    return float(np.median(repeated[: blocks * _BLOCK].reshape(blocks, _BLOCK).mean(axis=1)))

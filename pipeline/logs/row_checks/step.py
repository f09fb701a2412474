"""Where the level of an instrument jumped at once by more than the process can move.

Between one reading and the next the level, taken as the median of the ten readings before and of the ten from
there on, moves by more than ten times the noise and by more than 5 % of itself. Wire, screw and melt need seconds
for that (common practice, no source); a knocked or re-zeroed gauge needs none.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.logs.row_checks.grid import Numbers
from pipeline.logs.row_checks.stuck import noise_of

Rows = NDArray[np.int64]

LEVEL = 10
NOISES = 10.0
SHARE = 0.05
_PART = 1 << 16


def step_rows(values: Numbers, level: float, least: float) -> Rows:
    """Places of the first reading on a new level.

    Args:
        values: readings of one instrument in the order of time, without gaps, counted from any level.
        level: the level that `values` are counted from, in their unit.
        least: smallest jump that counts, the instrument's resolution, in the unit of `values`.
    """
    if values.size < 2 * LEVEL:
        return np.zeros(0, np.int64)
    usual = level + float(np.median(values[:: max(1, values.size // 10_000)]))
    limit = max(NOISES * noise_of(values), SHARE * abs(usual), least)
    places = np.flatnonzero(np.abs(np.diff(values)) > limit) + 1
    places = places[(places >= LEVEL) & (places <= values.size - LEVEL)]
    found = [
        part[_jumps(values, part, limit)]
        for part in (places[start : start + _PART] for start in range(0, places.size, _PART))
    ]
    return np.concatenate([np.zeros(0, np.int64), *found])


def _jumps(values: Numbers, places: Rows, limit: float) -> NDArray[np.bool_]:
    around = places[:, None] + np.arange(-LEVEL, LEVEL)
    before = np.median(values[around[:, :LEVEL]], axis=1)
    after = np.median(values[around[:, LEVEL:]], axis=1)
    jumps: NDArray[np.bool_] = np.abs(after - before) > limit
    return jumps

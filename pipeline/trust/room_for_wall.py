"""Where does a ring read more wall than the diameter of the same wire has room for?

Means over long steady stretches (`redundancy`) do not see a ring that is off for some meters, nor any wire near a stop
or a change of speed. There the wall may differ from what the diameter leaves by some per cent, since the wire cools
between the two gauges; by more it may not. A ring that reads less than there is room for lets no thin wire pass.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from pipeline.trust.reading_drift import BEYOND

Floats = NDArray[np.float64]

# Readings of which the middle one stands for a place: one or two wild ones are no level of the wire (chosen here).
TOGETHER = 5
# Share of the wall by which it may differ from what the diameter leaves, where the wire cools in between (chosen here).
COOLS = 0.05
FEWEST_READINGS = 30
# A normal law's standard deviation, of the median distance from the middle.
NORMAL = 1.4826


@dataclass(frozen=True, slots=True)
class OverRead:
    """A stretch of wire on which the ring reads too much.

    Args:
        from_m: its start [m].
        to_m: its end [m].
        more_mm: greatest wall read beyond what the diameter usually leaves in the run [mm].
    """

    from_m: float
    to_m: float
    more_mm: float


def over_read(
    at_m: Floats, left_mm: Floats, usual_mm: float, wall_mm: float, sd_mm: float
) -> Sequence[OverRead]:
    """Stretches on which the wall read is more than the diameter has room for.

    Args:
        at_m: places of the wall readings, rising [m].
        left_mm: wall that the diameter of the same wire leaves over, (D - d)/2 - t [mm]; finite.
        usual_mm: what it leaves over on the steady wire of the run [mm].
        wall_mm: usual wall [mm].
        sd_mm: standard deviation of what a stretch leaves over about the usual, all gauges at rest [mm].
    """
    if at_m.size < FEWEST_READINGS:
        return ()
    level = median_filter(left_mm - usual_mm, TOGETHER, mode="nearest")
    scatter = NORMAL * float(np.median(np.abs(level - np.median(level))))
    beyond = level < -(BEYOND * float(np.hypot(sd_mm, scatter)) + COOLS * wall_mm)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], beyond.astype(np.int8), [0]))))
    reach = TOGETHER // 2 + 1
    found: list[OverRead] = []
    for first, end in edges.reshape(-1, 2).tolist():
        low, high = max(first - reach, 0), min(end - 1 + reach, at_m.size - 1)
        one = OverRead(float(at_m[low]), float(at_m[high]), float(-level[first:end].min()))
        if found and one.from_m <= found[-1].to_m:
            last = found.pop()
            one = OverRead(last.from_m, one.to_m, max(last.more_mm, one.more_mm))
        found.append(one)
    return tuple(found)

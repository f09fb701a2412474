"""Readings as whole steps of their log, for checks that compare a reading with its neighbours.

A gauge shows figures in steps (0.001 mm, 0.1 mil). Counted in steps they are small whole numbers, which a processor
compares many times faster than fractions, with the same outcome.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Numbers = NDArray[np.float64] | NDArray[np.int16]

_SAMPLE = 20_000
_OFF_GRID = 1e-3
_INT16 = 30_000
_PART = 1 << 16


@dataclass(frozen=True, slots=True)
class Gridded:
    """Readings in a unit of their own.

    Args:
        values: whole numbers of steps from a fixed level; the readings themselves where they show no step.
        level: the level they are counted from, in steps; 0 where they show no step.
        unit: size of that unit, in the unit of the readings; 1 where they show no step.
        step: smallest step the log shows, in the unit of the readings; 0 if they never change.
    """

    values: Numbers
    level: float
    unit: float
    step: float


def on_grid(readings: Floats) -> Gridded:
    """`readings` counted in steps, if they lie on a grid.

    Args:
        readings: readings of one instrument in the order of time, without gaps.
    """
    step = logged_step(readings)
    if step == 0.0:
        return Gridded(readings, 0.0, 1.0, step)
    low, high = float(readings.min()), float(readings.max())
    if not (high - low) / step < _INT16:
        return Gridded(readings, 0.0, 1.0, step)
    whole = np.empty(readings.size, np.int16)
    for start in range(0, readings.size, _PART):
        steps = (readings[start : start + _PART] - low) * (1.0 / step)
        nearest = np.rint(steps)
        whole[start : start + _PART] = nearest
        steps -= nearest
        if max(-float(steps.min()), float(steps.max())) > _OFF_GRID:
            return Gridded(readings, 0.0, 1.0, step)
    return Gridded(whole, low / step, step, step)


def logged_step(readings: Floats) -> float:
    """Smallest step between successive readings; 0 if they never change."""
    sizes = np.abs(np.diff(readings[:_SAMPLE]))
    sizes = sizes[sizes > 1e-9]
    if sizes.size == 0 and readings.size > _SAMPLE:
        sizes = np.abs(np.diff(readings))
        sizes = sizes[sizes > 1e-9]
    return float(sizes.min()) if sizes.size else 0.0

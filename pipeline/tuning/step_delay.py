"""How much later does the output answer steps of a setting? Each step's own delay, and how they agree.

A correlation of filtered series finds the sharpest bend of a slow answer. Here each step is split in two levels
where that leaves least, the setting first and the output after it, whose way from level to level is then fitted by a
ramp: a line answers over metres of wire. Steps that agree give the interval.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.tuning.setting_steps import BLOCK_S, SettingStep

Floats = NDArray[np.float64]

NEAR_S = 6.0  # output either side of a split that a ramp is first fitted to [s] (chosen here)
BEFORE_S, AFTER_S = 30.0, 60.0  # output looked at before and after a step [s] (chosen here)


def level_change(values: Floats) -> int | None:
    """Place at which two levels leave the least sum of squares; None where the series does not vary.

    Args:
        values: the series, known throughout.

    Source: least squares change point (D.V. Hinkley, Biometrika 57 (1970), 1-17, from memory).
    """
    n = values.size
    if n < 8 or float(np.ptp(values)) == 0.0:
        return None
    sums = np.cumsum(values - values.mean())[:-1]
    first = np.arange(1.0, n)
    between = sums**2 * n / (first * (n - first))
    between[: n // 20 + 1] = 0.0
    between[n - 1 - n // 20 :] = 0.0
    return int(np.argmax(between)) + 1


def middle_of_ramp(seconds: Floats, output: Floats, split_s: float, step_s: float) -> float:
    """Middle of the way from one level to the next, near a place where the levels were split [s].

    Of ramps of every width and middle that one is taken which leaves least; a sharp change is a ramp of one reading.
    Only output near the split is looked at, so that slow wandering does not draw the middle aside; twice as much,
    and twice again, while the ramp fills half of it.

    Args:
        seconds: times [s].
        output: the output, known throughout.
        split_s: where two levels leave least [s].
        step_s: time from one reading to the next [s].
    """
    reach_s = max(NEAR_S, 10.0 * step_s)
    while True:
        near = np.abs(seconds - split_s) <= reach_s
        places, values = seconds[near] - split_s, output[near] - output[near].mean()
        middles = np.arange(-0.5 * reach_s, 0.5 * reach_s, 0.2 * step_s)
        best, middle, wide = -1.0, 0.0, step_s
        for width in (step_s, *(reach_s * np.arange(0.05, 1.0, 0.05))):
            ramps = np.clip((places - middles[:, None]) / width + 0.5, 0.0, 1.0)
            ramps -= ramps.mean(axis=1, keepdims=True)
            size = (ramps**2).sum(axis=1)
            kept = np.where(size > 0.0, (ramps @ values) ** 2 / np.where(size > 0.0, size, 1.0), 0.0)
            at = int(np.argmax(kept))
            if kept[at] > best:
                best, middle, wide = float(kept[at]), float(middles[at]), float(width)
        if wide <= 0.5 * reach_s or reach_s > 0.5 * AFTER_S:
            return split_s + middle
        reach_s *= 2.0


def delay_of_steps(
    seconds: Floats, setting: Floats, output: Floats, steps: Sequence[SettingStep], confidence: float = 0.95
) -> tuple[float, float, float] | None:
    """Delay of the output behind steps of a setting, and its interval from how the steps agree [s].

    Args:
        seconds: times at equal steps [s].
        setting: the setting at each instant; NaN where unknown.
        output: the output of the wire that was at the die then; NaN where unknown.
        steps: the steps.
        confidence: coverage of the interval.

    Returns:
        Mean delay, lower and upper end, no narrower than half a reading either way; None for fewer than two steps
        with a known output around them. Student's t over the steps.
    """
    found = [late for one in steps if (late := _late(seconds, setting, output, one.at_s)) is not None]
    if len(found) < 2:
        return None
    step_s = float(np.median(np.diff(seconds)))
    mean = float(np.mean(found))
    spread = float(np.std(found, ddof=1)) / math.sqrt(len(found))
    half = max(0.5 * step_s, float(stats.t.ppf(0.5 + confidence / 2.0, len(found) - 1)) * spread)
    return mean, mean - half, mean + half


def _late(seconds: Floats, setting: Floats, output: Floats, at_s: float) -> float | None:
    """How much later the output changed at one step [s]."""
    near = np.flatnonzero((np.abs(seconds - at_s) <= 3.0 * BLOCK_S) & np.isfinite(setting))
    turned = level_change(setting[near])
    if turned is None:
        return None
    step_s = float(np.median(np.diff(seconds)))
    set_s = float(seconds[near[turned]]) - 0.5 * step_s  # it was set between two readings
    seen = np.flatnonzero((seconds >= set_s - BEFORE_S) & (seconds <= set_s + AFTER_S) & np.isfinite(output))
    answered = level_change(output[seen])
    if answered is None:
        return None
    split_s = float(seconds[seen[answered]]) - 0.5 * step_s
    return middle_of_ramp(seconds[seen], output[seen], split_s, step_s) - set_s

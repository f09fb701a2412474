"""How much later does the output answer steps of a setting? One answer fitted to all steps at once.

The answer is either a ramp (a line answers over metres of wire) or a dead time and a first-order lag, whichever leaves
less; its place and length are the same at every step, its size is each step's own. Readings repeat each other and swing
with the screw, so the output is whitened first by the autoregression of its held levels; plain least squares on the
readings would follow the swing. What is told is the instant at which half of the answer has come: ramp and lag put it
at the same place, where the dead time alone depends on which of them is believed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.tuning.setting_steps import BLOCK_S, SETTLE_S, SettingStep

Floats = NDArray[np.float64]
Shape = Callable[[Floats, float], Floats]

BEFORE_S, AFTER_S = 30.0, 60.0  # output looked at before and after a step [s] (chosen here)
MEMORY_S = 5.0  # reach of the autoregression [s]: two turns of a slow screw (chosen here)
MOST_ROWS = 20_000  # rows the autoregression is fitted to (chosen here)
LONGEST_S = 40.0  # longest answer looked for [s] (chosen here)


@dataclass(frozen=True, slots=True)
class StepDelay:
    """Delay of an output behind steps of a setting.

    Args:
        half_s: time after the setting's step at which half of the answer has come [s].
        low_s: lower end of its interval [s].
        high_s: upper end [s].
        begins_s: time after the step at which the answer begins, as the shape has it [s].
        steps: steps it comes from.
    """

    half_s: float
    low_s: float
    high_s: float
    begins_s: float
    steps: int


def ramp(after_s: Floats, length_s: float) -> Floats:
    """Share of the answer that has come, as a ramp of a length, `after_s` from its middle."""
    return np.asarray(np.clip(after_s / length_s + 0.5, 0.0, 1.0), dtype=np.float64)


def lag(after_s: Floats, length_s: float) -> Floats:
    """Share of the answer that has come, as a first-order lag of a time constant, `after_s` from its half."""
    since = after_s / length_s + math.log(2.0)
    return np.asarray(-np.expm1(-np.maximum(since, 0.0)), dtype=np.float64)


# From the beginning to the half, in lengths.
_SHAPES: tuple[tuple[Shape, float], ...] = ((ramp, 0.5), (lag, math.log(2.0)))


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


class _Steps:
    """The output around each step, whitened, and what an answer leaves of it.

    Args:
        windows: the output at half readings before and after each step's instant, as many rows each.
        before: rows before the instant.
        whitener: filter that leaves what is new in each reading.
    """

    def __init__(self, windows: Sequence[Floats], before: int, whitener: Floats) -> None:
        self._before = before - whitener.size + 1  # rows the filter needs first are lost
        self._whitener = whitener
        white = [np.convolve(one, whitener, mode="valid") for one in windows]
        self._known = [np.isfinite(one) for one in white]
        self._white = [
            np.where(known, one - one[known].mean(), 0.0)
            for one, known in zip(white, self._known, strict=True)
        ]
        self.still = np.array([float(one @ one) for one in self._white])
        self.rows = int(sum(one.sum() for one in self._known))

    def left(self, shape: Shape, half: float, length: float, shifts: NDArray[np.int64]) -> Floats:
        """Sum of squares that an answer leaves, a row a step, a column a whole number of readings later.

        Args:
            shape: share of the answer that has come.
            half: place of its half after the setting's step [readings].
            length: its length [readings].
            shifts: whole readings added to `half`, one after another.
        """
        rows, most = self._white[0].size, int(shifts[-1])
        lost = self._whitener.size - 1
        since = np.arange(float(rows + shifts.size - 1 + lost)) - (most + self._before + lost - 0.5 + half)
        share = np.convolve(shape(since, length), self._whitener, mode="valid")
        left = np.repeat(self.still[:, None], shifts.size, axis=1)
        for n, (known, white) in enumerate(zip(self._known, self._white, strict=True)):
            counts = known.astype(np.float64)
            size = np.correlate(share**2, counts, mode="valid")
            size -= np.correlate(share, counts, mode="valid") ** 2 / counts.sum()
            held = np.correlate(share, white, mode="valid") ** 2
            left[n] -= np.where(size > 1e-12, held / np.maximum(size, 1e-12), 0.0)[::-1]
        return left


def delay_of_steps(
    seconds: Floats, setting: Floats, output: Floats, steps: Sequence[SettingStep], confidence: float = 0.95
) -> StepDelay | None:
    """Delay of the output behind steps of a setting, from all of them together.

    Args:
        seconds: times at equal steps [s].
        setting: the setting at each instant; NaN where unknown.
        output: the output of the wire that was at the die then; NaN where unknown.
        steps: the steps.
        confidence: coverage of the interval.

    Returns:
        The mean of the likelihood over both shapes, all lengths (evenly in their logarithm) and all places, and the
        interval that holds `confidence` of it, wider by as much as the steps disagree and by the instant of each step,
        which is known to a reading; None for fewer than two steps with a known output around them, and where no
        answer stands out of the noise.

    Source: whitening, D. Cochrane and G.H. Orcutt, J. Amer. Statist. Assoc. 44 (1949), 32-61; what is not asked
    averaged out, J.O. Berger, B. Liseo and R.L. Wolpert, Statist. Sci. 14 (1999), 1-28 (both from memory).
    """
    step_s = float(np.median(np.diff(seconds)))
    windows = [one for step in steps if (one := _window(seconds, setting, output, step, step_s)) is not None]
    whitener = _whitener(seconds, output, steps, step_s)
    if len(windows) < 2 or whitener is None:
        return None
    around = _Steps(windows, round(BEFORE_S / step_s), whitener)
    rough = _rough(around, step_s)
    if rough is None:
        return None
    half, length = rough
    reach = 1.5 * length + 10.0
    shifts = np.arange(math.floor(half - reach), math.ceil(half + reach) + 1)
    # Places looked at within a reading: a long answer is placed less sharply.
    count = round(min(max(64.0 / length, 1.0), 4.0))
    looked = [
        (begins, long, _over_parts(around, shape, long, shifts, count))
        for shape, begins in _SHAPES
        for long in length * np.geomspace(0.25, 3.0, 33)
    ]
    # What an answer leaves: a row a shape and length, a column a place of its half.
    total = np.array([one.sum(axis=0) for _, _, one in looked])
    weight = np.exp(-0.5 * around.rows * np.log(total / total.min()))
    weight /= weight.sum()
    places = (shifts[:, None] + np.arange(count) / count).ravel()
    found = float((weight.sum(axis=0) * places).sum())
    to_begin = float(weight.sum(axis=1) @ np.array([begins * long for begins, long, _ in looked]))
    tail = 0.5 * (1.0 - confidence)
    low, high = np.interp((tail, 1.0 - tail), np.cumsum(weight.sum(axis=0)), places + 0.5 / count)
    likeliest = int(np.argmin(total.min(axis=1)))
    own = looked[likeliest][2].min(axis=1).sum()
    apart = around.rows * math.log(total.min() / own) / (len(windows) - 1)
    instant = float(stats.norm.isf(tail)) / math.sqrt(12.0 * len(windows))
    below, above = (
        math.hypot(math.sqrt(max(apart, 1.0)) * one, instant) for one in (found - low, high - found)
    )
    return StepDelay(
        half_s=found * step_s,
        low_s=(found - below) * step_s,
        high_s=(found + above) * step_s,
        begins_s=(found - to_begin) * step_s,
        steps=len(windows),
    )


def _over_parts(around: _Steps, shape: Shape, length: float, shifts: NDArray[np.int64], count: int) -> Floats:
    """What an answer of one shape and length leaves, a row a step, a column a place; `count` of these a reading."""
    left = [around.left(shape, part / count, length, shifts) for part in range(count)]
    return np.stack(left, axis=2).reshape(around.still.size, -1)


def _window(
    seconds: Floats, setting: Floats, output: Floats, step: SettingStep, step_s: float
) -> Floats | None:
    """Output half a reading, one and a half, ... before and after one step; None where step or output is not known."""
    near = np.flatnonzero((np.abs(seconds - step.at_s) <= 3.0 * BLOCK_S) & np.isfinite(setting))
    turned = level_change(setting[near])
    if turned is None:
        return None
    # It was set between two readings.
    set_s = 0.5 * float(seconds[near[turned - 1]] + seconds[near[turned]])
    before, after = round(BEFORE_S / step_s), round(AFTER_S / step_s)
    place = np.floor((seconds - set_s) / step_s).astype(np.int64) + before
    here = (place >= 0) & (place < before + after)
    window = np.full(before + after, np.nan)
    window[place[here]] = output[here]
    known = np.isfinite(window)
    return window if min(known[:before].mean(), known[before:].mean()) > 0.5 else None


def _whitener(seconds: Floats, output: Floats, steps: Sequence[SettingStep], step_s: float) -> Floats | None:
    """Filter that leaves what is new in each reading of a held level; None where too little is held."""
    rest = np.full(output.size, np.nan)
    edges = [float(seconds[0]), *(one.at_s for one in steps), float(seconds[-1]) + 1.0]
    for from_s, to_s in itertools.pairwise(edges):
        inside = (seconds >= from_s + SETTLE_S) & (seconds < to_s - BLOCK_S) & np.isfinite(output)
        if inside.any():
            rest[inside] = output[inside] - output[inside].mean()
    order = min(round(MEMORY_S / step_s), int(np.isfinite(rest).sum()) // 20)
    if order < 1 or order >= round(BEFORE_S / step_s):
        return None
    rows = np.lib.stride_tricks.sliding_window_view(rest, order + 1)
    rows = rows[np.isfinite(rows).all(axis=1)][-MOST_ROWS:]
    if rows.shape[0] < 10 * order or float(np.ptp(rows)) == 0.0:
        return None
    memory = np.linalg.lstsq(rows[:, -2::-1], rows[:, -1], rcond=None)[0]
    return np.concatenate(([1.0], -memory))


def _rough(around: _Steps, step_s: float) -> tuple[float, float] | None:
    """Place of the half and length [readings] of the ramp that leaves least; None where none stands out."""
    shifts = np.arange(-round(BLOCK_S / step_s), round(0.5 * AFTER_S / step_s))
    lengths = np.geomspace(1.0, max(LONGEST_S / step_s, 2.0), 10)
    left = np.array([around.left(ramp, 0.0, one, shifts).sum(axis=0) for one in lengths])
    length, shift = np.unravel_index(int(np.argmin(left)), left.shape)
    # Any cell looked at could have stood out by chance.
    chance = float(stats.chi2.isf(0.05 / left.size, around.still.size))
    if around.rows * math.log(around.still.sum() / left[length, shift]) < chance:
        return None
    return float(shifts[shift]), float(lengths[length])

"""Steps of a setting found in the log, and what the output did at each: the only plain evidence of an answer.

A step is a change from one held level to another. The output before and after is compared, with an error from how
the output wanders while nothing is changed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.results import Refused

Floats = NDArray[np.float64]

BLOCK_S = 5.0  # settings are averaged over this before steps are looked for [s] (chosen here)
HOLD_S = 60.0  # a level held for less is a ramp or a touch, not a level [s] (chosen here)
SETTLE_S = 60.0  # output after a step is left out for this long [s]: crosshead and control (chosen here)
LEAST_STEP = 0.005  # smallest step looked at, as a share of the level (chosen here)
# Under this share of the other level a machine stands: a start or a stop is no step of its setting (chosen here).
STANDING = 0.05
FAR = 6  # blocks apart at which a setting has forgotten most of where it was (chosen here)
NORMAL_MEDIAN = 0.6745  # median size of a standard normal deviate
MOVED_WITH = (
    0.25  # another setting whose relative step is at least this part of it moved with it (chosen here)
)


@dataclass(frozen=True, slots=True)
class SettingStep:
    """One step of a setting.

    Args:
        at_s: when it was [s].
        before: setting before.
        after: setting after.
        output_before: output before it.
        output_after: output after it had settled.
        output_sd: standard error of the output's change.
        moved_with: other settings that stepped at the same time.
    """

    at_s: float
    before: float
    after: float
    output_before: float
    output_after: float
    output_sd: float
    moved_with: tuple[str, ...]

    @property
    def size(self) -> float:
        """Change of the setting."""
        return self.after - self.before

    @property
    def answer(self) -> float:
        """Change of the output."""
        return self.output_after - self.output_before


def levels_held(seconds: Floats, setting: Floats, hold_s: float = HOLD_S) -> list[tuple[float, float, float]]:
    """Levels a setting was held at: (from, to, mean), in order.

    Args:
        seconds: times at equal steps [s].
        setting: the setting; NaN where unknown.
        hold_s: shortest time that counts as held [s].
    """
    number = ((seconds - seconds[0]) / BLOCK_S).astype(np.int64)
    known = np.isfinite(setting)
    count = np.bincount(number[known], minlength=int(number[-1]) + 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = np.bincount(number[known], setting[known], minlength=count.size) / count
    spread = _long_run_sd(mean)
    from pipeline.statistics.change_points import find_changes  # here, so that pages start without SciPy

    found = find_changes(mean, long_run_sd=None if spread is None else [spread])
    starts = [] if isinstance(found, Refused) else [one.item for one in found.changes]
    edges = _merged(mean, [0, *starts, count.size])
    held = []
    for first, after in itertools.pairwise(edges):
        inside = mean[first:after][np.isfinite(mean[first:after])]
        if (after - first) * BLOCK_S >= hold_s and inside.size:
            held.append(
                (
                    float(seconds[0]) + first * BLOCK_S,
                    float(seconds[0]) + after * BLOCK_S,
                    float(np.median(inside)),
                )
            )
    return held


def _long_run_sd(mean: Floats) -> float | None:
    """Root of the long-run variance of a setting about its levels; None where it does not move or too little is known.

    From medians of differences one and `FAR` blocks apart, which steps leave alone while they are few of the blocks:
    the plain estimate takes a setting that is stepped to and fro for one that wanders, and finds no step. For a
    first-order autoregression the two squares stand as 1 - phi to 1 - phi^FAR; derived.
    """
    near, far = (_typical_square(mean[lag:] - mean[:-lag]) for lag in (1, FAR))
    if near <= 0.0 or far <= 0.0:
        return None
    memory = np.arange(0.0, 0.99, 0.01)
    phi = float(memory[np.argmin(np.abs((1.0 - memory) / (1.0 - memory**FAR) - near / far))])
    variance = 0.5 * far / (1.0 - phi**FAR)
    return math.sqrt(variance * (1.0 + phi) / (1.0 - phi))


def _typical_square(differences: Floats) -> float:
    """Variance of the differences by their median size; 0 where most are nothing or few are known."""
    known = np.abs(differences[np.isfinite(differences)])
    return (float(np.median(known)) / NORMAL_MEDIAN) ** 2 if known.size >= 10 else 0.0


def _merged(mean: Floats, edges: list[int]) -> list[int]:
    """The edges without those between levels that differ by less than a step: a level found in parts is one level."""
    kept = [edges[0]]
    level = float("nan")
    for first, after in itertools.pairwise(edges):
        inside = mean[first:after][np.isfinite(mean[first:after])]
        here = float(np.median(inside)) if inside.size else float("nan")
        if first > 0 and not abs(here - level) < LEAST_STEP * max(abs(level), 1e-12):
            kept.append(first)
            level = here
        elif first == 0:
            level = here
    return [*kept, edges[-1]]


def steps_in_log(
    seconds: Floats,
    setting: Floats,
    output: Floats,
    others: Mapping[str, Floats] | None = None,
    settle_s: float = SETTLE_S,
) -> tuple[SettingStep, ...]:
    """Steps of a setting with the output before and after each.

    Args:
        seconds: times at equal steps [s].
        setting: the setting.
        output: the output of the wire that was at the die then; NaN where unknown.
        others: other settings, by name.
        settle_s: time after a step that is left out [s].
    """
    held = levels_held(seconds, setting, HOLD_S + settle_s)
    wander, step_s = _wander(seconds, output, held, settle_s), float(np.median(np.diff(seconds)))
    if wander is None:
        return ()
    found = []
    for (from_a, to_a, before), (from_b, to_b, after) in itertools.pairwise(held):
        if abs(after - before) < LEAST_STEP * max(abs(before), 1e-12):
            continue
        if min(abs(before), abs(after)) < STANDING * max(abs(before), abs(after)):
            continue
        a = (seconds >= from_a + settle_s) & (seconds < to_a) & np.isfinite(output)
        b = (seconds >= from_b + settle_s) & (seconds < to_b) & np.isfinite(output)
        if min(int(a.sum()), int(b.sum())) * step_s < 0.5 * HOLD_S:
            continue
        sd, per_second = wander
        error = sd * math.sqrt(sum(1.0 / max(float(one.sum()) * step_s * per_second, 1.0) for one in (a, b)))
        with_it = _moved_with(others or {}, a, b, abs(after / before - 1.0) if before else math.inf)
        found.append(
            SettingStep(
                from_b, before, after, float(output[a].mean()), float(output[b].mean()), error, with_it
            )
        )
    return tuple(found)


def _wander(
    seconds: Floats, output: Floats, held: list[tuple[float, float, float]], settle_s: float
) -> tuple[float, float] | None:
    """Deviation of the output about its held levels, and independent readings' worth a second."""
    rest = np.full(output.size, np.nan)
    for from_s, to_s, _ in held:
        inside = (seconds >= from_s + settle_s) & (seconds < to_s) & np.isfinite(output)
        if int(inside.sum()) > 10:
            rest[inside] = output[inside] - output[inside].mean()
    known = np.isfinite(rest)
    if int(known.sum()) < 50 or float(np.ptp(rest[known])) == 0.0:
        return None
    step_s = float(np.median(np.diff(seconds)))
    from pipeline.statistics.autocorrelation import effective_n

    worth = effective_n(rest).for_mean / (float(known.sum()) * step_s)
    return float(rest[known].std()), worth


def _moved_with(
    others: Mapping[str, Floats], before: NDArray[np.bool_], after: NDArray[np.bool_], share: float
) -> tuple[str, ...]:
    """Settings whose own relative change is a good part of this one's."""
    moved = []
    for name, values in others.items():
        a, b = values[before & np.isfinite(values)], values[after & np.isfinite(values)]
        if a.size == 0 or b.size == 0 or float(a.mean()) == 0.0:
            continue
        own = abs(float(b.mean()) / float(a.mean()) - 1.0)
        if own > MOVED_WITH * share:
            moved.append(name)
    return tuple(moved)

"""The swing of the mean wall itself, reading by reading, so that it can be taken away and priced.

Each run is fitted at its own frequency: in time where the swing is of time, in length where it is of the wire, which is
told by what fits the readings better over a change of speed or its flutter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.statistics.periodicity import fit_sinusoid
from pipeline.tuning.periods import LinePeriod
from pipeline.tuning.reel_wall import ReelWall

Floats = NDArray[np.float64]

REACH = 0.005  # a frequency may differ by this share from what was found: slip, speed (chosen here)
LOOSER = 1.5  # a swing that is followed has so many times the variance of its best sinusoid (chosen here)
BESIDE = (0.5, 2.0)  # periods that show what mere wander swings, as shares of the swing's own (chosen here)
HUNTS_OVER = 1.0  # turns over which a swing without a fixed period is followed (chosen here)


def swing_along(reels: Sequence[ReelWall], found: LinePeriod) -> tuple[Floats, ...]:
    """The swing at each reading of each reel [mm].

    One sinusoid a run, its frequency, amplitude and phase by least squares, in runs that show it. What no element
    explains and no sinusoid holds is followed in time in every run, less what wander swings beside it.

    Args:
        reels: the reels.
        found: the swing.
    """
    along = {id(one): np.zeros_like(one.mean_mm) for one in reels}
    turn_s = float(np.mean([period / speed for _, period, speed in found.by_run]))
    for run_id in dict.fromkeys(one.run_id for one in reels):
        mine = [one for one in reels if one.run_id == run_id]
        shown = [(period, speed) for name, period, speed in found.by_run if name == run_id]
        swing = _sinusoid(mine, shown) if shown else np.zeros(sum(one.mean_mm.size for one in mine))
        if not found.harmonic:
            loose = _followed(mine, turn_s)
            if float(np.var(loose)) > LOOSER * float(np.var(swing)):
                swing = loose
        ends = np.cumsum([one.mean_mm.size for one in mine])[:-1]
        along |= {id(one): part for one, part in zip(mine, np.split(swing, ends), strict=True)}
    return tuple(along[id(one)] for one in reels)


def swings_along(reels: Sequence[ReelWall], found: Sequence[LinePeriod]) -> tuple[Floats, ...]:
    """All swings together at each reading of each reel [mm], the largest taken away before the next is fitted.

    Args:
        reels: the reels.
        found: the swings, the largest first.
    """
    left, total = tuple(reels), [np.zeros_like(one.mean_mm) for one in reels]
    for one in found:
        swings = swing_along(left, one)
        left = tuple(
            replace(reel, mean_mm=reel.mean_mm - swing) for reel, swing in zip(left, swings, strict=True)
        )
        total = [so_far + swing for so_far, swing in zip(total, swings, strict=True)]
    return tuple(total)


def _sinusoid(reels: Sequence[ReelWall], shown: Sequence[tuple[float, float]]) -> Floats:
    """The sinusoid in length or in time that leaves the least of the wall."""
    wall = np.concatenate([one.mean_mm for one in reels])
    at, made = (np.concatenate([getattr(one, name) for one in reels]) for name in ("at_m", "made_s"))
    fits = [
        (fit_sinusoid(along, wall, wave * (1.0 - REACH), wave * (1.0 + REACH)), along)
        for period, speed in shown
        for along, wave in ((at, 1.0 / period), (made, speed / period))
    ]
    best, along = min(fits, key=lambda one: one[0].residual_sd)
    swing: Floats = best.amplitude * np.sin(2.0 * np.pi * best.frequency * along + best.phase)
    return swing


def _followed(reels: Sequence[ReelWall], turn_s: float) -> Floats:
    """What of a run's wall swings near a period in time, less what wander swings beside it."""
    wall = np.concatenate([one.mean_mm for one in reels])
    made = np.concatenate([one.made_s for one in reels])
    swing, *beside = (_near(made, wall, share * turn_s) for share in (1.0, *BESIDE))
    wander = math.sqrt(math.prod(float(np.var(one)) for one in beside))
    return swing * math.sqrt(max(1.0 - wander / max(float(np.var(swing)), 1e-30), 0.0))


def _near(made_s: Floats, wall_mm: Floats, turn_s: float) -> Floats:
    """What of the wall swings near a period, its amplitude and phase followed along the run."""
    turn = max(round(turn_s / float(np.median(np.diff(made_s)))), 2)
    quick = wall_mm - ndimage.uniform_filter1d(wall_mm, min(turn, wall_mm.size), mode="nearest")
    wave = np.exp(2j * np.pi * made_s / turn_s)
    beat, width = quick * wave.conj(), min(round(HUNTS_OVER * turn), wall_mm.size)
    slow = ndimage.uniform_filter1d(beat.real, width) + 1j * ndimage.uniform_filter1d(beat.imag, width)
    swing: Floats = 2.0 * (slow * wave).real
    return swing

"""What the spread of the wall is made of: level of the reel, slow drift, periods, offset of the centre, the rest.

Each part has its own owner (set-up, material and temperature, a turning element, centring, everything quick)
and its own remedy, so the spread is shared out among them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.tuning.periods import LinePeriod
from pipeline.tuning.reel_wall import ReelWall
from pipeline.tuning.swing_along import swings_along

Floats = NDArray[np.float64]

SLOW_M = 30.0  # drift is what is left after averaging over this length of wire [m] (chosen here)


@dataclass(frozen=True, slots=True)
class WallParts:
    """A reel's mean wall as a sum of parts [mm]: level + slow + periodic + fast.

    Args:
        level: mean of the reel.
        slow: drift within the reel; its mean is 0.
        periodic: periods named beforehand.
        fast: what is left, the gauge's noise in it.
    """

    level: float
    slow: Floats
    periodic: Floats
    fast: Floats


@dataclass(frozen=True, slots=True)
class SpreadShares:
    """Shares of the variance of the thinnest wall; they add up to one.

    A part's share is its covariance with the thinnest wall over the variance of the thinnest wall, so a share can be
    slightly negative where two parts work against each other.

    Args:
        sd_mm: standard deviation of the thinnest wall over all reels [mm].
        mean: levels of the mean wall, from reel to reel and run to run.
        eccentricity: offset of the centre and lobes: mean wall less thinnest wall.
        slow_drift: drift of the mean wall within reels.
        periodic: periods of the mean wall.
        fast: all quicker than the drift and not periodic.
        noise: the part of `fast` and `eccentricity` that is the gauge's own noise; NaN where the noise is not known.
        reels: reels used.
    """

    sd_mm: float
    mean: float
    eccentricity: float
    slow_drift: float
    periodic: float
    fast: float
    noise: float
    reels: int


def wall_parts(reel: ReelWall, periodic: Floats | float = 0.0, slow_m: float = SLOW_M) -> WallParts:
    """The mean wall of one reel taken apart.

    Args:
        reel: the reel.
        periodic: what swings periodically, at each reading (`swing_along`) [mm].
        slow_m: length over which the drift is averaged [m].
    """
    swing = np.broadcast_to(np.asarray(periodic, dtype=np.float64), reel.mean_mm.shape)
    steady = reel.mean_mm - swing
    level = float(steady.mean())
    away = steady - level
    width = max(round(slow_m / reel.step_m), 1)
    slow = ndimage.uniform_filter1d(away, min(width, away.size), mode="nearest")
    slow = slow - slow.mean()
    return WallParts(level, slow, swing, away - slow)


def spread_shares(
    reels: Sequence[ReelWall],
    periods: Sequence[LinePeriod] = (),
    noise_mm: float | None = None,
    sensors: int = 1,
) -> SpreadShares:
    """Where the spread of the thinnest wall comes from.

    Args:
        reels: reels of one product with a thinnest wall; on a diameter-only line the mean wall stands in for it.
        periods: swings of the mean wall that were found.
        noise_mm: standard deviation of one wall sensor's noise [mm]; None if not known.
        sensors: wall sensors.
    """
    swings = swings_along(reels, periods)
    parts = [wall_parts(one, swing, SLOW_M) for one, swing in zip(reels, swings, strict=True)]
    thin = np.concatenate([_thinnest(one) for one in reels])
    mean = np.concatenate([one.mean_mm for one in reels])
    columns = {
        "mean": np.concatenate([np.full(r.mean_mm.size, p.level) for r, p in zip(reels, parts, strict=True)]),
        "eccentricity": thin - mean,
        "slow_drift": np.concatenate([one.slow for one in parts]),
        "periodic": np.concatenate([one.periodic for one in parts]),
        "fast": np.concatenate([one.fast for one in parts]),
    }
    centred = thin - thin.mean()
    variance = float(centred @ centred) / thin.size
    shares = {
        name: float((one - one.mean()) @ centred) / thin.size / variance if variance > 0.0 else float("nan")
        for name, one in columns.items()
    }
    noise = float("nan")
    if noise_mm is not None and variance > 0.0:
        noise = noise_mm**2 * 3.0 / sensors / variance
    return SpreadShares(variance**0.5, **shares, noise=noise, reels=len(reels))


def _thinnest(reel: ReelWall) -> Floats:
    return reel.thinnest_mm if bool(np.isfinite(reel.thinnest_mm).all()) else reel.mean_mm

"""Seeded random series that can be continued piece by piece: one named stream for each cause."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter


@dataclass(frozen=True, slots=True)
class Wander:
    """A stationary wandering of standard deviation `sd` whose correlation falls as exp(-distance / `reach`).

    Args:
        sd: standard deviation, in the unit of what wanders.
        reach: correlation length [m], or correlation time [s] for what wanders in time.
    """

    sd: float
    reach: float


def stream(seed: int, *names: str) -> np.random.Generator:
    """A generator of its own for the cause called `names`, the same for the same seed and names."""
    keys = [zlib.crc32(name.encode("utf-8")) for name in names]
    return np.random.default_rng(np.random.SeedSequence([seed, *keys]))


class WanderSource:
    """Sum of wanderings on an equally spaced grid, drawn piece by piece; how it is cut changes nothing.

    Each is an Ornstein-Uhlenbeck process read at `step`: y_k = phi y_(k-1) + sd sqrt(1 - phi^2) z_k with
    phi = exp(-step / reach), started from its stationary distribution. Source: G. E. Uhlenbeck and
    L. S. Ornstein, On the theory of the Brownian motion, Phys. Rev. 36 (1930) 823 (from memory).

    Args:
        wanders: the wanderings to add up.
        step: spacing of the grid, in the unit of `Wander.reach`.
        seed: seed of the run.
        names: name of the cause.
    """

    def __init__(self, wanders: tuple[Wander, ...], step: float, seed: int, *names: str) -> None:
        self._phi = [float(np.exp(-step / one.reach)) for one in wanders]
        self._gain = [
            one.sd * float(np.sqrt(1.0 - phi**2)) for one, phi in zip(wanders, self._phi, strict=True)
        ]
        self._draws = [stream(seed, *names, str(number)) for number in range(len(wanders))]
        self._last = [
            one.sd * float(draw.standard_normal()) for one, draw in zip(wanders, self._draws, strict=True)
        ]

    def take(self, count: int) -> NDArray[np.float64]:
        """The next `count` values."""
        total = np.zeros(count)
        if count == 0:
            return total
        for number, phi in enumerate(self._phi):
            shocks = self._gain[number] * self._draws[number].standard_normal(count)
            values, _ = lfilter([1.0], [1.0, -phi], shocks, zi=[phi * self._last[number]])
            self._last[number] = float(values[-1])
            total += values
        return total

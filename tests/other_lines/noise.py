"""How a gauge's readings scatter: laws of unit variance that differ from line to line.

Forms are general ones (Student's t, Laplace, autoregressive, 1/f, slow drift); which gauge has which is invented.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Floats = NDArray[np.float64]
Law = Callable[[np.random.Generator, int], Floats]


def gaussian(rng: np.random.Generator, n: int) -> Floats:
    return rng.standard_normal(n)


def heavy(rng: np.random.Generator, n: int) -> Floats:
    """Student's t with six degrees of freedom, whose variance is 6/4."""
    return rng.standard_t(6, n) / np.sqrt(1.5)


def laplace(rng: np.random.Generator, n: int) -> Floats:
    return rng.laplace(0.0, np.sqrt(0.5), n)


def autoregressive(rng: np.random.Generator, n: int) -> Floats:
    """First order with 0.6 from reading to reading, as a filter inside a gauge makes it."""
    started = lfilter([np.sqrt(1.0 - 0.36)], [1.0, -0.6], rng.standard_normal(n + 50))
    return np.asarray(started[50:], dtype=np.float64)


def wandering(rng: np.random.Generator, n: int) -> Floats:
    """White noise and 1/f noise of equal power."""
    size = max(n, 8)
    spectrum = np.fft.rfft(rng.standard_normal(size))
    frequency = np.arange(spectrum.size, dtype=np.float64)
    frequency[0] = np.inf
    pink = np.fft.irfft(spectrum / np.sqrt(frequency), size)[:n]
    return (pink / pink.std() + rng.standard_normal(n)) / np.sqrt(2.0)


def drifting(rng: np.random.Generator, n: int) -> Floats:
    """White noise over a bias that swings slowly through half a turn during the run."""
    turn = np.cos(np.linspace(0.0, np.pi, n) + rng.uniform(0.0, 2.0 * np.pi))
    return np.sqrt(0.75) * rng.standard_normal(n) + np.sqrt(0.5) * turn


def slow(rng: np.random.Generator, places: int, memory: float) -> Floats:
    """A first-order wander of unit variance that forgets itself over `memory` places."""
    keep = float(np.exp(-1.0 / memory))
    steps = rng.standard_normal(places) * np.sqrt(1.0 - keep * keep)
    steps[0] = rng.standard_normal()
    return np.asarray(lfilter([1.0], [1.0, -keep], steps), dtype=np.float64)

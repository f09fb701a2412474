"""Sums of readings times a sinusoid at frequencies near one another, without going through every reading each time.

Readings are gathered in blocks so short that no frequency of the band turns far within one; of each block a few moments
about its middle are kept, and a sum at any frequency of the band is a Taylor series of them (derived).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Floats = NDArray[np.float64]
Sums = NDArray[np.complex128]

# Most that a block's end may turn away from its middle at an end of the band [turns], and terms of the series: what is
# left out is under 1e-13 of the sum (next term of the series).
_TURN, _TERMS = 0.005, 7
# Places count as an even grid if none lies further off it than this share of a step, and if the grid is not so
# much longer than the readings that the plain sum is shorter.
_OFF_GRID = 1e-6
_GRID_SHARE = 50
# Products of blocks and frequencies, a reading, up to which blocks are shorter than a transform (measured).
_PAYS = 2


class NearSums:
    """Sums of exp(-2 pi i f s) over readings, plain and weighed with their values, for any f of a narrow band.

    Args:
        at: places in rising order [m].
        values: a value at each.
        lowest: lowest frequency [1/m].
        highest: highest frequency [1/m].
    """

    def __init__(self, at: Floats, values: Floats, lowest: float, highest: float) -> None:
        self._n, self._squares = at.size, float(values @ values)
        self._total = float(values.sum())
        self._f = (lowest + highest) / 2.0
        edges = np.linspace(at[0], at[-1], _blocks(at, lowest, highest) + 1)
        start = np.searchsorted(at, edges[:-1])
        kept = np.flatnonzero(np.diff(start, append=at.size))
        start, self._middle = start[kept], (edges[kept] + edges[kept + 1]) / 2.0
        off = at - np.repeat(self._middle, np.diff(start, append=at.size))
        turned = np.exp(-2j * np.pi * self._f * at)
        self._of_values = _moments(turned * values, off, start)
        self._plain = _moments(turned, off, start)
        self._doubled = _moments(turned * turned, off, start)

    def weighed(self, frequency: Floats) -> Sums:
        """Sum of values times exp(-2 pi i f s) at each frequency [unit of the values]."""
        return _series(self._of_values, self._middle, frequency - self._f)

    def left(self, frequency: float) -> float:
        """Squares left by the least-squares level and sinusoid of this frequency [square of the values' unit]."""
        f = np.array([frequency])
        with_values = self.weighed(f)[0]
        once = _series(self._plain, self._middle, f - self._f)[0]
        twice = _series(self._doubled, self._middle, 2.0 * (f - self._f))[0]
        s, c, n = -once.imag, once.real, float(self._n)
        ss, mixed = (n - twice.real) / 2.0, -twice.imag / 2.0
        squares = np.array([[n, s, c], [s, ss, mixed], [c, mixed, n - ss]])
        right = np.array([self._total, -with_values.imag, with_values.real])
        return self._squares - float(right @ np.linalg.lstsq(squares, right, rcond=None)[0])


def _blocks(at: Floats, lowest: float, highest: float) -> int:
    """Blocks that a band of frequencies asks for; twice, as the sum at twice the frequency runs over twice the band."""
    return 2 * max(1, math.ceil(float(at[-1] - at[0]) * (highest - lowest) / 4.0 / _TURN))


def pays(at: Floats, grid: Floats) -> bool:
    """Whether blocks are a shorter way to the sums at each frequency of a grid than `strength`."""
    return _blocks(at, grid[0], grid[-1]) * grid.size < _PAYS * at.size


def _moments(weights: Sums, off: Floats, start: NDArray[np.intp]) -> Sums:
    """Moments of each block about its middle over their factorials, terms x blocks."""
    found = np.empty((_TERMS, start.size), dtype=np.complex128)
    for term in range(_TERMS):
        found[term] = np.add.reduceat(weights, start)
        if term + 1 < _TERMS:
            weights = weights * (off / (term + 1.0))
    return found


def _series(moments: Sums, middle: Floats, away: Floats) -> Sums:
    """The sums at frequencies so far away from the band's middle [1/m]."""
    # Horner's way over the terms, then each block is turned to its middle.
    turn = -2j * np.pi * away[:, None]
    found = np.broadcast_to(moments[-1], (away.size, middle.size))
    for term in range(_TERMS - 2, -1, -1):
        found = moments[term] + turn * found
    return np.asarray((found * np.exp(turn * middle)).sum(axis=1), dtype=np.complex128)


def strength(at: Floats, x: Floats, grid: Floats) -> Floats:
    """|Fourier sum| at evenly spaced frequencies, by the shortest way that the places allow.

    Args:
        at: places in rising order [m].
        x: a value at each.
        grid: frequencies, evenly spaced [1/m].
    """
    span, least = float(at[-1] - at[0]), float(np.diff(at).min())
    # The step by the whole length: the least difference of two places is short by their rounding, once a reading.
    step = span / max(round(span / least), 1) if least > 0 else 0.0
    places = (at - at[0]) / step if step > 0 else np.full(at.size, np.inf)
    # A place of the grid without a reading adds nothing to the sum, so it is put in as zero.
    if places[-1] < _GRID_SHARE * at.size and float(np.abs(places - np.rint(places)).max()) < _OFF_GRID:
        even = np.zeros(round(float(places[-1])) + 1)
        even[np.rint(places).astype(np.int64)] = x
        rate = (even.size - 1) / float(at[-1] - at[0])
        found = signal.zoom_fft(even, [grid[0], grid[-1]], grid.size, fs=rate, endpoint=True)
        return np.asarray(np.abs(found), dtype=np.float64)
    return np.array([abs(np.exp(-2j * np.pi * f * at) @ x) for f in grid])

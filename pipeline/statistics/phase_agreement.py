"""How far do the phases of faults agree at a turn, and how far would they by chance?

Rayleigh's test for one reel, its sum over reels, what is paid for a band of periods, and what an electrode and an
uncertain position leave of a phase. Sources stand beside each.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from pipeline.arguments import checked
from pipeline.messages import Message, message
from pipeline.notes import Note
from pipeline.samples import not_negative, positive

BESIDE = (0.7, 1.4)
"""Frequencies beside a turn, as shares of its own, that show how far phases agree where nothing turns (chosen here)."""


@checked
def resolved_share(period_m: float, position_sd_m: float, electrode_m: float) -> float:
    """Share of the phase vector left after smearing: exp(-2 pi^2 s^2 / P^2) |sinc(L_e / P)|.

    Args:
        period_m: the turn P [m].
        position_sd_m: standard uncertainty s of a fault's position [m].
        electrode_m: electrode length L_e in which the firing point lies anywhere [m].

    Derived.
    """
    turn = positive(period_m, "period_m", "m")
    blur = math.exp(-2 * (math.pi * not_negative(position_sd_m, "position_sd_m", "m") / turn) ** 2)
    length = not_negative(electrode_m, "electrode_m", "m")
    return blur * abs(float(np.sinc(length / turn)))


def _rayleigh_p(n: int, resultant: float) -> float:
    """P-value of Rayleigh's test of `n` phases whose vectors add up to `resultant`.

    exp(sqrt(1 + 4n + 4(n^2 - R^2)) - (1 + 2n)). Source: D. Wilkie, Appl. Statist. 32 (1983) 311; J. H. Zar,
    Biostatistical Analysis, 5th ed. (2010), eq. 27.4.
    """
    return math.exp(math.sqrt(1 + 4 * n + 4 * max(n * n - resultant**2, 0.0)) - (1 + 2 * n))


class Phases:
    """The faults of reels as phases of a turn; phases of different reels need not agree.

    Args:
        places: for each reel the positions of its faults, two at least, in order [m].
    """

    def __init__(self, places: Sequence[NDArray[np.float64]]) -> None:
        self.places = places
        self.n = sum(one.size for one in places)
        self.degrees = 2 * len(places)
        self.freedom = max(self.n - len(places) - 1, 1)
        self.longest = max(float(one[-1] - one[0]) for one in places)

    def strength(self, frequency: NDArray[np.float64]) -> NDArray[np.float64]:
        """Sum over reels of 2 n Rbar^2 at each frequency."""
        total = np.zeros(frequency.size)
        for one in self.places:
            for piece in range(0, frequency.size, 20000):  # keeps the table of phases small
                part = frequency[piece : piece + 20000]
                vector = np.exp(2j * np.pi * np.outer(part, one - one[0])).sum(axis=1)
                total[piece : piece + 20000] += 2 / one.size * np.abs(vector) ** 2
        return total

    def beside(self, band: tuple[float, float]) -> float:
        """How many times more the phases agree beside a band than those of single faults do; 1 at least.

        Faults in bunches agree at every frequency below one over a bunch's length, whatever turns.
        """
        middle = (band[0] + band[1]) / 2
        clear = 2 * (band[1] - band[0]) + 3 / self.longest
        grid = middle * np.linspace(*BESIDE, 401)
        grid = grid[np.abs(grid - middle) > clear]
        if grid.size < 50:
            return 1.0
        usual = float(np.median(self.strength(grid))) / float(stats.chi2.ppf(0.5, self.degrees))
        return max(usual, 1.0)

    def local_p(self, statistic: float) -> float:
        """P-value of a sum of 2 n Rbar^2 over reels had only this frequency been looked at."""
        if len(self.places) > 1:
            return float(stats.chi2.sf(statistic, self.degrees))
        n = self.places[0].size
        return _rayleigh_p(n, math.sqrt(statistic / 2 * n))

    def crossings(self, statistic: float, width: float) -> float:
        """Expected up-crossings of the strength over bands of a width [1/m] (Davies 1987; Baluev 2008)."""
        lever = width * math.sqrt(sum(float(one.var()) * one.size for one in self.places) / self.n)
        if lever == 0.0:
            return 0.0
        degrees = self.degrees
        variation = math.sqrt(8 * math.pi) * lever
        log = (
            math.log(variation)
            + (degrees - 1) / 2 * math.log(statistic)
            - statistic / 2
            - degrees / 2 * math.log(2)
            - float(special.gammaln(degrees / 2))
        )
        return math.exp(log)

    def period_sd(self, turn: float) -> float:
        """Standard uncertainty of the period: scatter of the phases over their lever along the wire."""
        scatter, lever = 0.0, 0.0
        for one in self.places:
            phase = 2 * np.pi * one / turn
            mean = np.angle(np.exp(1j * phase).sum())
            off = np.angle(np.exp(1j * (phase - mean)))
            scatter += float((off**2).sum())
            lever += float(one.var() * one.size)
        if lever == 0.0:
            return math.inf
        return turn**2 * math.sqrt(scatter / self.freedom / lever) / (2 * math.pi)

    def bunches(self, turn: float) -> tuple[Message, ...]:
        """What is told where faults lie closer together than chance puts them, within half a turn."""
        gaps = np.concatenate([np.diff(one) for one in self.places])
        rate = gaps.size / max(float(sum(one[-1] - one[0] for one in self.places)), 1e-12)
        short = int((gaps < turn / 2).sum())
        chance = float(stats.binom.sf(short - 1, gaps.size, -math.expm1(-rate * turn / 2)))
        if short < 2 or chance > 0.01:
            return ()
        said = message(Note.FAULTS_BUNCH, short=short, gaps=gaps.size)
        return (said,)

"""Do the laboratory samples of a run contradict the line's readings of the same wire, at a stated rate of false alarms?

Each sample is one comparison, and the mean difference of each quantity with several samples is one more. The coverage
factor is chosen over all of them, so that samples of a good run contradict its line in at most the stated share of
runs, whatever the comparisons have in common: a gauge's bias is in every one of them.

Does one laboratory result contradict the line's own?
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from statistics import NormalDist


def normalized_difference(
    laboratory: float, laboratory_sd: float, line: float, line_sd: float, coverage_factor: float = 2.0
) -> float:
    """E_n = (x - X) / sqrt(U_x^2 + U_X^2) of a laboratory result and the line's own; above 1 in size they contradict.

    Args:
        laboratory: the laboratory's result x [any unit].
        laboratory_sd: its standard uncertainty [same unit].
        line: the line's result X for the same wire [same unit].
        line_sd: its standard uncertainty [same unit].
        coverage_factor: k of the expanded uncertainties U = k u.

    Returns:
        E_n; infinite where neither has an uncertainty and they differ.

    Source:
        ISO 13528, E_n score with k = 2 (clause from memory).
    """
    apart = laboratory - line
    expanded = coverage_factor * math.hypot(laboratory_sd, line_sd)
    if expanded == 0.0:
        return 0.0 if apart == 0.0 else math.copysign(math.inf, apart)
    return apart / expanded


@dataclass(frozen=True, slots=True)
class ComparedWithLine:
    """A laboratory result and what the line read of the same wire; all in one unit.

    Args:
        laboratory: the laboratory's result.
        laboratory_sd: its standard uncertainty.
        low: least that the line's readings allow; where only bounds are known, the lower one.
        high: greatest that they allow.
        line_sd: standard uncertainty of the line's readings, the same for every sample of the run.
        place_sd: spread of the readings around the place, for the sample may lie anywhere there.
    """

    laboratory: float
    laboratory_sd: float
    low: float
    high: float
    line_sd: float
    place_sd: float

    @property
    def nearest(self) -> float:
        """What the line's readings allow that is nearest to the laboratory's result."""
        return min(max(self.laboratory, self.low), self.high)

    @property
    def apart(self) -> float:
        """Laboratory less line; 0 anywhere between the bounds."""
        return self.laboratory - self.nearest

    def e_n(self, factor: float) -> float:
        """Normalized difference with a coverage factor; above 1 in size the two contradict each other."""
        return normalized_difference(
            self.laboratory, self.laboratory_sd, self.nearest, hypot(self.line_sd, self.place_sd), factor
        )


@dataclass(frozen=True, slots=True)
class MeanApart:
    """The mean difference of a quantity over the samples of a run.

    Args:
        n: samples.
        apart: mean of laboratory less line.
        e_n: normalized difference of the mean; above 1 in size laboratory and line contradict each other.
    """

    n: int
    apart: float
    e_n: float


def coverage_factor(comparisons: int, false_alarms: float) -> float:
    """Factor k of the expanded uncertainties U = k u by which all comparisons of a good run agree with 1 - a.

    k = z(1 - a / (2 m)) with m comparisons, by Bonferroni's inequality, which holds however they depend on each other.

    Args:
        comparisons: how many are made in the run.
        false_alarms: a, the share of good runs in which one or more may contradict by chance.

    Source:
        JCGM 100:2008, 6.2 and G.1 (expanded uncertainty, its coverage; clauses from memory); Bonferroni's inequality.
    """
    return NormalDist().inv_cdf(1.0 - false_alarms / (2.0 * max(comparisons, 1)))


def comparisons_of(numbers: Mapping[str, int]) -> int:
    """How many comparisons a run's samples make: each sample, and each mean of several.

    Args:
        numbers: samples that the line has readings for, by quantity.
    """
    return sum(numbers.values()) + sum(number > 1 for number in numbers.values())


def mean_apart(compared: Sequence[ComparedWithLine], factor: float) -> MeanApart:
    """The mean difference of several samples of one quantity, tested as one.

    The laboratory's uncertainty and the line's own are taken to be the same error in every sample, as a calibration's
    is; only where in the wire each sample lay is independent: u^2 = (mean u_lab)^2 + u_line^2 + sum s_i^2 / n^2.

    Args:
        compared: the samples.
        factor: coverage factor, as of `coverage_factor`.

    Source:
        JCGM 100:2008, 5.2.2 with correlation coefficients of 1 and 0 (clause from memory); E_n as ISO 13528.
    """
    n = len(compared)
    apart = sum(one.apart for one in compared) / n
    laboratory = sum(one.laboratory_sd for one in compared) / n
    line = max(one.line_sd for one in compared)
    place = sum(one.place_sd**2 for one in compared) ** 0.5 / n
    return MeanApart(n, apart, normalized_difference(apart, laboratory, 0.0, hypot(line, place), factor))

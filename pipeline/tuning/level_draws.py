"""What the spread of reel levels may be, where reels come in runs: the run is the cluster, the reel is not.

Reels of one run share its set-up, so twelve reels of two runs tell less than twelve reels of twelve runs. How runs
differ is drawn together with how reels differ within them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.statistics.variance_components import nested_table

Floats = NDArray[np.float64]

# Standard deviation of runs over that of reels in a run: half-Cauchy with this scale beforehand (chosen here).
PRIOR_SCALE = 1.0
_RATIOS = np.tan(0.5 * np.pi * (np.arange(1000) + 0.5) / 1000.0)  # equal shares of a half-Cauchy of scale 1


@dataclass(frozen=True, slots=True)
class LevelDraws:
    """Draws of what is not known of reel levels.

    Args:
        sd: standard deviation of the level of a reel of any run, one value a draw.
        mean_sd: standard error of the mean level, one value a draw.
    """

    sd: Floats
    mean_sd: Floats


def draw_levels(
    levels: Sequence[float], runs: Sequence[str], draws: int, random: np.random.Generator
) -> LevelDraws:
    """Draws of the spread of reel levels and of the error of their mean.

    With reels in several runs, SS_w/s^2 and SS_b/(s^2 (1 + n0 g^2)) are chi-square, s the deviation of reels in a run
    and g that of runs over it; g is drawn from a grid with a half-Cauchy weight, s from its chi-square given g. A flat
    weight would leave the spread of two or three runs without an end. One run, or one reel a run: chi-square alone.

    Args:
        levels: one level a reel.
        runs: run of each reel.
        draws: number of draws.
        random: source of random numbers.

    Source: A. Gelman, Prior distributions for variance parameters in hierarchical models, Bayesian Analysis 1 (2006),
    515-533 (from memory); unequal sizes by n0 as of `nested_table`.
    """
    values, names = np.asarray(levels, dtype=np.float64), list(runs)
    count, groups = values.size, len(set(names))
    even = random.permutation((np.arange(draws) + 0.5) / draws)
    if groups < 2 or groups == count:
        freedom = max(count - 1, 1)
        sd = np.sqrt(float(((values - values.mean()) ** 2).sum()) / stats.chi2.ppf(even, freedom))
        return LevelDraws(sd, sd / math.sqrt(count))
    table = nested_table(values, names)
    within, between = table.lines
    share = 1.0 + table.reel_weight * (PRIOR_SCALE * _RATIOS) ** 2
    squares = within.sum_of_squares + between.sum_of_squares / share
    freedom = within.freedom + between.freedom
    # A likelihood without spread at all leaves the weight alone.
    height = -0.5 * (between.freedom * np.log(share) + freedom * np.log(np.maximum(squares, 1e-300)))
    rising = np.cumsum(np.exp(height - height.max()))
    picked = np.searchsorted(rising / rising[-1], random.permutation((np.arange(draws) + 0.5) / draws))
    ratio = PRIOR_SCALE * _RATIOS[picked]
    reel = np.sqrt(squares[picked] / stats.chi2.ppf(even, freedom))
    return LevelDraws(reel * np.hypot(1.0, ratio), reel * np.sqrt(ratio**2 / groups + 1.0 / count))

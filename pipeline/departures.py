"""Do values depart from normal, repeat their neighbors or, as counts, scatter by more than chance allows?"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.assumed import Assumed
from pipeline.messages import message
from pipeline.notes import Note
from pipeline.results import Assumption, Refused, Result

# Departures that matter to an index (chosen here), and most values the test of normality takes.
SKEWNESS, EXCESS_KURTOSIS = 0.5, 1.0
MOST = 5000


def near_normal(values: NDArray[np.float64], worth: float) -> Assumption:
    """Whether values are near normal: it fails where the departure is beyond chance and large enough to matter.

    Thousands of readings always differ from normal, and thirty normal values often look skewed. The test is Shapiro and
    Wilk's at 5 %, on as many values, evenly taken, as are independent.

    Args:
        values: the values in order; NaN where unknown.
        worth: independent values they are worth.

    Source: S. S. Shapiro and M. B. Wilk, Biometrika 52 (1965) 591-611; scipy.stats.shapiro.
    """
    name = message(Assumed.NEAR_NORMAL)
    known = values[~np.isnan(values)]
    off = known - known.mean()
    variance = float((off * off).mean())
    if known.size < 3 or np.ptp(known) == 0.0:
        return Assumption(name, None, message(Note.SO_FEW_CANNOT_SHOW, n=known.size))
    skewness = float((off**3).mean()) / variance**1.5
    kurtosis = float((off**4).mean()) / variance**2 - 3.0
    taken = known[:: max(1, math.ceil(known.size / max(min(worth, MOST), 3.0)))]
    p_value = float(stats.shapiro(taken).pvalue) if taken.size >= 3 and np.ptp(taken) > 0.0 else 1.0
    matters = abs(skewness) >= SKEWNESS or abs(kurtosis) >= EXCESS_KURTOSIS
    told = message(Note.SHAPE_AND_NORMALITY, skewness=skewness, kurtosis=kurtosis, p_value=p_value)
    return Assumption(name, not (p_value < 0.05 and matters), told)


def apart_from_neighbours(values: NDArray[np.float64]) -> Assumption:
    """Whether values in the order made repeat their neighbours: lag one against its standard error, 5 % one-sided.

    Args:
        values: one a reel, in the order made; NaN where unknown.

    Source: M. S. Bartlett, J. R. Stat. Soc. Suppl. 8 (1946) 27-41 (from memory).
    """
    name = message(Assumed.NEIGHBOURS_INDEPENDENT)
    off = values - np.nanmean(values)
    pairs = off[1:] * off[:-1]
    n = int(np.isfinite(pairs).sum())
    square = float(np.nansum(off**2))
    if n < 8 or np.nanmax(values) == np.nanmin(values):
        return Assumption(name, None, message(Note.SO_FEW_CANNOT_SHOW, n=n))
    lag_one = float(np.nansum(pairs)) / square
    # A sample's own mean pulls its correlation down by 1/n.
    held = lag_one + 1.0 / n <= 1.645 / math.sqrt(n)
    return Assumption(name, held, message(Note.LAG_ONE_OF_PAIRS, lag_one=lag_one, n=n))


def scatter_of_faults(dispersion: Result | Refused | None) -> tuple[Assumption, float, float]:
    """Whether faults fall independently, the factor on the variance (1 or more), the freedom it is known with.

    Args:
        dispersion: the index of dispersion of the counts, as `dispersion_of_counts` gives it; None for not checked.
    """
    name = message(Assumed.FAULTS_INDEPENDENT)
    if not isinstance(dispersion, Result):
        why = message(Note.NOT_CHECKED) if dispersion is None else dispersion.reason
        return Assumption(name, None, why), 1.0, math.inf
    phi, p_value = max(dispersion.estimate, 1.0), dispersion.details["p_value"]
    told = message(
        Note.VARIANCE_OF_COUNTS,
        dispersion=dispersion.estimate,
        items=int(dispersion.details["items"]),
        p_value=p_value,
    )
    held = p_value >= 0.05
    then = None if held else message(Note.THEN_INTERVAL_WIDENED, factor=math.sqrt(phi))
    freedom = max(dispersion.details["freedom"], 1.0) if phi > 1.0 else math.inf
    return Assumption(name, held, told, then), phi, freedom

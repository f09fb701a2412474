"""When had the wire settled, by the wire itself? The speed may be steady while the crosshead still is not.

The R-statistic compares the variance about a filtered value with the variance of differences: about 1 when
steady. Memory in the readings raises it just as unsteadiness does, so its limit is scaled by the memory.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import signal

from pipeline.length.placement import Placement
from pipeline.length.steady_state import PHASE_NAMES, SETTLE, STEADY

Floats = NDArray[np.float64]

# 95 % point of R under white noise for factors 0.2, 0.1, 0.1 (own simulation, good to 0.02).
R_LIMIT = 1.44
SETTLED_BLOCK_M = 20.0
_SIGMA = 3.0


def r_statistic(values: Floats, l1: float = 0.2, l2: float = 0.1, l3: float = 0.1) -> Floats:
    """The R-statistic of a series: (2 - l1) nu / delta.

    nu = l2 (x - f)^2 + (1 - l2) nu, then f = l1 x + (1 - l1) f; delta = l3 (x - x_prev)^2 + (1 - l3) delta,
    from f = x_1, nu = delta = 0; the first value is 1.

    Args:
        values: the series, evenly sampled.
        l1: filter factor of the value.
        l2: filter factor of the variance about it.
        l3: filter factor of the variance of differences.

    Returns:
        R at each value; above `R_LIMIT` the series is not steady, if it has no memory.

    Source:
        S. Cao, R.R. Rhinehart, An efficient method for on-line identification of steady state, J. Process
        Control 5 (1995), from memory; the recursion as in a public implementation of Rhinehart (2013).
    """
    if values.size == 0:
        return values
    filtered = signal.lfilter([l1], [1.0, l1 - 1.0], values[1:], zi=[(1.0 - l1) * values[0]])[0]
    before = np.concatenate(([values[0]], filtered))[: values.size - 1]
    nu = signal.lfilter([l2], [1.0, l2 - 1.0], (values[1:] - before) ** 2)
    delta = signal.lfilter([l3], [1.0, l3 - 1.0], np.diff(values) ** 2)
    ratio = np.divide((2.0 - l1) * nu, delta, out=np.ones_like(nu), where=delta > 0)
    found: Floats = np.concatenate(([1.0], ratio))
    return found


def r_with_memory(lag_one: float, l1: float = 0.2) -> float:
    """R of a steady series that has memory, AR(1) of `lag_one`, relative to white noise.

    [1 + (l1/(2 - l1)) (1 + a)/(1 - a) - 2 l1 phi/(1 - a)] (2 - l1) / (2 (1 - phi)), a = phi (1 - l1).
    At 0.8 the limit for white noise calls 77 % of steady readings unsteady. Scaled by this the level is right
    and the tail still heavier (14 % over the 5 % point at 0.8); thinned to every eighth reading (0.17) it is
    16 %, to every sixteenth (0.03) 6 %. Thinning is better where there are readings enough.

    Args:
        lag_one: phi, correlation of successive readings.
        l1: filter factor of the value.

    Source:
        Derived.
    """
    a = lag_one * (1.0 - l1)
    top = 1.0 + l1 / (2.0 - l1) * (1.0 + a) / (1.0 - a) - 2.0 * l1 * lag_one / (1.0 - a)
    return float((2.0 - l1) * top / (2.0 * (1.0 - lag_one)))


def settled_at_m(at_m: Floats, values: Floats, from_m: float, to_m: float) -> float:
    """Metre from which a stretch of steady speed had settled, by blocks of 20 m.

    The level and spread are the median and the median deviation of the blocks in the later half; the wire has
    settled at the first of three successive blocks within three spreads of the level.

    Args:
        at_m: place of each reading [m].
        values: readings, for example the mean wall [mm]; NaN where there is none.
        from_m: first metre of the stretch [m].
        to_m: last metre [m].

    Returns:
        That metre; `from_m` for a stretch of fewer than eight blocks, which cannot tell.
    """
    inside = np.isfinite(values) & (at_m >= from_m) & (at_m < to_m)
    block = ((at_m[inside] - from_m) / SETTLED_BLOCK_M).astype(np.int64)
    count = int((to_m - from_m) / SETTLED_BLOCK_M)
    if count < 8 or block.size == 0:
        return from_m
    total = np.bincount(block, values[inside], minlength=count + 1)[:count]
    number = np.bincount(block, minlength=count + 1)[:count]
    known = number > 0
    mean = np.where(known, total / np.maximum(number, 1), np.nan)
    later = mean[count // 2 :][known[count // 2 :]]
    if later.size < 4:
        return from_m
    level = float(np.median(later))
    spread = 1.4826 * float(np.median(np.abs(later - level)))
    fine = np.abs(mean - level) <= _SIGMA * max(spread, 1e-9)
    fine |= ~known
    runs = fine[:-2] & fine[1:-1] & fine[2:]
    first = int(np.argmax(runs))
    return from_m + first * SETTLED_BLOCK_M if runs[first] else to_m


def phases_with_settling(placement: Placement, at_m: Floats, values: Floats) -> pl.DataFrame:
    """The run's phases, with wire that had not settled by its own readings moved from STEADY to SETTLE.

    Args:
        placement: the run's placement.
        at_m: place of each reading [m].
        values: readings that show settling, for example the mean wall [mm].

    Returns:
        Phases as in `Placement.phases`.
    """
    rows = []
    for one in placement.phases.to_dicts():
        settled = one["from_m"]
        if one["phase"] == PHASE_NAMES[STEADY]:
            settled = settled_at_m(at_m, values, one["from_m"], one["to_m"])
        length = one["to_m"] - one["from_m"]
        if settled <= one["from_m"] or length <= 0:
            rows.append(one)
            continue
        share = (settled - one["from_m"]) / length
        rows.append({**one, "to_m": settled, "phase": PHASE_NAMES[SETTLE], "seconds": share * one["seconds"]})
        if settled < one["to_m"]:
            rows.append({**one, "from_m": settled, "seconds": (1.0 - share) * one["seconds"]})
    return pl.DataFrame(rows, schema=placement.phases.schema)

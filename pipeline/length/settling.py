"""When had the wire settled, by the wire itself? The speed may be steady while the crosshead still is not."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.length.placement import Placement
from pipeline.length.steady_state import PHASE_NAMES, SETTLE, STEADY

Floats = NDArray[np.float64]

SETTLED_BLOCK_M = 20.0
_SIGMA = 3.0


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

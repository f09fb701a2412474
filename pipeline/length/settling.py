"""When had the wire settled, by the wire itself? The speed may be steady while the crosshead still is not."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import stats

from pipeline.length.placement import Placement
from pipeline.length.steady_state import PHASE_NAMES, SETTLE, STEADY

Floats = NDArray[np.float64]

SETTLED_BLOCK_M = 20.0
_FEWEST_BLOCKS = 8
_SIGMA = 3.0
# Chance, on either side, that wire which only wanders as it does later is so far off at the start (chosen here).
_START_P = 0.0005
# Fewer values apart than this leave the later half's spread no less sure: its tail is the start's own (chosen here).
_FEWEST_APART = 5.0
# It is off by more than so many times the most that the later half ever is (chosen here).
_BEYOND_LATER = 2.0
# Blocks closer to the level than this [mm] are at it, however still the rest lies (chosen here).
_LEAST_MM = 0.0015
# A start is over where the wire keeps its level over as much wire again; less of it may leave the band (chosen here).
_NEAR = 3
_KEPT = 0.9
# Wire that moves on by more than this share of the start's departure drifts: that is no start-up (chosen here).
_MOVES_ON = 0.25


@dataclass(frozen=True, slots=True)
class SettlingTrace:
    """One quantity along the wire that shows settling.

    Args:
        at_m: place of each reading [m].
        values: its readings [mm]; NaN where there is none or it may not be used.
        centre: whether it is a part of the centre's place, which can only make a start longer.
    """

    at_m: Floats
    values: Floats
    centre: bool = False


def settled(traces: Sequence[SettlingTrace], from_m: float, to_m: float) -> float | None:
    """Metre from which a stretch of one speed keeps what it keeps later, by every trace that can tell.

    Args:
        traces: wall, centre and diameter along the wire.
        from_m: the metre at which the speed was reached [m].
        to_m: last metre of the stretch [m].

    Returns:
        The last of the traces' metres; None where neither wall nor diameter can tell.
    """
    told = [(settled_at_m(one.at_m, one.values, from_m, to_m), one.centre) for one in traces]
    if all(one is None or centre for one, centre in told):
        return None
    return max(one for one, _ in told if one is not None)


def settled_at_m(at_m: Floats, values: Floats, from_m: float, to_m: float) -> float | None:
    """Metre from which a stretch of one speed keeps its later level, by blocks of 20 m.

    Level and spread are the median and the median deviation of the blocks in the later half. There is a start-up where
    one of the first three blocks is further off than Student's t allows a single value, of as many values as the
    correlation of neighboring blocks leaves apart, and than twice what the later half ever is. It is over at the first
    block from which three blocks, and nine in ten over as much wire as it took, lie within three spreads.

    Args:
        at_m: place of each reading [m].
        values: readings, for example the mean wall [mm]; NaN where there is none.
        from_m: first metre of the stretch [m].
        to_m: last metre [m].

    Returns:
        That metre, `from_m` without a start-up. None where fewer than eight blocks were read, where a start took over
        half of the stretch, and where what follows it moves on by a quarter of what it was off by: a wall that drifts
        has no start-up, and leaving it out of statistics would flatter them.
    """
    mean = _blocks(at_m, values, from_m, to_m)
    known = np.isfinite(mean)
    later = mean[mean.size // 2 :]
    later = later[np.isfinite(later)]
    if mean.size < _FEWEST_BLOCKS or later.size < _FEWEST_BLOCKS // 2:
        return None
    level = float(np.median(later))
    spread = 1.4826 * float(np.median(np.abs(later - level)))
    means, spreads = _values_apart(later)
    allowed = (
        float(stats.t.isf(_START_P, max(spreads, _FEWEST_APART) - 1.0))
        * math.sqrt(1.0 + 1.0 / means)
        * spread
    )
    off = np.where(known, np.abs(mean - level), 0.0)
    allowed = max(allowed, _BEYOND_LATER * float(np.abs(later - level).max()), _LEAST_MM)
    if off[:_NEAR].max() <= allowed:
        return from_m
    fine = off <= max(_SIGMA * spread, _LEAST_MM)
    good = np.concatenate(([0], np.cumsum(fine)))
    for first in range(mean.size // 2 + 1):
        near, far = min(first + _NEAR, mean.size), min(first + max(first, _NEAR), mean.size)
        if good[near] - good[first] == near - first and good[far] - good[first] >= _KEPT * (far - first):
            return None if _moves_on(mean, first, level) else from_m + first * SETTLED_BLOCK_M
    return None


def _values_apart(blocks: Floats) -> tuple[float, float]:
    """How many values that do not repeat their neighbors so many blocks are worth, for their mean and their spread.

    n (1 - r)/(1 + r) and n (1 - r^2)/(1 + r^2), r the correlation of neighbors with Kendall's correction (1 + 4 r)/n.
    G.V. Bayley and J.M. Hammersley, Suppl. J. Roy. Statist. Soc. 8 (1946), 184-197; M.G. Kendall, Biometrika 41 (1954),
    403-404 (both from memory).
    """
    centred = blocks - blocks.mean()
    square = float(centred @ centred)
    n = blocks.size
    r = float(centred[1:] @ centred[:-1]) / square if square > 0.0 else 0.0
    r = min(max(r + (1.0 + 4.0 * r) / n, 0.0), 0.999)
    return n * (1.0 - r) / (1.0 + r), n * (1.0 - r * r) / (1.0 + r * r)


def _blocks(at_m: Floats, values: Floats, from_m: float, to_m: float) -> Floats:
    """Mean of each block of 20 m of a stretch; NaN where none was read."""
    inside = np.isfinite(values) & (at_m >= from_m) & (at_m < to_m)
    count = max(int((to_m - from_m) / SETTLED_BLOCK_M), 0)
    block = ((at_m[inside] - from_m) / SETTLED_BLOCK_M).astype(np.int64)
    total = np.bincount(block, values[inside], minlength=count + 1)[:count]
    number = np.bincount(block, minlength=count + 1)[:count]
    means: Floats = np.where(number > 0, total / np.maximum(number, 1), np.nan)
    return means


def _moves_on(mean: Floats, first: int, level: float) -> bool:
    """Whether what follows a start moves on by so much that the start is part of a drift."""
    kept = mean[first:][np.isfinite(mean[first:])]
    third = max(kept.size // 3, 1)
    moved = abs(float(np.median(kept[-third:])) - float(np.median(kept[:third])))
    return moved > _MOVES_ON * float(np.nanmax(np.abs(mean[:first] - level)))


def held_speeds(phases: pl.DataFrame) -> list[tuple[float, float, float]]:
    """Stretches of one speed [m]: where it was reached, from where it is steady by the speed alone, and the end.

    Args:
        phases: phases as in `Placement.phases`.
    """
    reached, found = None, []
    for one in phases.filter(pl.col("to_m") > pl.col("from_m")).iter_rows(named=True):
        if one["phase"] == PHASE_NAMES[STEADY]:
            found.append((one["from_m"] if reached is None else reached, one["from_m"], one["to_m"]))
        reached = one["from_m"] if one["phase"] == PHASE_NAMES[SETTLE] else None
    return found


def phases_with_settling(placement: Placement, traces: Sequence[SettlingTrace]) -> pl.DataFrame:
    """The run's phases, with wire that had not settled by its own readings moved from STEADY to SETTLE.

    The speed's own rule is a floor: what the crosshead still does under the noise is no steady wire.

    Args:
        placement: the run's placement, phases by speed.
        traces: wall, centre and diameter along the wire.

    Returns:
        Phases as in `Placement.phases`.
    """
    begins = {rule: settled(traces, reached, to) for reached, rule, to in held_speeds(placement.phases)}
    rows: list[dict[str, Any]] = []
    for one in placement.phases.to_dicts():
        begin = begins.get(one["from_m"]) if one["phase"] == PHASE_NAMES[STEADY] else None
        if begin is None or begin <= one["from_m"] or one["to_m"] <= one["from_m"]:
            rows.append(one)
            continue
        share = (begin - one["from_m"]) / (one["to_m"] - one["from_m"])
        rows.append({**one, "to_m": begin, "phase": PHASE_NAMES[SETTLE], "seconds": share * one["seconds"]})
        rows.append({**one, "from_m": begin, "seconds": (1.0 - share) * one["seconds"]})
    return pl.DataFrame(rows, schema=placement.phases.schema)

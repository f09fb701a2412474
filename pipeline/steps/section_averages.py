"""A quantity along a run's steady wire, reading by reading and averaged over stretches of equal length."""

from __future__ import annotations

import numpy as np

from pipeline.steps.evidence import Floats, Seen

# Wire over which readings are averaged before changes of level are looked for [m]: long against the correlation of
# neighbouring readings, short against a reel (chosen here).
AVERAGE_M = 50.0
# Longest chains that are looked through for periods, eight hours at ten a second: a longer run is cut at its first
# readings (chosen here, to bound the time).
MOST_READINGS = 300_000


def steady_series(seen: Seen, from_m: float, to_m: float) -> tuple[Floats, Floats]:
    """Places and values of the steady readings between two places, in the order of the wire."""
    inside = (seen.at_m >= from_m) & (seen.at_m < to_m) & seen.steady & seen.fit_for_statistics
    at, value = seen.at_m[inside], seen.value[inside]
    order = np.argsort(at, kind="stable")
    return at[order][:MOST_READINGS], value[order][:MOST_READINGS]


def section_averages(seen: Seen, from_m: float, to_m: float) -> tuple[Floats, Floats]:
    """Averages over stretches of wire in order, NaN where too little was read, and the middle of each [m]."""
    at, value = steady_series(seen, from_m, to_m)
    number = np.floor((at - from_m) / AVERAGE_M).astype(np.int64)
    if at.size == 0:
        return np.zeros(0), np.zeros(0)
    count = np.bincount(number)
    few = count < 0.5 * np.median(count[count > 0])
    means = np.bincount(number, weights=value) / np.maximum(count, 1)
    middle: Floats = np.asarray(from_m + AVERAGE_M * (np.arange(count.size) + 0.5), dtype=np.float64)
    return np.asarray(np.where(few, np.nan, means), dtype=np.float64), middle

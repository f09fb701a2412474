"""Which readings must be drawn so that a picture of a long run misses no peak and no dip.

Min-max decimation: the wire is cut into equal lengths and the lowest and the highest reading of each are
kept, as they are and where they are. Nothing is averaged.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Positions = NDArray[np.intp]


def bucket_starts(at_m: Floats, buckets: int) -> Positions:
    """First reading of each of `buckets` equal lengths of wire that holds any.

    Args:
        at_m: places, never decreasing [m].
        buckets: how many lengths to cut the wire into.
    """
    if at_m.size == 0:
        return np.zeros(0, dtype=np.intp)
    edges = np.linspace(at_m[0], at_m[-1], buckets + 1)[:-1]
    starts = np.searchsorted(at_m, edges, side="left")
    return starts[_begins(starts)]


def _begins(rising: Positions) -> NDArray[np.bool_]:
    """Whether each of some numbers that never fall is the first of its value."""
    begins = np.ones(rising.size, dtype=np.bool_)
    np.not_equal(rising[1:], rising[:-1], out=begins[1:])
    return begins


def _first_of_each(found: NDArray[np.bool_], starts: Positions) -> Positions:
    """Index of the first True of each bucket."""
    where = np.flatnonzero(found)
    return where[_begins(np.searchsorted(starts, where, side="right"))]


def extremes_kept(at_m: Floats, values: Floats, buckets: int) -> Positions:
    """Which readings to draw: the lowest and highest of each bucket, both ends, and one gap mark a blank bucket.

    A bucket without any reading (all NaN) keeps its first NaN, so that a drawn line breaks there.

    Args:
        at_m: places, never decreasing [m].
        values: readings; NaN where there is none.
        buckets: how many equal lengths of wire.

    Returns:
        Indices in rising order; all of them where there are no more than two a bucket.
    """
    n = values.size
    if n <= 2 * buckets:
        return np.arange(n, dtype=np.intp)
    starts = bucket_starts(at_m, buckets)
    lengths = np.diff(np.append(starts, n))
    # NaN only where every reading of the bucket is blank.
    low, high = np.fmin.reduceat(values, starts), np.fmax.reduceat(values, starts)
    kept = np.zeros(n, dtype=np.bool_)
    kept[[0, n - 1]] = True
    # A blank reading equals nothing, so it is never among these.
    kept[_first_of_each(values == np.repeat(low, lengths), starts)] = True
    kept[_first_of_each(values == np.repeat(high, lengths), starts)] = True
    kept[starts[np.isnan(low)]] = True
    return np.flatnonzero(kept)

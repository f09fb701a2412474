"""Which readings are a block of earlier readings, written once more? A live instrument's noise never comes back.

With p the share of pairs of near readings that are equal, a block of k readings equals one of n others by chance in at
most n^2 p^k cases, were readings independent about a level that hardly moves; k is the least for one in a thousand
million, and p is taken where equal pairs are frequent. Readings equal to the one before are left out first: those are
the stuck ones' matter. Derived.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pipeline.logs.row_checks.grid import Numbers

Rows = NDArray[np.int64]
Bits = NDArray[np.uint64]

CHANCE = 1e-9
SHORTEST, LONGEST = 25, 250
_BLOCK = 64
_SAMPLED = 4
_FACTOR = 0x9E3779B97F4A7C15
# Pairs of blocks looked at; a log that repeats itself all through has more, and they say the same.
_MOST = 20_000


def repeated_rows(values: Numbers) -> Rows:
    """Places of readings that repeat a block of earlier ones to the last figure.

    Args:
        values: readings of one instrument in the order of time, without gaps, in any unit.
    """
    kept = (
        np.flatnonzero(np.diff(values, prepend=values[:1] - 1) != 0) if values.size else np.zeros(0, np.int64)
    )
    length = _least(values[kept])
    if length is None or kept.size < 2 * length:
        return np.zeros(0, np.int64)
    alive = values[kept]
    later, earlier = _twins(alive, length)
    found = np.zeros(alive.size, np.bool_)
    for row, twin in zip(later.tolist(), earlier.tolist(), strict=True):
        if not found[row]:
            low, high = _extent(alive, row, row - twin)
            found[low:high] |= high - low >= length
    if not bool(found.any()):
        return np.zeros(0, np.int64)
    # Readings left out within a block belong to it.
    edges = np.flatnonzero(np.diff(found.astype(np.int8), prepend=0, append=0))
    spans = zip(kept[edges[::2]].tolist(), kept[edges[1::2] - 1].tolist(), strict=True)
    return np.concatenate([np.arange(a, b + 1) for a, b in spans])


def _least(alive: Numbers) -> int | None:
    """Least length of a block that chance does not repeat; None where readings say too little."""
    blocks = alive.size // _BLOCK
    if blocks < 4:
        return None
    some = np.sort(alive[: blocks * _BLOCK].reshape(blocks, _BLOCK)[:: max(1, blocks // 2000)], axis=1)
    # Pairs of equal readings of a block: each run of c equal ones has c (c - 1) / 2.
    starts = np.concatenate((np.ones((some.shape[0], 1), np.bool_), some[:, 1:] != some[:, :-1]), axis=1)
    place = np.flatnonzero(starts.ravel())
    run = np.diff(np.append(place, some.size))
    pairs = np.bincount(place // _BLOCK, run * (run - 1) / 2.0, some.shape[0])
    share = float(np.quantile(pairs / (_BLOCK * (_BLOCK - 1) / 2.0), 0.9))
    share = max(2.0 * share, 0.1)
    if share >= 0.8:
        return None
    least = math.ceil((math.log(CHANCE) - 2.0 * math.log(alive.size)) / math.log(share))
    return max(least, SHORTEST) if least <= LONGEST else None


def _twins(alive: Numbers, length: int) -> tuple[Rows, Rows]:
    """First readings of blocks that equal an earlier block, and of that block, by a sum of each that hardly lies."""
    with np.errstate(over="ignore"):
        power = np.full(alive.size, _FACTOR, np.uint64)
        power[0] = 1
        power = np.multiply.accumulate(power)
        inverse = np.full(alive.size, pow(_FACTOR, -1, 2**64), np.uint64)
        inverse[0] = 1
        inverse = np.multiply.accumulate(inverse)
        mixed = _mixed(alive.astype(np.float64).view(np.uint64))
        summed = np.concatenate((np.zeros(1, np.uint64), np.add.accumulate(mixed * power)))
        block = (summed[length:] - summed[:-length]) * inverse[: alive.size - length + 1]
        taken = np.flatnonzero(_mixed(block) % np.uint64(_SAMPLED) == 0)
    order = taken[np.argsort(block[taken], kind="stable")]
    same = np.flatnonzero(block[order[1:]] == block[order[:-1]])[:_MOST]
    later, earlier = order[same + 1], order[same]
    by_place = np.argsort(later, kind="stable")
    return later[by_place], earlier[by_place]


def _mixed(bits: Bits) -> Bits:
    """Bits spread over the whole word (a finaliser of a general hash)."""
    out = bits ^ (bits >> np.uint64(33))
    out = out * np.uint64(0xFF51AFD7ED558CCD)
    return np.asarray(out ^ (out >> np.uint64(33)), dtype=np.uint64)


def _extent(alive: Numbers, row: int, lag: int) -> tuple[int, int]:
    """The whole stretch about `row` whose readings equal those `lag` before."""
    low = high = row
    step = 4096
    while high < alive.size:
        part = slice(high, min(high + step, alive.size))
        differ = np.flatnonzero(alive[part] != alive[part.start - lag : part.stop - lag])
        if differ.size:
            high += int(differ[0])
            break
        high = part.stop
    while low > lag:
        part = slice(max(low - step, lag), low)
        differ = np.flatnonzero(alive[part] != alive[part.start - lag : part.stop - lag])
        if differ.size:
            low = part.start + int(differ[-1]) + 1
            break
        low = part.start
    return low, high

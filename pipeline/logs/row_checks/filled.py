"""Which rows were not read but filled in, by a straight line between the readings a historian kept?

A live instrument's noise makes no straight lines. With p the share of rows at which every channel of a gauge lies on
the line between its neighbors to one step of the log, k such rows in a row come by chance in at most n p^(k/2) cases,
since neighboring rows share readings (derived); k is the least for one in a thousand million. A log that is filled all
through shows it by its bends: those of a live one stand beside each other as often as they stand anywhere, those of a
filled one never do.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

CHANCE = 1e-9
SHORTEST, LONGEST = 5, 250
# Shares of rows are taken in blocks, so that a filled stretch does not excuse itself.
_BLOCK = 64
_BLOCKS_AT_LEAST = 4
# Bends beside each other, expected by chance, from which on their lack says something.
BENDS_EXPECTED = 12.0
BENDS_LEFT = 0.2


def filled_rows(channels: Floats, steps: Floats) -> Mask:
    """True for rows that lie on a straight line between others in every channel.

    Args:
        channels: readings of one gauge in the order of the log, rows x channels, without holes.
        steps: smallest step the log shows of each channel, in its unit; 0 where it never changes.
    """
    filled = np.zeros(channels.shape[0], dtype=np.bool_)
    live = steps > 0.0
    if int(live.sum()) < 1 or channels.shape[0] < _BLOCK * _BLOCKS_AT_LEAST:
        return filled
    bend = np.abs(np.diff(channels[:, live], n=2, axis=0))
    straight = bend <= 1.01 * steps[live] + 1e-9
    every = np.asarray(straight.all(axis=1), dtype=np.bool_)
    if _bends_apart(every):
        filled[1:-1] = every
        return filled
    length = _least(straight, every)
    if length is None:
        return filled
    edges = np.flatnonzero(np.diff(every.astype(np.int8), prepend=0, append=0))
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if after - first >= length:
            # The last row that stands still bends, and was not read either.
            stands = bool((channels[after + 1] == channels[after]).all())
            filled[first + 1 : after + 1 + stands] = True
    return filled


def _least(straight: Mask, every: Mask) -> int | None:
    """Fewest straight rows that chance does not make; None where readings say too little."""
    alone = float(np.prod(_usual_share(straight)))
    together = float(_usual_share(every[:, None])[0])
    share = min(max(1.5 * max(alone, together), 1e-6), 1.0)
    least = 2 * math.ceil(math.log(CHANCE / every.size) / math.log(share)) if share < 1.0 else LONGEST + 1
    return max(least, SHORTEST) if least <= LONGEST else None


def _usual_share(true: Mask) -> Floats:
    """Share of rows that are true, column by column: the upper quartile of blocks."""
    blocks = true.shape[0] // _BLOCK
    shares = true[: blocks * _BLOCK].reshape(blocks, _BLOCK, -1).mean(axis=1)
    return np.asarray(np.quantile(shares, 0.75, axis=0), dtype=np.float64)


def _bends_apart(every: Mask) -> bool:
    """Whether bends keep apart from each other all through, as those of a log filled between kept readings do."""
    bends = ~every
    share = float(bends.mean())
    beside = int((bends[1:] & bends[:-1]).sum())
    if share * share * bends.size >= BENDS_EXPECTED and share < 0.6:
        return beside < BENDS_LEFT * share * share * bends.size
    at = np.flatnonzero(bends)
    if at.size < BENDS_EXPECTED:
        return False
    apart = np.diff(at)
    usual = float(np.median(apart))
    return usual > 2.0 and float((np.abs(apart - usual) <= 1.0).mean()) > 0.9

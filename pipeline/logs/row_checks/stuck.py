"""Which readings are stuck: the same figure more often in a row than a live instrument's noise allows.

With noise s and resolution q, two successive readings are equal with probability p = q / (2 s sqrt(pi)), and k in a
row with p^(k-1); a run is called stuck from the k where that falls under one in a thousand million. Derived from
the density of the difference of two Gaussian readings at zero. It stops being true where successive readings
depend on each other or q is not small against s, so p is never taken under the share of equal neighbours that the
log itself shows.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from pipeline.logs.row_checks.grid import Numbers

Rows = NDArray[np.int64]

CHANCE = 1e-9
_LARGEST_P = 0.999
_SHARE_BLOCK = 512
_SAMPLE = 50_000
# A channel that shows the same figure nearly always says nothing of its own noise.
_DEAD_SHARE = 0.95


def stuck_length(resolution: float, noise: float, equal_share: float = 0.0) -> int:
    """Least number of equal readings in a row that is called stuck.

    Args:
        resolution: smallest step the log shows, in the unit of the readings.
        noise: standard deviation of one reading, same unit.
        equal_share: share of successive readings that are equal in the log while it is alive.
    """
    by_noise = resolution / (2.0 * noise * math.sqrt(math.pi)) if noise > 0.0 else _LARGEST_P
    p = min(max(by_noise, equal_share, 1e-6), _LARGEST_P)
    return 1 + math.ceil(math.log(CHANCE) / math.log(p))


def stuck_rows(values: Numbers, resolution: float, usual_noise: float) -> Rows:
    """Places of every reading of a stuck run.

    Args:
        values: readings of one instrument in the order of time, without gaps, in any unit.
        resolution: smallest step the log shows, or else the instrument's resolution, in the unit of `values`.
        usual_noise: the instrument's standard uncertainty, where the log shows no noise of its own, same unit.
    """
    if values.size < 2:
        return np.zeros(0, np.int64)
    equal = values[1:] == values[:-1]
    length = stuck_length(resolution, noise_of(values) or usual_noise, _equal_share(equal))
    # Runs of equal readings are runs of pairs that are equal, and those are few.
    pairs = np.flatnonzero(equal)
    if pairs.size < length - 1:
        return np.zeros(0, np.int64)
    breaks = np.flatnonzero(np.diff(pairs) > 1)
    begins = np.concatenate(([0], breaks + 1))
    ends = np.concatenate((breaks + 1, [pairs.size]))
    long = np.flatnonzero(ends - begins >= length - 1)
    return np.concatenate(
        [np.zeros(0, np.int64), *(np.arange(pairs[begins[run]], pairs[ends[run] - 1] + 2) for run in long)]
    )


def noise_of(values: Numbers) -> float:
    """Standard deviation of one reading from differences of successive ones: MAD / (sqrt(2) 0.6745)."""
    if values.size < 2:
        return 0.0
    some = np.arange(0, values.size - 1, max(1, values.size // _SAMPLE))
    apart = values[some + 1] - values[some]
    return float(np.median(np.abs(apart))) / (math.sqrt(2.0) * 0.6745)


def _equal_share(equal: NDArray[np.bool_]) -> float:
    """Usual share of equal neighbours: the middle of blocks, so that a stuck stretch does not excuse itself."""
    blocks = equal.size // _SHARE_BLOCK
    if blocks == 0:
        share = float(equal.mean())
    else:
        counts = np.count_nonzero(equal[: blocks * _SHARE_BLOCK].reshape(blocks, _SHARE_BLOCK), axis=1)
        share = float(np.median(counts)) / _SHARE_BLOCK
    return share if share < _DEAD_SHARE else 0.0

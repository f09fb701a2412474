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

Floats = NDArray[np.float64]
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


def stuck_rows(values: Floats, resolution: float, usual_noise: float) -> Rows:
    """Places of every reading of a stuck run.

    Args:
        values: readings of one instrument in the order of time, without gaps.
        resolution: the instrument's resolution, where the log shows no step of its own.
        usual_noise: the instrument's standard uncertainty, where the log shows no noise of its own.
    """
    if values.size < 2:
        return np.zeros(0, np.int64)
    apart = np.diff(values)
    changes = np.flatnonzero(apart != 0.0)
    step = logged_step(apart) or resolution
    length = stuck_length(step, noise_of(apart) or usual_noise, _equal_share(apart))
    # Runs of equal readings begin at 0 and behind every change.
    begins = np.concatenate(([0], changes + 1))
    ends = np.concatenate((changes + 1, [values.size]))
    long = np.flatnonzero(ends - begins >= length)
    return np.concatenate([np.zeros(0, np.int64), *(np.arange(begins[run], ends[run]) for run in long)])


def logged_step(apart: Floats) -> float:
    """Smallest step between successive readings; 0 if they never change."""
    sizes = np.abs(apart[:200_000])
    sizes = sizes[sizes > 1e-9]
    return float(sizes.min()) if sizes.size else 0.0


def noise_of(apart: Floats) -> float:
    """Standard deviation of one reading from differences of successive ones: MAD / (sqrt(2) 0.6745)."""
    some = apart[:: max(1, apart.size // _SAMPLE)]
    return float(np.median(np.abs(some))) / (math.sqrt(2.0) * 0.6745)


def _equal_share(apart: Floats) -> float:
    """Usual share of equal neighbours: the middle of blocks, so that a stuck stretch does not excuse itself."""
    blocks = max(1, apart.size // _SHARE_BLOCK)
    equal = (apart[: blocks * _SHARE_BLOCK] == 0.0).astype(np.float64)
    if equal.size < _SHARE_BLOCK:
        share = float(equal.mean())
    else:
        share = float(np.median(equal.reshape(blocks, _SHARE_BLOCK).mean(axis=1)))
    return share if share < _DEAD_SHARE else 0.0

"""How well a likelihood knows its parameters: the inverse of the observed information."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def covariance_of(
    log_likelihood: Callable[[Array], float], at: Sequence[float], steps: Sequence[float]
) -> Array:
    """Covariance of maximum-likelihood estimates: minus the inverse of the second derivatives, by central differences.

    Args:
        log_likelihood: of the parameters, in the order of `at`.
        at: the estimates.
        steps: step of the differences for each, in its unit.

    Returns:
        A square matrix; all NaN where the likelihood has no peak there.
    """
    centre, count = np.array(at, dtype=np.float64), len(at)
    information = np.empty((count, count))
    for i in range(count):
        for j in range(count):
            total = 0.0
            for a in (1.0, -1.0):
                for b in (1.0, -1.0):
                    point = centre.copy()
                    point[i] += a * steps[i]
                    point[j] += b * steps[j]
                    total += a * b * log_likelihood(point)
            information[i, j] = -total / (4.0 * steps[i] * steps[j])
    if not np.isfinite(information).all() or np.linalg.eigvalsh(information).min() <= 0.0:
        return np.full((count, count), np.nan)
    return np.asarray(np.linalg.inv(information), dtype=np.float64)

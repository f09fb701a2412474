"""Effective numbers where the correlation is known, and plain correlations."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.statistics.autocorrelation import _autocovariance


def effective_n_from_correlation(n: int, correlation: ArrayLike) -> tuple[float, float]:
    """For mean and variance: n / (1 + 2 sum (1 - k/n) rho_k), and with rho_k^2 (Bayley and Hammersley 1946)."""
    rho = np.asarray(correlation, dtype=np.float64)[: max(n - 1, 0)]
    weight = 1.0 - np.arange(1, rho.size + 1) / n
    factor = 1.0 + 2.0 * float(np.sum(weight * rho))
    of_squares = 1.0 + 2.0 * float(np.sum(weight * rho**2))
    return min(n / factor if factor > 1.0 else float(n), float(n)), min(n / of_squares, float(n))


def autocorrelation(values: ArrayLike, lags: int) -> NDArray[np.float64]:
    """r_0..r_lags from the sums that `effective_n` stands on."""
    covariance, _ = _autocovariance(np.asarray(values, dtype=np.float64), lags)
    return covariance / covariance[0]

"""How many independent readings a run of correlated readings is worth.

Neighbouring readings of a wall gauge repeat each other, so a million of them are not a million pieces of
evidence. Sources: Bayley and Hammersley, "The effective number of independent observations in an
autocorrelated time series", J. R. Stat. Soc. Suppl. 8 (1946), 184-197 (from memory); Geyer, "Practical Markov
chain Monte Carlo", Statistical Science 7 (1992), 473-483, section 3.3, for where to stop the sum (from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal

_RUN = 10  # lags in a row without visible correlation that end it for the variance sum; chosen here


@dataclass(frozen=True, slots=True)
class EffectiveN:
    """What a series of readings is worth as independent readings.

    Args:
        n: known readings.
        for_mean: independent readings that would fix the mean as well; never above `n`.
        for_variance: independent readings that would fix the variance as well; never above `n`.
        lag_one: correlation of neighbouring readings, -1 to 1; NaN if it does not exist.
        cut_lag: lag [readings] at which the sum for the mean was stopped.
        resolved: False if the correlation reaches over so much of the series that the figures are guesses.
    """

    n: int
    for_mean: float
    for_variance: float
    lag_one: float
    cut_lag: int
    resolved: bool

    @property
    def freedom(self) -> float:
        """Degrees of freedom the effective numbers themselves are known with: n/(2 (2 m + 1)), m the cut lag.

        Var(tau)/tau^2 = 2 (2 m + 1)/n for the sum of correlations (Madras and Sokal, J. Stat. Phys. 50 (1988),
        109-186, from memory) gives twice that; it is halved here because the sum of squares is estimated too. With
        Student's t on so many, bounds of an index hold: see tests/statistics/interval_coverage_found.csv.
        """
        return max(self.n / (2.0 * (2.0 * self.cut_lag + 1.0)), 1.0)


@checked
def effective_n(values: ArrayLike) -> EffectiveN:
    """Effective number of readings of a measured series, for its mean and for its variance.

    The sums of Bayley and Hammersley over the sample correlations. The sum for the mean stops by Geyer's
    initial monotone sequence (pairs of neighbouring lags until their sum turns negative); the sum of squares
    for the variance goes on, up to ten times sqrt(n), while correlations stand outside Bartlett's two
    standard errors, so that a swinging correlation is not missed. The sample mean's own wandering, which
    pulls every sample correlation down, is put back: c_k + Var(mean).

    Args:
        values: readings at equal steps along the wire or in time; NaN where unknown. Put one NaN between
            pieces that do not adjoin.

    Returns:
        An `EffectiveN`; for constant readings both figures are 1 and the correlation is NaN.

    Raises:
        MethodRefusal: a reading is infinite, or none is known.

    It stops being true where the level drifts, the correlation reaches over a fifth of the series or fewer
    than ten readings' worth is left: `resolved` is then False and the figures are too large (limits chosen
    here). A steady cycle makes the variance figure too small, which is the safe side.
    """
    series = _series(values)
    n = int(np.isfinite(series).sum())
    if n == 0:
        raise MethodRefusal(
            Complaint("effective_n: values", "no reading is known", "Give at least one known reading")
        )
    covariance, pairs = _autocovariance(series, series.size - 1)
    if not covariance[0] > 0.0:
        return EffectiveN(n, 1.0, 1.0, float("nan"), 0, False)
    usable = np.where(pairs > 0.0, covariance, 0.0)
    rho = usable / usable[0]
    cut = _last_positive_pair(rho)
    wide = max(cut, _last_visible_lag(rho, n))
    lifted, variance_of_mean = _lift(usable, pairs, cut, n)
    for_mean = float(np.clip(lifted[0] / variance_of_mean, 1.0, n)) if variance_of_mean > 0.0 else float(n)
    squares = (lifted[1 : wide + 1] / lifted[0]) ** 2
    spread = 1.0 + 2.0 * float(np.sum(pairs[1 : wide + 1] / n * squares))
    return EffectiveN(
        n=n,
        for_mean=for_mean,
        for_variance=float(np.clip(n / spread, 1.0, n)),
        lag_one=float(rho[1]) if series.size > 1 and pairs[1] > 0.0 else float("nan"),
        cut_lag=cut,
        resolved=bool(cut <= series.size / 5.0 and for_mean >= 10.0),
    )


def _series(values: ArrayLike) -> NDArray[np.float64]:
    series = np.asarray(values, dtype=np.float64).ravel()
    infinite = np.flatnonzero(np.isinf(series))
    if infinite.size:
        raise MethodRefusal(
            Complaint(
                "effective_n: values",
                f"reading {int(infinite[0]) + 1} of {series.size} is infinite",
                "Readings are finite numbers, or NaN where unknown; flag this reading and ask again",
            )
        )
    return series


def _autocovariance(
    series: NDArray[np.float64], lags: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Autocovariances c_0..c_lags with divisor n, and the number of known pairs at each lag."""
    known = np.isfinite(series)
    size, n = series.size, int(known.sum())
    if n == 0:
        return np.full(lags + 1, np.nan), np.zeros(lags + 1)
    readings = series if n == size else series[known]
    centred = readings - readings[0]  # off a reading first: no digits lost to a large level
    centred -= centred.mean()
    if readings.max() == readings.min():
        centred[:] = 0.0
    if n == size:
        pairs = size - np.arange(lags + 1, dtype=np.float64)
        return _lagged_sum(centred, lags) / n, pairs
    spread = np.zeros(size)
    spread[known] = centred
    products = _lagged_sum(spread, lags)
    pairs = np.rint(_lagged_sum(known.astype(np.float64), lags))
    full = (size - np.arange(lags + 1)) / size
    with np.errstate(invalid="ignore", divide="ignore"):
        covariance = np.where(pairs > 0.0, products / pairs * full, np.nan)
    return covariance, pairs


def _lagged_sum(x: NDArray[np.float64], lags: int) -> NDArray[np.float64]:
    """Sum x_t x_{t+k} for k = 0..lags through the Fourier transform."""
    length = fft.next_fast_len(x.size + lags, real=True)
    spectrum = fft.rfft(x, length)
    return np.asarray(fft.irfft(spectrum * spectrum.conj(), length)[: lags + 1], dtype=np.float64)


def _last_positive_pair(rho: NDArray[np.float64]) -> int:
    """Last lag before the sum of two neighbouring correlations is no longer positive (Geyer 1992)."""
    even = rho[: rho.size // 2 * 2 : 2] + rho[1::2]
    stop = np.flatnonzero(even <= 0.0)
    pairs_kept = int(stop[0]) if stop.size else even.size
    return max(2 * pairs_kept - 1, 0)


def _last_visible_lag(rho: NDArray[np.float64], n: int) -> int:
    """Last lag outside two of Bartlett's standard errors before a run of lags inside them."""
    reach = int(min(rho.size - 1, max(n // 4, 1), 10.0 * np.sqrt(n)))
    head = rho[1 : reach + 1]
    if head.size == 0:
        return 0
    before = np.concatenate(([0.0], np.cumsum(head**2)[:-1]))
    seen = np.abs(head) > 2.0 * np.sqrt((1.0 + 2.0 * before) / n)
    lag_of_last = np.maximum.accumulate(np.where(seen, np.arange(1, reach + 1), 0))
    quiet = np.flatnonzero(np.arange(1, reach + 1) - lag_of_last >= _RUN)
    return int(lag_of_last[quiet[0]] if quiet.size else lag_of_last[-1])


def _lift(
    covariance: NDArray[np.float64], pairs: NDArray[np.float64], cut: int, n: int
) -> tuple[NDArray[np.float64], float]:
    """Autocovariances with the sample mean's wandering put back, and the variance of the mean.

    Solves V = (1/n^2) (N_0 (c_0 + V) + 2 sum N_k (c_k + V)) for V over the lags up to `cut`.
    """
    window = covariance[: cut + 1].copy()
    weight = pairs[: cut + 1] / n * np.where(np.arange(cut + 1) == 0, 1.0, 2.0)
    if cut >= 1:  # monotone: a later pair may not exceed an earlier one
        two = window[: (cut + 1) // 2 * 2].reshape(-1, 2)
        sums = two.sum(axis=1)
        capped = np.minimum.accumulate(sums)
        scale = np.where(sums > 0.0, capped / np.where(sums > 0.0, sums, 1.0), 1.0)
        window[: two.size] = (two * scale[:, None]).ravel()
    total, width = float(np.sum(weight * window)), float(np.sum(weight))
    # A window as wide as the series cannot tell the wandering from the mean: hold the lift to twice.
    variance_of_mean = total / max(n - width, n / 2.0)
    return covariance + max(variance_of_mean, 0.0), max(variance_of_mean, 0.0)

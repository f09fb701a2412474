"""By how much does one series lag another? Cross-correlation after prewhitening, with its significance.

Two smooth series correlate by chance over long lags, and the plain peak is drawn away by the series' own
memory. Both are therefore filtered by the autoregression of one of them first; what is left of a chance
correlation is 1/sqrt(n) wide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal, stats

from pipeline.messages import message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

FEWEST = 100
MOST_LAGS_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class Delay:
    """How a second series follows a first.

    Args:
        lags: lags [samples]; positive where the second comes later.
        correlation: cross-correlation of the prewhitened series at each lag.
        raw_correlation: the same of the series as they are.
        first_lag: first lag from 0 on whose correlation is beyond `lag_limit`; None if none is.
        peak_lag: lag of the strongest correlation, between samples by a parabola [samples].
        peak: correlation there.
        lag_limit: 2/sqrt(n), the limit for one lag named beforehand.
        peak_limit: limit for the strongest of all lags, 95 % (Bonferroni).
        ar: coefficients of the autoregression used.
        n: samples used.
    """

    lags: Integers
    correlation: Floats
    raw_correlation: Floats
    first_lag: int | None
    peak_lag: float
    peak: float
    lag_limit: float
    peak_limit: float
    ar: Floats
    n: int

    @property
    def significant(self) -> bool:
        """Whether the strongest correlation is beyond chance."""
        return abs(self.peak) > self.peak_limit


def autoregression(series: Floats, order: int) -> Floats:
    """Coefficients of x_t = c_1 x_(t-1) + ... + c_p x_(t-p) + e by least squares; the mean is taken off.

    Args:
        series: the series.
        order: p; 0 gives no coefficients.

    Source:
        G.E.P. Box, G.M. Jenkins, G.C. Reinsel, G.M. Ljung, Time Series Analysis (Wiley), chapter 7.
    """
    x = series - series.mean()
    if order == 0 or x.size <= 2 * order or not float(np.ptp(x)) > 0:
        return np.zeros(0)
    past = np.stack([x[order - k : x.size - k] for k in range(1, order + 1)], axis=1)
    coefficients: Floats = np.linalg.lstsq(past, x[order:], rcond=None)[0]
    return coefficients


def correlate(x: Floats, y: Floats, most_lags: int) -> Floats:
    """r(k) = sum x_t y_(t+k) / (n s_x s_y) for k from -most_lags to most_lags.

    Args:
        x: first series.
        y: second series, as long.
        most_lags: largest lag either way [samples].

    Returns:
        2 most_lags + 1 correlations; zeros where a series does not vary.
    """
    a, b = x - x.mean(), y - y.mean()
    scale = float(np.sqrt((a @ a) * (b @ b)))
    if scale <= 0:
        return np.zeros(2 * most_lags + 1)
    size = fft.next_fast_len(a.size + most_lags, real=True)
    spectrum = np.conj(fft.rfft(a, size)) * fft.rfft(b, size)
    all_lags = fft.irfft(spectrum, size)
    found: Floats = np.concatenate((all_lags[size - most_lags :], all_lags[: most_lags + 1])) / scale
    return found


def parabola_shift(before: float, at: float, after: float) -> float:
    """Where between samples the peak lies: (c- - c+) / (2 (c- - 2 c0 + c+)), within half a sample.

    Args:
        before: value one sample before the greatest.
        at: greatest value.
        after: value one sample after it.
    """
    curve = before - 2.0 * at + after
    if curve == 0:
        return 0.0
    return float(np.clip(0.5 * (before - after) / curve, -0.5, 0.5))


def delay_between(first: Floats, second: Floats, most_lags: int, order: int = 10) -> Delay | Refused:
    """How the second series follows the first, both filtered by the first's autoregression.

    Args:
        first: the input, or the gauge seen first, evenly sampled.
        second: the output, as long.
        most_lags: largest lag looked at either way [samples].
        order: order of the autoregression (10 takes up gauge noise on slow wire; 3 for the gas furnace).

    Returns:
        The delay, or a refusal for series that are too short or do not vary.

    Source:
        Box, Jenkins, Reinsel & Ljung, Time Series Analysis, identification of transfer functions.
    """
    n = min(first.size, second.size)
    lags = min(most_lags, int(MOST_LAGS_SHARE * n))
    question, method = asks(Quantity.SERIES_DELAY), message(Method.CROSS_CORRELATION)
    if n < FEWEST or lags < 1:
        return Refused(question, method, message(Reason.TOO_FEW_SAMPLES, fewest=FEWEST, n=n), n)
    if not (np.ptp(first[:n]) > 0 and np.ptp(second[:n]) > 0):
        return Refused(question, method, message(Reason.SERIES_WITHOUT_DELAY), n)
    ar = autoregression(first[:n], order)
    whiten = np.concatenate(([1.0], -ar))
    x, y = (signal.lfilter(whiten, [1.0], one[:n] - one[:n].mean())[ar.size :] for one in (first, second))
    r = correlate(x, y, lags)
    used = x.size
    beyond = np.flatnonzero(np.abs(r[lags:]) > 2.0 / np.sqrt(used))
    at = int(np.argmax(np.abs(r)))
    shift = 0.0
    if 0 < at < r.size - 1:
        sign = np.sign(r[at])
        shift = parabola_shift(sign * r[at - 1], sign * r[at], sign * r[at + 1])
    chance = float(stats.norm.isf(0.025 / r.size)) / np.sqrt(used)
    return Delay(
        np.arange(-lags, lags + 1),
        r,
        correlate(first[:n], second[:n], lags),
        int(beyond[0]) if beyond.size else None,
        at - lags + shift,
        float(r[at]),
        2.0 / float(np.sqrt(used)),
        float(chance),
        ar,
        used,
    )

"""Lag between series: recovery, significance, and what prewhitening is for."""

import numpy as np
import pytest
from scipy.signal import lfilter

from pipeline.length.cross_correlation import (
    autoregression,
    correlate,
    delay_between,
    parabola_shift,
)
from pipeline.results import Refused
from tests.said import said


def ar1(phi: float, n: int, rng: np.random.Generator) -> np.ndarray:
    return lfilter([1.0], [1.0, -phi], rng.standard_normal(n + 500))[500:]


def test_parabola_of_the_worked_peak() -> None:
    """By hand: (0.82, 0.90, 0.86) peaks 0.1667 after the middle."""
    assert parabola_shift(0.82, 0.90, 0.86) == pytest.approx(1 / 6)
    assert parabola_shift(0.5, 0.5, 0.5) == 0.0


def test_correlation_equals_the_plain_sum() -> None:
    rng = np.random.default_rng(0)
    x, y = rng.standard_normal((2, 120))
    a, b = x - x.mean(), y - y.mean()
    plain = [
        (a[max(0, -k) : 120 - max(0, k)] * b[max(0, k) : 120 - max(0, -k)]).sum() for k in range(-20, 21)
    ]
    assert correlate(x, y, 20) == pytest.approx(np.array(plain) / np.sqrt((a @ a) * (b @ b)))


def test_a_fractional_lag_is_recovered() -> None:
    """Two noisy gauges on one wander, 42.3 samples apart; half a reading interval is allowed."""
    found = []
    for seed in range(20):
        rng = np.random.default_rng(seed)
        fine = np.convolve(ar1(0.95, 60_000, rng), np.ones(10) / 10, "same")
        first, second = fine[423::10][:4000], fine[0:][::10][:4000]
        noise = 0.3 * fine.std()
        delay = delay_between(
            first + noise * rng.standard_normal(4000), second + noise * rng.standard_normal(4000), 80
        )
        assert not isinstance(delay, Refused)
        assert delay.significant
        found.append(delay.peak_lag)
    assert np.mean(found) == pytest.approx(42.3, abs=0.15)
    assert np.abs(np.array(found) - 42.3).max() < 0.5


def test_autoregression_of_a_known_process() -> None:
    x = lfilter([1.0], [1.0, -1.2, 0.5], np.random.default_rng(1).standard_normal(50_000))
    assert autoregression(x, 2) == pytest.approx([1.2, -0.5], abs=0.02)
    assert autoregression(np.ones(50), 3).size == 0


def test_short_and_constant_series_are_refused() -> None:
    short = delay_between(np.arange(10.0), np.arange(10.0), 3)
    assert isinstance(short, Refused)
    assert said(short.reason) == "It needs at least 100 samples; there are 10."
    flat = delay_between(np.ones(500), np.arange(500.0), 3)
    assert isinstance(flat, Refused)
    assert said(flat.reason) == "A series that does not vary has no delay."

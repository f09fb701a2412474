"""Effective number of correlated readings."""

import time

import numpy as np
import pytest
from scipy.signal import lfilter
from statsmodels.tsa.stattools import acf

from pipeline.errors import MethodRefusal
from pipeline.statistics.autocorrelation import (
    effective_n,
)
from tests.statistics.exact_sums import autocorrelation, effective_n_from_correlation


def autoregression(phi: float, n: int, series: int, seed: int) -> np.ndarray:
    """Stationary first-order autoregressions of unit variance, one a row."""
    noise = np.random.default_rng(seed).standard_normal((series, n + 600))
    return lfilter([np.sqrt(1.0 - phi**2)], [1.0, -phi], noise, axis=1)[:, 600:]


def test_known_correlation_against_the_closed_sums() -> None:
    # By hand: sum (1 - k/n) a^k = a/(1-a) - a (1 - a^n)/(n (1-a)^2), with a = phi and a = phi^2.
    n, phi = 1000, 0.9
    for_mean, for_variance = effective_n_from_correlation(n, phi ** np.arange(1.0, n))

    def closed(a: float) -> float:
        return n / (1.0 + 2.0 * (a / (1.0 - a) - a * (1.0 - a**n) / (n * (1.0 - a) ** 2)))

    assert for_mean == pytest.approx(closed(phi), rel=1e-12)
    assert for_variance == pytest.approx(closed(phi**2), rel=1e-12)
    assert (round(for_mean, 1), round(for_variance, 1)) == (53.1, 105.5)


def test_long_series_tends_to_the_autoregression_ratios() -> None:
    n, phi = 10**6, 0.9
    for_mean, for_variance = effective_n_from_correlation(n, phi ** np.arange(1.0, 2000.0))
    assert for_mean / n == pytest.approx((1 - phi) / (1 + phi), rel=1e-4)
    assert for_variance / n == pytest.approx((1 - phi**2) / (1 + phi**2), rel=1e-4)


def test_negative_correlation_never_makes_more_than_was_read() -> None:
    assert effective_n_from_correlation(100, [-0.45]) == (100.0, pytest.approx(100 / (1 + 2 * 0.99 * 0.2025)))
    found = effective_n(np.tile([1.0, -1.0], 500) + np.random.default_rng(1).normal(0, 0.1, 1000))
    assert found.for_mean == 1000.0
    assert found.for_variance <= 1000.0


def test_correlations_equal_an_independent_library() -> None:
    x = autoregression(0.8, 777, 1, 3)[0]
    assert autocorrelation(x, 40) == pytest.approx(acf(x, nlags=40, fft=False), abs=1e-12)
    x[[5, 6, 90, 400]] = np.nan
    assert autocorrelation(x, 20) == pytest.approx(
        acf(x, nlags=20, fft=False, missing="conservative", adjusted=True) * (777 - np.arange(21)) / 777,
        abs=1e-12,
    )


@pytest.mark.parametrize(
    ("phi", "n", "within"),
    [(0.0, 2000, 0.07), (0.5, 2000, 0.08), (0.9, 2000, 0.08), (0.95, 2000, 0.08), (0.99, 20000, 0.08)],
)
def test_estimated_variances_of_mean_and_variance_are_right_on_average(
    phi: float, n: int, within: float
) -> None:
    # Averages over 200 series of 1/n_mean and 1/n_variance against the exact sums for the known process.
    found = [effective_n(row) for row in autoregression(phi, n, 200, 11)]
    exact_mean, exact_variance = effective_n_from_correlation(n, phi ** np.arange(1.0, n))
    assert np.mean([1 / one.for_mean for one in found]) == pytest.approx(1 / exact_mean, rel=within)
    assert np.mean([1 / one.for_variance for one in found]) == pytest.approx(1 / exact_variance, rel=within)


def test_unit_and_level_do_not_matter() -> None:
    x = autoregression(0.9, 3000, 1, 8)[0]
    a, b = effective_n(x), effective_n(0.0254 * x + 1e4)
    assert b.for_mean == pytest.approx(a.for_mean, rel=1e-6)
    assert b.for_variance == pytest.approx(a.for_variance, rel=1e-6)


def test_unknown_readings_leave_the_share_of_the_known_ones() -> None:
    x = autoregression(0.9, 20000, 1, 9)[0]
    whole = effective_n(x)
    x[np.random.default_rng(2).random(x.size) < 0.1] = np.nan
    holed = effective_n(x)
    assert holed.n == np.isfinite(x).sum()
    # Scattered gaps cost little: the neighbours say nearly the same.
    assert holed.for_mean == pytest.approx(whole.for_mean, rel=0.1)


def test_a_swinging_correlation_is_not_missed_in_the_variance() -> None:
    # AR(2) with roots of modulus .99 at 45 degrees: the mean is better known than from independent readings,
    # the variance far worse. Exact figures from the exact autocorrelation.
    r, w, n = 0.99, np.pi / 4, 20000
    a1, a2 = 2 * r * np.cos(w), -(r**2)
    noise = np.random.default_rng(4).standard_normal(n + 5000)
    x = lfilter([1.0], [1.0, -a1, -a2], noise)[5000:]
    rho = np.empty(3000)
    rho[0], rho[1] = 1.0, a1 / (1 - a2)
    for k in range(2, rho.size):
        rho[k] = a1 * rho[k - 1] + a2 * rho[k - 2]
    exact = effective_n_from_correlation(n, rho[1:])[1]
    assert effective_n(x).for_variance == pytest.approx(exact, rel=0.25)


def test_a_million_readings_take_under_two_seconds() -> None:
    x = np.random.default_rng(0).standard_normal(1_000_003)
    begin = time.perf_counter()
    found = effective_n(x)
    assert time.perf_counter() - begin < 2.0
    assert 0.98e6 < found.for_mean <= 1_000_003


def test_constant_one_and_few_readings() -> None:
    constant = effective_n([0.38] * 50)
    assert (constant.n, constant.for_mean, constant.for_variance, constant.resolved) == (50, 1.0, 1.0, False)
    assert np.isnan(constant.lag_one)
    assert effective_n([0.38]).for_mean == 1.0
    assert effective_n([0.38, np.nan, 0.39]).n == 2
    assert not effective_n(np.cumsum(np.random.default_rng(0).standard_normal(500))).resolved


def test_complaints_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        effective_n([1.0, np.inf, 2.0])
    assert str(told.value) == (
        "effective_n: values: reading 2 of 3 is infinite. Readings are finite numbers, or NaN where unknown; "
        "flag this reading and ask again."
    )
    with pytest.raises(MethodRefusal) as told:
        effective_n([np.nan])
    assert str(told.value) == ("effective_n: values: no reading is known. Give at least one known reading.")

"""In-line gauge against cut samples: bias, limits of agreement, and lines with errors in both."""

import numpy as np
import pytest
from scipy import optimize, stats

from pipeline.results import Refused
from pipeline.trust.laboratory import agreement, deming, line_with_errors_in_both
from tests.said import said

# Ten differences with mean 2.4 and standard deviation 1.3499.
APART = np.array([0.0, 1, 1, 2, 3, 3, 3, 3, 4, 4])


def test_limits_of_agreement_by_hand() -> None:
    """By hand: bias 2.4, limits -0.25 to 5.05, p 3e-4; standard errors 0.739 (short) and 0.756."""
    lab = np.array([400.0, 410, 395, 388, 402, 420, 415, 399, 405, 391])
    found = agreement(lab + APART, lab, unit="um")
    assert not isinstance(found, Refused)
    assert found.bias.estimate == pytest.approx(2.4)
    assert found.spread == pytest.approx(1.349897, abs=5e-7)
    assert (found.low_limit, found.high_limit) == pytest.approx((-0.245798, 5.045798), abs=5e-7)
    assert found.limit_sd_short == pytest.approx(0.739369, abs=5e-7)
    assert found.limit_sd == pytest.approx(0.755728, abs=5e-7)
    assert found.p == pytest.approx(3.24895e-4, abs=5e-9)
    interval = stats.t.interval(0.95, 9, 2.4, 1.349897 / np.sqrt(10))
    assert (found.bias.low, found.bias.high) == pytest.approx(interval, abs=1e-6)


def test_the_standard_error_of_a_limit_by_simulation() -> None:
    """Per unit of s, n 10: 0.560 by the longer form, 0.554 by simulation, 0.548 by the shorter."""
    rng = np.random.default_rng(2)
    d = rng.standard_normal((40_000, 10))
    limits = d.mean(axis=1) + 1.96 * d.std(axis=1, ddof=1)
    assert limits.std() == pytest.approx(0.554, abs=0.01)
    assert np.sqrt(1 / 10 + 1.96**2 / 18) == pytest.approx(0.5598, abs=5e-5)
    assert np.sqrt(3 / 10) == pytest.approx(0.5477, abs=5e-5)


def test_a_difference_that_grows_is_told() -> None:
    lab = np.linspace(0.3, 0.6, 20)
    found = agreement(lab * 1.05 + 1e-4 * np.random.default_rng(1).standard_normal(20), lab)
    assert not isinstance(found, Refused)
    assert found.grows
    assert said(found.bias.warnings) == (
        "The difference grows with the size measured: a plain bias does not describe it.",
    )


def test_too_few_pairs_and_equal_differences() -> None:
    few = agreement(np.ones(3), np.ones(3))
    assert isinstance(few, Refused)
    assert said(few.reason) == "3 pairs are given; 5 are needed, and thirty tell more."
    same = agreement(np.arange(6.0) + 0.5, np.arange(6.0))
    assert not isinstance(same, Refused)
    assert (same.bias.estimate, same.spread, same.p) == (0.5, 0.0, 0.0)
    equal = agreement(np.arange(6.0), np.arange(6.0))
    assert not isinstance(equal, Refused)
    assert equal.p == 1.0


def test_demings_line_minimises_the_weighted_distances() -> None:
    """Against a general minimiser of sum (x - x0)^2 + (y - y0)^2 / ratio over line and true points."""
    rng = np.random.default_rng(3)
    true = np.linspace(380, 440, 15)
    x, y = true + 3 * rng.standard_normal(15), 5 + 0.97 * true + 6 * rng.standard_normal(15)
    for ratio in (0.25, 1.0, 4.0):
        line = deming(x, y, ratio)
        assert not isinstance(line, Refused)

        def cost(p, ratio=ratio):
            return float(((y - p[1] - p[0] * x) ** 2).sum() / (ratio + p[0] ** 2))

        solved = optimize.minimize(
            cost,
            [1.0, 0.0],
            method="Nelder-Mead",
            options={"xatol": 1e-10, "fatol": 1e-12, "maxiter": 20_000},
        )
        assert line.slope == pytest.approx(solved.x[0], rel=1e-4)
        assert line.slope_low < line.slope < line.slope_high


def test_ordinary_regression_on_a_noisy_x_is_drawn_down_and_demings_is_not() -> None:
    """By simulation: true slope 1.05; ordinary 0.77, Deming 1.045."""
    ordinary, both = [], []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        true = 10 * rng.standard_normal(60)
        x, y = true + 6 * rng.standard_normal(60), 1.05 * true + 6 * rng.standard_normal(60)
        ordinary.append(stats.linregress(x, y).slope)
        line = deming(x, y)
        assert not isinstance(line, Refused)
        both.append(line.slope)
    assert np.mean(ordinary) == pytest.approx(0.77, abs=0.03)
    assert np.mean(both) == pytest.approx(1.05, abs=0.05)


def test_swapping_the_methods_inverts_the_line() -> None:
    rng = np.random.default_rng(9)
    x = rng.standard_normal(30)
    y = 2 * x + 0.1 * rng.standard_normal(30)
    one, other = deming(x, y, 4.0), deming(y, x, 0.25)
    assert not isinstance(one, Refused)
    assert not isinstance(other, Refused)
    assert one.slope == pytest.approx(1 / other.slope)


def test_equal_uncertainties_make_york_the_orthogonal_line() -> None:
    rng = np.random.default_rng(10)
    x = rng.standard_normal(30)
    y = 0.8 * x + 0.1 * rng.standard_normal(30)
    york, orthogonal = line_with_errors_in_both(x, y, np.full(30, 0.1), np.full(30, 0.1)), deming(x, y, 1.0)
    assert not isinstance(york, Refused)
    assert not isinstance(orthogonal, Refused)
    assert (york.slope, york.intercept) == pytest.approx((orthogonal.slope, orthogonal.intercept))


def test_lines_without_spread_are_refused() -> None:
    flat = deming(np.ones(10), np.arange(10.0))
    assert isinstance(flat, Refused)
    assert said(flat.reason) == "It needs 5 pairs that differ; there are 10."
    unsure = line_with_errors_in_both(np.arange(5.0), np.arange(5.0), np.zeros(5), np.ones(5))
    assert isinstance(unsure, Refused)
    assert said(unsure.reason) == (
        "It needs three pairs that differ, each with an uncertainty above 0 in both directions."
    )

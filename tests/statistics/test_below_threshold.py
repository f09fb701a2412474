"""Generalised Pareto fit of deficits."""

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.statistics.below_threshold import (
    fit_tail,
    fit_tail_rows,
    tail_cdf,
    tail_log_likelihood,
    tail_quantile,
)
from pipeline.statistics.goodness_of_fit import bootstrap_goodness_of_fit


def deficits(scale: float, shape: float, n: int, seed: int) -> np.ndarray:
    return tail_quantile(np.array([[scale, shape]]), np.random.default_rng(seed).random((1, n)))[0]


@pytest.mark.parametrize("shape", [-0.4, -0.15, 0.0, 0.2, 0.6])
def test_fit_equals_scipy(shape: float) -> None:
    y = deficits(0.008, shape, 300, 1)
    found = fit_tail(y)
    c, _, scale = stats.genpareto.fit(y, floc=0)
    assert found.shape == pytest.approx(c, abs=2e-3)
    assert found.scale == pytest.approx(scale, rel=2e-3)
    ours = stats.genpareto.logpdf(y, found.shape, scale=found.scale).sum()
    assert found.log_likelihood == pytest.approx(ours, rel=1e-9)
    assert ours >= stats.genpareto.logpdf(y, c, scale=scale).sum() - 1e-6


def test_probability_and_quantile_equal_scipy() -> None:
    p = np.array([[0.01, 0.5, 0.999]] * 3)
    numbers = np.array([[0.008, -0.15], [0.008, 0.0], [0.008, 0.3]])
    x = tail_quantile(numbers, p)
    for row, (scale, shape), share in zip(x, numbers, p, strict=True):
        assert row == pytest.approx(stats.genpareto.ppf(share, shape, scale=scale), rel=1e-9)
    assert tail_cdf(numbers, x) == pytest.approx(p, rel=1e-9)
    assert tail_cdf(numbers, np.full((3, 1), 1.0))[0, 0] == 1.0  # beyond the deepest possible


def test_rows_are_fitted_like_single_samples() -> None:
    rows = np.stack([deficits(0.008, -0.15, 120, seed) for seed in range(6)])
    for row, found in zip(rows, fit_tail_rows(rows), strict=True):
        one = fit_tail(row)
        assert found == pytest.approx([one.scale, one.shape], rel=1e-9)


def test_unit_change_changes_the_scale_only() -> None:
    y = deficits(0.008, -0.2, 200, 3)
    a, b = fit_tail(y), fit_tail(y / 0.0254)
    assert b.shape == pytest.approx(a.shape, abs=1e-7)
    assert b.scale == pytest.approx(a.scale / 0.0254, rel=1e-7)


def test_exponential_is_the_special_case() -> None:
    y = deficits(0.008, 0.0, 200, 4)
    assert tail_log_likelihood(y, 0.008, 1e-8) == pytest.approx(
        float(stats.expon.logpdf(y, scale=0.008).sum()), rel=1e-6
    )


def test_goodness_of_fit_with_fitted_parameters() -> None:
    """p is uniform for a true tail (40 samples) and small for deficits of a normal that is cut too high."""
    p = [
        bootstrap_goodness_of_fit(
            deficits(0.008, -0.15, 80, 900 + seed),
            fit_tail_rows,
            tail_cdf,
            tail_quantile,
            repetitions=99,
            seed=seed,
        ).p_value
        for seed in range(40)
    ]
    assert stats.kstest(p, "uniform").pvalue > 0.01
    x = np.random.default_rng(1).standard_normal(3000)
    lumpy = np.concatenate([np.abs(x[:300]) * 0.001, 0.01 + np.abs(x[300:330]) * 0.001])
    found = bootstrap_goodness_of_fit(lumpy, fit_tail_rows, tail_cdf, tail_quantile, repetitions=99)
    assert found.p_value == 0.01


def test_a_fit_that_runs_away_falls_back_openly() -> None:
    y = np.linspace(0.9, 1.0, 40)  # far shorter-tailed than any generalised Pareto with shape above -0.95
    found = fit_tail(y)
    assert found.converged is False
    assert (found.shape, found.scale) == (0.0, pytest.approx(y.mean()))
    assert np.isnan(found.covariance[1][1])


@pytest.mark.parametrize(
    ("values", "told"),
    [
        (
            [0.01],
            "1 cluster below the threshold, 10 needed. Raise the threshold or gather more wire.",
        ),
        (
            [0.01, np.nan] * 8,
            (
                "a deficit that is not a finite number above zero. Give threshold minus the thinnest reading of each "
                "cluster."
            ),
        ),
        (
            [0.01, -0.01] * 8,
            (
                "a deficit that is not a finite number above zero. Give threshold minus the thinnest reading of each "
                "cluster."
            ),
        ),
        (
            [0.01] * 12,
            "all 12 deficits are equal. Look for a stuck instrument or a resolution coarser than the deficits.",
        ),
    ],
)
def test_complaints_in_full(values: list[float], told: str) -> None:
    with pytest.raises(MethodRefusal) as found:
        fit_tail(values)
    assert str(found.value) == f"Tail fit: {told}"

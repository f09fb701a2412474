"""Anderson-Darling with fitted parameters."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.diagnostic import normal_ad

from pipeline.errors import MethodRefusal
from pipeline.statistics.distribution_families import FAMILIES
from pipeline.statistics.goodness_of_fit import anderson_darling, bootstrap_goodness_of_fit

NORMAL = FAMILIES["normal"]


def test_statistic_equals_independent_programs() -> None:
    x = np.random.default_rng(1).gamma(4.0, size=80)
    u = NORMAL.cdf(NORMAL.fit(x[None, :]), x[None, :])
    ours = anderson_darling(u)[0]
    assert ours == pytest.approx(normal_ad(x)[0], rel=1e-9)
    # A known distribution through the general goodness-of-fit routine of scipy.
    known = stats.goodness_of_fit(
        stats.expon, x, known_params={"loc": 0, "scale": 4.0}, statistic="ad", n_mc_samples=9, rng=1
    )
    assert anderson_darling(stats.expon.cdf(x, scale=4.0)[None, :])[0] == pytest.approx(
        known.statistic, rel=1e-9
    )


def test_p_value_equals_the_tables_for_a_normal_fit() -> None:
    # statsmodels uses the approximation of D'Agostino and Stephens (1986), table 4.9.
    for seed in (2, 3, 4):
        x = np.random.default_rng(seed).normal(size=60) + 0.35 * np.random.default_rng(seed).exponential(
            size=60
        )
        found = bootstrap_goodness_of_fit(x, NORMAL.fit, NORMAL.cdf, NORMAL.quantile, repetitions=2000)
        assert found.p_value == pytest.approx(float(normal_ad(x)[1]), abs=0.04)


def test_right_fits_are_rejected_one_time_in_twenty() -> None:
    """200 gamma samples: p is uniform when the family is right; with the tables for known parameters it is
    not."""
    gamma = FAMILIES["gamma"]
    p = []
    for seed in range(200):
        x = np.random.default_rng(100 + seed).gamma(3.0, size=50)
        p.append(
            bootstrap_goodness_of_fit(
                x, gamma.fit, gamma.cdf, gamma.quantile, repetitions=99, seed=seed
            ).p_value
        )
    assert np.mean(np.array(p) <= 0.05) == pytest.approx(0.05, abs=0.04)
    assert stats.kstest(p, "uniform").pvalue > 0.01


def test_many_readings_are_thinned_and_told() -> None:
    x = np.random.default_rng(5).normal(size=9001)
    found = bootstrap_goodness_of_fit(x, NORMAL.fit, NORMAL.cdf, NORMAL.quantile, repetitions=50)
    assert found.n == 1801
    assert found.p_value > 0.01


def test_complaint_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        bootstrap_goodness_of_fit([1.0, np.nan], NORMAL.fit, NORMAL.cdf, NORMAL.quantile)
    assert str(told.value) == (
        "goodness of fit: values: 1 finite readings of 2. Give at least ten finite readings."
    )

"""Each family against an independent library: fit, probability, quantile, density."""

import numpy as np
import pytest
from scipy import integrate, stats

from pipeline.statistics.distribution_families import FAMILIES

X = stats.gamma.rvs(4, scale=2, size=(3, 400), random_state=1)
WALL = 0.40 + 0.004 * np.random.default_rng(3).standard_normal((2, 500))


def test_fits_equal_scipy() -> None:
    for row, found in zip(X, FAMILIES["gamma"].fit(X), strict=True):
        shape, _, scale = stats.gamma.fit(row, floc=0)
        assert found == pytest.approx([shape, scale], rel=1e-4)
    for row, found in zip(X, FAMILIES["Weibull"].fit(X), strict=True):
        shape, _, scale = stats.weibull_min.fit(row, floc=0)
        assert found == pytest.approx([shape, scale], rel=1e-4)
    for row, found in zip(X, FAMILIES["lognormal"].fit(X), strict=True):
        assert found == pytest.approx([np.log(row).mean(), np.log(row).std(ddof=1)], rel=1e-12)
    for row, found in zip(X, FAMILIES["Box-Cox"].fit(X), strict=True):
        assert found[0] == pytest.approx(stats.boxcox_normmax(row, method="mle"), abs=1e-5)


def test_probabilities_and_densities_equal_scipy() -> None:
    x = np.linspace(2.0, 15.0, 9)[None, :]
    for name, numbers, law in (
        ("gamma", [4.0, 2.0], stats.gamma(4, scale=2)),
        ("Weibull", [2.1, 9.0], stats.weibull_min(2.1, scale=9)),
        ("normal", [8.0, 3.0], stats.norm(8, 3)),
        ("lognormal", [2.0, 0.4], stats.lognorm(0.4, scale=np.exp(2))),
        ("Johnson", [1.0, 0.5, 2.0, 3.0, 8.0], stats.johnsonsu(0.5, 2, loc=8, scale=3)),
        ("Johnson", [0.0, 0.5, 1.2, 20.0, 1.0], stats.johnsonsb(0.5, 1.2, loc=1, scale=20)),
    ):
        family, given = FAMILIES[name], np.array([numbers])
        assert family.cdf(given, x)[0] == pytest.approx(law.cdf(x[0]), rel=1e-9), name
        assert family.log_density(given, x)[0] == pytest.approx(law.logpdf(x[0]), rel=1e-9), name
        p = np.array([[0.00135, 0.5, 0.99865]])
        assert family.quantile(given, p)[0] == pytest.approx(law.ppf(p[0]), rel=1e-9), name


@pytest.mark.parametrize("name", list(FAMILIES))
@pytest.mark.parametrize("rows", [X, WALL], ids=["skewed", "wall"])
def test_quantile_undoes_probability_and_density_sums_to_one(name: str, rows: np.ndarray) -> None:
    family = FAMILIES[name]
    numbers = family.fit(rows)
    p = np.full((rows.shape[0], 3), [0.00135, 0.5, 0.99865])
    x = family.quantile(numbers, p)
    assert family.cdf(numbers, x) == pytest.approx(p, rel=1e-6)
    ends = family.quantile(numbers, np.full((rows.shape[0], 2), [1e-6, 1 - 1e-6]))
    grid = np.linspace(ends[0, 0], ends[0, 1], 40_001)[None, :]
    area = integrate.trapezoid(np.exp(family.log_density(numbers[:1], grid)), grid)[0]
    assert area == pytest.approx(1.0, abs=2e-3)


def test_johnson_finds_the_system_it_was_drawn_from() -> None:
    # Slifker and Shapiro's percentiles on exact quantiles give the numbers back.
    for law, unbounded in (
        (stats.johnsonsu(0.5, 2, loc=8, scale=3), 1.0),
        (stats.johnsonsb(0.5, 1.2, loc=1, scale=20), 0.0),
    ):
        n = 200_000
        x = law.ppf((np.arange(n) + 0.5) / n)[None, :]
        found = FAMILIES["Johnson"].fit(x)[0]
        assert found[0] == unbounded
        shape_a, shape_b = law.args[0], law.args[1]
        assert found[1:] == pytest.approx([shape_a, shape_b, law.kwds["scale"], law.kwds["loc"]], rel=2e-3)


def test_ties_and_a_narrow_spread_do_not_break_the_fits() -> None:
    tied = np.round(WALL, 3)
    for name, family in FAMILIES.items():
        numbers = family.fit(tied)
        low = family.quantile(numbers, np.full((2, 1), 0.00135))
        assert np.isfinite(low).all(), name
        assert low == pytest.approx(np.full((2, 1), 0.388), abs=0.02), name

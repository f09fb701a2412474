"""Quantile indices of fitted distributions."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.results import Refused, Result
from pipeline.statistics.bootstrap import redraw
from pipeline.statistics.distribution_families import FAMILIES, Family
from pipeline.statistics.goodness_of_fit import bootstrap_goodness_of_fit
from pipeline.statistics.nonnormal_capability import (
    fit_families,
    quantile_index_one_sided,
)
from tests.said import said


def goodness(values: np.ndarray, family: Family) -> tuple[float, float]:
    found = bootstrap_goodness_of_fit(values, family.fit, family.cdf, family.quantile, repetitions=99)
    return found.statistic, found.p_value


def mirrored_gamma(n: int) -> np.ndarray:
    return -stats.gamma.ppf((np.arange(n) + 0.5) / n, 4)


def test_skewed_wall_normal_2_00_quantile_1_37() -> None:
    """Mirrored gamma of shape 4, limit -16: normal formula 2.00, quantile 1.368, 9.3e-5 below against
    1e-9."""
    exact = -stats.gamma(4).ppf([0.99865, 0.5])
    truth = (exact[1] + 16) / (exact[1] - exact[0])
    assert truth == pytest.approx(1.368492, abs=5e-7)
    fits = {one.name: one for one in fit_families(mirrored_gamma(20_000), -16.0, FAMILIES, mirror_at=0.0)}
    assert fits["gamma"].index == pytest.approx(truth, rel=2e-3)
    assert fits["gamma"].share_beyond == pytest.approx(9.314e-5, rel=0.02)
    assert fits["normal"].index == pytest.approx(2.0, abs=0.001)
    assert fits["normal"].share_beyond == pytest.approx(9.87e-10, rel=0.05)
    assert fits["gamma"].aic < fits["normal"].aic


def test_choice_is_open_and_every_family_is_listed() -> None:
    x = mirrored_gamma(600)
    found = quantile_index_one_sided(
        x, -16.0, FAMILIES, redraw(600, 1, 200, 3), goodness=goodness, mirror_at=0.0
    )
    assert isinstance(found, Result)
    assert said(found.method).endswith("; gamma")
    assert {name for name in found.details if name.startswith("index_")} == {
        f"index_{one}" for one in FAMILIES
    }
    assert said(found.warnings)[0] == (
        "The gamma family was chosen among 6 by Akaike's criterion; fix it from now on."
    )
    assert found.assumptions[0].held is True
    assert found.low < found.estimate < 1.5 and found.high == math.inf
    fixed = quantile_index_one_sided(
        x, -16.0, FAMILIES, redraw(600, 1, 200, 3), goodness=goodness, family="normal"
    )
    assert isinstance(fixed, Result)
    assert fixed.estimate == pytest.approx(2.0, abs=0.02)
    assert said(fixed.warnings)[0] == (
        "No listed family describes the values well: the index is only a guide to the tail."
    )


def test_upper_limit_mirrors_the_lower() -> None:
    x = stats.gamma.ppf((np.arange(500) + 0.5) / 500, 4)
    lower = fit_families(-x, -16.0, FAMILIES, mirror_at=0.0)
    upper = fit_families(x, 16.0, FAMILIES, sense="at most")
    for a, b in zip(lower, upper, strict=True):
        assert (a.name, a.index, a.share_beyond) == (
            b.name,
            pytest.approx(b.index),
            pytest.approx(b.share_beyond),
        )


def test_families_that_disagree_are_told() -> None:
    x = np.random.default_rng(8).gamma(4.0, size=60)
    found = quantile_index_one_sided(x, 0.001, FAMILIES, redraw(60, 1, 100, 1))
    assert isinstance(found, Result)
    assert any(one.startswith("Families that fit as well give indices from ") for one in said(found.warnings))


@pytest.mark.parametrize(
    ("values", "limit", "options", "reason"),
    [
        (
            [0.4] * 60,
            0.38,
            {},
            "All 60 values are equal, so there is no spread; look for a stuck instrument.",
        ),
        ([0.4], 0.38, {}, "1 value is too few to see a shape, 50 are needed; gather more."),
        ([0.4, math.inf] * 60, 0.38, {}, "60 of 120 values are infinite; flag them and ask again."),
        (
            [0.4, 0.41] * 60,
            math.inf,
            {},
            "The limit is not a finite number; give the limit in the unit of the values.",
        ),
        (
            [0.4, 0.41] * 60,
            0.38,
            {"family": "Cauchy"},
            "'Cauchy' is not a listed family; name one of normal, lognormal, Weibull, gamma, Box-Cox, Johnson.",
        ),
    ],
)
def test_refusals_in_full(values: list[float], limit: float, options: dict[str, object], reason: str) -> None:
    found = quantile_index_one_sided(values, limit, FAMILIES, redraw(60, 1, 100, 1), **options)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_no_interval_no_conclusion() -> None:
    x = np.random.default_rng(1).gamma(4.0, size=60)
    found = quantile_index_one_sided(x, 0.1, FAMILIES, np.empty((0, 0), dtype=np.int64))
    assert isinstance(found, Refused)
    assert said(found.reason) == "Redraw the known values at least 100 times; no interval, no conclusion."

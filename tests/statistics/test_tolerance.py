"""Tolerance limits: properties, coverage, refusals. Printed tables are in tests/published."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.results import Refused, Result
from pipeline.statistics.tolerance import (
    confidence_of_extreme,
    lower_tolerance_limit,
    one_sided_factor,
    values_needed,
)
from tests.said import said


def test_factors_by_simulation() -> None:
    # 100,000 samples of 15: mean - k s keeps at least 99 % in 95 % of them.
    x = np.random.default_rng(1).standard_normal((100_000, 15))
    mean, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
    kept = stats.norm.sf(mean - one_sided_factor(15, 0.99, 0.95) * sd) >= 0.99
    assert kept.mean() == pytest.approx(0.95, abs=0.003)


def test_extremes_by_binomial_reasoning() -> None:
    assert confidence_of_extreme(59, 0.95) == pytest.approx(1 - 0.95**59, rel=1e-12)
    n, p = 93, 0.95
    expected = 1 - n * p ** (n - 1) + (n - 1) * p**n
    assert confidence_of_extreme(n, p, two_sided=True) == pytest.approx(expected, rel=1e-12)
    # Faultless samples that show at most 10 %, 5 %, 1 % faulty at 95 %: ln .05/ln(1 - p), rounded up.
    assert [values_needed(1 - p, 0.95) for p in (0.10, 0.05, 0.01)] == [29, 59, 299]


def test_limit_for_reels() -> None:
    values = 0.40 + 0.004 * np.random.default_rng(5).standard_normal(60)
    found = lower_tolerance_limit(values, 0.99, unit="mm")
    assert isinstance(found, Result)
    k = one_sided_factor(60, 0.99, 0.95)
    assert found.low == pytest.approx(values.mean() - k * values.std(ddof=1), rel=1e-12)
    assert found.unit_of_inference == "reel" and found.low < found.estimate
    free = lower_tolerance_limit(values, 0.95, unit="mm", shape="any")
    assert isinstance(free, Result)
    assert free.low == values.min()


def test_a_skewed_sample_is_warned_of() -> None:
    values = np.random.default_rng(6).exponential(size=80)
    found = lower_tolerance_limit(values, 0.99, unit="mm")
    assert isinstance(found, Result)
    assert said(found.warnings) == ("The values are not normal: the limit may be too high.",)


@pytest.mark.parametrize(
    ("values", "options", "reason"),
    [
        ([0.4] * 20, {}, "All 20 values are equal; look for a stuck instrument."),
        ([0.4], {}, "1 value is too few, 10 are needed; gather more reels."),
        ([0.4, math.inf] * 10, {}, "A value is infinite; flag it and ask again."),
        (
            [0.4, 0.41] * 10,
            {"unit_of_inference": "reading"},
            "Readings of one length of wire repeat their neighbors; use one value a reel.",
        ),
        (
            [0.4, 0.41] * 10,
            {"shape": "any"},
            (
                "Needs 299 values for this share without a distribution; there are 20. Gather more, or show "
                "that the values are normal."
            ),
        ),
    ],
)
def test_refusals_in_full(values: list[float], options: dict[str, str], reason: str) -> None:
    found = lower_tolerance_limit(values, 0.99, unit="mm", **options)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_complaints_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        one_sided_factor(1, 1.0, 0.95)
    assert str(told.value) == (
        "tolerance: n: 1 values show no spread. Give two values or more.\n"
        "tolerance: share: 1 is not between 0 and 1. Give a figure between 0 and 1."
    )

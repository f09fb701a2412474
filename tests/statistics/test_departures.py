"""Checks that indices share: near normal, and independent of neighbours. Their size at 5 % on invented series."""

import numpy as np
import pytest

from pipeline.departures import apart_from_neighbours, near_normal
from tests.statistics.interval_trials import autoregression

SETS = 2000


def share_failed(held: list[bool | None]) -> float:
    return sum(one is False for one in held) / len(held)


@pytest.mark.parametrize("n", [12, 24, 30, 100])
def test_normal_sets_of_any_size_seldom_fail(n: int) -> None:
    """Under 7 % at a test of 5 %; a check by fixed limits of skewness fails 28 % of sets of 30."""
    random = np.random.default_rng(11)
    failed = share_failed([near_normal(random.standard_normal(n), n).held for _ in range(SETS)])
    assert 0.03 <= failed <= 0.07


def test_a_skewed_set_fails_and_many_nearly_normal_readings_do_not() -> None:
    random = np.random.default_rng(12)
    assert share_failed([near_normal(random.gamma(1.0, size=100), 100.0).held for _ in range(50)]) > 0.9
    slight = random.standard_normal(50_000)
    assert near_normal(slight + 0.05 * slight**2, 50_000.0).held is True


@pytest.mark.parametrize("n", [24, 100])
def test_independent_reels_seldom_look_correlated_and_correlated_ones_do(n: int) -> None:
    random = np.random.default_rng(13)
    failed = share_failed([apart_from_neighbours(random.standard_normal(n)).held for _ in range(SETS)])
    assert 0.03 <= failed <= 0.07
    rows = autoregression(0.7, 200, n, random)
    assert share_failed([apart_from_neighbours(one).held for one in rows]) > 0.6


def test_what_cannot_be_checked_is_not_checked() -> None:
    assert near_normal(np.array([1.0, np.nan]), 2.0).held is None
    assert near_normal(np.full(20, 0.4), 20.0).held is None
    assert apart_from_neighbours(np.array([1.0, 2.0, 3.0])).held is None

"""Exact share of bad reels from a count."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from pipeline.results import Refused, Result
from pipeline.statistics.reels_needed import share_of_bad_reels
from tests.said import said


def test_trap_none_bad_still_allows_many() -> None:
    """None of 30/59/100/299: up to 9.5/4.95/2.95/0.997 %, 1 - .05^(1/m)."""
    for reels, percent in ((30, 9.5), (59, 4.95), (100, 2.95), (299, 0.997)):
        found = share_of_bad_reels(0, reels)
        assert isinstance(found, Result)
        assert found.high == pytest.approx(1 - 0.05 ** (1 / reels), rel=1e-9)
        assert 100 * found.high == pytest.approx(percent, abs=0.005)
    assert said(share_of_bad_reels(0, 30).warnings) == ("0 bad of 30. Upper bound: 9.5 % bad reels.",)


def test_interval_equals_an_independent_library() -> None:
    for bad, reels in ((0, 10), (3, 40), (10, 10)):
        found = share_of_bad_reels(bad, reels, two_sided=True)
        assert isinstance(found, Result)
        assert (found.low, found.high) == pytest.approx(
            proportion_confint(bad, reels, method="beta"), abs=1e-9
        )


def test_upper_bound_covers_at_least_95_percent() -> None:
    # Exact sums over the binomial: never below the claim.
    for share in (0.005, 0.02, 0.1):
        count = np.arange(61)
        high = np.array([share_of_bad_reels(int(one), 60).high for one in count])
        assert stats.binom.pmf(count, 60, share)[high >= share].sum() >= 0.95


@pytest.mark.parametrize(("bad", "reels"), [(0, 0), (5, 3), (-1, 3)])
def test_refusals_in_full(bad: int, reels: int) -> None:
    found = share_of_bad_reels(bad, reels)
    assert isinstance(found, Refused)
    assert (
        said(found.reason)
        == f"{bad} bad of {reels} reels is no count; give bad reels from 0 to the number looked at."
    )

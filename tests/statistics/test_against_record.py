"""Predicted shares of bad reels held against the reels observed."""

import pytest
from scipy import stats

from pipeline.results import Refused, Result
from pipeline.statistics.against_record import Observed, against_record, chance_of_as_many, contradiction
from tests.said import said


def predicted(share: float, high: float) -> Result:
    return Result(
        question="How likely?",
        estimate=share,
        low=0.0,
        high=high,
        confidence=0.95,
        unit="",
        method="a model",
        n=1000,
        effective_n=None,
        known_m=None,
        unit_of_inference="reel",
    )


@pytest.mark.parametrize(
    ("bad", "reels", "share"), [(5, 24, 0.00018), (2, 22, 0.05), (1, 4, 0.3), (24, 24, 0.9)]
)
def test_the_chance_of_as_many_against_scipy_s_binomial(bad: int, reels: int, share: float) -> None:
    """Against scipy.stats.binom, which sums the distribution another way."""
    wanted = stats.binom.sf(bad - 1, reels, share)
    assert chance_of_as_many(Observed(bad, reels), share) == pytest.approx(wanted, rel=1e-9)


def test_by_hand() -> None:
    """Two of two at one half come with 1/4; none bad or more always."""
    assert chance_of_as_many(Observed(2, 2), 0.5) == pytest.approx(0.25)
    assert chance_of_as_many(Observed(0, 9), 0.0) == 1.0


def test_a_prediction_that_the_record_contradicts_is_not_shown() -> None:
    """As seen: 0 (0 to 0.00018) for a product of which 5 of 24 reels on file had a point under the limit."""
    found = against_record(predicted(0.0, 0.00018), Observed(5, 24))
    assert isinstance(found, Refused)
    assert said(found.reason) == (
        "Observed on file: 5 bad of 24 reels. The prediction gives that a chance of under 0.0001 (exact binomial "
        "test, level 0.01). The record contradicts the prediction, so it is not shown."
    )


def test_beside_a_prediction_stands_what_was_observed() -> None:
    found = against_record(predicted(0.03, 0.1), Observed(1, 24))
    assert isinstance(found, Result)
    assert said(found.warnings)[0] == "Observed on file: 1 bad of 24 reels."
    assert (found.details["observed_bad"], found.details["observed_reels"]) == (1.0, 24.0)


def test_the_upper_end_of_the_interval_is_held_against_the_record() -> None:
    assert contradiction(Observed(3, 20), 0.001) is not None
    assert contradiction(Observed(3, 20), 0.2) is None
    assert contradiction(Observed(0, 0), 0.001) is None
    assert against_record(predicted(0.0, 1e-6), Observed(0, 0)).question == "How likely?"

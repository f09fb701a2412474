"""Indices between two limits."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.capability_two_sided import indices_between_limits, performance_index_two_sided
from tests.said import said


def diameters(n: int = 50) -> np.ndarray:
    return 2.50 + 0.01 * stats.norm.ppf((np.arange(n) + 0.5) / n)


def test_a_centred_mean_has_equal_indices() -> None:
    found = indices_between_limits(2.5, 0.01, 2.44, 2.56)
    assert found.spread == pytest.approx(found.smaller) == pytest.approx(2.0)
    assert found.off_centre == pytest.approx(0.0, abs=1e-12)


def test_spread_interval_is_the_chi_square_one() -> None:
    found = performance_index_two_sided(diameters(), 2.46, 2.55)
    assert isinstance(found, Result)
    sd = diameters().std(ddof=1)
    assert found.details["spread_index"] == pytest.approx(0.09 / (6 * sd), rel=1e-9)
    # The interval of a variance from scipy's chi-square, turned into one of the index.
    ends = [0.09 / (6 * sd * math.sqrt(49 / stats.chi2.ppf(q, 49))) for q in (0.025, 0.975)]
    assert [found.details["spread_index_low"], found.details["spread_index_high"]] == pytest.approx(
        ends, rel=1e-9
    )
    assert found.question == asks(Quantity.TWO_SIDED_PERFORMANCE_INDEX, symbol="Ppk")


def test_coverage_of_both_intervals_on_independent_values() -> None:
    """10,000 repetitions of 40 values: found .953 for P_p and .952 for the lower bound of P_pk."""
    rows = np.random.default_rng(2).standard_normal((10_000, 40))
    sd, mean = rows.std(axis=1, ddof=1), rows.mean(axis=1)
    truth, limits = 1.33, (-4.5, 3.99)
    smaller = np.minimum(limits[1] - mean, mean - limits[0]) / (3 * sd)
    low = smaller - 1.6448536 * np.sqrt(1 / (9 * 40) + smaller**2 / (2 * 39))
    assert np.mean(low <= truth) == pytest.approx(0.95, abs=0.01)
    one = performance_index_two_sided(rows[0], *limits)
    assert isinstance(one, Result)
    assert one.low == pytest.approx(low[0], rel=1e-6)
    spread_truth, spread = 8.49 / 6, 8.49 / (6 * sd)
    inside = (spread * np.sqrt(stats.chi2.ppf(0.025, 39) / 39) <= spread_truth) & (
        spread_truth <= spread * np.sqrt(stats.chi2.isf(0.025, 39) / 39)
    )
    assert inside.mean() == pytest.approx(0.95, abs=0.007)


@pytest.mark.parametrize(
    ("values", "limits", "options", "reason"),
    [
        (
            [2.5] * 20,
            (2.4, 2.6),
            {},
            "All 20 values are equal, so there is no spread; look for a stuck instrument.",
        ),
        (
            [2.5],
            (2.4, 2.6),
            {},
            "Needs an effective sample size of 10; 1 value gives 1.0. Gather more reels.",
        ),
        (
            [2.5, 2.6] * 9,
            (2.6, 2.4),
            {},
            "The lower limit must be a finite number below the upper one; mend the limits.",
        ),
        ([2.5, math.inf] * 9, (2.4, 2.6), {}, "9 of 18 values are infinite; flag them and ask again."),
        (
            [2.5, 2.6] * 9,
            (2.4, 2.6),
            {"unit_of_inference": "reading"},
            (
                "Values along one length of wire repeat their neighbors, so the bound for independent values does not "
                "hold; pass their effective numbers (their count, if they are cut samples), or use one value a reel."
            ),
        ),
        (
            [2.5, 2.6] * 9,
            (2.4, 2.6),
            {"stable": False, "stability_evidence": "rule 1 at reel 4"},
            (
                "The process is not stable (rule 1 at reel 4), so its spread predicts nothing. Find and remove "
                "the cause."
            ),
        ),
    ],
)
def test_refusals_in_full(
    values: list[float], limits: tuple[float, float], options: dict[str, object], reason: str
) -> None:
    found = performance_index_two_sided(values, *limits, **options)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_a_mean_outside_the_limits_is_told() -> None:
    found = performance_index_two_sided(diameters(), 2.6, 2.7)
    assert isinstance(found, Result)
    assert found.estimate < 0
    assert said(found.warnings)[0] == "The mean lies outside the limits: the index is not positive."

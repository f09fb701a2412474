"""Clusters and trends of faults against faults that fall anywhere."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.results import Refused, Result
from pipeline.statistics.event_clustering import (
    ChanceTest,
    close_pairs,
    dispersion_of_counts,
    gap_clustering,
    trend_along,
)
from pipeline.statistics.event_coincidence import join_known
from tests.said import said

END_OF_REEL = [1200.0, 1310.0, 1340.0, 1405.0, 1466.0, 1490.0]


def result(answer: Result | Refused) -> Result:
    assert isinstance(answer, Result)
    return answer


def chance(answer: ChanceTest | Refused) -> ChanceTest:
    assert isinstance(answer, ChanceTest)
    return answer


def test_laplace_trend_at_the_end_of_the_reel() -> None:
    # Worked out by a script apart: U 3.50, p 4.7e-4.
    found = result(trend_along(END_OF_REEL, 1500.0))
    assert found.details["laplace_u"] == pytest.approx(3.498764353311037)
    assert found.details["p_value"] == pytest.approx(0.00046741948272713794)
    assert found.low > 1.0


def test_the_trend_is_the_maximum_of_the_likelihood() -> None:
    # By hand: at the best slope the mean of the truncated exponential is the mean position.
    found = result(trend_along([100.0, 700.0, 800.0, 1400.0, 1450.0], 1500.0))
    b, mean = math.log(found.estimate), 4450 / 5 / 1500
    assert 1 / (1 - math.exp(-b)) - 1 / b == pytest.approx(mean, abs=1e-6)
    for edge in (found.low, found.high):
        slope = math.log(edge)
        fit = [5 * (x * mean - math.log((math.exp(x) - 1) / x)) for x in (b, slope)]
        assert 2 * (fit[0] - fit[1]) == pytest.approx(stats.chi2.ppf(0.95, 1), rel=1e-6)


def test_running_the_wire_backwards_turns_the_trend_over() -> None:
    one = result(trend_along(END_OF_REEL, 1500.0))
    other = result(trend_along([1500.0 - at for at in END_OF_REEL], 1500.0))
    assert one.estimate == pytest.approx(1 / other.estimate, rel=1e-5)
    assert one.details["laplace_u"] == pytest.approx(-other.details["laplace_u"])


def test_gap_limit_as_worked_out() -> None:
    # Worked out by a script apart: CV of the gaps above 1.26 (95 %, n 30) means clusters. 31 faults make 30 gaps.
    even = chance(gap_clustering(np.linspace(0, 1500, 31), 1500.0))
    assert even.p_value == 1.0
    rng = np.random.default_rng(3)
    found = chance(gap_clustering(np.sort(rng.uniform(0, 1500, 31)), 1500.0))
    assert found.p_value > 0.05
    assert even.chance_high == pytest.approx(1.33, abs=0.04)
    clustered = np.concatenate([rng.uniform(at, at + 5, 10) for at in (100, 600, 1400)])
    assert chance(gap_clustering(clustered, 1500.0)).p_value < 0.001


def test_expected_number_of_close_pairs() -> None:
    # By hand: a pair of 20 lies within w on L with probability 2w/L - (w/L)^2.
    found = chance(close_pairs(np.linspace(0, 1000, 20), 1000.0, 10.0))
    assert found.observed == 0.0
    mean = 190 * (0.02 - 0.0001)
    assert found.chance_low < mean < found.chance_high
    assert chance(close_pairs([10, 11, 12, 500], 1500.0, 2.0)).observed == 3.0
    assert chance(close_pairs([10, 11, 12, 500], 1500.0, 2.0)).p_value < 0.001


def test_false_alarms_of_the_tests_by_simulation() -> None:
    rng = np.random.default_rng(11)
    alarms = np.zeros(3)
    for _ in range(200):
        at = np.sort(rng.uniform(0, 1500, 20))
        alarms += [
            chance(gap_clustering(at, 1500.0)).p_value <= 0.05,
            chance(close_pairs(at, 1500.0, 20.0)).p_value <= 0.05,
            result(trend_along(at, 1500.0)).details["p_value"] <= 0.05,
        ]
    assert (alarms / 200 < 0.10).all()


def test_scatter_of_counts_with_unequal_lengths() -> None:
    # By hand: 10 faults on 1, 2 and 7 km.
    found = result(dispersion_of_counts([4, 2, 4], [1e3, 2e3, 7e3]))
    x2 = (4 - 1) ** 2 / 1 + (2 - 2) ** 2 / 2 + (4 - 7) ** 2 / 7
    assert found.details["x_squared"] == pytest.approx(x2)
    assert found.estimate == pytest.approx(x2 / 2)
    assert found.details["p_value"] == pytest.approx(stats.chi2.sf(x2, 2))
    assert said(found.warnings) == ("The faults are not independent: Poisson intervals are too narrow.",)


def test_few_faults_use_simulated_splits_near_the_chi_square() -> None:
    rng = np.random.default_rng(2)
    counts = rng.poisson(0.8, 60)
    found = result(dispersion_of_counts(counts, np.full(60, 1500.0)))
    assert said(found.method) == "index of dispersion, simulated splits"
    x2 = found.details["x_squared"]
    assert found.details["p_value"] == pytest.approx(
        stats.chi2.sf(x2, 59), abs=0.08
    )  # counts are discrete: ties count


@pytest.mark.parametrize(
    ("answer", "reason"),
    [
        (lambda: trend_along([3.0], 10.0), "1 fault shows no trend; at least two are needed."),
        (
            lambda: trend_along([10.0, 10.0, 10.0], 10.0),
            "All faults lie at one end of the known length, so no rate can be fitted; look at that end.",
        ),
        (
            lambda: gap_clustering([1.0, 2.0, 3.0], 10.0),
            "3 faults have too few gaps; at least 4 are needed.",
        ),
        (lambda: close_pairs([], 10.0, 1.0), "0 faults make no pair; at least 2 are needed."),
        (
            lambda: dispersion_of_counts([0, 0], [1.0, 1.0]),
            "2 reels with 0 faults show no scatter; give more.",
        ),
    ],
)
def test_too_little_is_refused_with_the_reason(answer: object, reason: str) -> None:
    found = answer()  # type: ignore[operator]
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_all_faults_at_one_place_are_a_cluster() -> None:
    assert chance(gap_clustering([700.0] * 6, 1500.0)).observed == 0.0
    assert chance(close_pairs([700.0] * 6, 1500.0, 1.0)).p_value < 0.001


def test_positions_on_the_joined_known_length() -> None:
    joined = join_known([5.0, 15.0, 25.0, 30.0, math.nan, 40.0], [[0, 10], [20, 30], [40, 41]])
    np.testing.assert_array_equal(joined.at_m, [5.0, math.nan, 15.0, 20.0, math.nan, 20.0])
    assert (joined.known_m, joined.outside) == (21.0, 2)
    assert said(joined.warnings) == (
        ("2 of 6 events lie outside the known length or have no position and are left out of the test."),
    )
    assert join_known([1.0], []).known_m == 0.0


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: trend_along([1.0, 11.0], 10.0),
            (
                "at_m: a fault at 11 m is outside the known 10 m. Give positions on the joined known length, "
                "from 0."
            ),
        ),
        (lambda: trend_along([1.0], 0.0), "known_m: 0 m was given. Give a finite number above 0."),
        (
            lambda: join_known([1.0], [[5, 1]]),
            (
                "known: stretches overlap or run backwards. Give them in the order of the wire, each ending "
                "where or before the next begins."
            ),
        ),
        (
            lambda: join_known([1.0], [5, 1]),
            "known: is not a list of stretches. Give one row for each stretch: from and to, in m.",
        ),
        (
            lambda: dispersion_of_counts([1, 2], [1e3]),
            "known_m: 1 lengths stand against 2 counts. Give one for each.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

"""Charts of counts with varying length."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.results import Chart, Refused
from pipeline.statistics.count_charts import (
    laney_chart,
    poisson_limits,
    share_chart,
    u_chart,
)
from tests.said import said


def chart(answer: Chart | Refused) -> Chart:
    assert isinstance(answer, Chart)
    return answer


def test_exact_limits_at_a_small_mean() -> None:
    # Worked out by a script apart: mean .75: alarm at 5 or more, p .00106; the three-sigma limit 3.35 has p .0073.
    lower, upper = poisson_limits([0.75], 0.0027)
    assert (lower[0], upper[0]) == (-1.0, 5.0)
    assert stats.poisson.sf(4, 0.75) == pytest.approx(0.0010646777727857928)
    three_sigma = 0.75 + 3 * math.sqrt(0.75)
    assert three_sigma == pytest.approx(3.348076211353316)
    assert stats.poisson.sf(math.floor(three_sigma), 0.75) == pytest.approx(0.007292166505211279)


@pytest.mark.parametrize("mean", [0.1, 0.75, 3.0, 12.0, 40.0])
def test_exact_limits_keep_their_chance(mean: float) -> None:
    lower, upper = poisson_limits([mean], 0.0027)
    assert stats.poisson.sf(upper[0] - 1, mean) <= 0.00135
    assert stats.poisson.sf(upper[0] - 2, mean) > 0.00135
    assert stats.poisson.cdf(lower[0], mean) <= 0.00135


def test_longer_reels_have_narrower_limits_and_lengths_not_known_are_left_out() -> None:
    found = chart(u_chart([0, 1, 9, 2], [1500.0, 1500.0, 3000.0, 0.0], rate_per_km=0.5))
    assert found.phase == "II"
    assert found.upper[0] == pytest.approx(5 / 1.5)
    assert found.upper[2] == pytest.approx(7 / 3.0)
    assert [(one.item, one.side) for one in found.signals] == [(2, "above")]
    assert said(found.warnings)[0] == "1 of 4 reels have no known length and are not judged."
    assert np.isnan(found.plotted[3])


def test_false_alarms_by_simulation_against_the_computed_average() -> None:
    rng = np.random.default_rng(1)
    length = rng.uniform(500, 3000, 60_000)
    found = chart(u_chart(rng.poisson(0.8 * length / 1000), length, rate_per_km=0.8))
    assert found.arl0 is not None
    assert 60_000 / len(found.signals) == pytest.approx(found.arl0, rel=0.25)
    assert found.arl0 > 370


def test_scatter_is_told_before_limits_are_widened() -> None:
    c = [1, 14, 2, 0, 16, 1, 0, 13, 2, 15]
    found = chart(u_chart(c, [10_000.0] * 10))
    assert found.phase == "I"
    assert found.assumptions[0].held is False
    assert said(found.warnings)[-1].endswith("Look for clusters or a missing factor before widening limits.")
    wide = chart(laney_chart(c, [10_000.0] * 10))
    assert wide.details["sigma_z"] > 2
    assert wide.signals == ()
    assert said(wide.warnings) == (
        (
            "Widened limits hide a real shift within these points; test the dispersion and look for its cause "
            "first."
        ),
    )


def test_laney_by_hand() -> None:
    # Worked out apart (Laney 2002): the limit's form: .15957 + 3 sqrt(.15957/28) x 2.2637 = .67224.
    assert 0.1595744680851064 + 3 * math.sqrt(0.1595744680851064 / 28) * 2.2636770006807563 == pytest.approx(
        0.6722450531808128
    )
    c, km = np.array([2.0, 9.0, 1.0, 8.0]), np.array([10.0, 20.0, 10.0, 20.0])
    u = 20 / 60
    z = (c / km - u) / np.sqrt(u / km)
    sz = np.abs(np.diff(z)).mean() / 1.1283791670955126
    found = chart(laney_chart(c, km * 1000))
    assert found.details["sigma_z"] == pytest.approx(sz)
    np.testing.assert_allclose(found.upper, u + 3 * np.sqrt(u / km) * max(sz, 1.0))


def test_laney_limits_are_never_narrower_than_poisson() -> None:
    found = chart(laney_chart([5, 5, 5, 5], [10_000.0] * 4))
    assert found.details["sigma_z"] == pytest.approx(0.0)
    assert found.upper[0] == pytest.approx(0.5 + 3 * math.sqrt(0.05))


def test_no_fault_anywhere_sets_no_limits() -> None:
    found = u_chart([0, 0, 0], [1500.0] * 3)
    assert isinstance(found, Refused)
    assert (
        said(found.reason)
        == "3 reels with 0 faults cannot set limits; give a rate fixed beforehand or more reels."
    )
    assert chart(u_chart([0, 0, 0], [1500.0] * 3, rate_per_km=0.1)).signals == ()


def test_share_of_bad_pieces_by_hand() -> None:
    found = chart(share_chart([2, 30, 4], [50, 50, 50]))
    p = 36 / 150
    assert found.upper[0] == pytest.approx(p + 3 * math.sqrt(p * (1 - p) / 50))
    assert [one.item for one in found.signals] == [0, 1]
    none = share_chart([0, 0], [50, 50])
    assert isinstance(none, Refused)
    assert said(none.reason) == "0 bad of 100 pieces in 2 lots cannot set limits."


def test_exact_limits_of_a_share_signal_where_chance_is_small() -> None:
    # 12 of 100 by scipy's binomial test: at 20 reels and 12 % a lot signals from 10 bad reels on (alpha / 2 = .0001).
    bad, pieces = [2, 3, 2, 3, 2, 10], [20] * 6
    found = chart(share_chart(bad, pieces, 2e-4, 0.12))
    assert [one.item for one in found.signals] == [5]
    assert (
        stats.binomtest(10, 20, 0.12, "greater").pvalue
        < 1e-4
        < stats.binomtest(9, 20, 0.12, "greater").pvalue
    )
    assert found.upper[0] == pytest.approx(0.5)
    assert found.lower[0] == -math.inf
    assert found.arl0 == pytest.approx(1 / stats.binom.sf(9, 20, 0.12))
    (told,) = said(chart(share_chart([1, 1, 0], [3, 3, 3], 1e-4)).warnings)
    assert told == "No lot is large enough to signal by itself, even if all of its pieces were bad."


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: u_chart([1, 2], [1000.0]),
            "known_m: is not one length from 0 for each count. Give the known length of each reel.",
        ),
        (
            lambda: share_chart([5], [4]),
            "bad: is not one count up to the number of pieces of each lot. Give one for each lot.",
        ),
        (
            lambda: laney_chart([1, 2, 3], [1.0, 0.0, 1.0]),
            "known_m: 0 m is not above 0. Give values above 0.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

"""One-sided performance and capability indices."""

import math

import numpy as np
import pytest
from scipy import stats
from scipy.signal import lfilter

from pipeline.errors import MethodRefusal
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result, UnitOfInference, standing
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.capability import (
    index_lower_bound,
    performance_index_one_sided,
    summarise,
    widening,
    widening_by_shape,
    worth_of_neighbours,
)
from tests.said import said
from tests.statistics.interval_trials import variance_factor


def autoregression(phi: float, n: int, series: int, seed: int) -> np.ndarray:
    noise = np.random.default_rng(seed).standard_normal((series, n + 600))
    return lfilter([np.sqrt(1.0 - phi**2)], [1.0, -phi], noise, axis=1)[:, 600:]


def walls(n: int = 40) -> np.ndarray:
    # In an order whose neighbours do not repeat each other.
    sorted_ones = 0.40 + 0.005 * stats.norm.ppf((np.arange(n) + 0.5) / n)
    return np.random.default_rng(5).permutation(sorted_ones)


def test_index_of_given_values() -> None:
    found = performance_index_one_sided(walls(), 0.381)
    assert isinstance(found, Result)
    assert found.estimate == pytest.approx((walls().mean() - 0.381) / (3 * walls().std(ddof=1)), rel=1e-12)
    assert found.question == asks(Quantity.PERFORMANCE_INDEX, symbol="PpkL")
    assert found.unit_of_inference == "reel"
    assert found.low == pytest.approx(index_lower_bound(found.estimate, 40), rel=1e-12)
    assert found.high == math.inf
    assert said(found.warnings) == (
        "Stability was not shown: this is performance of what was made, not capability.",
    )


def test_upper_limit_is_the_mirror_of_the_lower() -> None:
    lower = performance_index_one_sided(walls(), 0.381)
    upper = performance_index_one_sided(-walls(), -0.381, sense="at most")
    assert isinstance(lower, Result) and isinstance(upper, Result)
    assert (upper.estimate, upper.low) == pytest.approx((lower.estimate, lower.low), rel=1e-12)
    assert upper.question == asks(Quantity.PERFORMANCE_INDEX, symbol="PpkU")


def test_unit_change_leaves_the_index() -> None:
    a = performance_index_one_sided(walls(), 0.381)
    b = performance_index_one_sided(walls() / 0.0254, 0.381 / 0.0254)
    assert isinstance(a, Result) and isinstance(b, Result)
    assert b.estimate == pytest.approx(a.estimate, rel=1e-9)


def test_exact_bound_solves_its_equation_by_simulation() -> None:
    # 30 independent normal values whose true index is the bound of 1.5: an index of 1.5 or more turns up in 5
    # %.
    low = index_lower_bound(1.5, 30)
    assert low == pytest.approx(1.1563, abs=5e-5)
    x = np.random.default_rng(3).standard_normal((200_000, 30)) + 3 * low
    share = np.mean(x.mean(axis=1) / (3 * x.std(axis=1, ddof=1)) >= 1.5)
    assert share == pytest.approx(0.05, abs=0.002)


def test_normal_form_takes_over_without_a_step() -> None:
    below, above = index_lower_bound(1.33, 1e6), index_lower_bound(1.33, 1e6 + 3)
    assert abs(above - below) < 1e-5


def test_bound_of_independent_values_covers_95_percent() -> None:
    # 10,000 repetitions: the bound is monotone in the index, so the bound lies below the truth exactly when
    # the observed index lies below the value whose bound is the truth.
    for n, seed in ((10, 1), (20, 2), (100, 3)):
        edge = _index_whose_bound_is(1.33, n, n)
        x = np.random.default_rng(seed).standard_normal((10_000, n)) + 3 * 1.33
        found = np.mean(x.mean(axis=1) / (3 * x.std(axis=1, ddof=1)) <= edge)
        assert found == pytest.approx(0.95, abs=0.007)


def _index_whose_bound_is(truth: float, n_mean: float, n_variance: float) -> float:
    scale = 3 * math.sqrt(n_mean)
    return float(stats.nct.ppf(0.95, n_variance - 1, scale * truth) / scale)


def test_trap_interval_of_independent_readings_covers_two_thirds() -> None:
    """Lag-1 correlation .9, 2,000 readings, true index 1.5: 95 % claimed, 66 % (naive) and 94 % (ours) found.

    1,200 repetitions; a share of .93 is then known to .015 (two standard errors).
    """
    covered, naive = _coverage(0.9, 1200, 21)
    assert naive == pytest.approx(0.66, abs=0.05)
    assert covered == pytest.approx(0.93, abs=0.022)


def _coverage(phi: float, repetitions: int, seed: int) -> tuple[float, float]:
    """Shares of ours and of the naive bounds that lie below the truth.

    The bound is below the truth exactly if P(t' >= observed | truth) is at least 5 %: no root to solve.
    """
    truth, n = 1.5, 2000
    rows = autoregression(phi, n, repetitions, seed)
    index = (rows.mean(axis=1) + 3 * truth) / (3 * rows.std(axis=1, ddof=1))
    worth = [effective_n(row) for row in rows]
    n_mean = np.array([one.for_mean for one in worth])
    freedom = np.array([one.for_variance for one in worth]) - 1
    corrected = index * np.sqrt([variance_factor(one) for one in worth])
    scale = 3 * np.sqrt(n_mean)
    ours = stats.nct.sf(scale * corrected, freedom, scale * truth) >= 0.05
    scale = 3 * math.sqrt(n)
    naive = stats.nct.sf(scale * index, n - 1, scale * truth) >= 0.05
    return float(ours.mean()), float(naive.mean())


def test_bound_with_effective_numbers_is_the_one_whose_coverage_was_counted() -> None:
    row = autoregression(0.9, 2000, 1, 5)[0] + 4.5
    worth = effective_n(row)
    found = performance_index_one_sided(
        row, 0.0, n_for_mean=worth.for_mean, n_for_variance=worth.for_variance, unit_of_inference="reading"
    )
    assert isinstance(found, Result)
    corrected = found.estimate * math.sqrt(variance_factor(worth))
    assert _index_whose_bound_is(found.low, worth.for_mean, worth.for_variance) == pytest.approx(
        corrected, rel=1e-6
    )
    assert found.effective_n == worth.for_mean
    assert found.low < found.details["low_if_taken_as_independent"]


def test_a_bound_is_longer_where_the_effective_numbers_are_estimated() -> None:
    """Student's t of 10 at .95 is 1.8125, the normal 1.6449 (tables): the bound is 1.1019 times as far away."""
    assert widening(10.0, 0.95) == pytest.approx(1.8125 / 1.6449, abs=1e-4)
    row = autoregression(0.9, 2000, 1, 5)[0] + 4.5
    worth = effective_n(row)
    assert worth.freedom == 2000 / (2 * (2 * worth.cut_lag + 1))
    numbers = {
        "n_for_mean": worth.for_mean,
        "n_for_variance": worth.for_variance,
        "unit_of_inference": "reading",
    }
    plain = performance_index_one_sided(row, 0.0, **numbers)
    longer = performance_index_one_sided(row, 0.0, freedom_of_worth=worth.freedom, **numbers)
    assert isinstance(plain, Result) and isinstance(longer, Result)
    top = plain.estimate * math.sqrt(variance_factor(worth))
    assert (top - longer.low) / (top - plain.low) == pytest.approx(widening(worth.freedom, 0.95))


def test_capability_only_where_stability_was_shown() -> None:
    shown = performance_index_one_sided(
        walls(), 0.381, stable=True, stability_evidence="no signal in 40 reels"
    )
    assert isinstance(shown, Result)
    assert shown.question.arguments["symbol"] == "CpkL" and said(shown.warnings) == ()
    refused = performance_index_one_sided(walls(), 0.381, stable=False, stability_evidence="rule 1 at reel 7")
    assert said(refused) == Refused(
        question=asks(Quantity.PERFORMANCE_INDEX, symbol="PpkL"),
        method="PpkL = (mean to limit)/(3 s); lower bound from the noncentral t (ISO 22514-2)",
        reason="The process is not stable (rule 1 at reel 7), so its spread predicts nothing. Find and "
        "remove the cause.",
        n=40,
    )


@pytest.mark.parametrize(
    ("values", "limit", "reason"),
    [
        ([], 0.381, "Needs an effective sample size of 10; 0 values give 0.0. Gather more reels."),
        ([0.4], 0.381, "Needs an effective sample size of 10; 1 value gives 1.0. Gather more reels."),
        (
            [0.4] * 20,
            0.381,
            (
                "All 20 values are equal, so there is no spread to measure; look for a stuck instrument or a "
                "resolution coarser than the process."
            ),
        ),
        ([0.4, math.inf] * 20, 0.381, "20 of 40 values are infinite; flag them and ask again."),
        (
            [0.4, 0.41] * 20,
            math.nan,
            "The limit is not a finite number; give the limit in the unit of the values.",
        ),
        (
            [math.nan] * 30,
            0.381,
            "Needs an effective sample size of 10; 0 values give 0.0. Gather more reels.",
        ),
    ],
)
def test_refusals_in_full(values: list[float], limit: float, reason: str) -> None:
    found = performance_index_one_sided(values, limit)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_few_effective_values_are_too_few_however_many_readings() -> None:
    found = performance_index_one_sided(walls(5000), 0.381, n_for_mean=4.2, n_for_variance=9.0)
    assert isinstance(found, Refused)
    assert said(found.reason) == (
        "Needs an effective sample size of 10; 5,000 values give 4.2. Gather more reels."
    )


@pytest.mark.parametrize("unit", ["reading", "section average", "point at specimen scale"])
def test_values_along_a_reel_without_effective_numbers_are_refused(unit: UnitOfInference) -> None:
    found = performance_index_one_sided(walls(), 0.381, unit_of_inference=unit)
    assert isinstance(found, Refused)
    assert said(found.reason) == (
        "Values along one length of wire repeat their neighbors, so the bound for independent values does not "
        "hold; pass their effective numbers (their count, if they are cut samples), or use one value a reel."
    )


def test_limit_on_the_wrong_side_is_told_not_refused() -> None:
    found = performance_index_one_sided(walls(), 0.41)
    assert isinstance(found, Result)
    assert found.estimate < 0.0 and found.low < found.estimate
    assert said(found.warnings)[0] == "The mean lies on or beyond the limit: the index is not positive."


def test_ties_and_unknown_values_are_told() -> None:
    values = np.round(walls(), 2)  # two or three different values only
    values[3] = np.nan
    found = performance_index_one_sided(values, 0.381)
    assert isinstance(found, Result)
    assert (found.n, found.details["n_unknown"]) == (39, 1.0)
    assert said(found.warnings)[-1] == "1 value not used: no valid value."


def test_summary_complains_of_infinity_and_bears_emptiness() -> None:
    with pytest.raises(MethodRefusal) as told:
        summarise([-math.inf])
    assert str(told.value) == (
        "summarise: values: reading 1 of 1 is infinite. Readings are finite numbers, or NaN where unknown; "
        "flag "
        "this reading and ask again."
    )
    empty = summarise([])
    assert empty.n == 0 and math.isnan(empty.mean) and math.isnan(empty.sd)
    assert math.isnan(summarise([1.0]).sd)
    assert summarise([0.1] * 7).sd == 0.0


def test_shape_told_beside_an_index_agrees_with_an_independent_program() -> None:
    """Skewness, excess kurtosis (moments with divisor n) and Shapiro and Wilk's test of scipy.stats."""
    x = 12.0 - np.random.default_rng(3).gamma(3.0, size=80)
    found = performance_index_one_sided(x, 0.0)
    assert isinstance(found, Result)
    assert said(found.assumptions[0].evidence) == (
        f"skewness {stats.skew(x):.2f}, excess kurtosis {stats.kurtosis(x):.2f}, "
        f"Shapiro-Wilk p = {stats.shapiro(x).pvalue:.2g}"
    )
    # Values of reels that are not normal have their bound widened by their own shape; nothing is withdrawn.
    widened = widening_by_shape(x, found.estimate, "at least")
    skewness, kurtosis = stats.skew(x, bias=False), stats.kurtosis(x, bias=False)
    variance = 1 / 9 - found.estimate * skewness / 3 + found.estimate**2 * (kurtosis + 2) / 4
    assert widened == pytest.approx(math.sqrt(variance / (1 / 9 + found.estimate**2 / 2)), rel=1e-9)
    assert said(found.assumptions[0].then) == f"the interval is widened by a factor of {widened:.2g}"
    assert standing(found) is found
    of_readings = performance_index_one_sided(
        x, 0.0, n_for_mean=80.0, n_for_variance=80.0, unit_of_inference="reading"
    )
    gone = standing(of_readings)
    assert isinstance(gone, Refused) and said(gone.reason) == (
        f"Withdrawn: the check that values are near normal failed ({said(found.assumptions[0].evidence)})."
    )


def test_reels_that_repeat_their_neighbours_count_as_fewer() -> None:
    """An autoregression of .5 in a hundred reels: worth n (1 - phi)/(1 + phi) for the mean (Bayley and Hammersley)."""
    random = np.random.default_rng(8)
    noise = random.standard_normal((200, 400))
    x = np.zeros((200, 400))
    for at in range(1, 400):
        x[:, at] = 0.5 * x[:, at - 1] + noise[:, at]
    worth = np.array([worth_of_neighbours(row[300:]) for row in x])
    assert np.median(worth[:, 0]) == pytest.approx(100 / 3, rel=0.1)
    assert np.median(worth[:, 1]) == pytest.approx(60.0, rel=0.1)
    found = performance_index_one_sided(x[0, 300:] + 6.0, 0.0)
    assert isinstance(found, Result) and found.assumptions[1].held is False
    assert said(found.assumptions[1].then).startswith("the reels are counted as ")
    assert found.low < found.details["low_if_taken_as_independent"]
    assert worth_of_neighbours(noise[0, :7]) == (7.0, 7.0, 0.0)

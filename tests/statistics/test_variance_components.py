"""Components of variance: analysis of variance and restricted likelihood."""

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats
from scipy.signal import lfilter

from pipeline.quantity import Quantity
from pipeline.results import Refused, Result
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.variance_components import nested_table, satterthwaite_interval, variance_components
from pipeline.statistics.variance_components_reml import owner_of_the_spread, variance_components_of_reels
from pipeline.wording.say import plain
from tests.said import said


def unbalanced(seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    values, reel, run = [], [], []
    for i in range(7):
        level = random.normal(0, 0.8)
        for j in range(int(random.integers(2, 6))):
            step = random.normal(0, 0.5)
            n = int(random.integers(3, 12))
            values += list(0.4 + level + step + random.normal(0, 0.3, n))
            reel += [f"{i}-{j}"] * n
            run += [i] * n
    return np.array(values), np.array(reel), np.array(run)


def by_reel(values: np.ndarray, reel: np.ndarray, run: np.ndarray) -> tuple[list[float], ...]:
    names = list(dict.fromkeys(reel))
    parts = [values[reel == one] for one in names]
    return (
        [one.mean() for one in parts],
        [one.var(ddof=1) for one in parts],
        [float(one.size) for one in parts],
        [int(run[reel == one][0]) for one in names],
    )


def test_unbalanced_restricted_likelihood_equals_a_mixed_model() -> None:
    """statsmodels MixedLM, random intercepts for runs and for reels within runs, by REML."""
    values, reel, run = unbalanced()
    frame = pd.DataFrame({"y": values, "reel": reel, "run": run})
    model = smf.mixedlm("y ~ 1", frame, groups="run", re_formula="1", vc_formula={"reel": "0 + C(reel)"})
    fit = model.fit(reml=True, method=["lbfgs", "bfgs"])
    means, variances, n, runs = by_reel(values, reel, run)
    found = variance_components_of_reels(means, variances, n, n, n, runs)
    assert [one.estimate for one in found] == pytest.approx(
        [fit.scale, float(fit.vcomp[0]), float(fit.cov_re.iloc[0, 0])], rel=2e-3
    )
    assert all(one.low <= one.estimate <= one.high for one in found)


def test_table_equals_an_independent_analysis_of_variance() -> None:
    values, reel, run = unbalanced(2)
    table = nested_table(values, reel, run)
    frame = pd.DataFrame({"y": values, "reel": reel, "run": run})
    inner = smf.ols("y ~ C(reel)", frame).fit()
    outer = smf.ols("y ~ C(run)", frame).fit()
    assert table.lines[0].sum_of_squares == pytest.approx(inner.ssr, rel=1e-9)
    assert table.lines[1].sum_of_squares == pytest.approx(outer.ssr - inner.ssr, rel=1e-9)
    assert table.lines[2].sum_of_squares == pytest.approx(outer.ess, rel=1e-9)
    assert (table.lines[1].freedom, table.lines[2].freedom) == (
        outer.df_resid - inner.df_resid,
        outer.df_model,
    )


def test_weights_of_unbalanced_mean_squares_by_simulation() -> None:
    """Mean squares of 1,500 draws of one unbalanced plan against the weighted true variances."""
    _, reel, run = unbalanced(3)
    random = np.random.default_rng(4)
    reel_of, run_of = (np.unique(one, return_inverse=True)[1] for one in (reel, run))
    squares = []
    for _ in range(1500):
        y = random.normal(0, 1.0, reel.size)
        y += (
            random.normal(0, 1.5, reel_of.max() + 1)[reel_of]
            + random.normal(0, 2.0, run_of.max() + 1)[run_of]
        )
        table = nested_table(y, reel_of, run_of)
        squares.append([line.mean_square for line in table.lines])
    within, between, over = np.mean(squares, axis=0)
    assert within == pytest.approx(1.0, rel=0.04)
    assert between == pytest.approx(1.0 + table.reel_weight * 2.25, rel=0.05)
    assert over == pytest.approx(1.0 + table.reel_weight_in_runs * 2.25 + table.run_weight * 4.0, rel=0.08)


def test_satterthwaite_of_six_reels_says_almost_nothing() -> None:
    """Mean squares 106 on 4 and 1.3333 on 18, four values a reel: 3.90 degrees of freedom, 9.3 to 225."""
    value, freedom, low, high = satterthwaite_interval([106.0, 4 / 3], [4.0, 18.0], [0.25, -0.25])
    assert (value, freedom, low, high) == pytest.approx((26.1667, 3.8999, 9.3031, 224.958), rel=1e-4)
    # A difference of next to nothing keeps an upper end: 1.1 on 5 less 1.099 on 20, chi-square .831 at 2.5 %.
    value, freedom, low, high = satterthwaite_interval([1.1, 1.099], [5.0, 20.0], [1.0, -1.0])
    assert freedom < 1e-4 and low == 0.0
    assert high == pytest.approx(1.1 * 5 / stats.chi2.ppf(0.025, 5) - 1.099)
    single = satterthwaite_interval([2.0], [9.0], [1.0])
    assert single[2:] == pytest.approx((18 / stats.chi2.ppf(0.975, 9), 18 / stats.chi2.ppf(0.025, 9)))


def test_trap_autocorrelation_leaks_into_the_spread_between_reels() -> None:
    """Readings of lag-one .9 in 200 reels of 600, between .25: .28 without effective numbers, .25 with
    them."""
    random = np.random.default_rng(6)
    naive, right = [], []
    for _ in range(2):
        noise = random.standard_normal((200, 1100))
        x = lfilter([math.sqrt(1 - 0.81)], [1, -0.9], noise, axis=1)[:, 500:]
        x = x + 0.5 * random.standard_normal((200, 1))
        worth = [effective_n(row) for row in x]
        mean, variance, n = x.mean(axis=1), x.var(axis=1, ddof=1), [600.0] * 200
        naive.append(variance_components_of_reels(mean, variance, n, n, n)[1].estimate)
        found = variance_components_of_reels(
            mean, variance, n, [one.for_mean for one in worth], [one.for_variance for one in worth]
        )
        right.append(found[1].estimate)
        assert found[0].estimate == pytest.approx(1.0, abs=0.06)
    assert np.mean(naive) == pytest.approx(0.25 + 1 / 31.9, abs=0.025)
    assert np.mean(right) == pytest.approx(0.25, abs=0.025)
    assert np.mean(naive) - np.mean(right) == pytest.approx(1 / 31.9, rel=0.15)


def test_no_spread_between_reels_gives_zero_with_an_upper_end() -> None:
    values = np.tile([0.39, 0.40, 0.41, 0.42], 6)
    reel = np.repeat(np.arange(6), 4)
    within, between = variance_components(values, list(reel))
    assert (between.estimate, between.low) == (0.0, 0.0)
    assert said(between.warnings) == (
        "The difference of mean squares is not positive: the estimate is 0. Read the upper bound.",
    )
    noisy = values + np.random.default_rng(1).normal(0, 1e-4, 24)
    parts = by_reel(noisy, reel, np.zeros(24))
    reml = variance_components_of_reels(*parts[:3], *parts[2:3], *parts[2:3])
    assert reml[1].estimate == pytest.approx(0.0, abs=1e-9)
    assert reml[1].low == 0.0 and 0.0 < reml[1].high < 2 * within.estimate


def test_the_largest_component_names_an_owner() -> None:
    values, reel, run = unbalanced()
    means, variances, n, runs = by_reel(values, reel, run)
    found = variance_components_of_reels(means, variances, n, n, n, runs)
    assert isinstance(found, tuple)
    share = 100 * max(one.details["share_of_variance"] for one in found)
    assert plain(owner_of_the_spread(found)) == (
        f"{share:.0f} % of the variance lies between runs: targets, shifts or lots of material."
    )
    assert sum(one.details["share_of_variance"] for one in found) == pytest.approx(1.0)


def test_unit_change_squares_through() -> None:
    values, reel, run = unbalanced(5)
    a = variance_components(values, list(reel), list(run), unit="mm")
    b = variance_components(values / 0.0254, list(reel), list(run), unit="mil")
    for one, two in zip(a, b, strict=True):
        assert two.estimate == pytest.approx(one.estimate / 0.0254**2, rel=1e-9)
    assert (a[0].unit, b[0].unit) == ("mm^2", "mil^2")


@pytest.mark.parametrize(
    ("values", "reel", "options", "reason"),
    [
        ([0.4] * 8, [1] * 4 + [2] * 4, {}, "All values are equal; look for a stuck instrument."),
        ([0.4], [1], {}, "1 value is too few, 4 are needed."),
        ([0.4, math.inf] * 4, [1] * 8, {}, "A value is infinite; flag it and ask again."),
        ([0.4] * 4, [1] * 3, {}, "Each value needs its reel, and its run if there are runs."),
        (
            [0.4, 0.5] * 4,
            [1] * 8,
            {},
            "There must be two values in a reel, two reels in a run and two runs, or no runs.",
        ),
        (
            [0.4, 0.5] * 4,
            [1] * 8,
            {"unit_of_inference": "reading"},
            (
                "Readings of a reel repeat their neighbors, and that leaks into the spread between reels; use the "
                "means of reels with their effective numbers."
            ),
        ),
    ],
)
def test_refusals_in_full(
    values: list[float], reel: list[int], options: dict[str, object], reason: str
) -> None:
    found = variance_components(values, reel, **options)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


@pytest.mark.parametrize(
    ("figures", "run", "reason"),
    [
        (([1.0], [1.0], [9.0], [9.0], [9.0]), None, "1 reel is too few, 3 are needed."),
        (
            ([1.0, math.nan, 2.0], [1.0] * 3, [9.0] * 3, [9.0] * 3, [9.0] * 3),
            None,
            "A figure of a reel is not finite; leave the reel out and ask again.",
        ),
        (
            ([1.0, 3.0, 2.0], [0.0] * 3, [9.0] * 3, [9.0] * 3, [9.0] * 3),
            None,
            "No reel shows any spread; look for a stuck instrument.",
        ),
        (
            ([1.0, 3.0, 2.0], [1.0] * 3, [9.0] * 3, [1.0] * 3, [9.0] * 3),
            None,
            "A reel has an effective sample size of one or less. Leave it out or read more of it.",
        ),
        (
            ([1.0, 3.0, 2.0], [1.0] * 3, [9.0] * 3, [9.0] * 3, [9.0] * 3),
            [1, 2, 3],
            "Every run holds one reel, so runs and reels cannot be separated. Leave the runs out.",
        ),
        (
            ([1.0, 3.0, 2.0], [1.0] * 2, [9.0] * 3, [9.0] * 3, [9.0] * 3),
            None,
            "Means, variances, numbers and runs are not of the same reels; pass one of each a reel.",
        ),
    ],
)
def test_refusals_of_reels_in_full(
    figures: tuple[list[float], ...], run: list[int] | None, reason: str
) -> None:
    found = variance_components_of_reels(*figures, run)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_results_are_labelled() -> None:
    values, reel, run = unbalanced(6)
    found = variance_components(values, list(reel), list(run))
    assert isinstance(found, tuple)
    assert [one.question.key for one in found] == [
        (Quantity.VARIANCE_COMPONENT, place) for place in ("within reels", "between reels", "between runs")
    ]
    assert all(isinstance(one, Result) and one.unit_of_inference == "section average" for one in found)
    assert said(found[0].warnings) == (
        "Sizes differ, so these estimates are not the best; restricted likelihood is better.",
    )

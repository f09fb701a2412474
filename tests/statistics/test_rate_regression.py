"""Fault-rate ratios by regression, against closed forms and an independent maximisation."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from pipeline.errors import MethodRefusal
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused
from pipeline.statistics.rate_regression import RateRegression, rate_regression
from tests.said import said


def regression(*given: object, **named: object) -> RateRegression:
    answer = rate_regression(*given, **named)  # type: ignore[arg-type]
    assert isinstance(answer, RateRegression)
    return answer


DAY_NIGHT = {"shift": ["day"] * 3 + ["night"] * 3}


def test_two_groups_give_the_ratio_of_their_rates() -> None:
    # Closed form: b = log((29/87)/(6/78)), SE = sqrt(1/6 + 1/29). A script apart prints the
    # same -2.56495, 1.46634, ratio 4.333 and .4485.
    found = regression([2, 3, 1, 10, 9, 10], [26e3] * 3 + [29e3] * 3, DAY_NIGHT)
    assert math.log(found.base.estimate) == pytest.approx(-2.5649493574615367)
    assert math.log(found.ratios[0].estimate) == pytest.approx(1.4663370687934272)
    assert found.ratios[0].estimate == pytest.approx(4.333333333333334)
    assert found.ratios[0].details["log_standard_error"] == pytest.approx(0.44849685092245223)
    assert found.model == "Poisson"
    assert found.ratios[0].question == asks(
        Quantity.FAULT_RATE_RATIO_ADJUSTED,
        "shift night : shift day",
        one="shift night",
        other="shift day",
    )
    assert found.ratios[0].high == pytest.approx(
        found.ratios[0].estimate * math.exp(1.959964 * 0.448496851), rel=1e-6
    )


def test_scatter_widens_the_interval_by_the_root_of_the_dispersion() -> None:
    y, km = [2, 4, 0, 12, 7, 10], [26e3] * 3 + [29e3] * 3
    found = regression(y, km, DAY_NIGHT)
    mean = np.array([2.0] * 3 + [29 / 3] * 3)
    phi = (((np.array(y) - mean) ** 2) / mean).sum() / 4
    assert 1.0 < phi < 1.5
    assert found.dispersion == pytest.approx(phi)
    assert found.model == "Poisson with dispersion"
    error = math.sqrt(phi * (1 / 6 + 1 / 29))
    assert found.ratios[0].details["log_standard_error"] == pytest.approx(error)
    assert found.ratios[0].low == pytest.approx(
        found.ratios[0].estimate * math.exp(-stats.t.ppf(0.975, 4) * error)
    )


def test_negative_binomial_against_a_direct_maximisation() -> None:
    rng = np.random.default_rng(1)
    km = rng.uniform(2, 8, 80)
    x = rng.normal(size=80)
    y = rng.poisson(rng.gamma(1.5, 1 / 1.5, 80) * np.exp(0.2 + 0.5 * x) * km)

    def minus_log_likelihood(p: np.ndarray) -> float:
        size, mean = 1 / math.exp(p[2]), np.exp(p[0] + p[1] * x) * km
        return -float(stats.nbinom.logpmf(y, size, size / (size + mean)).sum())

    best = optimize.minimize(minus_log_likelihood, [0.0, 0.0, 0.0], method="Nelder-Mead", tol=1e-10)
    found = regression(y, km * 1e3, {"speed": x})
    assert found.model == "negative binomial"
    assert found.alpha == pytest.approx(math.exp(best.x[2]), rel=1e-3)
    assert math.log(found.base.estimate) == pytest.approx(best.x[0], abs=1e-4)
    assert math.log(found.ratios[0].estimate) == pytest.approx(best.x[1], abs=1e-4)
    assert found.ratios[0].question.about == "one unit more of speed : speed 0"
    assert found.base.assumptions[0].held is False
    assert said(found.warnings)[0].endswith("The model may lack a factor.")


def test_a_missing_factor_looks_like_scatter() -> None:
    # Worked out by a script apart: before the shift term the dispersion test fails, after it does not.
    y, km = [2, 3, 1, 10, 9, 10], [26e3] * 3 + [29e3] * 3
    without = regression(y, km, {"speed": [10.0, 11.0, 9.0, 9.5, 11.0, 10.2]})
    with_it = regression(y, km, DAY_NIGHT)
    assert without.dispersion_p < 0.05 < with_it.dispersion_p


def test_doubling_all_lengths_changes_the_base_and_no_ratio() -> None:
    y, km = [2, 3, 1, 10, 9, 10], np.array([26e3] * 3 + [29e3] * 3)
    one, two = regression(y, km, DAY_NIGHT), regression(y, 2 * km, DAY_NIGHT)
    assert one.base.estimate == pytest.approx(2 * two.base.estimate)
    assert one.ratios[0].low == pytest.approx(two.ratios[0].low)


def test_a_class_without_a_fault_has_an_upper_bound_and_no_infinite_fit() -> None:
    found = regression([0, 0, 0, 10, 9, 10], [26e3] * 3 + [29e3] * 3, DAY_NIGHT)
    day = found.ratios[0]
    assert (day.estimate, day.low) == (0.0, 0.0)
    # Exact: all 29 faults fall on the 87 km with probability 0.025 at this ratio.
    share = day.high * 78 / (day.high * 78 + 87)
    assert (1 - share) ** 29 == pytest.approx(0.025)
    assert said(found.warnings) == ()
    assert said(day.warnings) == (
        (
            "Shift day has no fault: its ratio to all others is below 0.151 (exact, not adjusted). It is not part of "
            "the fit."
        ),
    )


@pytest.mark.parametrize(
    ("y", "circumstances", "reason"),
    [
        (
            [0, 0, 0, 0],
            {"shift": ["a", "a", "b", "b"]},
            "No item has a fault, so no circumstance can go with more of them; see the rate's upper bound.",
        ),
        (
            [1, 2, 3, 4],
            {"shift": ["a", "a", "b", "b"], "lot": ["x", "x", "y", "y"]},
            "Two circumstances agree on every item. Leave one of them out.",
        ),
        (
            [1, 2],
            {"shift": ["a", "b"]},
            "2 items cannot separate 2 parameters. Give more items or fewer circumstances.",
        ),
    ],
)
def test_what_the_data_cannot_answer_is_refused(y: list[int], circumstances: object, reason: str) -> None:
    found = rate_regression(y, [5e3] * len(y), circumstances)  # type: ignore[arg-type]
    assert said(found) == Refused(
        asks(Quantity.FAULT_RATE_RATIO_ADJUSTED),
        "Poisson regression with exposure",
        reason,
        sum(y),
    )


def test_a_negative_binomial_that_does_not_converge_is_told_and_the_wider_poisson_stands(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from statsmodels.discrete.discrete_model import NegativeBinomial

    def no_maximum(*_: object, **__: object) -> None:
        raise np.linalg.LinAlgError("Singular matrix")

    monkeypatch.setattr(NegativeBinomial, "fit", no_maximum)
    y = np.random.default_rng(2).negative_binomial(0.8, 0.2, 40)
    found = regression(y, [5e3] * 40, {"shift": ["day", "night"] * 20})
    assert found.model == "Poisson with dispersion"
    assert found.dispersion > 1.5
    assert found.alpha is None
    assert said(found.warnings)[1] == (
        "The negative binomial did not converge; errors are widened by the dispersion instead."
    )
    assert found.base.details["log_standard_error"] > 1 / math.sqrt(y[::2].sum())


def test_a_number_that_separates_the_faults_is_refused() -> None:
    found = rate_regression([0, 0, 0, 0, 5, 9], [5e3] * 6, {"speed": [1.0, 1.0, 1.0, 1.0, 2.0, 2.0]})
    assert isinstance(found, Refused)
    assert said(found.reason) == (
        "The fit did not converge: a circumstance separates items with faults from items without. Leave it out "
        "or put classes together."
    )


def test_few_faults_are_told() -> None:
    found = regression([1, 0, 2, 1, 1, 0], [5e3] * 6, DAY_NIGHT)
    assert said(found.warnings)[-1] == "With 5 faults for 2 parameters the intervals are only rough."


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: rate_regression([1, 2, 3], [5e3, 0.0, 5e3], {}),
            "known_m: 0 m is not above 0. Give values above 0.",
        ),
        (
            lambda: rate_regression([1, 2.5, 3], [5e3] * 3, {}),
            "counts: 2.5 is no count. A count is a whole number from 0 upwards.",
        ),
        (
            lambda: rate_regression([1, 2, 3], [5e3] * 3, {"shift": ["a", "b"]}),
            "circumstances: shift: 2 values stand against 3 counts. Give one value for each item.",
        ),
        (
            lambda: rate_regression([1, 2, 3], [5e3] * 3, {"speed": [1.0, math.nan, 2.0]}),
            (
                "circumstances: speed: 1 of 3 values are not-a-number. Leave out items without a value "
                "before this method and say how many were left out."
            ),
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

"""Two fault rates against each other, by one method fixed beforehand."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.rate_comparison import (
    RateRatio,
    RateTest,
    _exact_ratio,
    compare_rates,
    power_of_comparison,
    rate_p_value,
)
from tests.said import said


def ratio(*given: float, test: RateTest = "mid-p") -> Result:
    n1, e1, n2, e2 = given
    answer = compare_rates(int(n1), e1, int(n2), e2, test)
    assert isinstance(answer, Result)
    return answer


@pytest.mark.parametrize(
    ("test", "p_value"),
    [("mid-p", 0.03520593920000002), ("E-test", 0.05574345412862408), ("conditional exact", 0.03290945536)],
)
def test_methods_disagree_across_one_in_twenty_so_one_is_fixed(test: RateTest, p_value: float) -> None:
    # Trap "p-value method switching": worked out apart: 8 on 40 km against 3 on 60 km.
    found = ratio(8, 40e3, 3, 60e3, test=test)
    assert found.details["p_value"] == pytest.approx(p_value)
    assert found.estimate == pytest.approx(4.0)
    assert found.low == pytest.approx(0.9600546188736887)
    assert found.high == pytest.approx(23.409605461020597)
    assert [name for name in found.details if "p_value" in name] == ["p_value"]
    assert test in said(found.method) or test == "conditional exact"


def test_a_marginal_answer_is_told_and_not_to_be_settled_by_another_method() -> None:
    assert said(ratio(8, 40e3, 3, 60e3).warnings) == (
        (
            "The test (p = 0.035) and the exact interval of the ratio (0.96 to 23.4) disagree at 95 %: the "
            "evidence is marginal. Do not change the method to settle it; run more length."
        ),
    )
    assert said(ratio(20, 40e3, 3, 60e3).warnings) == ()


def test_the_mid_p_interval_holds_what_the_mid_p_test_does_not_reject() -> None:
    found = ratio(8, 40e3, 3, 60e3)
    for edge in (found.details["mid_p_low"], found.details["mid_p_high"]):
        assert rate_p_value(8, 40e3 * edge, 3, 60e3, "mid-p") == pytest.approx(0.05, abs=1e-9)


def test_clopper_pearson_against_scipy() -> None:
    for n1, n2 in ((8, 3), (0, 4), (5, 0), (40, 61)):
        proportion = stats.binomtest(n1, n1 + n2).proportion_ci(0.95, method="exact")
        low, high = _exact_ratio(n1, n2, 1.0, 1.0, 0.95)
        assert low == pytest.approx(proportion.low / (1 - proportion.low))
        assert high == (
            math.inf if n2 == 0 else pytest.approx(proportion.high / (1 - proportion.high), rel=1e-9)
        )


def test_changing_places_turns_the_ratio_over() -> None:
    one, other = ratio(8, 40e3, 3, 60e3), ratio(3, 60e3, 8, 40e3)
    assert RateRatio(one.low, one.high) == pytest.approx((1 / other.high, 1 / other.low))
    assert one.details["p_value"] == pytest.approx(other.details["p_value"])


def test_no_fault_on_one_side_keeps_an_open_end() -> None:
    none_first, none_second = ratio(0, 40e3, 6, 40e3), ratio(6, 40e3, 0, 40e3)
    assert (none_first.estimate, none_first.low) == (0.0, 0.0)
    assert 0 < none_first.high < 1
    assert (none_second.estimate, none_second.high) == (math.inf, math.inf)
    assert none_second.low == pytest.approx(1 / none_first.high)


def test_no_fault_on_either_side_is_refused() -> None:
    assert said(compare_rates(0, 40e3, 0, 60e3)) == Refused(
        question=asks(Quantity.FAULT_RATE_RATIO),
        method="conditional test with mid-p, doubled tail (Przyborowski and Wilenski, Biometrika 31, 1940)",
        reason="Neither length has a fault, so their rates have no ratio; compare after more length.",
        n=0,
    )


@pytest.mark.parametrize(("km", "power"), [(915, 0.76), (1000, 0.80)])
def test_length_needed_to_see_a_halving(km: float, power: float) -> None:
    # Worked out by a script apart: halving from 0.05 per km, exact conditional test.
    found = power_of_comparison(0.05, 0.025, km * 1e3, km * 1e3, "conditional exact")
    assert found == pytest.approx(power, abs=0.005)
    assert power_of_comparison(0.05, 0.025, km * 1e3, km * 1e3) > found


def test_power_by_pairs_agrees_with_scipy_one_pair_at_a_time() -> None:
    n = np.arange(13)
    total = sum(
        stats.poisson.pmf(a, 2.0) * stats.poisson.pmf(b, 4.0)
        for a in n
        for b in n
        if a + b and rate_p_value(int(a), 1.0, int(b), 1.0, "conditional exact") < 0.05
    )
    assert power_of_comparison(2.0, 4.0, 1e3, 1e3, "conditional exact") == pytest.approx(total, abs=1e-3)


def test_false_alarms_of_the_mid_p_test_stay_near_the_level() -> None:
    for mean in (1.0, 3.0, 10.0, 40.0):
        assert power_of_comparison(mean, mean, 1e3, 1e3) < 0.056


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: compare_rates(1, 1e3, 2, 1e3, "best of three"),  # type: ignore[arg-type]
            "test: 'best of three' is not known. Give one of: mid-p, E-test, conditional exact.",
        ),
        (
            lambda: compare_rates(1, 0.0, 2, 1e3),
            "known_1_m: 0 m was given. Give a finite number above 0.",
        ),
        (
            lambda: compare_rates(-1, 1e3, 2, 1e3),
            "count_1, count_2: -1 is no count. A count is a whole number from 0 upwards.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

"""Fault rate per km with its exact interval."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.event_rate import event_rate
from tests.said import said


def rate(count: int, known_m: float, confidence: float = 0.95) -> Result:
    answer = event_rate(count, known_m, confidence)
    assert isinstance(answer, Result)
    return answer


def test_three_faults_on_150_km() -> None:
    # Worked out by a script apart: .02 (.00412, .05845) per km.
    found = rate(3, 150_000)
    assert found.estimate == pytest.approx(0.02)
    assert found.low == pytest.approx(0.004124480819304009)
    assert found.high == pytest.approx(0.05844848713161549)


def test_no_fault_is_never_a_rate_of_zero() -> None:
    # Trap "0 faults/km": worked out apart: 2.996/E one-sided and 3.689/E two-sided.
    found = rate(0, 1000)
    assert (found.estimate, found.low) == (0.0, 0.0)
    assert found.high == pytest.approx(3.6888794541139354)
    assert found.details["upper_one_sided_per_km"] == pytest.approx(2.9957322735539895)
    assert said(found.warnings) == (("0 faults in 1000 m. Upper 95 % bound: 2.996 per km."),)


def test_the_interval_inverts_the_exact_poisson_test() -> None:
    # Independent: scipy's Poisson distribution at both ends of the interval.
    for count in (1, 4, 25):
        found = rate(count, 2000.0, 0.9)
        assert stats.poisson.sf(count - 1, found.low * 2) == pytest.approx(0.05)
        assert stats.poisson.cdf(count, found.high * 2) == pytest.approx(0.05)


@pytest.mark.parametrize("mean", [0.3, 1.0, 4.0, 20.0])
def test_coverage_is_at_least_what_is_claimed(mean: float) -> None:
    # Exact: sum over all counts instead of a simulation (10^-12 of the mass left out).
    count = np.arange(0, 200)
    low = np.where(count > 0, stats.chi2.ppf(0.025, 2 * np.maximum(count, 1)) / 2, 0.0)
    high = stats.chi2.ppf(0.975, 2 * count + 2) / 2
    ours = [(rate(int(n), 1000.0).low, rate(int(n), 1000.0).high) for n in count[:60]]
    np.testing.assert_allclose(ours, np.column_stack([low, high])[:60])
    inside = (low <= mean) & (mean <= high)
    assert stats.poisson.pmf(count, mean)[inside].sum() >= 0.95


def test_scale_of_length_only_scales_the_rate() -> None:
    short, long = rate(5, 1000.0), rate(5, 4000.0)
    assert short.high == pytest.approx(4 * long.high)
    assert short.low == pytest.approx(4 * long.low)


def test_no_known_length_is_refused_with_the_reason() -> None:
    assert said(event_rate(2, 0.0)) == Refused(
        question=asks(Quantity.FAULT_RATE),
        method="Poisson rate, exact interval (Garwood, Biometrika 28, 1936, 437)",
        reason="The detector was working on no known length, so 2 faults have no rate; "
        "give the length on which it worked.",
        n=2,
    )


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: event_rate(-1, 10.0), "count: -1 is no count. A count is a whole number from 0 upwards."),
        (
            lambda: event_rate(1, -10.0),
            "known_m: -10 m was given. Give the length with a working detector, in m.",
        ),
        (
            lambda: event_rate(1, math.nan),
            "known_m: nan m was given. Give the length with a working detector, in m.",
        ),
        (
            lambda: event_rate(1, 10.0, 95),
            "confidence: 95 was given. Give a share between 0 and 1, such as 0.95 for 95 %.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

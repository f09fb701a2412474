"""When a fault rate changed."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.results import Refused
from pipeline.statistics.rate_changes import RateChange, rate_change
from tests.said import said


def change(*given: object, **named: object) -> RateChange:
    answer = rate_change(*given, **named)  # type: ignore[arg-type]
    assert isinstance(answer, RateChange)
    return answer


def test_the_likelihood_ratio_by_scipy() -> None:
    c, km = np.array([1, 0, 2, 7, 9, 6]), np.array([1.0, 2.0, 1.0, 1.5, 2.0, 1.0])
    found = change(c, km * 1000)
    ratios = []
    for k in range(1, 6):
        two = sum(
            stats.poisson.logpmf(part, part.sum() / length.sum() * length).sum()
            for part, length in ((c[:k], km[:k]), (c[k:], km[k:]))
        )
        ratios.append(two - stats.poisson.logpmf(c, c.sum() / km.sum() * km).sum())
    assert found.item == int(np.argmax(ratios)) + 1
    assert found.twice_log_ratio == pytest.approx(2 * max(ratios))
    assert (found.before_per_km, found.after_per_km) == pytest.approx((1 / 3, 24 / 5.5))


def test_longer_reels_with_more_faults_are_no_change() -> None:
    km = np.array([1.0] * 10 + [8.0] * 10)
    found = change(np.random.default_rng(1).poisson(2 * km), km * 1000, simulations=199)
    assert found.p_value > 0.05
    assert found.before_per_km == pytest.approx(2, abs=1.5)


def test_false_alarms_and_coverage_by_simulation() -> None:
    rng = np.random.default_rng(2)
    calls = inside = 0
    for _ in range(150):
        calls += change(rng.poisson(1.0, 40), np.full(40, 1000.0), simulations=99).p_value <= 0.05
        c = np.append(rng.poisson(0.5, 25), rng.poisson(3.0, 15))
        found = change(c, np.full(40, 1000.0), simulations=9)
        inside += found.low <= 25 <= found.high
    assert calls / 150 < 0.10
    assert inside / 150 > 0.90


def test_a_rate_that_falls_to_nothing() -> None:
    found = change([4, 5, 6, 4, 0, 0, 0, 0], [1000.0] * 8)
    assert (found.item, found.after_per_km) == (4, 0.0)
    assert math.isfinite(found.twice_log_ratio)
    assert found.posterior.sum() == pytest.approx(1.0)


def test_too_little_is_refused() -> None:
    found = rate_change([0, 0, 0, 0, 1], [1000.0] * 5)
    assert isinstance(found, Refused)
    assert said(found.reason) == "1 fault on 5 items cannot show a change; 4 faults and 4 items are needed."


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: rate_change([1, 2], [1.0]), "known_m: 1 lengths for 2 counts. Give one for each."),
        (lambda: rate_change([1, 2], [1.0, 0.0]), "known_m: 0 m is not above 0. Give values above 0."),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

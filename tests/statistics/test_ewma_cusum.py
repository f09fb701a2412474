"""EWMA and CUSUM charts as applied, against recursions by hand and computed run lengths."""

import math

import numpy as np
import pytest

from pipeline.errors import MethodRefusal
from pipeline.results import Chart, Refused
from pipeline.statistics.ewma_cusum import CusumChart, cusum_chart, ewma_ar_factor, ewma_chart
from tests.said import said


def ewma(*given: object, **named: object) -> Chart:
    answer = ewma_chart(*given, **named)  # type: ignore[arg-type]
    assert isinstance(answer, Chart)
    return answer


def cusum(*given: object, **named: object) -> CusumChart:
    answer = cusum_chart(*given, **named)  # type: ignore[arg-type]
    assert isinstance(answer, CusumChart)
    return answer


def test_ewma_by_hand() -> None:
    found = ewma([1.0, 2.0, math.nan, -1.0], 0.0, 1.0, 0.5, 3.0)
    np.testing.assert_allclose(found.plotted, [0.5, 1.25, math.nan, 0.125])
    first = 3 * 0.5
    assert found.upper[0] == pytest.approx(first)
    assert found.upper[3] == pytest.approx(3 * math.sqrt(1 / 3 * (1 - 0.5**6)))
    assert said(found.warnings) == ("1 of 4 items have no value and are not judged.",)


def test_a_signal_leads_back_to_where_the_drift_began() -> None:
    values = np.concatenate([np.full(10, -0.1), np.full(12, 2.0)])
    found = ewma(values, 0.0, 1.0)
    assert found.signals[0].item == 13
    assert found.signals[0].since == 10
    assert found.signals[0].side == "above"


def test_correlated_values_need_wider_limits() -> None:
    # Worked out by a script apart: phi .6, lambda .2: 1.687.
    assert ewma_ar_factor(0.6, 0.2) == pytest.approx(1.6870547845739468)
    assert ewma_ar_factor(0.0, 0.2) == 1.0
    rng = np.random.default_rng(1)
    x = np.empty(100_000)
    x[0] = rng.normal()
    noise = rng.normal(size=x.size) * 0.8
    for t in range(1, x.size):
        x[t] = 0.6 * x[t - 1] + noise[t]
    plain, wide = ewma(x, 0.0, 1.0), ewma(x, 0.0, 1.0, phi=0.6)
    assert np.nanstd(plain.plotted) / math.sqrt(0.2 / 1.8) == pytest.approx(1.687, abs=0.03)
    assert len(wide.signals) < len(plain.signals) / 10


def test_false_alarms_of_the_ewma_by_simulation() -> None:
    # Computed 500 points (worked out by a script apart); the chart as applied, runs of 2500 points, first signals.
    rng = np.random.default_rng(4)
    first = []
    for _ in range(600):
        found = ewma(rng.normal(size=5000), 0.0, 1.0)
        first.append(found.signals[0].item + 1 if found.signals else 5000)
    assert np.mean(first) == pytest.approx(500, rel=0.12)


def test_cusum_by_hand_recursion() -> None:
    rng = np.random.default_rng(2)
    x = rng.normal(0.3, 1.0, 200)
    high = low = 0.0
    above, below = [], []
    for value in x:
        high, low = max(0.0, high + value - 0.5), max(0.0, low - value - 0.5)
        above.append(high)
        below.append(low)
    found = cusum(x, 0.0, 1.0)
    np.testing.assert_allclose(found.above, above, atol=1e-12)
    np.testing.assert_allclose(found.below, below, atol=1e-12)


def test_a_cusum_signal_tells_when_and_how_far() -> None:
    found = cusum([0.0] * 10 + [2.0] * 6, 0.0, 1.0, unit="mm")
    assert (found.signals[0].item, found.signals[0].since) == (13, 10)
    down = cusum([0.0] * 10 + [-2.0] * 6, 0.0, 1.0)
    assert down.signals[0].side == "below"


def test_false_alarms_of_the_cusum_by_simulation() -> None:
    # Computed 168 points for k .5, h 4 (Montgomery, table 9.3).
    rng = np.random.default_rng(6)
    first = [
        next((one.item + 1 for one in cusum(rng.normal(size=2500), 0.0, 1.0, 0.5, 4.0).signals), 2500)
        for _ in range(800)
    ]
    assert np.mean(first) == pytest.approx(168, rel=0.12)


def test_an_item_without_a_value_changes_nothing() -> None:
    x = [0.2, 3.0, -1.0, 2.5, 4.0]
    gap = [0.2, math.nan, 3.0, -1.0, math.nan, 2.5, 4.0]
    whole, broken = cusum(x, 0.0, 1.0), cusum(gap, 0.0, 1.0)
    np.testing.assert_allclose(broken.above[[0, 2, 3, 5, 6]], whole.above)
    assert [one.item for one in broken.signals] == [[0, 2, 3, 5, 6][one.item] for one in whole.signals]
    np.testing.assert_allclose(ewma(gap, 0.0, 1.0).plotted[[0, 2, 3, 5, 6]], ewma(x, 0.0, 1.0).plotted)


def test_nothing_to_plot_is_refused() -> None:
    for answer in (ewma_chart([math.nan], 0.0, 1.0), cusum_chart([], 0.0, 1.0)):
        assert isinstance(answer, Refused)
        assert said(answer.reason) == "No item has a value; there is nothing to plot."


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: ewma_chart([1.0], 0.0, 0.0), "sigma: 0 was given. Give a finite number above 0."),
        (
            lambda: ewma_chart([1.0], 0.0, 1.0, 1.2),
            "weight: 1.2 was given. Give a share above 0 and up to 1, such as 0.2.",
        ),
        (
            lambda: ewma_ar_factor(1.0, 0.2),
            "phi: 1 was given. Give an autoregression between -1 and 1, both left out.",
        ),
        (
            lambda: cusum_chart([1.0], 0.0, 1.0, limit=0.0),
            "limit: 0 was given. Give a finite number above 0.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

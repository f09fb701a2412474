"""Charts of the length from fault to fault."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.results import Chart, Refused
from pipeline.statistics.rare_event_charts import (
    faults_to_signal,
    g_chart,
    gap_chart,
    gap_cusum,
    gap_cusum_arl,
    gap_cusum_limit,
    geometric_limit,
)
from tests.said import said


def chart(answer: Chart | Refused) -> Chart:
    assert isinstance(answer, Chart)
    return answer


def test_probability_limits_of_single_gaps_and_sums() -> None:
    # Worked out by a script apart: mu x (.00135, 6.61); LCL of sums of 3 and 5 gaps .2117 and .7919 mu.
    one = chart(gap_chart([1.0], 1.0))
    assert one.lower[0] == pytest.approx(0.0013509120709562744)
    assert one.upper[0] == pytest.approx(6.607650686531799)
    for together, low in ((3, 0.21168427925667843), (5, 0.7918737864551385)):
        assert chart(gap_chart([1.0] * together, 1.0, together)).lower[0] == pytest.approx(low)


def test_single_gaps_have_no_power() -> None:
    # Worked out by a script apart: at five times the rate ~149 faults to signal, sums of five ~14.
    assert faults_to_signal(5.0) == pytest.approx(148.54868851254858)
    assert faults_to_signal(5.0, 5) == pytest.approx(13.765547619875315)
    assert faults_to_signal(1.0) == pytest.approx(1 / 0.0027)


def test_sums_do_not_overlap_and_the_rest_waits() -> None:
    found = chart(gap_chart([100.0, 200.0, 300.0, 1.0, 1.0, 1.0, 50.0], 500.0, 3))
    np.testing.assert_array_equal(found.plotted, [600.0, 3.0])
    assert [(one.item, one.side) for one in found.signals] == [(1, "below")]
    assert said(found.warnings) == ("The last 1 gap waits for their sum.",)
    few = gap_chart([1.0, 2.0], 500.0, 3)
    assert isinstance(few, Refused)
    assert said(few.reason) == "2 gaps make no sum of 3; wait for more."


def test_geometric_limits() -> None:
    # Worked out by a script apart: p .01 -> 658 trials up to and with the bad one, so 657 good ones between.
    assert geometric_limit(0.01) == (-1, 657)
    assert stats.geom.sf(658, 0.01) <= 0.00135 < stats.geom.sf(657, 0.01)
    found = chart(g_chart([3, 658, 657], 0.01))
    assert [one.item for one in found.signals] == [1]
    low, _ = geometric_limit(0.0005)
    assert low == 1
    assert stats.geom.cdf(low + 1, 0.0005) <= 0.00135


def test_exponential_cusum_against_simulation() -> None:
    k = math.log(5) / 4
    h = gap_cusum_limit(k, 100.0)
    rng = np.random.default_rng(1)
    for times in (1.0, 5.0):
        sums, length, alive = np.zeros(6000), np.zeros(6000), np.ones(6000, dtype=bool)
        for n in range(1, 3000):
            sums = np.maximum(0.0, sums + k - rng.exponential(1 / times, 6000))
            out = alive & (sums > h)
            length[out] = n
            alive &= ~out
            if not alive.any():
                break
        assert not alive.any()
        computed = gap_cusum_arl(k, h, times)
        assert length.mean() == pytest.approx(computed, abs=4 * length.std() / math.sqrt(6000))


def test_the_cusum_needs_far_fewer_faults() -> None:
    h = gap_cusum_limit(math.log(5) / 4, 1 / 0.0027)
    assert gap_cusum_arl(math.log(5) / 4, h, 5.0) < 7 < faults_to_signal(5.0, 5)


def test_a_grid_twice_as_fine_changes_little() -> None:
    assert gap_cusum_arl(0.4, 0.84, states=400) == pytest.approx(
        gap_cusum_arl(0.4, 0.84, states=1600), rel=1e-4
    )


def test_cusum_as_applied() -> None:
    gaps = [900.0, 1500.0, 800.0, 60.0, 40.0, 30.0, 20.0]
    found = gap_cusum(gaps, 1000.0, 5.0, 100.0)
    sums, s = [], 0.0
    for gap in gaps:
        s = max(0.0, s + found.reference_m - gap)
        sums.append(s)
    np.testing.assert_allclose(found.sums, sums)
    assert found.signals[0].since == 3
    assert found.signals[0].item == 5
    assert found.arl0 == pytest.approx(100, rel=0.01)
    assert gap_cusum([], 1000.0).signals == ()


def test_all_faults_at_one_place_signal_at_once() -> None:
    assert len(chart(gap_chart([0.0, 0.0], 500.0)).signals) == 2
    assert gap_cusum([0.0] * 5, 500.0).signals[0].item == 2


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: gap_chart([1.0, -2.0], 10.0),
            ("gaps_m: holds a gap that is negative or not known. Give known lengths from fault to fault."),
        ),
        (lambda: gap_chart([1.0], 0.0), "mean_gap_m: 0 m was given. Give a finite number above 0."),
        (lambda: gap_chart([1.0], 1.0, 0), "together: 0 was given. Add up one gap or more."),
        (
            lambda: gap_cusum([1.0], 1.0, 0.5),
            "times: 0.5 was given. Give a rate above the usual, such as 5.",
        ),
        (
            lambda: gap_cusum([1.0], 1.0, 5.0, 1.0),
            "arl0: 1 faults was given. Give a number of faults above 2.",
        ),
        (
            lambda: geometric_limit(0.0),
            "chance: 0 was given. Give a share between 0 and 1, such as 0.95 for 95 %.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

"""Faults near earlier events, against shifting and against the Poisson null."""

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.results import Refused
from pipeline.statistics.event_coincidence import Coincidence, coincidence, poisson_coincidence_p
from tests.said import said


def found(*given: object, **named: object) -> Coincidence:
    answer = coincidence(*given, **named)  # type: ignore[arg-type]
    assert isinstance(answer, Coincidence)
    return answer


def test_poisson_null_as_worked_out() -> None:
    # Worked out by a script apart: 20 faults, 50 events, 2 m, 10 km: p .00995, P(K >= 3) 9.9e-4.
    assert poisson_coincidence_p(20, 50, 2.0, 10_000.0, 3) == pytest.approx(0.0009895580195511604)
    assert poisson_coincidence_p(1, 50, 2.0, 10_000.0, 1) == pytest.approx(0.009951156432195907)


def test_both_directions_and_what_is_left_over() -> None:
    answer = found([[100.0, 500.0, 900.0, 901.0]], [[99.5, 300.0, 900.4]], [1000.0], 1.0)
    assert (answer.faults_with, answer.faults) == (3, 4)
    assert (answer.events_with, answer.events) == (2, 3)
    assert answer.precursor.estimate == 0.75
    assert answer.without.estimate == 0.25
    exact = stats.binomtest(1, 4).proportion_ci(0.95, method="exact")
    assert (answer.without.low, answer.without.high) == pytest.approx((exact.low, exact.high))


def test_chance_by_shifting_is_the_covered_share() -> None:
    # By hand: two events 400 m apart cover 2 x 2 m of 1000 m, so each of 5 faults meets one with p 0.004.
    answer = found([[10.0, 210.0, 330.0, 580.0, 800.0]], [[100.0, 500.0]], [1000.0], 1.0, shifts=20_000)
    assert answer.expected == pytest.approx(5 * 0.004, rel=0.15)


def test_clustered_faults_fool_the_poisson_null_and_not_the_shift() -> None:
    # Trap "clustered events against a Poisson null": 6 bunches of 8 faults, 30 thin spots, all by chance.
    rng = np.random.default_rng(3)
    poisson, shift = 0, 0
    for _ in range(120):
        faults = np.concatenate([at + rng.uniform(0, 2, 8) for at in rng.uniform(0, 1498, 6)])
        answer = found([faults], [rng.uniform(0, 1500, 30)], [1500.0], 5.0, shifts=199)
        poisson += answer.poisson_p < 0.05
        shift += answer.p_value <= 0.05
    assert poisson / 120 > 0.20
    assert shift / 120 < 0.10


def test_a_true_relation_is_found() -> None:
    rng = np.random.default_rng(5)
    thin = [np.sort(rng.uniform(0, 1500, 20)) for _ in range(3)]
    faults = [one[:3] + rng.normal(0, 0.3, 3) for one in thin]
    answer = found(faults, thin, [1500.0] * 3, 1.0)
    assert answer.faults_with == 9
    assert answer.p_value == pytest.approx(1 / 2000)


def test_a_reel_without_events_counts_against_the_relation() -> None:
    answer = found([[100.0], [100.0]], [[100.2], []], [1000.0, 1000.0], 1.0)
    assert (answer.faults_with, answer.faults) == (1, 2)


def test_nothing_to_compare_is_refused() -> None:
    answer = coincidence([[]], [[3.0]], [100.0], 1.0)
    assert isinstance(answer, Refused)
    assert said(answer.reason) == "Needs faults and such places; found 0 faults and 1 place."


def test_windows_that_cannot_answer_are_told() -> None:
    narrow = found([[10.0]], [[50.0]], [1000.0], 1.0, position_sd_m=2.0)
    assert said(narrow.warnings) == (
        (
            "A window of 1 m is under twice the positions' uncertainty of 2 m: pairs that belong "
            "together are missed."
        ),
    )
    wide = found([[10.0]], [np.arange(0, 1000, 10.0)], [1000.0], 4.0)
    assert said(wide.warnings) == (
        (
            "Chance alone puts more than half of the faults near an event: the window is too wide or events "
            "too many to show anything."
        ),
    )


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (
            lambda: coincidence([[1.0]], [[1.0]], [10.0, 10.0], 1.0),
            "faults_m: 1 reels stand against 2 lengths. Give one for each reel.",
        ),
        (
            lambda: coincidence([[1.0]], [[11.0]], [10.0], 1.0),
            (
                "events_m[0]: 11 m is outside the reel's known 10 m. Give positions on the joined known "
                "length, from 0."
            ),
        ),
        (
            lambda: coincidence([[1.0]], [[1.0]], [10.0], 0.0),
            "window_m: 0 m was given. Give a finite number above 0.",
        ),
        (
            lambda: coincidence([[1.0]], [[1.0]], [0.0], 1.0),
            "reel_m: 0 m is not above 0. Give values above 0.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

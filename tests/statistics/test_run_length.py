"""Average run lengths against worked numbers, against each other and against simulation."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.statistics.run_length import (
    cusum_arl,
    cusum_limit,
    ewma_arl,
    ewma_width,
    mewma_arl0,
    mewma_limit,
    shewhart_width,
)


@pytest.mark.parametrize(
    ("weight", "width", "arl0", "arl1", "arl05"),
    [
        (0.1, 2.7, 368.9, 9.73, 28.19),
        (0.1, 2.814, 499.5, 10.33, 31.3),
        (0.2, 2.962, 499.7, 10.54, 41.76),
        (0.2, 2.86, 371.1, 9.8, 36.2),
        (0.05, 2.615, 499.8, 11.38, 28.76),
    ],
)
def test_ewma_by_integral_equation_against_a_markov_chain(
    weight: float, width: float, arl0: float, arl1: float, arl05: float
) -> None:
    # Worked out apart by Markov chain; designs of Lucas & Saccucci, Technometrics 32 (1990).
    assert ewma_arl(weight, width) == pytest.approx(arl0, rel=5e-4)
    assert ewma_arl(weight, width, 1.0) == pytest.approx(arl1, abs=0.006)
    assert ewma_arl(weight, width, 0.5) == pytest.approx(arl05, abs=0.006)


@pytest.mark.parametrize(
    ("k", "h", "arl0", "arl1"), [(0.5, 4, 167.7, 8.38), (0.5, 4.77, 368.5, 9.92), (0.25, 8.01, 370.3, 11.41)]
)
def test_cusum_as_worked_out(k: float, h: float, arl0: float, arl1: float) -> None:
    assert cusum_arl(k, h) == pytest.approx(arl0, abs=0.07)
    assert cusum_arl(k, h, 1.0) == pytest.approx(arl1, abs=0.006)
    assert cusum_arl(0.5, 5, two_sided=False) == pytest.approx(930.9, abs=0.05)


def test_an_ewma_that_forgets_is_a_shewhart_chart() -> None:
    for shift in (0.0, 1.0):
        assert ewma_arl(1.0, 3.0, shift) == pytest.approx(
            1.0 / (stats.norm.sf(3.0 - shift) + stats.norm.cdf(-3.0 - shift))
        )
    assert ewma_arl(1.0, 3.0) == pytest.approx(370.3983473449592)


def test_a_cusum_without_interval_is_a_one_sided_limit() -> None:
    assert cusum_arl(3.0, 1e-9, two_sided=False) == pytest.approx(2 * 370.3983473449592, rel=1e-6)


def run_lengths(step: object, runs: int, points: int, shift: float, seed: int) -> np.ndarray:
    """First signal of each run by simulation; a run without a signal counts as censored and fails the test."""
    rng = np.random.default_rng(seed)
    length = np.zeros(runs)
    state = np.zeros(runs)
    alive = np.ones(runs, dtype=bool)
    for t in range(1, points + 1):
        state, signal = step(state, rng.normal(shift, 1.0, runs))  # type: ignore[operator]
        ended = alive & signal
        length[ended] = t
        alive &= ~signal
        if not alive.any():
            break
    assert not alive.any()
    return length


def test_false_alarm_rates_by_simulation() -> None:
    # 10 000 runs each; standard error about 1 %.
    def ewma(z: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        z = 0.9 * z + 0.1 * x
        return z, np.abs(z) > 2.0 * math.sqrt(0.1 / 1.9)

    def cusum(s: np.ndarray, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        s = np.maximum(0.0, s + x - 0.5)
        return s, s > 3.0

    for step, computed in ((ewma, ewma_arl(0.1, 2.0)), (cusum, cusum_arl(0.5, 3.0, two_sided=False))):
        length = run_lengths(step, 10_000, 5000, 0.0, 1)
        assert length.mean() == pytest.approx(computed, abs=4 * length.std() / 100)


@pytest.mark.parametrize(("p", "h", "simulated"), [(2, 8.66, 202), (3, 10.79, 199), (4, 12.73, 201)])
def test_multivariate_ewma(p: int, h: float, simulated: float) -> None:
    # Worked out by a script apart: limits of Prabhu & Runger 1997 for ARL0 200, simulated there 202/199/201.
    assert mewma_arl0(0.1, h, p) == pytest.approx(200, rel=0.015)
    assert mewma_arl0(0.1, h, p) == pytest.approx(simulated, rel=0.01)


def test_a_multivariate_ewma_that_forgets_is_a_chi_square_chart() -> None:
    h = stats.chi2.isf(0.01, 3)
    assert mewma_arl0(1.0, h, 3, 500) == pytest.approx(100.0, rel=1e-2)


def test_one_variable_is_the_univariate_ewma() -> None:
    assert mewma_arl0(0.2, 2.962**2, 1) == pytest.approx(ewma_arl(0.2, 2.962), rel=1e-3)


def test_limits_from_the_wanted_average() -> None:
    assert shewhart_width(5040) == pytest.approx(3.7210289374042724)
    assert ewma_arl(0.2, ewma_width(5040, 0.2)) == pytest.approx(5040)
    assert cusum_arl(0.5, cusum_limit(5040, 0.5)) == pytest.approx(5040)
    assert mewma_limit(200, 0.1, 2) == pytest.approx(8.66, abs=0.03)
    assert ewma_width(1e6, 0.05) < shewhart_width(1e6)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: shewhart_width(1.0), "arl: 1 points was given. An average run length is a number above 1."),
        (
            lambda: ewma_arl(0.0, 3.0),
            "weight: 0 was given. Give a share above 0 and up to 1, such as 0.2.",
        ),
        (lambda: cusum_arl(0.5, -1.0), "limit: -1 was given. Give a finite number above 0."),
        (
            lambda: cusum_limit(1e12, 0.01),
            (
                "arl0: 1e+12 points between false alarms cannot be had with this chart. Give a number of points "
                "between 2 and about 10 million."
            ),
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

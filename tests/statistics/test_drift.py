"""Straight drift along the wire."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.results import Refused, Result
from pipeline.statistics.drift import linear_drift, residuals_of_line
from tests.said import said


def test_independent_readings_give_the_usual_line() -> None:
    x = np.linspace(0.0, 100.0, 50)
    y = 0.4 + 1e-5 * x + np.random.default_rng(1).normal(0, 1e-3, 50)
    usual = stats.linregress(x, y)
    found = linear_drift(x, y, 50.0)
    assert isinstance(found, Result)
    assert (found.estimate, found.details["intercept"]) == pytest.approx(
        (usual.slope, usual.intercept), rel=1e-9
    )
    assert found.details["standard_error"] == pytest.approx(usual.stderr, rel=1e-9)
    half = usual.stderr * stats.t.ppf(0.975, 48)
    assert (found.low, found.high) == pytest.approx((usual.slope - half, usual.slope + half), rel=1e-9)
    assert found.unit == "mm/m"
    assert residuals_of_line(x, y) == pytest.approx(y - usual.intercept - usual.slope * x, abs=1e-12)


def test_unknown_readings_are_told() -> None:
    y = np.array([0.40, np.nan, 0.41, 0.40, 0.42, 0.41, 0.43])
    found = linear_drift(np.arange(7.0), y, 6.0)
    assert isinstance(found, Result)
    usual = stats.linregress([0, 2, 3, 4, 5, 6], y[~np.isnan(y)])
    assert found.estimate == pytest.approx(usual.slope)
    assert said(found.warnings) == ("1 reading not used: no valid value.",)


@pytest.mark.parametrize(
    ("at", "values", "worth", "reason"),
    [
        ([1.0], [0.4], 1.0, "Needs an effective sample size of 5; 1 reading gives 1.0."),
        ([1.0] * 9, [0.4, 0.5, 0.6] * 3, 9.0, "All readings stand at one place."),
        (list(range(9)), [0.4] * 9, 9.0, "All readings are equal; look for a stuck instrument."),
        (
            list(range(9)),
            [0.4, 0.5, 0.6] * 3,
            2.0,
            "Needs an effective sample size of 5; 9 readings give 2.0.",
        ),
        (
            list(range(9)),
            [0.4, 0.5, math.inf] * 3,
            9.0,
            "Each reading needs its place, and both must be finite; flag the faulty ones and ask again.",
        ),
    ],
)
def test_refusals_in_full(at: list[float], values: list[float], worth: float, reason: str) -> None:
    found = linear_drift(at, values, worth)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason

"""Extremal index and clusters."""

import math

import numpy as np
import pytest
from scipy import optimize, special
from scipy.signal import lfilter

from pipeline.errors import MethodRefusal
from pipeline.results import Refused, Result
from pipeline.statistics.extremal_index import (
    decluster,
    extremal_index,
    intervals_estimate,
    k_gaps,
    run_from_extremal_index,
)
from tests.said import said
from tests.statistics.interval_trials import smallest_eigenvalue

SPACINGS = [1, 1, 30, 2, 1, 55, 1, 80, 1, 1]


def max_autoregression(n: int, seed: int) -> np.ndarray:
    """X_t = max(X_{t-1}, W_t)/2 with unit Frechet W: extremal index exactly 1/2."""
    fresh = -1.0 / np.log(np.random.default_rng(seed).random(n)) / 2.0
    logs, position = np.log2(fresh), np.arange(n)
    # max over the past of fresh_s 2^-(t-s), as a running maximum
    return np.exp2(np.maximum.accumulate(logs + position) - position)


def test_small_example_by_hand() -> None:
    # sum(T-1) = 163, sum (T-1)(T-2) = 29*28 + 1*0 + 54*53 + 79*78 = 9836; 2*163^2/(10*9836).
    assert intervals_estimate(SPACINGS) == pytest.approx(2 * 163**2 / (10 * 9836), rel=1e-12)
    assert intervals_estimate([1, 2, 2, 1]) == 1.0  # 2*36/(4*10) capped
    assert round(intervals_estimate(SPACINGS), 5) == 0.54024


def test_k_gaps_is_the_maximum_of_its_likelihood() -> None:
    found = k_gaps(SPACINGS, 11, 1000)
    s = 11 / 1000 * np.maximum(np.array(SPACINGS) - 1.0, 0)

    def loss(theta: float) -> float:
        return -(np.sum(s == 0) * math.log(1 - theta) + 2 * np.sum(s > 0) * math.log(theta) - theta * s.sum())

    best = optimize.minimize_scalar(loss, bounds=(1e-6, 1 - 1e-6), method="bounded", options={"xatol": 1e-12})
    assert found.theta == pytest.approx(best.x, abs=1e-6)
    assert round(found.theta, 5) == 0.53961
    for end in (found.low, found.high):
        assert loss(end) - best.fun == pytest.approx(1.9207, abs=1e-3)


def test_process_of_known_index() -> None:
    """Max-autoregression, extremal index 1/2: both estimates near, and the K = 1 model is not
    contradicted."""
    x = max_autoregression(200_000, 1)
    found = extremal_index(-x, -np.quantile(x, 0.99), step_m=0.5)
    assert isinstance(found, Result)
    assert found.estimate == pytest.approx(0.5, abs=0.03)
    assert found.details["k_gaps_estimate"] == pytest.approx(0.5, abs=0.04)
    assert found.low < 0.5 < found.high
    assert found.assumptions[0].held is True
    assert found.known_m == 100_000.0


@pytest.mark.parametrize("depth", [2.5, 3.0, 3.5])
def test_autoregression_is_far_from_its_limit_at_usable_thresholds(depth: float) -> None:
    """Coefficient .9: the limit is 1; at 2.5/3/3.5 deviations -ln lambda over the share of a reading is far from it."""
    ratio, _ = smallest_eigenvalue(0.9, -depth)
    truth = math.log(ratio) / math.log1p(-float(special.ndtr(-depth)))
    assert truth < 0.6
    noise = np.random.default_rng(3).standard_normal(3_000_000)
    found = extremal_index(lfilter([math.sqrt(1 - 0.81)], [1, -0.9], noise), -depth)
    assert isinstance(found, Result)
    assert found.estimate == pytest.approx(truth, abs=0.05)
    assert found.low < truth < found.high


def test_k_is_raised_until_the_test_holds() -> None:
    noise = np.random.default_rng(4).standard_normal(2_000_000)
    x = lfilter([math.sqrt(1 - 0.98**2)], [1, -0.98], noise)
    one, chosen = extremal_index(x, -3.0, k=1), extremal_index(x, -3.0)
    assert isinstance(one, Result) and isinstance(chosen, Result)
    assert one.assumptions[0].held is False
    assert chosen.details["k"] > 1.0
    assert chosen.details["k_gaps_estimate"] == pytest.approx(chosen.estimate, rel=0.15)


def test_clusters_keep_the_thinnest_reading_of_each() -> None:
    values = np.array([0.40, 0.37, 0.36, 0.36, 0.40, 0.38, 0.40, np.nan, 0.40, 0.35, 0.40])
    at = np.arange(11) * 0.5
    near = decluster(values, at, 0.39, 1.01)
    assert near.at_m.tolist() == [1.0, 4.5]  # the first of two equal readings; 0.38 is 1.0 m from 0.36
    assert near.deficit == pytest.approx([0.03, 0.04])
    assert near.readings.tolist() == [4, 1]
    far = decluster(values, at, 0.39, 0.6)
    assert far.at_m.tolist() == [1.0, 2.5, 4.5]
    assert decluster(values, at, 0.30, 1.0).deficit.size == 0


def test_run_length_makes_as_many_clusters_as_the_index_says() -> None:
    run = run_from_extremal_index(SPACINGS, 0.36)  # floor(.36 * 11) = 3 partings, 4 clusters
    assert run == 30.0
    assert np.sum(np.array(SPACINGS) >= run) + 1 == 4


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        ([0.4] * 100, "Needs at least 40 readings below the threshold; there are 0. Raise the threshold."),
        ([], "Needs at least 40 readings below the threshold; there are 0. Raise the threshold."),
        ([0.3, math.inf] * 50, "A reading or the threshold is infinite; flag it and ask again."),
        ([0.3, math.nan] * 50, "50 of 100 readings are unknown; ask for pieces of known wire."),
    ],
)
def test_refusals_in_full(values: list[float], reason: str) -> None:
    found = extremal_index(values, 0.35)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_all_readings_in_one_cluster() -> None:
    found = k_gaps([1] * 30, 31, 1000)
    assert (found.theta, found.low, found.high) == (0.0, 0.0, 1.0)


def test_complaints_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        decluster([0.4, 0.3], [1.0, 0.5], 0.35, 1.0)
    assert str(told.value) == (
        "decluster: positions that do not rise along the wire. Give one rising position [m] a reading and a run above "
        "zero."
    )
    with pytest.raises(MethodRefusal) as told:
        decluster([0.4, 0.3], [0.0, 0.5], 0.35, 0.0)
    assert str(told.value) == (
        "decluster: a run of 0 m. Give one rising position [m] a reading and a run above zero."
    )
    with pytest.raises(MethodRefusal) as told:
        intervals_estimate([])
    assert str(told.value) == (
        "extremal index: spacings: 0 spacings, not all of one reading or more. Give the readings from each exceedance "
        "to the next, of at least two exceedances."
    )

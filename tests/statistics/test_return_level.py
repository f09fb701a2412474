"""Level passed a given number of times a reel."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.messages import Measure
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.below_threshold import fit_tail, tail_quantile
from pipeline.statistics.minimum_of_reel import LowerTail
from pipeline.statistics.return_level import reel_level
from tests.said import said

GIVEN = {"known_m": 60_000.0, "reel_m": 1500.0}


def fitted(
    seed: int, n: int = 240
) -> tuple[np.ndarray, LowerTail, tuple[tuple[float, float], tuple[float, float]]]:
    y = tail_quantile(np.array([[0.008, -0.15]]), np.random.default_rng(seed).random((1, n)))[0]
    fit = fit_tail(y)
    return y, LowerTail(0.42, fit.scale, fit.shape, n / 60_000), fit.covariance


def test_level_has_an_interval_around_it_and_the_thin_side_is_longer() -> None:
    y, tail, covariance = fitted(1)
    found = reel_level(y, tail, times=1e-3, covariance=covariance, **GIVEN)
    assert isinstance(found, Result)
    assert found.estimate == pytest.approx(tail.level_passed(1e-3, 1500))
    assert found.low < found.estimate < found.high
    assert found.estimate - found.low > found.high - found.estimate
    assert found.details["standard_error_delta"] == pytest.approx((found.high - found.low) / 3.92, rel=0.5)
    assert found.question == asks(Quantity.RETURN_LEVEL, "0.001", times=0.001, reel=Measure(1500.0, "m"))


def test_the_level_is_a_quantile_of_scipys_pareto_tail() -> None:
    # 4 clusters a km on 1.5 km, once in 1,000 reels: depth passed by one cluster in 6,000.
    depth = stats.genpareto.isf(1e-3 / (0.004 * 1500), -0.15, scale=0.008)
    assert LowerTail(0.42, 0.008, -0.15, 0.004).level_passed(1e-3, 1500) == pytest.approx(0.42 - depth)


def test_delta_error_by_simulation() -> None:
    """Spread of the median reel minimum over 80 orders against the mean delta-method error."""
    levels, errors = [], []
    random = np.random.default_rng(2)
    for seed in range(80):
        y, tail, covariance = fitted(1000 + seed, int(random.poisson(240)))
        levels.append(tail.level_passed(math.log(2), 1500))
        if seed < 4:
            found = reel_level(y, tail, times=math.log(2), covariance=covariance, **GIVEN)
            assert isinstance(found, Result)
            errors.append(found.details["standard_error_delta"])
    assert np.mean(errors) == pytest.approx(np.std(levels, ddof=1), rel=0.25)


@pytest.mark.parametrize(
    ("count", "options", "reason"),
    [
        (5, {}, "Needs at least 20 clusters below the threshold; there are 5. Raise the threshold."),
        (
            240,
            {"times": 8.0},
            "A reel passes the threshold itself less often than that; ask for fewer passings.",
        ),
        (
            240,
            {"times": 0.0},
            "A reel passes the threshold itself less often than that; ask for fewer passings.",
        ),
        (
            240,
            {"reel_m": 0.0},
            "The known length and the reel must be longer than zero; without known wire there is no rate.",
        ),
    ],
)
def test_refusals_in_full(count: int, options: dict[str, float], reason: str) -> None:
    y, tail, _ = fitted(4)
    found = reel_level(y[:count], tail, **({"times": 0.01} | GIVEN | options))
    assert isinstance(found, Refused)
    assert said(found.reason) == reason
    bad = reel_level([math.nan] * 30, tail, times=0.01, **GIVEN)
    assert isinstance(bad, Refused)
    assert said(bad.reason) == "The deficits must be finite and above zero."

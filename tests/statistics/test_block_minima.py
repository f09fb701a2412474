"""Generalised extreme-value fit of block minima."""

import math

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.results import Refused, Result
from pipeline.statistics.block_minima import BlockFit, fit_block_minima, profile_height, reel_risk_from_blocks
from pipeline.statistics.minimum_of_reel import LowerTail
from tests.said import said

TAIL = LowerTail(0.420, 0.008, -0.15, 0.004)
# Minima of 1 km: sigma_block = sigma + xi (u - mu), the level passed once a km is the location.
LOCATION = TAIL.level_passed(1.0, 1000.0)
SCALE = 0.008 - 0.15 * (0.420 - LOCATION)


def minima(n: int, seed: int) -> np.ndarray:
    return -stats.genextreme.rvs(0.15, loc=-LOCATION, scale=SCALE, size=n, random_state=seed)


def test_blocks_and_threshold_are_two_views_of_one_tail() -> None:
    assert (round(LOCATION, 6), round(SCALE, 6)) == (0.409987, 0.006498)
    blocks = BlockFit(LOCATION, SCALE, -0.15, (), 0.0, 60, True)
    assert blocks.chance_below(0.385) == pytest.approx(TAIL.chance_below(0.385, 1000.0), rel=1e-12)
    assert round(blocks.chance_below(0.385), 7) == 0.0032333
    assert blocks.chance_below(0.385, 1.5) == pytest.approx(TAIL.chance_below(0.385, 1500.0), rel=1e-12)
    assert blocks.chance_below(0.36) == 0.0


def test_fit_equals_scipy() -> None:
    x = minima(80, 3)
    found = fit_block_minima(x)
    c, location, scale = stats.genextreme.fit(-x)
    assert (found.shape, found.location, found.scale) == (
        pytest.approx(-c, abs=2e-3),
        pytest.approx(-location, abs=1e-5),
        pytest.approx(scale, rel=1e-3),
    )
    height = stats.genextreme.logpdf(-x, -found.shape, loc=-found.location, scale=found.scale).sum()
    assert found.log_likelihood == pytest.approx(height, rel=1e-9)
    assert found.chance_below(0.395) == pytest.approx(
        stats.genextreme.sf(-0.395, -found.shape, loc=-found.location, scale=found.scale), rel=1e-9
    )


def test_errors_by_simulation() -> None:
    """Spread of 40 fits of 80 blocks against the mean error of the fits."""
    fits = [fit_block_minima(minima(80, 100 + seed)) for seed in range(40)]
    for which, found in enumerate(zip(*((one.location, one.scale, one.shape) for one in fits), strict=True)):
        errors = [math.sqrt(one.covariance[which][which]) for one in fits]
        assert np.nanmean(errors) == pytest.approx(np.std(found, ddof=1), rel=0.35)


def test_risk_of_a_reel() -> None:
    x = minima(60, 5)
    fit = fit_block_minima(x)
    found = reel_risk_from_blocks(x, fit, limit=0.395, block_m=1000.0, reel_m=1500.0, averaging_m=0.5)
    assert isinstance(found, Result)
    assert found.low < found.estimate < found.high
    assert found.estimate == pytest.approx(fit.chance_below(0.395, 1.5))
    for end in (found.low, found.high):
        eta = -math.log1p(-end) / 1.5
        assert fit.log_likelihood - profile_height(-x, -0.395, eta) == pytest.approx(1.9207, abs=0.01)
    assert said(found.warnings)[0] == f"Upper 95 % bound: {found.high:.2g} of reels have such a point."
    assert said(found.warnings)[-1] == "It is about averages over 0.5 m; shorter thin spots are not in it."


def test_gumbel_stands_in_openly() -> None:
    x = np.concatenate([np.full(20, 0.400), np.full(20, 0.4001)])  # two values only: the search runs away
    fit = fit_block_minima(x)
    assert fit.converged is False and fit.shape == 0.0
    found = reel_risk_from_blocks(x, fit, limit=0.3999, block_m=1000.0, reel_m=1000.0)
    assert isinstance(found, Result)
    assert "The fit did not converge; the Gumbel form stands in." in said(found.warnings)


@pytest.mark.parametrize(
    ("values", "options", "reason"),
    [
        ([0.4], {}, "1 block is too few, 20 are needed; gather more reels."),
        ([0.4] * 30, {}, "The minima must be finite and not all equal; look for a stuck instrument."),
        (
            [0.4, math.nan] * 15,
            {},
            "The minima must be finite and not all equal; look for a stuck instrument.",
        ),
        (
            [0.4, 0.41] * 15,
            {"limit": math.inf},
            "The limit is not a finite number; give it in the unit of the readings.",
        ),
        ([0.4, 0.41] * 15, {"reel_m": 0.0}, "Blocks and reels must be longer than zero."),
        (
            [0.4, 0.41] * 15,
            {"block_m": [900.0, 1100.0] * 15},
            (
                "The blocks are 900 to 1100 m long; cut blocks of equal length, or use the readings under a threshold."
            ),
        ),
    ],
)
def test_refusals_in_full(values: list[float], options: dict[str, object], reason: str) -> None:
    fit = BlockFit(0.41, 0.006, -0.1, (), 0.0, 30, True)
    found = reel_risk_from_blocks(
        values, fit, **({"limit": 0.385, "block_m": 1000.0, "reel_m": 1500.0} | options)
    )
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_complaint_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        fit_block_minima([0.4] * 12)
    assert str(told.value) == (
        "fit of block minima: all 12 block minima are equal. Give one finite minimum a block, at least ten that differ."
    )

"""Rice's formula, the contrast with the index, and reels that differ."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from pipeline.results import Refused, Result
from pipeline.statistics.level_crossings import (
    chance_mixed_over_reels,
    chance_of_reel_below,
    correlation_length_m,
    crossings_expected,
    index_for_chance,
    reel_risk_from_index,
)
from tests.said import said


def smooth_wall(n: int, step_m: float, correlation_m: float, seed: int) -> np.ndarray:
    """Normal series of unit variance with correlation exp(-s^2/(2 a^2)): white noise under a Gaussian
    kernel."""
    half = int(6 * correlation_m / step_m)
    kernel = np.exp(-((np.arange(-half, half + 1) * step_m) ** 2) / correlation_m**2)
    noise = np.random.default_rng(seed).standard_normal(n + 2 * half)
    return np.convolve(noise, kernel / np.sqrt(np.sum(kernel**2)), mode="valid")


def test_trap_index_1_33_of_readings_read_as_reels_are_fine() -> None:
    """Correlation 0.5 m, reels of 1,500 m: 99.5 % / 14.8 % / 1.9 % / 0.17 % of reels have a point under the
    limit.

    By hand: 1500/(2 pi 0.5) exp(-u^2/2) crossings, u three times the index (1.33 stands for 4 deviations).
    """
    for deviations, share in ((3.0, 0.995), (4.0, 0.148), (4.5, 0.019), (5.01, 0.0017)):
        many = 1500 / (math.pi) * math.exp(-(deviations**2) / 2)
        found = chance_of_reel_below(deviations, 1500.0, 0.5)
        assert found == pytest.approx(1 - math.exp(-many), rel=1e-12)
        assert found == pytest.approx(share, rel=0.03)
    # A reading under the limit is rare all the same: 3 in 100,000.
    assert stats.norm.cdf(-4.0) == pytest.approx(3.17e-5, rel=1e-2)
    assert index_for_chance(1e-3, 1500.0, 0.5) == pytest.approx(1.7046, abs=5e-5)
    assert chance_of_reel_below(3 * index_for_chance(1e-3, 1500, 0.5), 1500, 0.5) == pytest.approx(
        1e-3, rel=1e-9
    )


def test_rice_by_simulation() -> None:
    """150 m at 3 deviations, correlation 0.5 m: .412 by formula; 4,000 simulated pieces within .02."""
    x = smooth_wall(4000 * 1500, 0.1, 0.5, 1).reshape(4000, 1500)
    assert (x.min(axis=1) < -3.0).mean() == pytest.approx(chance_of_reel_below(3.0, 150.0, 0.5), abs=0.025)
    passings = np.sum((x[:, :-1] >= -3) & (x[:, 1:] < -3)) / (4000 * 149.9)
    assert passings * 150 == pytest.approx(crossings_expected(3.0, 150.0, 0.5), rel=0.07)


def test_trap_spread_between_reels_left_out() -> None:
    """Margin 6 within-reel deviations: 7e-6 if reels are alike, 2.3e-4 and 1.4e-2 if their means spread .5
    and 1."""
    many = crossings_expected(0.0, 1500.0, 0.5)
    for between, kept in ((0.0, 7.27e-6), (0.5, 2.349e-4), (1.0, 1.3855e-2)):
        found = chance_mixed_over_reels(6.0, between, many)
        assert found == pytest.approx(kept, rel=1e-3)
        if between:

            def below(b: float, spread: float = between) -> float:
                inside = -math.expm1(-many * math.exp(-0.5 * max(6 + b, 0.0) ** 2)) if b > -6 else 1.0
                return inside * float(stats.norm.pdf(b, scale=spread))

            exact = integrate.quad(below, -12 * between, 12 * between, points=[-6, -3, 0], limit=400)[0]
            assert found == pytest.approx(exact, rel=1e-6)


def test_result_has_bounds_from_the_index_and_the_spread() -> None:
    found = reel_risk_from_index(
        1.5, 1.4, math.inf, reel_m=1500.0, correlation_m=0.5, between_sd=0.5, between_sd_high=0.8, n=40
    )
    assert isinstance(found, Result)
    many = crossings_expected(0.0, 1500.0, 0.5)
    assert found.estimate == pytest.approx(chance_mixed_over_reels(4.5, 0.5, many))
    assert (found.low, found.high) == (0.0, pytest.approx(chance_mixed_over_reels(4.2, 0.8, many)))
    assert found.details["without_difference_between_reels"] == pytest.approx(0.01895, rel=1e-3)
    alone = reel_risk_from_index(1.5, 1.4, 1.6, reel_m=1500.0, correlation_m=0.5, n=40)
    assert isinstance(alone, Result)
    assert said(alone.warnings)[1] == (
        "Differences between reels are left out; real reels differ and the worst carry the risk."
    )
    assert alone.low > 0.0


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        ({"index_low": math.nan}, "The index has no bounds around it; no interval, no conclusion."),
        ({"index_low": 1.6}, "The index has no bounds around it; no interval, no conclusion."),
        ({"reel_m": 0.0}, "Reel and correlation length must be longer than zero."),
    ],
)
def test_refusals_in_full(given: dict[str, float], reason: str) -> None:
    options = {
        "index": 1.5,
        "index_low": 1.4,
        "index_high": 1.6,
        "reel_m": 1500.0,
        "correlation_m": 0.5,
        "n": 9,
    }
    found = reel_risk_from_index(**(options | given))
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_correlation_length_of_a_smooth_wall_and_none_of_a_rough_one() -> None:
    smooth = correlation_length_m(smooth_wall(200_000, 0.05, 0.5, 2), 0.05)
    assert smooth == pytest.approx(0.5, rel=0.03)
    walk = np.random.default_rng(3).standard_normal(5000)
    rough = correlation_length_m(np.convolve(walk, np.ones(20), mode="valid"), 0.05)
    assert isinstance(rough, Refused)
    assert said(rough.reason).startswith(
        "The wall is not smooth at the reading interval: doubling the step multiplies"
    )
    assert said(rough.reason).endswith("not by 4. Count clusters under a threshold instead.")
    flat = correlation_length_m([0.4] * 2000, 0.05)
    assert isinstance(flat, Refused)
    assert said(flat.reason) == "All readings are equal; look for a stuck instrument."
    few = correlation_length_m([0.4], 0.05)
    assert isinstance(few, Refused)
    assert said(few.reason) == "1 known readings are too few or the step is not above zero; 1000 are needed."

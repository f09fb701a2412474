"""Index within reels, and the moving range that must not be used on readings."""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from pipeline.results import Refused, Result
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.capability_within import within_index_one_sided
from tests.said import said


def autoregression(phi: float, n: int, series: int, seed: int) -> np.ndarray:
    noise = np.random.default_rng(seed).standard_normal((series, n + 600))
    return lfilter([np.sqrt(1.0 - phi**2)], [1.0, -phi], noise, axis=1)[:, 600:]


def reels(between: float, count: int, seed: int) -> tuple[np.ndarray, ...]:
    rows = autoregression(0.9, 1500, count, seed)
    rows = rows + between * np.random.default_rng(seed + 1).standard_normal((count, 1)) + 4.5
    worth = [effective_n(row) for row in rows]
    return (
        rows.mean(axis=1),
        rows.std(axis=1, ddof=1),
        np.array([one.for_mean for one in worth]),
        np.array([one.for_variance for one in worth]),
    )


def test_trap_spread_between_reels_left_out() -> None:
    """Within-reel deviation 1, between reels 1: 1.5 within, 1.06 in truth; both are shown."""
    found = within_index_one_sided(*reels(1.0, 300, 7), 0.0)
    assert isinstance(found, Result)
    assert found.estimate == pytest.approx(1.5, abs=0.08)
    assert found.details["overall_index"] == pytest.approx(1.5 / math.sqrt(2), abs=0.08)
    told = f"With differences between reels: {found.details['overall_index']:.2f}, not {found.estimate:.2f}."
    assert said(found.warnings) == (f"Within reels only. {told}",)


def test_lower_bound_covers() -> None:
    """300 repetitions of 25 reels; 4,000 gave .941."""
    covered = 0
    for seed in range(300):
        random = np.random.default_rng(1000 + seed)
        means = 4.5 + random.standard_normal(25) * math.sqrt(0.25 + 1 / 50)
        sds = np.sqrt(random.chisquare(99, 25) / 99 * (1 - 1 / 50))  # as correlation lowers them
        found = within_index_one_sided(means, sds, [50.0] * 25, [100.0] * 25, 0.0)
        assert isinstance(found, Result)
        covered += found.low <= 1.5
    assert covered / 300 == pytest.approx(0.94, abs=0.035)


@pytest.mark.parametrize(
    ("figures", "limit", "reason"),
    [
        (([1.0], [1.0], [9.0], [9.0]), 0.0, "1 reel is too few, 3 are needed; gather more reels."),
        (
            ([1.0] * 3, [0.0] * 3, [9.0] * 3, [9.0] * 3),
            0.0,
            "No reel shows any spread; look for a stuck instrument.",
        ),
        (
            ([1.0] * 3, [1.0] * 3, [1.0] * 3, [9.0] * 3),
            0.0,
            "A reel has an effective sample size below three. Leave it out or read more of it.",
        ),
        (
            ([1.0] * 3, [1.0] * 2, [9.0] * 3, [9.0] * 3),
            0.0,
            "Means, deviations and effective numbers are not of the same reels; pass one of each a reel.",
        ),
        (
            ([1.0, math.nan, 1.0], [1.0] * 3, [9.0] * 3, [9.0] * 3),
            0.0,
            "A mean, a deviation or the limit is not a finite number; leave the reel out and ask again.",
        ),
    ],
)
def test_refusals_in_full(figures: tuple[list[float], ...], limit: float, reason: str) -> None:
    found = within_index_one_sided(*figures, limit)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason

"""Diagnostics of the tail below a threshold."""

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.statistics.below_threshold import tail_quantile
from pipeline.statistics.tail_diagnostics import (
    cluster_spacings,
    mean_excess,
    quantile_band,
    stability,
    trend_along_length,
)


def deficits(n: int, seed: int, scale: float = 0.008, shape: float = -0.15) -> np.ndarray:
    return tail_quantile(np.array([[scale, shape]]), np.random.default_rng(seed).random((1, n)))[0]


def test_mean_excess_falls_along_its_line() -> None:
    """Shape -.15: mean .00696 at 0, .00565 at .010, slope xi/(1 - xi) = -.130."""
    found = mean_excess(deficits(400_000, 1), [0.0, 0.010, 0.9])
    assert found.below.tolist() == [0.0, 0.010]  # nothing lies under the last level
    assert found.mean == pytest.approx([0.00696, 0.00565], abs=3e-5)
    assert np.diff(found.mean)[0] / 0.010 == pytest.approx(-0.130, abs=0.004)
    assert found.standard_error[0] == pytest.approx(np.std(deficits(400_000, 1)) / 400_000**0.5, rel=1e-3)


def test_shape_and_modified_scale_stay_where_the_tail_fits() -> None:
    found = stability(deficits(50_000, 2), [0.0, 0.004, 0.008, 0.2])
    assert found.below.tolist() == [0.0, 0.004, 0.008]
    assert found.shape == pytest.approx([-0.15] * 3, abs=0.02)
    assert found.modified_scale == pytest.approx([0.008] * 3, abs=2e-4)
    assert found.shape_error[0] == pytest.approx(0.85 / 50_000**0.5, rel=0.05)


def test_band_holds_a_true_tail_and_shows_a_mixture() -> None:
    inside = [quantile_band(deficits(150, 10 + s), repetitions=200) for s in range(20)]
    assert np.mean([one.share_outside for one in inside]) < 0.05
    mixed = np.concatenate([deficits(130, 3, scale=0.002), 0.03 + deficits(20, 4, scale=0.001)])
    assert quantile_band(mixed, repetitions=200).share_outside > 0.2


def test_spacings_of_independent_and_of_bunched_clusters() -> None:
    p = [
        cluster_spacings(np.sort(np.random.default_rng(s).random(80)) * 6e4, repetitions=200, seed=s).p_value
        for s in range(100)
    ]
    assert stats.kstest(p, "uniform").pvalue > 0.01
    bunched = np.sort(np.concatenate([np.linspace(0, 100, 40), 5e4 + np.linspace(0, 100, 40)]))
    found = cluster_spacings(bunched)
    assert found.p_value < 0.01
    assert found.observed.mean() == pytest.approx(1.0)
    assert found.expected.size == found.observed.size == 79


def test_trend_of_start_up_wire() -> None:
    random = np.random.default_rng(5)
    place = np.sort(6e4 * random.random(60) ** 2)  # crowded at the start
    found = trend_along_length(place, deficits(60, 6) * (1.2 - place / 6e4), 0.0, 6e4)
    assert found.rate_score < -3.0 and found.rate_p < 0.01
    assert found.depth_correlation < 0.0 and found.depth_p < 0.05
    # By hand: positions at the middle give a score of 0; all at the end sqrt(3 n).
    assert trend_along_length([3e4] * 10, deficits(10, 7), 0.0, 6e4).rate_score == 0.0
    assert trend_along_length([6e4] * 10, deficits(10, 7), 0.0, 6e4).rate_score == pytest.approx(30**0.5)


def test_complaints_in_full() -> None:
    with pytest.raises(MethodRefusal) as told:
        mean_excess([0.01], [0.0])
    assert str(told.value) == (
        "tail diagnostics: deficits: 1 deficits, too few or not all finite and above zero. Give at least ten, "
        "threshold minus the thinnest reading of each cluster."
    )
    with pytest.raises(MethodRefusal) as told:
        cluster_spacings([1.0, 1.0])
    assert str(told.value) == (
        "cluster spacings: at_m: 2 positions, too few or not rising. Give at least ten rising positions [m]."
    )
    with pytest.raises(MethodRefusal) as told:
        trend_along_length([1.0], deficits(10, 8), 0.0, 0.0)
    assert str(told.value) == (
        "trend along length: at_m: 1 position of 10 clusters between 0 and 0 m. Give one position a cluster, "
        "within a piece longer than zero."
    )

"""Chance that a reel has a point under the limit."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from pipeline.results import Refused, Result
from pipeline.statistics.below_threshold import fit_tail, tail_quantile
from pipeline.statistics.event_clustering import dispersion_of_counts
from pipeline.statistics.minimum_of_reel import (
    LowerTail,
    clusters_per_m,
    likelihood_drop,
    normal_figures,
    reel_risk,
)
from tests.said import said

# Counts of five reels whose variance is well over their mean (invented).
SCATTERED = dispersion_of_counts([2, 90, 40, 8, 100], [12_000.0] * 5)
TAIL = LowerTail(0.420, 0.008, -0.15, 0.004)  # illustrative: 4 clusters a km under 0.420 mm


def deficits(n: int, seed: int, shape: float = -0.15) -> np.ndarray:
    return tail_quantile(np.array([[0.008, shape]]), np.random.default_rng(seed).random((1, n)))[0]


def risk(y: np.ndarray, limit: float = 0.385, **options: object) -> Result | Refused:
    fit = fit_tail(y)
    tail = LowerTail(0.420, fit.scale, fit.shape, len(y) / 60_000.0)
    return reel_risk(y, tail, **({"limit": limit, "reel_m": 1500.0, "converged": fit.converged} | options))


def test_formulae_on_a_worked_tail() -> None:
    # By hand: q = (1 - .15*.035/.008)^(1/.15), P = 1 - exp(-.004*1500*q); the level inverts the rate.
    q = (1 - 0.15 * 0.035 / 0.008) ** (1 / 0.15)
    assert TAIL.chance_below(0.385, 1500) == pytest.approx(1 - math.exp(-6 * q), rel=1e-12)
    assert round(TAIL.chance_below(0.385, 1500), 7) == 0.0048460
    assert TAIL.thinnest == pytest.approx(0.366667, abs=5e-7)
    assert TAIL.chance_below(0.366, 1500) == 0.0
    assert TAIL.level_passed(1.0, 1500) == pytest.approx(0.407431, abs=5e-7)
    assert TAIL.level_passed(1e-3, 1500) == pytest.approx(0.381130, abs=5e-7)
    assert TAIL.level_passed(math.log(2), 1500) == pytest.approx(0.405250, abs=5e-7)
    assert TAIL.chance_below(TAIL.level_passed(math.log(2), 1500), 1500) == pytest.approx(0.5, rel=1e-12)


def test_exponential_tail_is_the_special_case() -> None:
    flat, near = LowerTail(0.42, 0.008, 0.0, 0.004), LowerTail(0.42, 0.008, 1e-7, 0.004)
    assert flat.chance_below(0.385, 1500) == pytest.approx(near.chance_below(0.385, 1500), rel=1e-5)
    assert flat.level_passed(1e-3, 1500) == pytest.approx(near.level_passed(1e-3, 1500), rel=1e-6)
    assert flat.thinnest == -math.inf


def test_normal_theory_is_shown_beside() -> None:
    found = risk(deficits(240, 1))
    assert isinstance(found, Result)
    figures = normal_figures(0.385, 0.45, 0.012, 3000.0)
    share = stats.norm.cdf((0.385 - 0.45) / 0.012)
    assert figures["normal_theory_share_of_readings"] == pytest.approx(share, rel=1e-9)
    independent = figures["normal_theory_chance_if_readings_independent"]
    assert independent == pytest.approx(1 - (1 - share) ** 3000, rel=1e-6)
    # The difference a reader must see: about a hundred times.
    assert found.estimate > 20 * independent
    assert found.unit_of_inference == "reel"
    assert found.low < found.estimate < found.high


def test_interval_ends_are_where_the_likelihood_has_fallen_by_1_92() -> None:
    y = deficits(240, 1)
    fit, found = fit_tail(y), risk(y)
    assert isinstance(found, Result)
    assert found.low > 0.0
    for end in (found.low, found.high):
        eta = -math.log1p(-end) / 1500
        assert likelihood_drop(y, fit.scale, fit.shape, 0.035, eta, 60_000) == pytest.approx(1.9207, abs=0.01)
    eta = -math.log1p(-found.estimate) / 1500
    assert likelihood_drop(y, fit.scale, fit.shape, 0.035, eta, 60_000) == pytest.approx(0.0, abs=1e-4)


def test_trap_extremal_index_used_twice() -> None:
    """Max-autoregression of index 1/2: 63.2 % of stretches pass a level passed once on average, not 39 %.

    Rate of clusters = share of readings x readings a metre x theta. With theta again the chance halves its
    exponent.
    """
    n, length = 4_000_000, 2000
    fresh = -1.0 / np.log(np.random.default_rng(1).random(n)) / 2.0
    x = np.exp2(np.maximum.accumulate(np.log2(fresh) + np.arange(n)) - np.arange(n))
    level = -1.0 / math.log1p(-2.0 / length)  # a share of 2/length above it, in 1/length clusters
    rate = clusters_per_m(float(np.mean(x > level)), 1.0, 0.5)
    seen = np.mean(x.reshape(-1, length).max(axis=1) > level)
    once, twice = -math.expm1(-rate * length), -math.expm1(-0.5 * rate * length)
    assert seen == pytest.approx(once, abs=0.03)
    assert (once, twice) == pytest.approx((0.632, 0.393), abs=0.02)


def test_a_limit_out_of_reach_has_no_lower_end_but_an_upper_one() -> None:
    found = risk(deficits(240, 3), limit=0.33)
    assert isinstance(found, Result)
    assert (found.estimate, found.low) == (0.0, 0.0)
    assert 0.0 < found.high < 0.02
    assert said(found.warnings)[0] == f"Upper 95 % bound: {found.high:.2g} of reels have such a point."


def test_one_order_of_60_km_cannot_show_one_in_a_thousand() -> None:
    # Truth 1 in 1000 at 0.38113: the upper end stays above 1 in 1000 in nearly every order.
    above = 0
    for seed in range(3):
        found = risk(deficits(240, 40 + seed), limit=0.38113)
        assert isinstance(found, Result)
        above += found.high > 1e-3
    assert above >= 2


def test_wider_where_reels_differ() -> None:
    y = deficits(240, 1)
    alike, differing = risk(y), risk(y, dispersion=SCATTERED)
    assert isinstance(alike, Result) and isinstance(differing, Result)
    assert differing.high > 1.3 * alike.high and differing.low < alike.low
    assert differing.assumptions[1].held is False


def test_warnings_in_full() -> None:
    found = risk(deficits(240, 5, shape=0.4), converged=False)
    assert isinstance(found, Result)
    assert said(found.warnings)[1:] == (
        "The tail fit did not converge; an exponential tail stands in, which is no bound.",
        (
            f"The fitted shape {found.details['shape']:.2f} is positive: the depth has no bound. For a wall this "
            "suggests a mixture or a drop-out. Check the deepest readings."
        ),
    )


@pytest.mark.parametrize(
    ("count", "options", "reason"),
    [
        (19, {}, "Needs at least 20 clusters below the threshold; there are 19. Raise the threshold."),
        (0, {}, "Needs at least 20 clusters below the threshold; there are 0. Raise the threshold."),
        (
            40,
            {"limit": 0.43},
            "The limit lies above the threshold, where the tail is not fitted; choose a threshold above it.",
        ),
        (
            40,
            {"clusters_per_m": math.inf},
            "The known length and the reel must be longer than zero; without known wire there is no rate.",
        ),
        (
            40,
            {"limit": math.nan},
            "The limit or the threshold is not a finite number; give both in the unit of the readings.",
        ),
    ],
)
def test_refusals_in_full(count: int, options: dict[str, float], reason: str) -> None:
    tail = replace(TAIL, clusters_per_m=options.get("clusters_per_m", TAIL.clusters_per_m))
    found = reel_risk(deficits(count, 6), tail, limit=options.get("limit", 0.385), reel_m=1500.0)
    assert isinstance(found, Refused)
    assert said(found.reason) == reason


def test_equal_or_infinite_deficits_are_refused() -> None:
    for y in ([0.01] * 30, [0.01, math.inf] * 15, [0.01, math.nan] * 15):
        found = reel_risk(y, TAIL, limit=0.385, reel_m=1500.0)
        assert isinstance(found, Refused)
        assert said(found.reason) == (
            "The deficits must be finite, above zero and not all equal; look for a stuck instrument."
        )

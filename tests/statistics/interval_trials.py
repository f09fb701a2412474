"""One simulated data set an interval, with a known truth: does the interval hold it, and does the naive one?

Every interval the statistics give has a trial here (`test_interval_coverage.py` sees to it). Readings come
independent or as a first-order autoregression of .95 along the wire; counts, reels and events have no such
order and come once; intervals of plain counts are worked out exactly in `test_interval_coverage.py`. All
data are invented; truths are exact or worked out as the docstring says.

``python -m tests.statistics.interval_trials NAME REPETITIONS`` prints one row of the kept table.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, partial

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats
from scipy.signal import lfilter

from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.autocorrelation import EffectiveN, effective_n
from pipeline.statistics.averaging_gauge import margin_at_specimen_scale
from pipeline.statistics.below_threshold import fit_tail, tail_log_likelihood
from pipeline.statistics.block_minima import fit_block_minima, profile_height
from pipeline.statistics.bootstrap import block_length, bootstrap_interval, redraw
from pipeline.statistics.capability import index_lower_bound, widening
from pipeline.statistics.capability_two_sided import performance_index_two_sided
from pipeline.statistics.capability_within import within_index_one_sided
from pipeline.statistics.change_points import Changes, OneChange, find_changes, one_change
from pipeline.statistics.distribution_families import FAMILIES
from pipeline.statistics.drift import linear_drift, residuals_of_line
from pipeline.statistics.event_clustering import dispersion_of_counts, trend_along
from pipeline.statistics.event_repeats import EventRepeat, scan_repeats
from pipeline.statistics.extremal_index import (
    decluster,
    extremal_index,
    intervals_estimate,
    k_gaps,
    run_from_extremal_index,
)
from pipeline.statistics.level_crossings import reel_risk_from_index
from pipeline.statistics.lomb_scargle import gappy_period
from pipeline.statistics.minimum_of_reel import SLOW_LIMIT_LAW, LowerTail, likelihood_drop
from pipeline.statistics.nonnormal_capability import quantile_index_one_sided
from pipeline.statistics.periodicity import Periods, find_periods
from pipeline.statistics.rate_changes import RateChange, rate_change
from pipeline.statistics.rate_regression import RateRegression, rate_regression
from pipeline.statistics.tolerance import lower_tolerance_limit
from pipeline.statistics.variance_components import variance_components
from pipeline.statistics.variance_components_reml import _prepared, restricted_log_likelihood

Array = NDArray[np.float64]
Random = np.random.Generator
# (ours, naive): whether each holds the truth; None where it is refused or there is none.
Held = tuple[bool | None, bool | None]
HALF_95 = float(stats.chi2.ppf(0.95, 1)) / 2.0


@dataclass(frozen=True, slots=True)
class Trial:
    """A simulated data set and what becomes of it.

    Args:
        module: file of `pipeline.statistics` whose interval is tried.
        run: one repetition.
    """

    module: str
    run: Callable[[Random], Held]


def variance_factor(worth: EffectiveN) -> float:
    """E[s^2]/sigma^2 = n/(n-1) (1 - 1/n_mean): what the usual variance loses through correlation."""
    return worth.n / (worth.n - 1.0) * (1.0 - 1.0 / worth.for_mean)


def autoregression(phi: float, rows: int, n: int, random: Random) -> Array:
    """Stationary first-order autoregressions of deviation 1, one a row."""
    noise = random.standard_normal((rows, n))
    noise[:, 1:] *= math.sqrt(1.0 - phi**2)
    return np.asarray(lfilter([1.0], [1.0, -phi], noise, axis=1), dtype=np.float64)


def holds(answer: object, truth: float) -> bool | None:
    """Whether a result's interval holds the truth; None for a refusal."""
    return answer.low <= truth <= answer.high if isinstance(answer, Result) else None


# --- capability -----------------------------------------------------------------------------------------


def bound_is_below(index: float, truth: float, n_mean: float, freedom: float) -> bool:
    """Whether `index_lower_bound` of an observed index lies under the truth."""
    scale = 3.0 * math.sqrt(n_mean)
    return bool(special.nctdtr(freedom, scale * truth, scale * index) <= 0.95)


def one_sided(phi: float) -> Callable[[Random], Held]:
    """2,000 readings, index 1.5."""

    def run(random: Random) -> Held:
        x = autoregression(phi, 1, 2000, random)[0] + 4.5
        worth = effective_n(x)
        if not worth.resolved:
            return None, None
        index = float(x.mean() / (3 * x.std(ddof=1)))
        corrected = index * math.sqrt(variance_factor(worth))
        low = index_lower_bound(corrected, worth.for_mean, worth.for_variance)
        low = corrected - (corrected - low) * widening(worth.freedom, 0.95)
        return low <= 1.5, bound_is_below(index, 1.5, 2000.0, 1999.0)

    return run


def two_sided(phi: float) -> Callable[[Random], Held]:
    """2,000 readings between limits at -4.5 and 3.99 deviations: index 1.33."""

    def run(random: Random) -> Held:
        x = autoregression(phi, 1, 2000, random)[0]
        worth = effective_n(x)
        if not worth.resolved:
            return None, None
        ours = performance_index_two_sided(
            x,
            -4.5,
            3.99,
            n_for_mean=worth.for_mean,
            n_for_variance=worth.for_variance,
            freedom_of_worth=worth.freedom,
            unit_of_inference="reading",
        )
        return holds(ours, 1.33), holds(performance_index_two_sided(x, -4.5, 3.99), 1.33)

    return run


def within(phi: float) -> Callable[[Random], Held]:
    """Ten reels of 1,000 readings, half a deviation between reels, index within 1.5."""

    def run(random: Random) -> Held:
        x = autoregression(phi, 10, 1000, random) + 4.5 + 0.5 * random.standard_normal((10, 1))
        worth = [effective_n(row) for row in x]
        mean, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
        ours = within_index_one_sided(
            mean, sd, [one.for_mean for one in worth], [one.for_variance for one in worth], 0.0
        )
        return holds(ours, 1.5), holds(within_index_one_sided(mean, sd, [1000] * 10, [1000] * 10, 0.0), 1.5)

    return run


def shaped(phi: float) -> Callable[[Random], Held]:
    """Readings of a gamma distribution of shape 4, true index 1.204 by its quantiles; n 300, or 4,000 correlated."""
    gamma = stats.gamma(4)
    truth = float((gamma.median() - 0.1) / (gamma.median() - gamma.ppf(0.00135)))
    n = 300 if phi == 0.0 else 4000

    def run(random: Random) -> Held:
        x = stats.gamma.ppf(special.ndtr(autoregression(phi, 1, n, random)[0]), 4)
        step = 1 if phi == 0.0 else 20
        block = 1.0 if phi == 0.0 else 150.0
        seed = int(random.integers(1 << 31))
        sized = block_length(x)
        found = [
            quantile_index_one_sided(
                x,
                0.1,
                FAMILIES,
                redraw(n, length, 120, seed),
                family="gamma",
                step=step,
                widening=sized.widening(n, length, 0.95) if length > 1.0 or not phi else 1.0,
                unit_of_inference="reading",
            )
            for length in (block, 1.0)
        ]
        return holds(found[0], truth), holds(found[1], truth) if phi else None

    return run


def bootstrapped(phi: float) -> Callable[[Random], Held]:
    """Mean of 1,000 independent or 3,000 correlated readings, worth 77."""
    n = 1000 if phi == 0.0 else 3000

    def run(random: Random) -> Held:
        x = autoregression(phi, 1, n, random)[0]
        found = bootstrap_interval(
            x,
            lambda rows: rows.mean(axis=1),
            question=asks(Quantity.MEAN_WALL),
            unit="mm",
            repetitions=600,
            seed=int(random.integers(1 << 31)),
        )
        return holds(found, 0.0), abs(x.mean()) <= 1.96 * x.std(ddof=1) / math.sqrt(n)

    return run


def drifting(phi: float) -> Callable[[Random], Held]:
    """2,000 readings, a drift of .001 a metre."""
    at = np.arange(2000.0)

    def run(random: Random) -> Held:
        x = autoregression(phi, 1, 2000, random)[0] + 1e-3 * at
        worth = effective_n(residuals_of_line(at, x))
        if not worth.resolved:
            return None, None
        found = linear_drift(at, x, worth.for_mean, freedom=worth.freedom)
        assert isinstance(found, Result)
        naive = abs(found.estimate - 1e-3) < 1.96 * found.details["standard_error_if_independent"]
        return holds(found, 1e-3), naive

    return run


def margin(phi: float) -> Callable[[Random], Held]:
    """Margin 57 um over the specimen-scale deviation; the observed deviation from 2,000 readings."""
    truth = 0.057 / math.sqrt(0.012**2 - 0.004**2 + 0.009**2)

    def run(random: Random) -> Held:
        x = 0.012 * autoregression(phi, 1, 2000, random)[0]
        noise, small = (
            s * math.sqrt(random.chisquare(n - 1) / (n - 1)) for s, n in ((0.004, 200), (0.009, 60))
        )
        worth = effective_n(x)
        if not worth.resolved:
            return None, None
        found = [
            margin_at_specimen_scale(
                0.057, sd, noise, small, window_m=0.5, n_observed=n, n_noise=200, n_small_scale=60
            )
            for sd, n in (
                (float(x.std(ddof=1)) / math.sqrt(variance_factor(worth)), worth.for_variance),
                (float(x.std(ddof=1)), 2000),
            )
        ]
        return holds(found[0], truth), holds(found[1], truth)

    return run


# --- minimum at any point -------------------------------------------------------------------------------

TAIL = LowerTail(0.42, 0.008, -0.15, 0.004)


def depths(count: int, random: Random) -> Array:
    """Depths under the threshold of the sheet's tail: scale .008, shape -.15."""
    return 0.008 * np.expm1(0.15 * np.log(random.random(count))) / -0.15


def tail_shape(random: Random) -> Held:
    """150 depths of shape -.15; the interval holds a shape exactly if the likelihood falls by no more than 1.92."""
    y = depths(150, random)
    top = fit_tail(y).log_likelihood
    found = optimize.minimize_scalar(
        lambda scale: -float(tail_log_likelihood(y, scale, -0.15)),
        bounds=(0.15 * float(y.max()) * (1 + 1e-9), 0.05),
        method="bounded",
        options={"xatol": 1e-8},
    )
    return top + float(found.fun) < HALF_95, None


@cache
def smallest_eigenvalue(phi: float, level: float) -> tuple[float, float]:
    """(lambda, start): P(n readings of an autoregression stay above `level`) ~ start lambda^n, by Nystrom."""
    nodes, weights = np.polynomial.legendre.leggauss(200)
    top = 8.0
    x = level + (top - level) * (nodes + 1.0) / 2.0
    w = weights * (top - level) / 2.0
    sd = math.sqrt(1.0 - phi**2)
    kernel = stats.norm.pdf(x[None, :], phi * x[:, None], sd) * w[None, :]
    alive = np.ones_like(x)
    for _ in range(3000):
        before, alive = alive, kernel @ alive
    ratio = float(np.mean(alive / before))
    start = float(np.sum(stats.norm.pdf(x) * w * alive)) / ratio**3000
    return ratio, start


def chance_of_autoregression(phi: float, level: float, n: int) -> float:
    """P(one of n readings of an autoregression lies under `level`)."""
    ratio, start = smallest_eigenvalue(phi, level)
    return 1.0 - start * ratio ** (n - 1)


def passed_by_autoregression(level: float, eta: float, random: Random, drop: float = HALF_95) -> Held:
    """Whether 60 km of correlated readings allow `level` to be passed eta times a metre; by clusters, by readings.

    Clusters are parted as `pipeline.steps.wall_tail.tail_of` parts them; `drop` is what theirs may fall by.
    """
    x = autoregression(0.95, 1, 120_000, random)[0]
    u = float(np.quantile(x, 0.005))
    below = np.flatnonzero(x < u)
    spacings = np.diff(below)
    run = run_from_extremal_index(spacings, intervals_estimate(spacings))
    worth = effective_n(x)
    run = max(run, worth.n / worth.for_mean)
    held = []
    clusters = decluster(x, np.arange(x.size) * 0.5, u, 0.5 * run).deficit
    for y, most in ((clusters, drop), (u - x[below], HALF_95)):
        fit = fit_tail(y)
        held.append(likelihood_drop(y, fit.scale, fit.shape, u - level, eta, 60_000) < most)
    return held[0], held[1]


def risk(phi: float) -> Callable[[Random], Held]:
    """60 km: independent clusters of the sheet's tail, or 120,000 correlated readings and a level 4 deviations down."""

    def clusters(random: Random) -> Held:
        y = depths(int(random.poisson(240)), random)
        fit = fit_tail(y)
        eta = TAIL.clusters_per_m * TAIL.deeper(0.385)
        return likelihood_drop(y, fit.scale, fit.shape, 0.035, eta, 60_000) < HALF_95, None

    def readings(random: Random) -> Held:
        # From its own start every 3,000 readings a reel; a metre is two readings.
        eta = -math.log1p(-chance_of_autoregression(0.95, -4.0, 3000)) / 1500
        return passed_by_autoregression(-4.0, eta, random, SLOW_LIMIT_LAW * HALF_95)

    return clusters if phi == 0.0 else readings


def level(phi: float) -> Callable[[Random], Held]:
    """Level passed once in a hundred reels, from 60 km as in `risk`."""

    def clusters(random: Random) -> Held:
        y = depths(int(random.poisson(240)), random)
        fit = fit_tail(y)
        truth = TAIL.level_passed(1e-2, 1500)
        return likelihood_drop(y, fit.scale, fit.shape, 0.42 - truth, 1e-2 / 1500, 60_000) < HALF_95, None

    def readings(random: Random) -> Held:
        return passed_by_autoregression(level_of_autoregression(), 1e-2 / 1500, random)

    return clusters if phi == 0.0 else readings


@cache
def level_of_autoregression() -> float:
    """Level that reels of 3,000 readings at lag-one .95 pass .01 times on average."""
    wanted = -math.expm1(-1e-2)
    return float(
        optimize.brentq(lambda c: chance_of_autoregression(0.95, c, 3000) - wanted, -5.5, -3.5, xtol=1e-4)
    )


def blocks(phi: float) -> Callable[[Random], Held]:
    """60 blocks of a km with the sheet's tail, or 60 reels of 3,000 correlated readings, level 4 deviations down."""

    def sheet(random: Random) -> Held:
        x = -stats.genextreme.rvs(0.15, -0.409987, 0.006498, 60, random_state=random)
        eta = -math.log1p(-TAIL_PER_KM)
        return fit_block_minima(x).log_likelihood - profile_height(-x, -0.385, eta) < HALF_95, None

    def reels(random: Random) -> Held:
        x = autoregression(0.95, 60, 3000, random).min(axis=1)
        eta = -math.log1p(-chance_of_autoregression(0.95, -4.0, 3000))
        return fit_block_minima(x).log_likelihood - profile_height(-x, 4.0, eta) < HALF_95, None

    return sheet if phi == 0.0 else reels


TAIL_PER_KM = float(stats.genextreme.sf(-0.385, 0.15, -0.409987, 0.006498))


def clumping(random: Random) -> Held:
    """Max-autoregression of index exactly 1/2, 20,000 readings, 200 beyond the threshold; K-gaps is the naive one."""
    fresh = -1.0 / np.log(random.random(20_000)) / 2.0
    position = np.arange(20_000)
    x = np.exp2(np.maximum.accumulate(np.log2(fresh) + position) - position)
    level = float(np.quantile(x, 0.99))
    at = np.flatnonzero(x > level)
    fit = k_gaps(np.diff(at), at.size, x.size)
    return holds(extremal_index(-x, -level), 0.5), fit.low <= 0.5 <= fit.high


def clumping_correlated(random: Random) -> Held:
    """100,000 readings at lag-one .95 under -2.5 deviations; the truth is -ln lambda over the share of a reading."""
    ratio, _ = smallest_eigenvalue(0.95, -2.5)
    truth = math.log(ratio) / math.log1p(-float(special.ndtr(-2.5)))
    x = autoregression(0.95, 1, 100_000, random)[0]
    at = np.flatnonzero(x < -2.5)
    fit = k_gaps(np.diff(at), at.size, x.size)
    return holds(extremal_index(x, -2.5), truth), fit.low <= truth <= fit.high


def crossings(phi: float) -> Callable[[Random], Held]:
    """The risk of 1,500 m from an index of 20,000 readings of a smooth wall (correlation length 2 m), or of .95."""
    step, a, reel = 0.5, 2.0, 1500.0
    kernel = np.exp(-((np.arange(-20, 21) * step) ** 2) / a**2)
    kernel /= math.sqrt(float(np.sum(kernel**2)))

    def run(random: Random) -> Held:
        if phi == 0.0:
            x = np.convolve(random.standard_normal(20_040), kernel, "valid")
            truth = -math.expm1(-reel / (2 * math.pi * a) * math.exp(-8.0)) + float(special.ndtr(-4.0))
        else:
            x = autoregression(phi, 1, 20_000, random)[0]
            truth = chance_of_autoregression(phi, -4.0, 3000)
        worth = effective_n(x)
        index = float((x.mean() + 4.0) / (3.0 * x.std(ddof=1)))
        error = math.sqrt(1 / (9 * worth.for_mean) + index**2 / (2 * worth.for_variance))
        short = math.sqrt(1 / (9 * x.size) + index**2 / (2 * x.size))
        found = [
            reel_risk_from_index(
                index, index - 1.96 * one, index + 1.96 * one, reel_m=reel, correlation_m=a, n=x.size
            )
            for one in (error, short)
        ]
        return holds(found[0], truth), holds(found[1], truth)

    return run


def tolerance(shape: str) -> Callable[[Random], Held]:
    """95 % of reels above a limit, from 100 reels: whether so many are."""
    truth = float(special.ndtri(0.05))

    def run(random: Random) -> Held:
        found = lower_tolerance_limit(random.standard_normal(100), 0.95, unit="mm", shape=shape)  # type: ignore[arg-type]
        return (found.low <= truth if isinstance(found, Result) else None), None

    return run


# --- where the spread comes from --------------------------------------------------------------------------


def components(random: Random) -> Held:
    """Eight reels of five stretches, equal variances: variance between reels."""
    y = random.standard_normal((8, 1)) + random.standard_normal((8, 5))
    found = variance_components(y.ravel(), np.repeat(np.arange(8), 5).tolist())
    assert not isinstance(found, Refused)
    return holds(found[1], 1.0), None


def components_of_reels(phi: float) -> Callable[[Random], Held]:
    """Twelve reels of 600 readings, variance between reels .25: restricted likelihood at the truth and at its top."""

    def run(random: Random) -> Held:
        x = autoregression(phi, 12, 600, random) + 0.5 * random.standard_normal((12, 1))
        worth = [effective_n(row) for row in x]
        mean, variance = x.mean(axis=1), x.var(axis=1, ddof=1)
        ours = restricted_drop(
            mean, variance, [one.for_mean for one in worth], [one.for_variance for one in worth]
        )
        return ours < HALF_95, restricted_drop(mean, variance, [600.0] * 12, [600.0] * 12) < HALF_95

    return run


def restricted_drop(mean: Array, variance: Array, worth: list[float], worth_variance: list[float]) -> float:
    """How far the restricted likelihood falls from its top to a variance between reels of .25; its interval's rule."""
    figures = [mean, variance, np.full(12, 600.0), np.array(worth), np.array(worth_variance)]
    reels = _prepared(figures, None)

    def fall(within: float, between: float) -> float:
        return -restricted_log_likelihood(reels, within, between, 0.0)

    at_truth = optimize.minimize_scalar(
        lambda w: fall(w, 0.25), bounds=(0.5 * reels.within, 2.0 * reels.within), method="bounded"
    )
    top = optimize.minimize_scalar(
        lambda b: fall(reels.within, b * b), bounds=(0.0, 3.0), method="bounded", options={"xatol": 1e-6}
    )
    near = optimize.minimize(
        lambda at: fall(abs(at[0]), at[1] ** 2), [reels.within, float(top.x)], method="Nelder-Mead"
    )
    return float(at_truth.fun) - min(float(near.fun), fall(reels.within, 0.0))


# --- changes and periods ----------------------------------------------------------------------------------


def changed(phi: float, what: str) -> Callable[[Random], Held]:
    """A shift in the middle of 200 independent items by 2, or of 600 correlated ones by 4 of their deviations.

    A place counts where one change alone was called; a size is that of the largest change, however many were.
    """
    n, place, size = (200, 120, 2.0) if phi == 0.0 else (600, 360, 4.0)

    def run(random: Random) -> Held:
        x = autoregression(phi, 1, n, random)[0]
        x[place:] += size
        if what == "place of one":
            once = one_change(x)
            if not isinstance(once, OneChange) or once.p_value > 0.05:
                return None, None
            return once.change.low <= place <= once.change.high, None
        found = find_changes(x)
        if not isinstance(found, Changes) or not found.changes:
            return None, None
        if what == "place":
            one = found.changes[0]
            return (one.low <= place <= one.high if len(found.changes) == 1 else None), None
        one = max(found.changes, key=lambda change: abs(change.shifts[0].size))
        shift = one.shifts[0]
        half = 1.96 * found.white_sd[0] * math.sqrt(1 / one.item + 1 / (n - one.item))
        return shift.low <= size <= shift.high, abs(shift.size - size) <= half if phi else None

    return run


def period(phi: float, what: str) -> Callable[[Random], Held]:
    """A swing of 1.885 m and .75 deviations in 3,000 readings .25 m apart."""
    at = np.arange(3000) * 0.25

    def run(random: Random) -> Held:
        x = autoregression(phi, 1, 3000, random)[0]
        x += 0.75 * np.sin(2 * np.pi * (at / 1.885 + random.random()))
        found = find_periods(x, 0.25)
        near = (
            [one for one in found.found if abs(one.estimate - 1.885) < 0.05]
            if isinstance(found, Periods)
            else []
        )
        if not near:
            return None, None
        if what == "period":
            return holds(near[0], 1.885), None
        return near[0].details["amplitude_low"] <= 0.75 <= near[0].details["amplitude_high"], None

    return run


def gappy(phi: float) -> Callable[[Random], Held]:
    """A swing of 7.3 m and a deviation at places with two fifths missing."""

    def run(random: Random) -> Held:
        at = np.flatnonzero(random.random(700) < 0.6) * 1.0
        x = autoregression(phi, 1, 700, random)[0][at.astype(int)]
        found = gappy_period(at, x + np.sin(2 * np.pi * (at / 7.3 + random.random())), 4.0, 40.0)
        if not isinstance(found, Result) or abs(found.estimate - 7.3) > 0.5:
            return None, None
        return holds(found, 7.3), None

    return run


# --- faults ------------------------------------------------------------------------------------------------


def regression(overdispersed: bool) -> Callable[[Random], Held]:
    """80 reels, a second shift with twice the rate; counts of Poisson, or with a rate of each reel's own (gamma, 2)."""
    shift = np.repeat(["day", "night"], 40)

    def run(random: Random) -> Held:
        km = random.uniform(2.0, 6.0, 80)
        mean = km * np.where(shift == "night", 1.0, 0.5)
        plain = mean
        if overdispersed:
            mean = mean * random.gamma(2.0, 0.5, 80)
        counts = random.poisson(mean)
        found = rate_regression(counts, 1000.0 * km, {"shift": shift.tolist()})
        if not isinstance(found, RateRegression):
            return None, None
        day, night = (counts[shift == one].sum() for one in ("day", "night"))
        exposure = [km[shift == one].sum() for one in ("day", "night")]
        naive = None
        if day and night and overdispersed:
            half = 1.96 * math.sqrt(1 / day + 1 / night)
            naive = abs(math.log(night / exposure[1] / (day / exposure[0])) - math.log(2.0)) <= half
        assert plain.size == 80
        return holds(found.ratios[0], 2.0), naive

    return run


def rate_shift(random: Random) -> Held:
    """.5 a km on 25 reels, then 3 a km on 15: the reel of the change."""
    counts = np.append(random.poisson(0.5, 25), random.poisson(3.0, 15))
    found = rate_change(counts, np.full(40, 1000.0), simulations=9)
    return (found.low <= 25 <= found.high if isinstance(found, RateChange) else None), None


def dispersion(random: Random) -> Held:
    """40 reels with 3 faults each on average, of Poisson: dispersion 1."""
    return holds(dispersion_of_counts(random.poisson(3.0, 40), np.full(40, 1000.0)), 1.0), None


def trend(random: Random) -> Held:
    """12 faults, e times as many at the end as at the start."""
    at = np.log1p(random.random(12) * (math.e - 1)) * 1500.0
    return holds(trend_along(at, 1500.0), math.e), None


def repeats(random: Random) -> Held:
    """12 faults at turns of 1.885 m, 4 % of a turn apart, over 1,500 m: the period."""
    turns = np.sort(random.choice(790, 12, replace=False))
    found = scan_repeats([1.885 * (turns + random.normal(0, 0.04, 12)) + 3.0], 1.8, 2.0, 0.0, 0.02)
    if not isinstance(found, EventRepeat) or found.p_value > 0.05:
        return None, None
    return abs(found.period_m - 1.885) <= found.period_half_m, None


def both(
    name: str, module: str, made: Callable[[float], Callable[[Random], Held]], of: str = ""
) -> dict[str, Trial]:
    """The same trial on independent and on correlated readings; `of` where the first is of something else."""
    return {
        f"{name}, {of or 'independent'}": Trial(module, made(0.0)),
        f"{name}, lag-one .95": Trial(module, made(0.95)),
    }


TRIALS: dict[str, Trial] = {
    **both("one-sided index", "capability", one_sided),
    **both("two-sided index", "capability_two_sided", two_sided),
    **both("index within reels", "capability_within", within),
    **both("index by quantiles", "nonnormal_capability", shaped),
    **both("block bootstrap of a mean", "bootstrap", bootstrapped),
    **both("drift", "drift", drifting),
    **both("margin at specimen scale", "averaging_gauge", margin),
    "shape of the tail": Trial("below_threshold", tail_shape),
    **both("risk of a reel", "minimum_of_reel", risk, "independent clusters"),
    **both("level of a reel", "return_level", level, "independent clusters"),
    **both("risk from block minima", "block_minima", blocks),
    "extremal index, max-autoregression": Trial("extremal_index", clumping),
    "extremal index, lag-one .95": Trial("extremal_index", clumping_correlated),
    **both("risk from crossings", "level_crossings", crossings, "smooth wall"),
    "tolerance limit, normal": Trial("tolerance", tolerance("normal")),
    "tolerance limit, any shape": Trial("tolerance", tolerance("any")),
    "variance between reels, stretches": Trial("variance_components", components),
    **both("variance between reels", "variance_components_reml", components_of_reels),
    **both("place of a change", "change_points", partial(changed, what="place")),
    **both("size of a change", "change_points", partial(changed, what="size")),
    **both("place of one change", "change_points", partial(changed, what="place of one")),
    **both("period", "periodicity", partial(period, what="period")),
    **both("amplitude of a period", "periodicity", partial(period, what="amplitude")),
    **both("period with gaps", "lomb_scargle", gappy),
    "fault rate ratio by regression": Trial("rate_regression", regression(False)),
    "fault rate ratio by regression, overdispersed": Trial("rate_regression", regression(True)),
    "reel of a rate change": Trial("rate_changes", rate_shift),
    "dispersion of counts": Trial("event_clustering", dispersion),
    "trend of faults along a reel": Trial("event_clustering", trend),
    "period of repeating faults": Trial("event_repeats", repeats),
}


@dataclass(frozen=True, slots=True)
class Found:
    """What came of many repetitions: how many gave an interval, and the shares that held the truth."""

    repetitions: int
    answered: int
    ours: float
    naive: float | None


def repeat(name: str, repetitions: int, seed: int = 1) -> Found:
    """Run a trial so many times, each from a stream of its own."""
    streams = np.random.SeedSequence([seed, sum(map(ord, name))]).spawn(repetitions)
    held = [TRIALS[name].run(np.random.default_rng(one)) for one in streams]
    ours = [one for one, _ in held if one is not None]
    naive = [one for _, one in held if one is not None]
    return Found(
        repetitions,
        len(ours),
        float(np.mean(ours)) if ours else math.nan,
        float(np.mean(naive)) if naive else None,
    )


if __name__ == "__main__":
    row = repeat(sys.argv[1], int(sys.argv[2]))
    told = "" if row.naive is None else f"{row.naive:.4f}"
    print(f'"{sys.argv[1]}",{row.repetitions},{row.answered},{row.ours:.4f},{told}')

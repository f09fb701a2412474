"""How likely a whole reel has a point under the limit, and how thin the thinnest point of a reel gets.

"Minimum at any point" is a question about the worst point of a reel, not about a reading: a million good
readings say little about it unless their lower tail is followed down. Clusters of readings under a threshold
come at a rate, and their depths follow a generalised Pareto distribution. Source: Coles, An Introduction to
Statistical Modeling of Extreme Values (2001), sections 4.3, 4.4 and 5.3 (from memory); the profile over the
rate is derived here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import interpolate, optimize, special, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.statistics.below_threshold import mean_of_logs

FEWEST = 20  # clusters a risk is worked from (chosen here)

Array = NDArray[np.float64]
# A rate so many powers of e under that of the clusters is as good as none.
NEVER = 40.0
# Shapes looked at: below -1 the likelihood grows without bound towards an end at the deepest cluster.
_LEAST_SHAPE, _MOST_SHAPE = -0.95, 3.0
# Depths reach their limit law slowly, so the plain profile interval is too short on readings of a wire: the drop of the
# likelihood is taken larger. Chosen here on runs drawn with seed 5001 (normal, skewed, notched; 2 to 60 km); the table
# in pipeline/steps/coverage_grid.csv is of another seed, which had no part in the choice.
SLOW_LIMIT_LAW = 1.6


@dataclass(frozen=True, slots=True)
class LowerTail:
    """The lower tail of a wall: clusters under a threshold and how deep they go.

    Args:
        threshold: u, in the unit of the readings.
        scale: sigma of the deficits, same unit.
        shape: xi of the deficits [1].
        clusters_per_m: rate of clusters along the wire [1/m]; a rate of clusters already holds the extremal
            index.
    """

    threshold: float
    scale: float
    shape: float
    clusters_per_m: float

    def deeper(self, level: float) -> float:
        """Share of clusters whose thinnest point lies under `level` (at or below the threshold)."""
        depth = self.threshold - level
        if abs(self.shape) < 1e-9:
            return math.exp(-depth / self.scale)
        inside = 1.0 + self.shape * depth / self.scale
        return inside ** (-1.0 / self.shape) if inside > 0.0 else 0.0

    def chance_below(self, level: float, reel_m: float) -> float:
        """Probability that a reel of `reel_m` [m] has a point under `level`: 1 - exp(-rate L q)."""
        return -math.expm1(-self.clusters_per_m * reel_m * self.deeper(level))

    def level_passed(self, times: float, reel_m: float) -> float:
        """Level under which a reel of `reel_m` [m] goes `times` times on average; ln 2 gives the median
        minimum.

        c = u - (sigma/xi) ((rate L/m)^xi - 1).
        """
        many = self.clusters_per_m * reel_m / times
        bent = (
            math.log(many) if abs(self.shape) < 1e-9 else math.expm1(self.shape * math.log(many)) / self.shape
        )
        return self.threshold - self.scale * bent

    @property
    def thinnest(self) -> float:
        """Lowest level the tail can reach; minus infinity unless the shape is negative."""
        return self.threshold + self.scale / self.shape if self.shape < 0.0 else -math.inf


@checked
def reel_risk(
    deficits: ArrayLike,
    tail: LowerTail,
    *,
    limit: float,
    reel_m: float,
    drop_factor: float = 1.0,
    converged: bool | None = None,
    dispersion: Result | Refused | None = None,
    confidence: float = 0.95,
) -> Result | Refused:
    """Probability that a reel has a point under the limit, with a profile-likelihood interval.

    P = 1 - exp(-eta L), eta = rate q(u - c). The interval holds every eta whose profile log-likelihood
    max over (q, xi) of GPD + n ln(eta/q) - eta E/q lies within chi2_1/2 of the top, times `dispersion`.

    Args:
        deficits: threshold minus thinnest reading of each cluster, in the unit of the limit.
        tail: the tail fitted to them; its rate is that of the deficits over E, the wire with a trustworthy reading.
        limit: c, at or under the threshold.
        reel_m: L, length of a reel [m].
        drop_factor: how much farther than chi2_1/2 the likelihood may fall inside the interval: 1 where the depths
            follow the generalised Pareto law exactly, `SLOW_LIMIT_LAW` for clusters of readings.
        converged: False if the fit fell back to an exponential tail; None: not checked, and said so.
        dispersion: variance over mean of the cluster counts of reels, with its interval and p-value (as of
            `pipeline.statistics.event_clustering.dispersion_of_counts`); above 1 the interval is widened by it.
            None or refused: not checked, and said so.
        confidence: coverage aimed at.

    Returns:
        A `Result` about one reel, or a `Refused`.

    Stops being true where reels differ in level (mix over reels first, or use the minimum of each reel), for
    a limit far under everything measured, and for thin spots shorter than the gauge's averaging length.
    """
    y = np.asarray(deficits, dtype=np.float64).ravel()
    question = asks(Quantity.REEL_MINIMUM_RISK)
    method = message(Method.CLUSTERS_BELOW_THRESHOLD)
    reason = _refusal(y, tail, limit, reel_m)
    if reason is not None:
        return Refused(question, method, reason, int(y.size))
    known_m = y.size / tail.clusters_per_m
    estimate = tail.chance_below(limit, reel_m)
    alike, widened = reels_alike(dispersion)
    drop = float(stats.chi2.ppf(confidence, 1)) / 2.0 * drop_factor * widened
    low, high = _rate_interval(y, tail, tail.threshold - limit, known_m, drop)
    details = {
        "clusters": float(y.size),
        "clusters_per_km": 1000.0 * tail.clusters_per_m,
        "threshold": tail.threshold,
        "scale": tail.scale,
        "shape": tail.shape,
        "thinnest_possible": tail.thinnest,
        "median_reel_minimum": tail.level_passed(math.log(2.0), reel_m),
        "once_per_1000_reels": tail.level_passed(1e-3, reel_m),
    }
    if isinstance(dispersion, Result):
        details["dispersion"] = dispersion.estimate
    return Result(
        question=question,
        estimate=estimate,
        low=-math.expm1(-low * reel_m),
        high=-math.expm1(-high * reel_m),
        confidence=confidence,
        unit="",
        method=method,
        n=int(y.size),
        effective_n=None,
        known_m=known_m,
        unit_of_inference="reel",
        assumptions=(
            Assumption(
                message(Assumed.TAIL_FIT_CONVERGED),
                converged,
                message(Note.NOT_CHECKED if converged is None else Note.MAXIMUM_LIKELIHOOD),
            ),
            alike,
        ),
        warnings=_warnings(tail, converged, -math.expm1(-high * reel_m), confidence),
        details=details,
    )


@checked
def reels_alike(dispersion: Result | Refused | None) -> tuple[Assumption, float]:
    """Whether reels have clusters alike, and the factor on the drop of the likelihood (1 or more).

    Args:
        dispersion: variance over mean of the counts of clusters on reels; None or refused: not checked.
    """
    name = message(Assumed.REELS_ALIKE)
    if not isinstance(dispersion, Result):
        why = message(Note.NOT_CHECKED) if dispersion is None else dispersion.reason
        return Assumption(name, None, why), 1.0
    found, p_value = dispersion.estimate, dispersion.details["p_value"]
    told = message(
        Note.VARIANCE_OF_CLUSTER_COUNTS,
        dispersion=found,
        items=int(dispersion.details["items"]),
        p_value=p_value,
    )
    widened, held = max(found, 1.0), p_value >= 0.05
    then = None if held else message(Note.THEN_INTERVAL_WIDENED, factor=math.sqrt(widened))
    return Assumption(name, held, told, then), widened


@checked
def likelihood_drop(
    deficits: ArrayLike, scale: float, shape: float, depth: float, passings_per_m: float, known_m: float
) -> float:
    """How far the profile log-likelihood falls if the level `depth` under the threshold is passed at a given
    rate.

    Within chi2_1(confidence)/2 (1.92 at 95 %) the rate is in the interval.

    Args:
        deficits: as in `reel_risk`.
        scale: sigma fitted to them.
        shape: xi fitted to them.
        depth: threshold minus level, in the unit of the deficits.
        passings_per_m: rate to be tried [1/m].
        known_m: length behind the deficits [m].
    """
    y = np.asarray(deficits, dtype=np.float64).ravel()
    rate = y.size / known_m
    tried = max(passings_per_m, rate * math.exp(-NEVER))
    top = _top(y, LowerTail(0.0, scale, shape, rate), known_m)
    return top - _Profile(y, depth, known_m).height(tried)


@checked
def clusters_per_m(share_below: float, readings_per_m: float, theta: float) -> float:
    """Rate of clusters [1/m] from single readings: share under the threshold, readings a metre, extremal
    index once.

    Args:
        share_below: share of readings under the threshold.
        readings_per_m: readings a metre of wire [1/m].
        theta: extremal index. Do not apply it again to counted clusters.

    Source: Leadbetter, Lindgren and Rootzen (1983).
    """
    return share_below * readings_per_m * theta


class _Profile:
    """Log-likelihood of depths and their rate where `depth` is passed at a rate held fixed, over everything else.

    With tau = xi/sigma, g = mean ln(1 + tau y), h = ln(1 + tau depth) and the passings p = exp(-b) of a cluster, the
    log-likelihood over n is ln(tau/h) + ln b - g + b (1 - g/h) - c exp(b) + ln(eta), c = eta E/n: concave in b, so one
    number, tau, is left to be searched. Derived here.

    Args:
        y: depths of the clusters.
        depth: threshold minus level.
        known_m: length behind them [m].
    """

    def __init__(self, y: Array, depth: float, known_m: float) -> None:
        self.n, self.depth, self.known_m = y.size, depth, known_m
        self.reach = max(float(y.max()), depth)
        self.grid = np.linspace(-14.0, 14.0, 401)  # of s, where 1 + tau reach = exp(s)
        tau = np.expm1(self.grid) / self.reach
        log_mean = mean_of_logs(tau, y)
        # Over s, which makes it 0/0 at an exponential tail: the limit is the mean depth.
        over_s = log_mean / np.where(self.grid == 0.0, 1.0, self.grid)
        over_s[self.grid == 0.0] = float(y.mean()) / self.reach
        self.spline = interpolate.CubicSpline(self.grid, over_s)
        self.on_grid = self._fixed(self.grid)

    def _fixed(self, s: Array) -> tuple[Array, Array, Array]:
        """What does not depend on the rate: ln(tau/h) - g, 1 - g/h, and the least b of a shape that is allowed."""
        flat = np.abs(s) < 1e-9
        tau = np.expm1(s) / self.reach
        h, g = np.log1p(tau * self.depth), self.spline(s) * s
        safe = np.where(flat, 1.0, h)
        ratio = np.where(flat, self.spline(s) * self.reach / self.depth, g / safe)
        lead = np.log(np.where(flat, 1.0 / self.depth, tau / safe)) - g
        return lead, 1.0 - ratio, np.maximum(-h / -_LEAST_SHAPE, h / _MOST_SHAPE)

    def height(self, eta: float) -> float:
        """The largest log-likelihood with the rate of passing held at eta [1/m]."""
        c = eta * self.known_m / self.n
        heights = self._best(c, *self.on_grid)
        best = int(np.clip(np.argmax(heights), 1, self.grid.size - 2))
        near = np.linspace(self.grid[best - 1], self.grid[best + 1], 31)
        top = float(self._best(c, *self._fixed(near)).max())
        return self.n * (top + math.log(eta))

    def _best(self, c: float, lead: Array, slope: Array, least: Array) -> Array:
        """Largest value over b, at each tau."""
        # The root of 1/b + slope - c exp(b), which falls with b, in ln b.
        low, high = np.full(lead.size, -12.0), np.full(lead.size, 6.0)
        for _ in range(14):
            middle = 0.5 * (low + high)
            b = np.exp(middle)
            rising = 1.0 / b + slope > c * np.exp(b)
            low, high = np.where(rising, middle, low), np.where(rising, high, middle)
        b = np.exp(0.5 * (low + high))
        for _ in range(3):
            grown = c * np.exp(b)
            b = np.maximum(b + (1.0 / b + slope - grown) / (1.0 / b**2 + grown), 1e-12)
        b = np.maximum(b, least)
        return np.asarray(lead + np.log(b) + b * slope - c * np.exp(b), dtype=np.float64)


def _top(y: Array, tail: LowerTail, known_m: float) -> float:
    """Log-likelihood at the fitted tail and rate."""
    inside = 1.0 + tail.shape * y / tail.scale
    flat = abs(tail.shape) < 1e-9
    depths = float(np.sum(y / tail.scale if flat else (1.0 + 1.0 / tail.shape) * np.log(inside)))
    return -y.size * math.log(tail.scale) - depths + y.size * math.log(y.size / known_m) - y.size


def _rate_interval(
    y: Array, tail: LowerTail, depth: float, known_m: float, drop: float
) -> tuple[float, float]:
    """Ends of the interval of eta [1/m]; the lower end is 0 where the data allow that the limit is out of
    reach."""
    rate = tail.clusters_per_m
    if depth <= 0.0:
        edge = drop / y.size
        return rate * (1.0 - math.sqrt(2.0 * edge)), rate * (1.0 + math.sqrt(2.0 * edge))
    top, profile = _top(y, tail, known_m), _Profile(y, depth, known_m)
    fitted = rate * tail.deeper(tail.threshold - depth)

    def short(log_eta: float) -> float:
        return profile.height(math.exp(log_eta)) - top + drop

    floor, ceiling = math.log(rate) - NEVER, math.log(rate) - 1e-6
    start = math.log(fitted) if fitted > rate * 1e-25 else None
    if start is None:  # the fitted tail ends above the limit: look for the first rate that is not rejected
        grid = np.linspace(floor, ceiling, 61)
        heights = [short(float(one)) for one in grid]
        start = float(grid[int(np.argmax(heights))])
        if max(heights) <= 0.0:
            return 0.0, rate * math.exp(-NEVER)
    low, step = start, 0.5
    while low > floor and short(low) > 0.0:
        low, step = low - step, step * 1.6
    high, step = start, 0.3
    while high < ceiling and short(high) > 0.0:
        high, step = min(high + step, ceiling), step * 1.3
    lower = math.exp(float(optimize.brentq(short, low, start, xtol=1e-3))) if short(low) < 0.0 else 0.0
    upper = float(optimize.brentq(short, start, high, xtol=1e-3)) if short(high) < 0.0 else ceiling
    return lower, math.exp(upper)


def _refusal(y: Array, tail: LowerTail, limit: float, reel_m: float) -> Message | None:
    rate = tail.clusters_per_m
    if not (math.isfinite(limit) and math.isfinite(tail.threshold)):
        return message(Reason.LIMIT_OR_THRESHOLD_NOT_FINITE)
    if not (rate > 0.0 and reel_m > 0.0 and math.isfinite(rate) and math.isfinite(reel_m)):
        return message(Reason.LENGTH_NOT_POSITIVE)
    if y.size < FEWEST:
        return message(Reason.TOO_FEW_CLUSTERS, n=y.size, fewest=FEWEST)
    if not np.isfinite(y).all() or (y <= 0.0).any() or np.ptp(y) == 0.0:
        return message(Reason.DEFICITS_NOT_POSITIVE_OR_EQUAL)
    if not (tail.scale > 0.0 and math.isfinite(tail.scale)):
        return message(Reason.TAIL_NOT_FITTED)
    if not math.isfinite(tail.shape):
        return message(Reason.TAIL_NOT_FITTED)
    if limit > tail.threshold:
        return message(Reason.LIMIT_ABOVE_THE_THRESHOLD)
    return None


@checked
def normal_figures(limit: float, mean: float, sd: float, readings: float) -> dict[str, float]:
    """What normal theory makes of the same readings, to be shown beside a risk: of one reading, and of a reel's.

    Args:
        limit: the limit, in the unit of the readings.
        mean: their mean.
        sd: their standard deviation.
        readings: readings of a reel.
    """
    share = float(special.ndtr((limit - mean) / sd))
    return {
        "normal_theory_share_of_readings": share,
        "normal_theory_chance_if_readings_independent": -math.expm1(readings * math.log1p(-share)),
    }


def _warnings(tail: LowerTail, converged: bool | None, high: float, confidence: float) -> tuple[Message, ...]:
    told = [message(Note.REELS_THAT_MAY_HAVE_A_POINT, confidence=100.0 * confidence, high_chance=high)]
    if converged is False:
        told.append(message(Note.TAIL_EXPONENTIAL))
    if tail.shape > 0.0:
        told.append(message(Note.POSITIVE_SHAPE_OF_THE_WALL, shape=tail.shape))
    if tail.shape < -0.5:
        told.append(message(Note.SHAPE_UNDER_A_HALF, shape=tail.shape))
    return tuple(told)

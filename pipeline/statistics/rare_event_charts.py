"""Do faults that hardly ever happen come closer together?

Charts of the length from fault to fault: probability limits, sums of gaps, the geometric chart, and the
exponential CUSUM, which is the one with power. J. M. Lucas, Technometrics 27 (1985) 129; F. F. Gan, J. Qual.
Technol. 26 (1994); geometric: Kaminsky et al., J. Qual. Technol. 24 (1992) 63.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import message
from pipeline.methods import ChartRule, Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Chart, Refused, Signal
from pipeline.samples import counts, positive, readings, share

QUESTION = asks(Quantity.CONTROL_CHART)


@checked
def gap_chart(
    gaps_m: ArrayLike, mean_gap_m: float, together: int = 1, alpha: float = 0.0027
) -> Chart | Refused:
    """Sums of `together` gaps against probability limits: mean gap x gamma quantiles at alpha/2 and 1 - alpha/2.

    Args:
        gaps_m: known length from fault to fault, in order [m].
        mean_gap_m: mean gap fixed beforehand: 1 / rate [m].
        together: gaps added up, without overlap; 1 is the t-chart.
        alpha: chance of a false alarm at one point.

    A single short gap hardly proves anything: at five times the rate the t-chart needs about 149 faults, sums of
    five about 14 (`faults_to_signal`). Exponential gaps. Derived.
    """
    x = _gaps(gaps_m)
    if together < 1:
        raise MethodRefusal(Complaint("together", f"{together} was given", "Add up one gap or more"))
    method = (
        message(Method.T_CHART) if together == 1 else message(Method.SUM_OF_GAPS_CHART, together=together)
    )
    sums = x[: x.size // together * together].reshape(-1, together).sum(axis=1)
    if sums.size == 0:
        return Refused(
            QUESTION,
            method,
            message(Reason.NO_SUM_OF_GAPS, n=x.size, together=together),
            x.size,
        )
    half = share(alpha, "alpha") / 2
    mean = positive(mean_gap_m, "mean_gap_m", "m")
    low, high = float(mean * stats.gamma.ppf(half, together)), float(mean * stats.gamma.isf(half, together))
    items: list[int] = np.flatnonzero((sums < low) | (sums > high)).tolist()
    rule = message(ChartRule.SUM_OF_GAPS, gaps=together, chance=half)
    left = x.size % together
    return Chart(
        question=QUESTION,
        method=method,
        phase="II",
        plotted=sums,
        centre=np.full(sums.size, float(mean * stats.gamma.median(together))),
        lower=np.full(sums.size, low),
        upper=np.full(sums.size, high),
        unit="m",
        signals=tuple(
            Signal(
                i,
                float(sums[i]),
                low if sums[i] < low else high,
                "below" if sums[i] < low else "above",
                rule,
                i,
            )
            for i in items
        ),
        arl0=1 / alpha,
        unit_of_inference="event",
        assumptions=(Assumption(message(Assumed.GAPS_EXPONENTIAL), None, message(Note.NOT_CHECKED)),),
        warnings=(message(Note.GAPS_WAIT, left=left),) if left else (),
        details={
            "mean_gap_m": mean,
            "faults_to_signal_at_5_times_the_rate": faults_to_signal(5.0, together, alpha),
        },
    )


@checked
def faults_to_signal(times: float, together: int = 1, alpha: float = 0.0027) -> float:
    """Faults on average until sums of gaps signal a rate `times` as high (either limit), without overlap.

    Args:
        times: the new rate over the old.
        together: gaps in a sum.
        alpha: chance of a false alarm at one point.

    Source: derived: n / P(sum beyond its limits), sums of exponential gaps being gamma.
    """
    half = share(alpha, "alpha") / 2
    ratio = positive(times, "times")
    low, high = stats.gamma.ppf(half, together), stats.gamma.isf(half, together)
    return float(together / (stats.gamma.cdf(low * ratio, together) + stats.gamma.sf(high * ratio, together)))


@checked
def geometric_limit(chance: float, alpha: float = 0.00135) -> tuple[int, int]:
    """Good pieces between bad ones that chance falls short of, or exceeds, with probability alpha at most.

    Upper: the least x with P(X > x) = (1 - p)^(x + 1) <= alpha; lower: the largest with P(X <= x) <= alpha, or -1.

    Args:
        chance: p, chance that a piece is bad.
        alpha: chance beyond each limit.

    Source: geometric distribution; g-chart of Kaminsky et al. 1992. p .01 gives 658 trials, that is 657 good ones.
    """
    p, tail = share(chance, "chance"), share(alpha, "alpha")
    upper = math.ceil(math.log(tail) / math.log1p(-p)) - 1
    lower = math.floor(math.log1p(-tail) / math.log1p(-p)) - 1
    return lower, upper


@checked
def g_chart(good_between: ArrayLike, chance: float, alpha: float = 0.00135) -> Chart | Refused:
    """Good reels between bad reels against limits of the geometric distribution.

    Args:
        good_between: good reels between each bad reel and the next, in order.
        chance: chance that a reel is bad, fixed beforehand.
        alpha: chance beyond each limit.
    """
    x = counts(good_between, "good_between")
    if x.size == 0:
        return Refused(QUESTION, message(Method.G_CHART), message(Reason.NO_PAIR_OF_BAD_REELS), 0)
    lower, upper = geometric_limit(chance, alpha)
    items: list[int] = np.flatnonzero((x <= lower) | (x > upper)).tolist()
    rule = message(ChartRule.GOOD_REELS, chance=alpha)
    beyond = float(stats.geom.cdf(lower + 1, chance) + stats.geom.sf(upper + 1, chance))
    return Chart(
        question=QUESTION,
        method=message(Method.G_CHART),
        phase="II",
        plotted=x,
        centre=np.full(x.size, (1 - chance) / chance),
        lower=np.full(x.size, float(lower)),
        upper=np.full(x.size, float(upper)),
        unit="",
        signals=tuple(
            Signal(i, float(x[i]), float(lower), "below", rule, i)
            if x[i] <= lower
            else Signal(i, float(x[i]), float(upper), "above", rule, i)
            for i in items
        ),
        arl0=1 / beyond,
        unit_of_inference="reel",
        assumptions=(Assumption(message(Assumed.REELS_BAD_INDEPENDENTLY), None, message(Note.NOT_CHECKED)),),
        details={"chance": chance},
    )


@dataclass(frozen=True, slots=True)
class GapCusum:
    """Exponential CUSUM for a higher fault rate.

    Args:
        sums: the sum after each gap [m].
        reference_m: k [m].
        limit_m: h [m].
        signals: faults at which the sum stands above the limit; `since` is the first gap after its last zero.
        arl0: faults from one false alarm to the next.
        arl1: faults until a rate as high as designed for is signalled.
    """

    sums: NDArray[np.float64]
    reference_m: float
    limit_m: float
    signals: tuple[Signal, ...]
    arl0: float
    arl1: float


@checked
def gap_cusum(gaps_m: ArrayLike, mean_gap_m: float, times: float = 5.0, arl0: float = 100.0) -> GapCusum:
    """CUSUM of gaps for a rate `times` as high: S = max(0, S + k - gap), k = mean ln(times) / (times - 1).

    Args:
        gaps_m: known length from fault to fault, in order [m].
        mean_gap_m: mean gap fixed beforehand [m].
        times: rate to be found, over the usual one.
        arl0: faults from one false alarm to the next that the plant accepts.

    Source: Lucas 1985 (time-between-events CUSUM); k is the log-likelihood ratio's. Exponential gaps.
    """
    x, mean = _gaps(gaps_m), positive(mean_gap_m, "mean_gap_m", "m")
    if not times > 1.0:
        raise MethodRefusal(
            Complaint("times", f"{times:g} was given", "Give a rate above the usual, such as 5")
        )
    k = math.log(times) / (times - 1)
    h = gap_cusum_limit(k, arl0)
    steps = np.cumsum(k * mean - x)
    sums = steps - np.minimum(np.minimum.accumulate(steps), 0.0) if x.size else steps
    signals = []
    for i in np.flatnonzero(sums > h * mean).tolist():
        zeros = np.flatnonzero(sums[:i] == 0.0)
        since = int(zeros[-1]) + 1 if zeros.size else 0
        signals.append(Signal(i, float(sums[i]), h * mean, "above", message(ChartRule.GAP_CUSUM), since))
    found = gap_cusum_arl(k, h)
    return GapCusum(
        np.asarray(sums, dtype=np.float64),
        k * mean,
        h * mean,
        tuple(signals),
        found,
        gap_cusum_arl(k, h, times),
    )


@checked
def gap_cusum_arl(reference: float, limit: float, times: float = 1.0, states: int = 400) -> float:
    """Average number of faults until the exponential CUSUM signals; k and h in mean gaps.

    Brook & Evans' Markov chain (Biometrika 59, 1972, 539) on a grid of the sum, extrapolated from two grids.

    Args:
        reference: k.
        limit: h.
        times: the true rate over the usual one.
        states: cells of the finer grid.
    """
    positive(reference, "reference")
    positive(limit, "limit")
    fine, coarse = (_chain(reference, limit, times, n) for n in (states, states // 2))
    return 2 * fine - coarse


def _chain(k: float, h: float, times: float, states: int) -> float:
    width = h / states
    at = np.append(0.0, (np.arange(states) + 0.5) * width)
    edge = np.arange(states + 1) * width
    # After one gap the sum is at + k - gap, so it lies below an edge if the gap is over at + k - edge.
    below = np.exp(-times * np.maximum(at[:, None] + k - edge[None, :], 0.0))
    step = np.column_stack([below[:, 0], np.diff(below, axis=1)])
    return float(np.linalg.solve(np.eye(states + 1) - step, np.ones(states + 1))[0])


@checked
def gap_cusum_limit(reference: float, arl0: float) -> float:
    """Limit h, in mean gaps, for a false alarm every `arl0` faults on average."""
    if not (math.isfinite(arl0) and arl0 > 2):
        raise MethodRefusal(
            Complaint("arl0", f"{arl0:g} faults was given", "Give a number of faults above 2")
        )

    def off(limit: float) -> float:
        return math.log(gap_cusum_arl(reference, limit, states=120)) - math.log(arl0)

    high = reference
    while off(high) < 0:
        high *= 1.5
    low = 0.01 * reference
    return low if off(low) > 0 else float(optimize.brentq(off, low, high, xtol=1e-6))


def _gaps(gaps_m: ArrayLike) -> NDArray[np.float64]:
    x = readings(gaps_m, "gaps_m")
    if np.isnan(x).any() or (x < 0).any():
        raise MethodRefusal(
            Complaint(
                "gaps_m",
                "holds a gap that is negative or not known",
                "Give known lengths from fault to fault",
            )
        )
    return x

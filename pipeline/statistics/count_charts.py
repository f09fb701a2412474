"""Has a reel more faults than its length and the usual rate explain?

u-charts with varying length by exact Poisson limits, three-sigma limits where they hold, Laney's widening where
counts scatter more than Poisson's, and the chart of a share of bad pieces by exact binomial limits. D. C.
Montgomery, Introduction to Statistical Quality Control, 7th ed. (2013), chapter 7; D. B. Laney, Quality Engineering
14 (2002) 531.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import ChartRule, Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Chart, Refused, Signal
from pipeline.samples import counts as whole_counts
from pipeline.samples import not_negative, positive_readings, share

LEAST_MEAN = 5.0
"""Mean count below which three-sigma limits are far from what they promise (common practice, no source)."""
HIDES = message(Note.WIDENED_LIMITS_HIDE)
QUESTION = asks(Quantity.CONTROL_CHART)


@checked
def poisson_limits(mean: ArrayLike, alpha: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Counts at or beyond which chance puts alpha / 2 at most: lower (or -1 for none), upper.

    Args:
        mean: expected counts.
        alpha: chance of a false alarm at one point, both sides together.

    Source: quantiles of the Poisson distribution. Mean .75 and alpha .0027 signal at 5 or more, p .00106.
    """
    half = share(alpha, "alpha") / 2
    expected = np.asarray(mean, dtype=np.float64)
    upper = stats.poisson.isf(half, expected) + 1  # the first count whose tail is no more than half
    lower = stats.poisson.ppf(half, expected) - 1
    return np.asarray(lower, dtype=np.float64), np.asarray(upper, dtype=np.float64)


@checked
def u_chart(
    counts: ArrayLike,
    known_m: ArrayLike,
    alpha: float = 0.0027,
    rate_per_km: float | None = None,
) -> Chart | Refused:
    """Faults per km of each reel against exact Poisson limits for its own length.

    Args:
        counts: separate faults of each reel.
        known_m: known length of each reel [m]; a reel without known length is not judged.
        alpha: chance of a false alarm at one point, 1 / ARL0 of the alarm budget; 0.0027 by common practice.
        rate_per_km: rate fixed beforehand (phase II); None to take the pooled rate (phase I) [1/km].

    Three-sigma limits are not used: at a mean of .75 they alarm with p .0073 on one side. Stops being true where
    counts scatter more than Poisson's; the dispersion test of the points is in `assumptions`; see `laney_chart`.
    """
    c, km = _counted(counts, known_m)
    known = km > 0
    if rate_per_km is None and (known.sum() < 2 or c[known].sum() == 0):
        reason = message(Reason.TOO_FEW_FAULTS_FOR_LIMITS, sum=int(known.sum()), sum_2=int(c[known].sum()))
        return Refused(QUESTION, message(Method.U_CHART), reason, int(c.sum()))
    rate = (
        float(c[known].sum() / km[known].sum())
        if rate_per_km is None
        else not_negative(rate_per_km, "rate_per_km")
    )
    lower, upper = poisson_limits(rate * km, alpha)
    with np.errstate(invalid="ignore", divide="ignore"):
        plotted, low, high = (np.where(known, row / km, np.nan) for row in (c, lower, upper))
    low = np.where(lower < 0, -np.inf, low)
    p_value = _dispersion_p(c[known], km[known])
    return Chart(
        question=QUESTION,
        method=message(Method.U_CHART, alpha=alpha),
        phase="I" if rate_per_km is None else "II",
        plotted=plotted,
        centre=np.full(c.size, rate),
        lower=low,
        upper=high,
        unit="1/km",
        signals=_at_or_beyond(plotted, low, high, message(ChartRule.COUNT, chance=alpha / 2)),
        arl0=_arl0(rate * km[known], lower[known], upper[known]) if p_value >= 0.05 else None,
        unit_of_inference="reel",
        assumptions=(_poisson(p_value, message(Note.THEN_NO_RUN_LENGTH)),),
        warnings=_warnings(known, p_value),
        details={"rate_per_km": rate, "dispersion_p": p_value},
    )


def _poisson(p_value: float, then: Message) -> Assumption:
    """Whether counts scatter as Poisson's, and what was done where they do not."""
    held = p_value >= 0.05
    told = message(Note.DISPERSION_P, p_value=p_value)
    return Assumption(message(Assumed.POISSON_SCATTER), held, told, None if held else then)


def _counted(counts: ArrayLike, known_m: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    c = whole_counts(counts, "counts")
    m = np.asarray(known_m, dtype=np.float64)
    if m.shape != c.shape or not np.isfinite(m).all() or (m < 0).any():
        raise MethodRefusal(
            Complaint(
                "known_m", "is not one length from 0 for each count", "Give the known length of each reel"
            )
        )
    return c, m / 1000.0


def _dispersion_p(c: NDArray[np.float64], km: NDArray[np.float64]) -> float:
    if c.size < 2 or c.sum() == 0:
        return 1.0
    expected = c.sum() * km / km.sum()
    return float(stats.chi2.sf(((c - expected) ** 2 / expected).sum(), c.size - 1))


def _arl0(mean: NDArray[np.float64], lower: NDArray[np.float64], upper: NDArray[np.float64]) -> float | None:
    """Average over these reels of the chance beyond the limits, turned over."""
    if mean.size == 0:
        return None
    alarm = stats.poisson.sf(upper - 1, mean) + np.where(lower >= 0, stats.poisson.cdf(lower, mean), 0.0)
    return float(1 / alarm.mean()) if alarm.mean() > 0 else None


def _at_or_beyond(
    x: NDArray[np.float64], lower: NDArray[np.float64], upper: NDArray[np.float64], rule: Message
) -> tuple[Signal, ...]:
    items: Sequence[int] = np.flatnonzero((x >= upper) | (x <= lower)).tolist()
    return tuple(
        Signal(i, float(x[i]), float(upper[i]), "above", rule, i)
        if x[i] >= upper[i]
        else Signal(i, float(x[i]), float(lower[i]), "below", rule, i)
        for i in items
    )


def _warnings(known: NDArray[np.bool_], p_value: float) -> tuple[Message, ...]:
    said = []
    if not known.all():
        said.append(message(Note.REELS_WITHOUT_KNOWN_LENGTH, sum=int((~known).sum()), known=known.size))
    if p_value < 0.05:
        said.append(message(Note.COUNTS_SCATTER_BEFORE_WIDENING, p_value=p_value))
    return tuple(said)


@checked
def laney_chart(counts: ArrayLike, known_m: ArrayLike) -> Chart | Refused:
    """u-chart widened by the scatter between neighbouring reels: u +/- 3 sqrt(u / L) sz.

    z_i = (u_i - u) / sqrt(u / L_i), sz = mean |z_i - z_{i-1}| / 1.128, never under 1 here.

    Args:
        counts: separate faults of each reel, in order.
        known_m: known length of each reel [m].

    Stops being true where the points hold a real shift, which then hides itself. Source: Laney 2002.
    """
    c, length = whole_counts(counts, "counts"), positive_readings(known_m, "known_m", "m")
    if c.size != length.size:
        raise MethodRefusal(
            Complaint("known_m", f"{length.size} lengths stand against {c.size} counts", "Give one for each")
        )
    if c.size < 3 or c.sum() == 0:
        reason = message(Reason.NO_SCATTER_BETWEEN_NEIGHBOURS, n=c.size, sum=int(c.sum()))
        return Refused(QUESTION, message(Method.LANEY_CHART), reason, int(c.sum()))
    km = length / 1000
    rate = float(c.sum() / km.sum())
    u, error = c / km, np.sqrt(rate / km)
    spread = float(np.abs(np.diff((u - rate) / error)).mean()) / (2 / math.sqrt(math.pi))
    widening = max(1.0, spread)
    lower, upper = np.maximum(rate - 3 * error * widening, 0.0), rate + 3 * error * widening
    p_value = _dispersion_p(c, km)
    low = np.where(lower > 0, lower, -np.inf)
    return Chart(
        question=QUESTION,
        method=message(Method.LANEY_CHART),
        phase="I",
        plotted=u,
        centre=np.full(c.size, rate),
        lower=lower,
        upper=upper,
        unit="1/km",
        signals=_at_or_beyond(u, low, upper, message(ChartRule.RATE_WIDENED)),
        arl0=None,
        unit_of_inference="reel",
        assumptions=(_poisson(p_value, message(Note.THEN_LIMITS_WIDENED)),),
        warnings=(HIDES,),
        details={"rate_per_km": rate, "sigma_z": spread, "dispersion_p": p_value},
    )


@checked
def share_chart(
    bad: ArrayLike, pieces: ArrayLike, alpha: float | None = None, usual: float | None = None
) -> Chart | Refused:
    """Share of bad pieces of each lot against exact binomial limits, or against p +/- 3 sqrt(p (1 - p) / n).

    Args:
        bad: bad pieces (reels, sections) of each lot.
        pieces: pieces looked at in each lot.
        alpha: chance of a false alarm at one lot, 1 / ARL0 of the alarm budget; None for three standard deviations,
            which stop being true where n p is under about 5.
        usual: share fixed beforehand (phase II); None to take the pooled share (phase I).

    Source: Montgomery 2013, section 7.2; quantiles of the binomial distribution.
    """
    k, n = whole_counts(bad, "bad"), positive_readings(pieces, "pieces", "")
    if k.shape != n.shape or (k > n).any():
        raise MethodRefusal(
            Complaint(
                "bad", "is not one count up to the number of pieces of each lot", "Give one for each lot"
            )
        )
    question = asks(Quantity.CONTROL_CHART)
    if usual is None and (k.size < 2 or not 0 < k.sum() < n.sum()):
        reason = message(Reason.TOO_FEW_BAD_PIECES, sum=int(k.sum()), sum_2=int(n.sum()), n=k.size)
        return Refused(question, message(Method.P_CHART), reason, int(n.sum()))
    p = float(k.sum() / n.sum()) if usual is None else share(usual, "usual")
    arl0, said, rule = None, [], message(ChartRule.SHARE)
    if alpha is None:
        half = 3 * np.sqrt(p * (1 - p) / n)
        lower, upper = np.maximum(p - half, 0.0), np.minimum(p + half, 1.0)
        inside = np.where(lower > 0, lower, -np.inf), np.where(upper < 1, upper, np.inf)
        if float((n * p).min()) < LEAST_MEAN:
            said.append(message(Note.FEW_EXPECTED_BAD))
    else:
        tail = share(alpha, "alpha") / 2
        rule = message(ChartRule.COUNT, chance=tail)
        most, least = stats.binom.isf(tail, n, p) + 1, stats.binom.ppf(tail, n, p) - 1
        alarm = stats.binom.sf(most - 1, n, p) + np.where(least >= 0, stats.binom.cdf(least, n, p), 0.0)
        arl0 = float(1 / alarm.mean()) if alarm.mean() > 0 else None
        upper, lower = np.where(most > n, np.inf, most / n), np.where(least < 0, -np.inf, least / n)
        inside = lower, upper
        if np.isinf(upper).all():
            said.append(message(Note.NO_LOT_LARGE_ENOUGH))
    return Chart(
        question=question,
        method=message(Method.P_CHART) if alpha is None else message(Method.P_CHART_EXACT, alpha=alpha),
        phase="I" if usual is None else "II",
        plotted=k / n,
        centre=np.full(k.size, p),
        lower=lower,
        upper=upper,
        unit="",
        signals=_at_or_beyond(k / n, *inside, rule),
        arl0=arl0,
        unit_of_inference="reel",
        assumptions=(Assumption(message(Assumed.PIECES_INDEPENDENT), None, message(Note.NOT_CHECKED)),),
        warnings=tuple(said),
        details={"share": p},
    )

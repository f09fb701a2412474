"""How many points pass before a chart signals: by chance, and after a shift?

Average run lengths of Shewhart, EWMA, CUSUM and multivariate EWMA charts by integral equation (Gauss-Legendre)
or Markov chain, and the limits that give a wanted average. E. S. Page, Biometrika 41 (1954) 100; S. V. Crowder,
Technometrics 29 (1987) 401; D. Siegmund, Sequential Analysis (1985); Runger & Prabhu, J. Appl. Stat. 23 (1996).

How many false alarms does the plant accept, and which limits keep to that?

The plant sets a budget (one false alarm a week over all charts, say); the average run length each chart needs
follows, and from it the limits. Derived.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.notes import Note
from pipeline.samples import not_negative, positive

NODES = 80
"""Nodes of the integral equations; twice as many change no figure in the sixth digit."""
# Longest average run length whose digits the equations keep (chosen here).
LONGEST = 1e9


@checked
def ewma_arl(weight: float, width: float, shift: float = 0.0, start: float = 0.0) -> float:
    """Average run length of an EWMA with constant limits, z = (1 - w) z + w x.

    L(z) = 1 + (1/w) int_{-h}^{h} L(y) phi((y - (1 - w) z)/w - shift) dy, h = width sqrt(w / (2 - w)).

    Args:
        weight: w, 0 to 1.
        width: limits in standard deviations of z once it has run in.
        shift: shift of the mean of x [standard deviations of x].
        start: z at the start.

    Source: Crowder 1987. With limits that widen from the start the average is shorter: 95 for 100 at
    weight .2, by simulation.
    """
    w = _weight(weight)
    limit = positive(width, "width") * math.sqrt(w / (2 - w))
    nodes, weights = _legendre(-limit, limit)

    def kernel(z: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(stats.norm.pdf((nodes - (1 - w) * z) / w - shift) / w, dtype=np.float64) * weights

    inner = np.linalg.solve(np.eye(NODES) - kernel(nodes[:, None]), np.ones(NODES))
    return float(1.0 + kernel(np.array([[start]]))[0] @ inner)


@checked
def cusum_arl(reference: float, limit: float, shift: float = 0.0, two_sided: bool = True) -> float:
    """Average run length of the tabular CUSUM S = max(0, S + x - k), signal at S > h.

    Page's equation L(s) = 1 + L(0) Phi(k - s) + int_0^h L(y) phi(y + k - s) dy; both sides together by
    1/ARL = 1/ARL+ + 1/ARL- (van Dobben de Bruyn 1968).

    Args:
        reference: k [standard deviations].
        limit: h [standard deviations].
        shift: shift of the mean, upwards [standard deviations].
        two_sided: both sides, or the upper one only.

    Source: Page 1954; Montgomery, Introduction to Statistical Quality Control, table 9.3.
    """
    not_negative(reference, "reference")
    positive(limit, "limit")
    upper = _page(reference - shift, limit)
    if not two_sided:
        return upper
    other = _page(reference + shift, limit)
    # A side that hardly ever signals adds nothing; where rounding leaves no figure of both, there is none.
    return 1.0 / (1.0 / upper + (1.0 / other if 0.0 < other < LONGEST else 0.0))


def _page(k: float, h: float) -> float:
    nodes, weights = _legendre(0.0, h)
    # Unknowns: L at the nodes, then L(0), which has its own equation because mass sits at 0.
    from_at = np.append(nodes, 0.0)[:, None]
    matrix = np.empty((NODES + 1, NODES + 1))
    matrix[:, :NODES] = stats.norm.pdf(nodes + k - from_at) * weights
    matrix[:, NODES:] = stats.norm.cdf(k - from_at)
    return float(np.linalg.solve(np.eye(NODES + 1) - matrix, np.ones(NODES + 1))[NODES])


@checked
def mewma_arl0(weight: float, limit: float, variables: int, states: int = 300) -> float:
    """Average run length, nothing changed, of a multivariate EWMA that signals where T^2 of z exceeds `limit`.

    Markov chain on the length of z; each step's squared length is noncentral chi-square with `variables`
    degrees of freedom.

    Args:
        weight: w of z = (1 - w) z + w x, 0 to 1.
        limit: h, on the scale z' (w/(2-w) S)^-1 z.
        variables: number of variables.
        states: rings of the chain.

    Source: Runger & Prabhu 1996; limits of Prabhu & Runger, J. Qual. Technol. 29 (1997) 8 (from memory).
    """
    w = _weight(weight)
    radius = math.sqrt(positive(limit, "limit") * w / (2 - w))
    width = 2 * radius / (2 * states + 1)
    ring = np.arange(states + 1)
    away = ((1 - w) * ring * width / w) ** 2
    edge = np.append(-1.0, ((ring + 0.5) * width / w) ** 2)
    below = np.zeros((states + 1, states + 2))
    below[:, 1:] = stats.ncx2.cdf(edge[1:], variables, away[:, None])
    below[0, 1:] = stats.chi2.cdf(edge[1:], variables)
    step = np.diff(below, axis=1)
    return float(np.linalg.solve(np.eye(states + 1) - step, np.ones(states + 1))[0])


@checked
def shewhart_width(arl0: float) -> float:
    """Limits in standard deviations that give a false alarm every `arl0` points on average."""
    return float(stats.norm.isf(0.5 / _longer_than_one(arl0)))


@checked
@cache
def ewma_width(arl0: float, weight: float) -> float:
    """Limits of an EWMA, in standard deviations of it, for a false alarm every `arl0` points on average."""
    return _solve(lambda width: ewma_arl(weight, width), arl0, 0.1, 8.0)


@checked
@cache
def cusum_limit(arl0: float, reference: float) -> float:
    """Decision interval h of a CUSUM for a false alarm every `arl0` points on average."""
    return _solve(lambda limit: cusum_arl(reference, limit, two_sided=True), arl0, 0.01, 60.0)


@checked
@cache
def mewma_limit(arl0: float, weight: float, variables: int) -> float:
    """Limit of a multivariate EWMA for a false alarm every `arl0` points on average."""
    single = float(
        stats.chi2.isf(1.0 / _longer_than_one(arl0), variables)
    )  # the limit without memory, above h
    return _solve(lambda limit: mewma_arl0(weight, limit, variables, 100), arl0, 0.4 * single, 2 * single)


def _solve(arl_of: Callable[[float], float], arl0: float, low: float, high: float) -> float:
    wanted = _longer_than_one(arl0)

    def off(at: float) -> float:
        arl = arl_of(at)
        return (math.log(arl) if 0 < arl < math.inf else 700.0) - math.log(wanted)

    step = low
    while off(step) < 0 and step < high:  # the average grows steeply; stay where the equations are exact
        low, step = step, step * 1.3
    if off(step) < 0 or off(low) > 0:
        raise MethodRefusal(
            Complaint(
                "arl0",
                f"{arl0:g} points between false alarms cannot be had with this chart",
                "Give a number of points between 2 and about 10 million",
            )
        )
    return float(optimize.brentq(off, low, step, xtol=1e-10))


@cache
def _nodes() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return np.polynomial.legendre.leggauss(NODES)


def _legendre(low: float, high: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    nodes, weights = _nodes()
    half = (high - low) / 2
    return low + half * (nodes + 1), half * weights


def _weight(weight: float) -> float:
    if not 0.0 < weight <= 1.0:
        raise MethodRefusal(
            Complaint("weight", f"{weight:g} was given", "Give a share above 0 and up to 1, such as 0.2")
        )
    return float(weight)


def _longer_than_one(arl: float) -> float:
    if not (math.isfinite(arl) and arl > 1.0):
        raise MethodRefusal(
            Complaint("arl", f"{arl:g} points was given", "An average run length is a number above 1")
        )
    return float(arl)


@dataclass(frozen=True, slots=True)
class AlarmBudget:
    """A budget and what it asks of each chart.

    Args:
        false_alarms: false alarms accepted in `days`.
        days: the time for which they are accepted [d].
        points_per_day: points plotted a day on all charts together.
        arl0: points from one false alarm to the next that every chart must reach on average.
        told: the budget.
    """

    false_alarms: float
    days: float
    points_per_day: float
    arl0: float
    told: Message


@checked
def alarm_budget(
    charts: int, points_per_day: float, false_alarms: float = 1.0, days: float = 7.0
) -> AlarmBudget:
    """Average run length that every chart needs: charts x points a day x days / false alarms.

    Args:
        charts: number of charts watched at once.
        points_per_day: points plotted a day on each [1/d].
        false_alarms: false alarms accepted; one by default.
        days: in how many days [d]; a week by default (own choice).

    Charts on correlated statistics alarm together, so their budget is rather under- than overspent. Derived.
    """
    if charts < 1 or charts != int(charts):
        raise MethodRefusal(
            Complaint("charts", f"{charts:g} was given", "Give the number of charts watched, from 1")
        )
    total = charts * positive(points_per_day, "points_per_day", "1/d")
    arl0 = total * positive(days, "days", "d") / positive(false_alarms, "false_alarms")
    if arl0 <= 1:
        raise MethodRefusal(
            Complaint(
                "false_alarms",
                f"{false_alarms:g} in {days:g} days is no less than every point",
                f"Accept fewer false alarms than the {total * days:g} points plotted",
            )
        )
    each = {"charts": charts, "points": points_per_day}
    told = message(Note.ALARM_BUDGET, alarms=false_alarms, days=days, **each, arl0=arl0)
    return AlarmBudget(false_alarms, days, total, arl0, told)


@checked
def false_alarms_per_day(arl0: float, points_per_day: float) -> float:
    """False alarms a day of charts with average run length `arl0`: points a day / ARL0.

    Args:
        arl0: points from one false alarm to the next.
        points_per_day: points plotted a day on all charts together [1/d].
    """
    return positive(points_per_day, "points_per_day", "1/d") / positive(arl0, "arl0")


@checked
def prediction_width(arl0: float, baseline: float) -> float:
    """Limits in standard deviations of a baseline that new points pass once in `arl0`, over all baselines.

    t(1 - 1/(2 ARL0); m - 1) sqrt(1 + 1/m): one new point lies so about mean and standard deviation of m others.

    Args:
        arl0: wanted points from one false alarm to the next.
        baseline: number m of independent points behind mean and standard deviation.

    One baseline alarms more often than another; over many it is as promised. Source: normal prediction interval, G. J.
    Hahn, J. Amer. Statist. Assoc. 64 (1969) 878 (from memory).
    """
    if baseline < 2:
        raise MethodRefusal(
            Complaint(
                "baseline",
                f"{baseline:g} points was given",
                "Limits need at least two points behind them",
            )
        )
    chance = 0.5 / _longer_than_one(arl0)
    return float(stats.t.isf(chance, baseline - 1)) * math.sqrt(1.0 + 1.0 / baseline)

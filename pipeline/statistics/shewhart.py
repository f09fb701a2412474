"""Is a per-reel or per-length value beyond limits that chance alone rarely reaches?

Individuals, mean and range, mean and standard deviation charts. Phase I sets limits from the points themselves
and is for cleaning a baseline; phase II judges new points by limits fixed beforehand. One plotted point is a
reel or a length, never a single reading. D. C. Montgomery, Introduction to Statistical Quality Control, 7th ed.
(2013), chapter 6 and appendix VI.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import integrate, special, stats
from scipy.spatial import distance

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import ChartRule, Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Chart, Refused, Signal, UnitOfInference
from pipeline.samples import positive, readings

SigmaFrom = Literal["robust", "standard deviation", "moving range"]
FEW = 100
"""Points below which limits are told to be uncertain (Jensen et al., J. Qual. Technol. 38, 2006, 349, from memory)."""
# Values up to which all their distances are looked at (100 MB of them).
_MANY = 5_000
_QN_NORMAL = 1.0 / (math.sqrt(2.0) * float(special.ndtri(5 / 8)))


@dataclass(frozen=True, slots=True)
class ChartConstants:
    """Constants of subgroups of n normal values, by their customary letters."""

    n: int
    d2: float
    d3: float
    c4: float
    a2: float
    a3: float
    d_lower: float
    d_upper: float
    b_lower: float
    b_upper: float
    e2: float


@checked
@lru_cache(maxsize=64)
def chart_constants(n: int) -> ChartConstants:
    """d2, d3, c4 and the factors made of them: A2, A3, D3, D4, B3, B4, E2 (`d_lower` is D3, and so on).

    d2 = E range / sigma = int (1 - (1 - F)^n - F^n) dx; c4 = sqrt(2/(n-1)) Gamma(n/2) / Gamma((n-1)/2).

    Args:
        n: values in a subgroup, 2 to 100.

    Source: exact integrals of the normal range; table: ASTM MNL 7, table 49.
    """
    if not 2 <= n <= 100:
        raise MethodRefusal(Complaint("n", f"{n} values in a subgroup were given", "Give 2 to 100"))
    d2 = float(
        integrate.quad(lambda x: 1 - stats.norm.sf(x) ** n - stats.norm.cdf(x) ** n, -12, 12, limit=200)[0]
    )
    d3 = math.sqrt(_second_moment_of_range(n) - d2 * d2)
    c4 = math.sqrt(2 / (n - 1)) * math.exp(float(special.gammaln(n / 2) - special.gammaln((n - 1) / 2)))
    spread = 3 * math.sqrt(1 - c4 * c4) / c4
    return ChartConstants(
        n=n,
        d2=d2,
        d3=d3,
        c4=c4,
        a2=3 / (d2 * math.sqrt(n)),
        a3=3 / (c4 * math.sqrt(n)),
        d_lower=max(0.0, 1 - 3 * d3 / d2),
        d_upper=1 + 3 * d3 / d2,
        b_lower=max(0.0, 1 - spread),
        b_upper=1 + spread,
        e2=3 / d2,
    )


def _second_moment_of_range(n: int) -> float:
    """E w^2 = 2 int w P(range > w) dw, with P(range <= w) = n int phi(x) (F(x + w) - F(x))^(n-1) dx."""
    x, weight_x = np.polynomial.legendre.leggauss(160)
    w, weight_w = np.polynomial.legendre.leggauss(160)
    x, weight_x = 9 * x, 9 * weight_x
    w, weight_w = 8 * (w + 1), 8 * weight_w
    inner = (stats.norm.cdf(x[:, None] + w) - stats.norm.cdf(x)[:, None]) ** (n - 1)
    below = n * (weight_x * stats.norm.pdf(x)) @ inner
    return float(2 * (weight_w * w * (1 - below)).sum())


@checked
def individuals_chart(
    values: ArrayLike,
    centre: float | None = None,
    sigma: float | None = None,
    width: float = 3.0,
    sigma_from: SigmaFrom = "robust",
    unit: str = "",
    unit_of_inference: UnitOfInference = "reel",
    baseline: int | None = None,
) -> Chart | Refused:
    """One value for each reel or length against centre +/- width sigma.

    Args:
        values: the values in order; not-a-number where there is none.
        centre: centre fixed beforehand (phase II); None to estimate it here (phase I).
        sigma: standard deviation fixed beforehand; None to estimate it here.
        width: limits in standard deviations, from the alarm budget; 3 by common practice.
        sigma_from: phase I only: 'robust' (median and Qn, Rousseeuw & Croux, J. Amer. Statist. Assoc. 88,
            1993), 'standard deviation' (s / c4), or 'moving range' (mean range of neighbours / 1.128).
        unit: unit of the values.
        unit_of_inference: what one value is about.
        baseline: phase II only: number of points behind the limits, if known.

    The moving range is refused where neighbours are correlated: it would give sigma sqrt(1 - r) and limits
    that alarm all the time. Source: Montgomery 2013, section 6.4; the root of 1 - r is derived.
    """
    x = readings(values, "values")
    known = x[~np.isnan(x)]
    positive(width, "width")
    question = asks(Quantity.CONTROL_CHART)
    method = message(Method.INDIVIDUALS, width=width)
    phase_two = centre is not None and sigma is not None
    if (centre is None) != (sigma is None):
        raise MethodRefusal(
            Complaint(
                "centre, sigma", "one is given without the other", "Give both (phase II) or none (phase I)"
            )
        )
    if not phase_two and known.size < 2:
        return Refused(
            question,
            method,
            message(Reason.TOO_FEW_VALUES_FOR_LIMITS, known=known.size),
            known.size,
        )
    if not phase_two and np.ptp(known) == 0.0:
        shown = f"{known[0]:g} {unit}".strip()
        reason = message(Reason.ALL_VALUES_EQUAL_AT, known=known.size, shown=shown)
        return Refused(question, method, reason, known.size)
    correlation = _lag_one(x)
    correlated = known.size >= 8 and correlation > 1.645 / math.sqrt(known.size)
    if centre is not None and sigma is not None:
        middle, spread, how = centre, positive(sigma, "sigma", unit), "fixed beforehand"
    else:
        if sigma_from == "moving range" and correlated:
            reason = message(
                Reason.NEIGHBOURS_CORRELATED,
                correlation=correlation,
                correlation_2=math.sqrt(1 - correlation),
            )
            return Refused(question, method, reason, known.size)
        middle, spread = _estimate(x, known, sigma_from)
        how = sigma_from
    method = message(Method.INDIVIDUALS, width=width, how=how)
    made = _chart(
        method,
        x,
        width * spread,
        "II" if phase_two else "I",
        _apart(correlated, correlation),
        {"centre": middle, "sigma": spread, "width": width, "lag_1": correlation},
    )
    told = _individuals_warnings(x, correlated, correlation, phase_two, baseline)
    return replace(made, unit=unit, unit_of_inference=unit_of_inference, warnings=tuple(told))


def _estimate(x: NDArray[np.float64], known: NDArray[np.float64], how: SigmaFrom) -> tuple[float, float]:
    if how == "moving range":
        ranges = np.abs(np.diff(x))
        return float(known.mean()), float(np.nanmean(ranges)) / chart_constants(2).d2
    if how == "standard deviation":
        n = known.size
        c4 = math.sqrt(2 / (n - 1)) * math.exp(float(special.gammaln(n / 2) - special.gammaln((n - 1) / 2)))
        return float(known.mean()), float(known.std(ddof=1)) / c4
    spread = _qn(known)
    if spread == 0.0:  # more than half of the values are equal: Qn sees no scatter, the rest may
        spread = float(known.std(ddof=1))
    return float(np.median(known)), spread


def _qn(known: NDArray[np.float64]) -> float:
    """Qn, the k-th smallest distance between two values, k = [n/2] + 1 over 2; consistent for normal values.

    Source: P.J. Rousseeuw and C. Croux, J. Amer. Statist. Assoc. 88 (1993), 1273-1283; agrees with statsmodels,
    whose slow start is spared where all distances fit into memory at once.
    """
    if known.size > _MANY or known.size < 2:
        from statsmodels.robust.scale import qn_scale

        return float(qn_scale(known))
    half = known.size // 2 + 1
    place = half * (half - 1) // 2 - 1
    apart = np.partition(distance.pdist(known[:, None], "cityblock"), place)[place]
    return float(_QN_NORMAL * apart)


def _lag_one(x: NDArray[np.float64]) -> float:
    """Lag-1 autocorrelation; 0 where it cannot be had."""
    away = x - np.nanmean(x) if np.isfinite(x).any() else x
    pairs = away[:-1] * away[1:]
    total = float(np.nansum(away**2))
    return float(np.nansum(pairs) / total) if total > 1e-24 * float(np.nansum(x**2)) else 0.0


def _individuals_warnings(
    x: NDArray[np.float64], correlated: bool, correlation: float, phase_two: bool, baseline: int | None
) -> list[Message]:
    said = []
    missing = int(np.isnan(x).sum())
    if missing:
        said.append(message(Note.ITEMS_NOT_JUDGED, lost=missing, known=x.size))
    behind = baseline if phase_two else x.size - missing
    if behind is not None and behind < FEW:
        said.append(message(Note.LIMITS_REST_ON_FEW, behind=behind, few=FEW))
    if correlated:
        said.append(message(Note.NEIGHBOURS_CORRELATED, correlation=correlation))
    return said


def _apart(correlated: bool, correlation: float) -> Assumption:
    return Assumption(
        message(Assumed.POINTS_INDEPENDENT),
        not correlated,
        message(Note.LAG_ONE, lag=correlation),
        message(Note.THEN_NO_RUN_LENGTH) if correlated else None,
    )


def _chart(
    method: Message,
    x: NDArray[np.float64],
    half: float,
    phase: Literal["I", "II"],
    apart: Assumption,
    details: dict[str, float],
) -> Chart:
    """A chart of points within `half` of its centre; unit and warnings are the caller's."""
    middle = details["centre"]
    upper, lower = np.full(x.size, middle + half), np.full(x.size, middle - half)
    return Chart(
        question=asks(Quantity.CONTROL_CHART),
        method=method,
        phase=phase,
        plotted=x,
        centre=np.full(x.size, middle),
        lower=lower,
        upper=upper,
        unit="",
        signals=_signals(x, lower, upper, details["width"]),
        arl0=float(0.5 / stats.norm.sf(details["width"])) if apart.held else None,
        unit_of_inference="section average",
        assumptions=(apart,),
        details=details,
    )


def _signals(
    x: NDArray[np.float64], lower: NDArray[np.float64], upper: NDArray[np.float64], width: float
) -> tuple[Signal, ...]:
    beyond = np.flatnonzero((x > upper) | (x < lower)).tolist()
    rule = message(ChartRule.POINT_BEYOND, width=width)
    return tuple(
        Signal(i, float(x[i]), float(upper[i]), "above", rule, i)
        if x[i] > upper[i]
        else Signal(i, float(x[i]), float(lower[i]), "below", rule, i)
        for i in beyond
    )


@checked
def mean_charts(
    subgroups: ArrayLike,
    spread: Literal["range", "standard deviation"] = "range",
    unit: str = "",
    arl0: float | None = None,
) -> tuple[Chart, Chart] | Refused:
    """Mean chart and spread chart of equal subgroups (phase I): mean +/- A2 Rbar and D3, D4 Rbar, or A3, B3, B4.

    With an average run length the limits are those of the alarm budget instead: the normal quantile for the mean,
    the chi-square quantiles for the standard deviation.

    Args:
        subgroups: one row for each reel or length, one column for each value in it.
        spread: 'range' or 'standard deviation' (better from about 10 values).
        unit: unit of the values.
        arl0: points from one false alarm to the next that each chart must reach, for the standard deviation
            only; three standard deviations where it is None.

    Stops being true where reels differ by more than their inner scatter explains: then every reel alarms, and
    an individuals chart of the reel means is the right one (told as a warning). Source: Montgomery 2013, 6.2-6.3.
    """
    rows = np.asarray(subgroups, dtype=np.float64)
    if rows.ndim != 2 or not np.isfinite(rows).all():
        raise MethodRefusal(
            Complaint("subgroups", "is not a full table of finite numbers", "Give rows of equal length")
        )
    question = asks(Quantity.CONTROL_CHART)
    if rows.shape[0] < 2 or rows.shape[1] < 2:
        reason = message(Reason.TOO_FEW_SUBGROUPS, shape=rows.shape[0], shape_2=rows.shape[1])
        return Refused(question, message(Method.MEAN_AND_SPREAD_CHARTS), reason, rows.size)
    if arl0 is not None and (spread == "range" or not arl0 > 1.0):
        raise MethodRefusal(
            Complaint(
                "arl0",
                f"{arl0:g} was given for the {spread}",
                "Give an average run length above 1, and the standard deviation as the spread",
            )
        )
    k = chart_constants(rows.shape[1])
    inner = np.ptp(rows, axis=1) if spread == "range" else rows.std(axis=1, ddof=1)
    middle, average = float(rows.mean()), float(inner.mean())
    if average == 0.0:
        reason = message(Reason.SUBGROUPS_EQUAL)
        return Refused(question, message(Method.MEAN_AND_SPREAD_CHARTS), reason, rows.size)
    factors = (k.a2, k.d_lower, k.d_upper) if spread == "range" else (k.a3, k.b_lower, k.b_upper)
    sigma = average / (k.d2 if spread == "range" else k.c4)
    f_ratio = float(rows.mean(axis=1).var(ddof=1) * k.n / sigma**2)
    between = float(stats.f.sf(f_ratio, rows.shape[0] - 1, rows.shape[0] * (k.n - 1))) < 0.001
    differ = message(Note.REELS_DIFFER_MORE)
    warnings = [differ] if between else []
    means = rows.mean(axis=1)
    width, ends, reached = 3.0, (factors[1] * average, factors[2] * average), None
    if arl0 is not None:
        width = float(stats.norm.isf(0.5 / arl0))
        shares = [0.5 / arl0, 1.0 - 0.5 / arl0]
        low, high = sigma * np.sqrt(stats.chi2.ppf(shares, k.n - 1) / (k.n - 1))
        ends, reached = (float(low), float(high)), arl0
    first = _chart(
        message(Method.MEAN_CHART, spread=spread),
        means,
        factors[0] * average * width / 3.0,
        "I",
        _apart(False, _lag_one(means)),
        {"centre": middle, "sigma": sigma, "width": width, f"mean_{spread.replace(' ', '_')}": average},
    )
    first = replace(first, unit=unit, warnings=tuple(warnings))
    lower, upper = np.full(inner.size, ends[0]), np.full(inner.size, ends[1])
    second = Chart(
        question=question,
        method=message(Method.SPREAD_CHART, spread=spread),
        phase="I",
        plotted=inner,
        centre=np.full(inner.size, average),
        lower=lower,
        upper=upper,
        unit=unit,
        signals=_signals(inner, lower, upper, width),
        arl0=reached,
        unit_of_inference="section average",
        details={"mean_spread": average},
    )
    return first, second

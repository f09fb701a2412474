"""Do several values of a reel together stand out, and is it the mean wall, the eccentricity or the shape?

Hotelling's T^2 and the multivariate EWMA; for equally spaced wall sensors T^2 is split by the order of the
Fourier series around the wire, so no alarm stays unexplained. Tracy, Young & Mason, J. Qual. Technol. 24 (1992)
88 for the limits; Lowry et al., Technometrics 34 (1992) 46; the split is derived.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats
from scipy.signal import lfilter

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import ChartRule, Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Chart, Refused, Signal
from pipeline.samples import positive, share

QUESTION = asks(Quantity.CONTROL_CHART)
BY_ORDER = message(Method.T2_BY_ORDER)
PART_NAMES = {0: "mean wall", 1: "eccentricity", 2: "ovality", 3: "three lobes"}


@checked
def t2_limit(variables: int, baseline: int, alpha: float, phase: Literal["I", "II"]) -> float:
    """Limit of T^2 for single vectors, with m vectors behind centre and covariance.

    I: (m - 1)^2 / m Beta(1 - alpha; p/2, (m - p - 1)/2); II: p (m + 1)(m - 1) / (m (m - p)) F(1 - alpha; p, m - p).

    Args:
        variables: p.
        baseline: m.
        alpha: chance that one point of an unchanged process lies above.
        phase: 'I' for the baseline's own vectors, 'II' for new ones.

    Source: Tracy, Young & Mason 1992.
    """
    p, m = variables, baseline
    share(alpha, "alpha")
    if m <= p + 1:
        raise MethodRefusal(
            Complaint("baseline", f"{m} vectors for {p} variables", f"Give at least {p + 2} vectors")
        )
    if phase == "I":
        return float((m - 1) ** 2 / m * stats.beta.isf(alpha, p / 2, (m - p - 1) / 2))
    return float(p * (m + 1) * (m - 1) / (m * (m - p)) * stats.f.isf(alpha, p, m - p))


@checked
def t_squared(
    vectors: ArrayLike, centre: ArrayLike, covariance: ArrayLike, size: int = 1
) -> NDArray[np.float64]:
    """T^2 = n (x - centre)' S^-1 (x - centre) of each row.

    Args:
        vectors: one row for each item.
        centre: centre.
        covariance: covariance S of a single vector.
        size: n values behind each row.

    Raises:
        MethodRefusal: the covariance has no inverse.
    """
    away = np.atleast_2d(np.asarray(vectors, dtype=np.float64)) - np.asarray(centre, dtype=np.float64)
    s = np.asarray(covariance, dtype=np.float64)
    if not np.isfinite(s).all() or np.linalg.matrix_rank(s) < s.shape[0]:
        raise MethodRefusal(
            Complaint(
                "covariance",
                "has no inverse: two variables move as one, or one stands still",
                "Leave one of them out, or give more vectors",
            )
        )
    return np.asarray(size * (away * np.linalg.solve(s, away.T).T).sum(axis=1), dtype=np.float64)


@checked
def t2_chart(
    vectors: ArrayLike,
    alpha: float,
    centre: ArrayLike | None = None,
    covariance: ArrayLike | None = None,
    baseline: int | None = None,
) -> Chart | Refused:
    """T^2 of single vectors against its limit.

    Args:
        vectors: one row for each reel, one column for each value; a row with not-a-number is not judged.
        alpha: chance of a false alarm at one point, 1 / ARL0 of the alarm budget.
        centre: centre fixed beforehand (phase II); None for phase I.
        covariance: covariance fixed beforehand; None for phase I.
        baseline: phase II: vectors behind them.

    Stops being true for vectors that are not normal or follow one another. Source: Tracy, Young & Mason 1992.
    """
    rows = _table(vectors)
    known = _whole(rows)
    m, p = int(known.sum()), rows.shape[1]
    phase: Literal["I", "II"] = "I" if centre is None or covariance is None else "II"
    if phase == "II" and baseline is None:
        raise MethodRefusal(
            Complaint("baseline", "is not given", "Give the number of vectors behind center and covariance")
        )
    behind = m if baseline is None else baseline
    if behind <= p + 1:
        reason = message(Reason.TOO_FEW_VECTORS, behind=behind, p=p, p_2=p + 2)
        return Refused(QUESTION, message(Method.T2_CHART), reason, behind)
    middle = rows[known].mean(axis=0) if centre is None else np.asarray(centre, dtype=np.float64)
    spread = np.cov(rows[known].T) if covariance is None else np.asarray(covariance, dtype=np.float64)
    plotted = np.full(rows.shape[0], np.nan)
    plotted[known] = t_squared(rows[known], middle, np.atleast_2d(spread))
    limit = t2_limit(p, behind, alpha, phase)
    return _one_sided(
        message(Method.T2_CHART), plotted, limit, phase, 1 / alpha, message(ChartRule.T2), known
    )


@checked
def mewma_chart(
    vectors: ArrayLike, centre: ArrayLike, covariance: ArrayLike, weight: float, limit: float, arl0: float
) -> Chart:
    """Multivariate EWMA z = (1 - w) z + w (x - centre), z' (w/(2-w) S)^-1 z against `limit`.

    Args:
        vectors: one row for each reel; a row with not-a-number leaves z as it is and is not judged.
        centre: centre fixed beforehand.
        covariance: covariance S fixed beforehand.
        weight: w, 0 to 1.
        limit: h, from the run-length room.
        arl0: average run length that goes with it.

    Source: Lowry et al. 1992 (with the covariance of z once it has run in).
    """
    if not 0.0 < weight <= 1.0:
        raise MethodRefusal(Complaint("weight", f"{weight:g} was given", "Give a share above 0 and up to 1"))
    rows = _table(vectors)
    known = _whole(rows)
    away = rows[known] - np.asarray(centre, dtype=np.float64)
    z = np.asarray(lfilter([weight], [1.0, weight - 1.0], away, axis=0), dtype=np.float64)
    plotted = np.full(rows.shape[0], np.nan)
    scaled = np.asarray(covariance, dtype=np.float64) * weight / (2 - weight)
    plotted[known] = t_squared(z, np.zeros(rows.shape[1]), scaled) if len(z) else 0.0
    method = message(Method.MULTIVARIATE_EWMA, weight=weight)
    return _one_sided(
        method, plotted, positive(limit, "limit"), "II", arl0, message(ChartRule.MULTIVARIATE_EWMA), known
    )


@dataclass(frozen=True, slots=True)
class WallBaseline:
    """Centre and variances of wall sensors whose covariance depends only on the angle between them.

    Args:
        centre_mm: mean of each sensor [mm].
        variances: variance of each order of the Fourier series around the wire, order 0 first [mm2].
        m: vectors behind it.
    """

    centre_mm: NDArray[np.float64]
    variances: tuple[float, ...]
    m: int


@checked
def wall_baseline(walls_mm: ArrayLike) -> WallBaseline | Refused:
    """Centre and variance of each order from baseline reels.

    Args:
        walls_mm: one row for each reel, one column for each of the equally spaced sensors (reel means) [mm].

    Stops being true where sensors differ in noise or the covariance depends on the place: the parts are then
    no longer independent. Derived: a circulant covariance is diagonal in the Fourier series.
    """
    rows = _table(walls_mm)
    rows = rows[np.isfinite(rows).all(axis=1)]
    m, n = rows.shape
    if m < n + 2 or n < 3:
        reason = message(Reason.TOO_FEW_REELS_OF_SENSORS, m=m, n=n, n_2=n + 2)
        return Refused(QUESTION, BY_ORDER, reason, m)
    centre = rows.mean(axis=0)
    power = np.abs(np.fft.rfft(rows - centre, axis=1)) ** 2 / n
    variances = power.sum(axis=0) / (m - 1)
    if variances.min() <= 1e-24 * float(np.abs(centre).max() ** 2):
        reason = message(Reason.SENSORS_STAND_STILL)
        return Refused(QUESTION, BY_ORDER, reason, m)
    return WallBaseline(centre, tuple(float(one) for one in variances), m)


@checked
def wall_parts(walls_mm: ArrayLike, baseline: WallBaseline) -> dict[str, NDArray[np.float64]]:
    """T^2 of wall sensors as mean wall + eccentricity + ovality + ...: name of each part -> its value for each reel.

    T^2 = sum_j w_j |F_j|^2 / (N v_j), F the Fourier coefficients of the departures, w_j 1 for order 0 and N/2
    and 2 between; not-a-number where a sensor is missing.

    Args:
        walls_mm: one row for each reel, one column for each sensor [mm].
        baseline: from `wall_baseline`.

    Derived: a circulant covariance is diagonal in the Fourier series.
    """
    rows = _table(walls_mm)
    n = baseline.centre_mm.size
    if rows.shape[1] != n:
        raise MethodRefusal(
            Complaint(
                "walls_mm", f"{rows.shape[1]} sensors stand against {n} of the baseline", "Give the same"
            )
        )
    power = np.abs(np.fft.rfft(rows - baseline.centre_mm, axis=1)) ** 2 / n
    return {
        PART_NAMES.get(j, f"order {j}"): _degrees(j, n) * power[:, j] / variance
        for j, variance in enumerate(baseline.variances)
    }


def _degrees(order: int, sensors: int) -> int:
    """Free directions of one order around the wire: its cosine and its sine, or one of them alone."""
    return 1 if order == 0 or 2 * order == sensors else 2


@checked
def wall_chart(
    walls_mm: ArrayLike, baseline: WallBaseline, alpha: float, phase: Literal["I", "II"] = "II"
) -> Chart:
    """T^2 of wall sensors by order around the wire, each part against its own limit.

    What is plotted is the largest part over its limit. A part of d degrees has, in phase II, the limit
    d (m + 1)/m F(d, d (m - 1)), in phase I d (m - 1)^2/m Beta(d/2, d (m - 2)/2), at an equal share of alpha.

    Args:
        walls_mm: one row for each reel, one column for each sensor [mm]; a row with a missing sensor is not
            judged.
        baseline: from `wall_baseline`.
        alpha: chance of a false alarm at one reel over all parts, 1 / ARL0 of the alarm budget.
        phase: 'I' for the baseline's own reels.

    Derived: as `wall_parts`; both limits are those of `t2_limit` where d is 1.
    """
    parts = wall_parts(walls_mm, baseline)
    n, m = baseline.centre_mm.size, baseline.m
    single = 1 - (1 - share(alpha, "alpha")) ** (1 / len(parts))
    limits = {}
    for j, name in enumerate(parts):
        d = _degrees(j, n)
        limits[name] = float(
            d * (m - 1) ** 2 / m * stats.beta.isf(single, d / 2, d * (m - 2) / 2)
            if phase == "I"
            else d * (m + 1) / m * stats.f.isf(single, d, d * (m - 1))
        )
    over = np.array([parts[name] / limits[name] for name in parts])
    known = np.isfinite(over).all(axis=0)
    plotted = np.where(known, over.max(axis=0), np.nan)
    signals = []
    for i in np.flatnonzero(plotted > 1.0).tolist():
        beyond = sorted((name for name in parts if parts[name][i] > limits[name]), key=lambda k: -parts[k][i])
        told = [
            message(ChartRule.T2_PART, part=name, value=parts[name][i], limit=limits[name]) for name in beyond
        ]
        rule = message(ChartRule.T2_OF_PARTS, parts=told)
        signals.append(Signal(i, float(plotted[i]), 1.0, "above", rule, i))
    return Chart(
        question=QUESTION,
        method=BY_ORDER,
        phase=phase,
        plotted=plotted,
        centre=np.zeros(plotted.size),
        lower=np.full(plotted.size, -np.inf),
        upper=np.ones(plotted.size),
        unit="",
        signals=tuple(signals),
        arl0=1 / alpha,
        unit_of_inference="reel",
        assumptions=(Assumption(message(Assumed.REELS_AND_SENSORS_NORMAL), None, message(Note.NOT_CHECKED)),),
        warnings=_missing(known),
        details={f"limit of {name}": limit for name, limit in limits.items()},
    )


def _table(vectors: ArrayLike) -> NDArray[np.float64]:
    rows = np.asarray(vectors, dtype=np.float64)
    if rows.ndim != 2 or np.isinf(rows).any():
        raise MethodRefusal(
            Complaint("vectors", "is not a table of finite numbers", "Give one row for each item")
        )
    return rows


def _whole(rows: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Rows without a missing value."""
    return np.asarray(np.isfinite(rows).all(axis=1), dtype=np.bool_)


def _missing(known: NDArray[np.bool_]) -> tuple[Message, ...]:
    lost = int((~known).sum())
    return (message(Note.ITEMS_LACK_A_VALUE, lost=lost, known=known.size),) if lost else ()


def _one_sided(
    method: Message,
    plotted: NDArray[np.float64],
    limit: float,
    phase: Literal["I", "II"],
    arl0: float,
    rule: Message,
    known: NDArray[np.bool_],
) -> Chart:
    above: Sequence[int] = np.flatnonzero(plotted > limit).tolist()
    return Chart(
        question=QUESTION,
        method=method,
        phase=phase,
        plotted=plotted,
        centre=np.zeros(plotted.size),
        lower=np.full(plotted.size, -np.inf),
        upper=np.full(plotted.size, limit),
        unit="",
        signals=tuple(Signal(i, float(plotted[i]), limit, "above", rule, i) for i in above),
        arl0=arl0,
        unit_of_inference="reel",
        assumptions=(Assumption(message(Assumed.REELS_NORMAL), None, message(Note.NOT_CHECKED)),),
        warnings=_missing(known),
        details={"limit": limit},
    )

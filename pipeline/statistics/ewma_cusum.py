"""Has a per-reel value drifted a little, for long?

EWMA and tabular CUSUM charts, which add up small shifts that single points do not show. Limits come from
outside (the alarm budget and the run-length room). D. C. Montgomery, Introduction to Statistical Quality
Control, 7th ed. (2013), chapter 9; Lucas & Saccucci, Technometrics 32 (1990) 1.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import ChartRule, Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Chart, Refused, Signal
from pipeline.samples import not_negative, positive, readings


@checked
def ewma_chart(
    values: ArrayLike,
    centre: float,
    sigma: float,
    weight: float = 0.2,
    width: float = 2.962,
    phi: float = 0.0,
    arl0: float | None = None,
    unit: str = "",
) -> Chart | Refused:
    """EWMA z = (1 - w) z + w x against centre +/- L sigma sqrt(w / (2 - w) (1 - (1 - w)^2t)).

    Where the values are AR(1) with coefficient phi, the limits are widened by sqrt((1 + a) / (1 - a)),
    a = phi (1 - w).

    Args:
        values: the values in order; not-a-number leaves z as it is.
        centre: centre fixed beforehand.
        sigma: standard deviation fixed beforehand.
        weight: w, 0 to 1; 0.2 by default (Lucas & Saccucci).
        width: L; 2.962 with w 0.2 gives a false alarm every 500 points.
        phi: autoregression of the values, if the baseline shows one.
        arl0: average run length that goes with `weight` and `width`, from the run-length room.
        unit: unit of the values.

    Source: Montgomery 2013, section 9.2; the widening is derived.
    """
    x = readings(values, "values")
    w = _weight(weight)
    spread = positive(sigma, "sigma", unit) * positive(width, "width") * ewma_ar_factor(phi, w)
    question = asks(Quantity.CONTROL_CHART)
    widened = {"phi": phi} if phi else {}
    method = message(Method.EWMA_CHART, weight=w, width=width, **widened)
    known = ~np.isnan(x)
    if not known.any():
        return Refused(question, method, message(Reason.NO_ITEM_WITH_A_VALUE), 0)
    z = _ewma(np.where(known, x, centre), known, centre, w)
    steps = np.cumsum(known)
    half = spread * np.sqrt(w / (2 - w) * (1 - (1 - w) ** (2 * steps)))
    plotted = np.where(known, z, np.nan)
    upper, lower = centre + half, centre - half
    return Chart(
        question=question,
        method=method,
        phase="II",
        plotted=plotted,
        centre=np.full(x.size, centre),
        lower=lower,
        upper=upper,
        unit=unit,
        signals=_ewma_signals(plotted, centre, lower, upper),
        arl0=arl0,
        unit_of_inference="reel",
        assumptions=(
            Assumption(message(Assumed.POINTS_INDEPENDENT_OR_AR1), None, message(Note.PHI, phi=phi)),
        ),
        warnings=_missing(known),
        details={"centre": centre, "sigma": sigma, "weight": w, "width": width, "phi": phi},
    )


@checked
def ewma_ar_factor(phi: float, weight: float) -> float:
    """How much wider the limits of an EWMA of AR(1) values must be: sqrt((1 + a) / (1 - a)), a = phi (1 - w).

    Args:
        phi: autoregression of the values, -1 to 1.
        weight: w of the EWMA.

    Source: derived; phi .6 and w .2 give 1.687.
    """
    if not -1.0 < phi < 1.0:
        raise MethodRefusal(
            Complaint("phi", f"{phi:g} was given", "Give an autoregression between -1 and 1, both left out")
        )
    a = phi * (1 - _weight(weight))
    return math.sqrt((1 + a) / (1 - a))


def _ewma(x: NDArray[np.float64], known: NDArray[np.bool_], centre: float, w: float) -> NDArray[np.float64]:
    """EWMA over the known values, repeated where there is none."""
    given = x[known]
    z, _ = signal.lfilter([w], [1.0, -(1.0 - w)], given, zi=[(1.0 - w) * centre])
    number = np.cumsum(known) - 1
    return np.where(number >= 0, np.asarray(z)[np.maximum(number, 0)], centre)


def _ewma_signals(
    z: NDArray[np.float64], centre: float, lower: NDArray[np.float64], upper: NDArray[np.float64]
) -> tuple[Signal, ...]:
    found = []
    side = np.sign(np.nan_to_num(z - centre))
    for i in np.flatnonzero((z > upper) | (z < lower)).tolist():
        crossed = np.flatnonzero(side[: i + 1] != side[i])
        since = int(crossed[-1]) + 1 if crossed.size else 0
        above = bool(z[i] > upper[i])
        limit = float(upper[i] if above else lower[i])
        found.append(
            Signal(i, float(z[i]), limit, "above" if above else "below", message(ChartRule.EWMA), since)
        )
    return tuple(found)


@dataclass(frozen=True, slots=True)
class CusumChart:
    """Both sides of a tabular CUSUM, in units of the values.

    Args:
        above: sum of what went beyond centre + k sigma, one for each item.
        below: sum of what fell short of centre - k sigma, positive.
        limit: decision interval h sigma.
        reference: k sigma.
        centre: the target.
        signals: items at which a sum stands above the limit; `since` is the first item after its last zero.
        arl0: points from one false alarm to the next on average, as handed in.
        unit: unit of the values.
        warnings: sentences a reader must see beside the chart.
    """

    above: NDArray[np.float64]
    below: NDArray[np.float64]
    limit: float
    reference: float
    centre: float
    signals: tuple[Signal, ...]
    arl0: float | None
    unit: str
    warnings: tuple[Message, ...]


@checked
def cusum_chart(
    values: ArrayLike,
    centre: float,
    sigma: float,
    reference: float = 0.5,
    limit: float = 5.0,
    arl0: float | None = None,
    unit: str = "",
) -> CusumChart | Refused:
    """Tabular CUSUM: S+ = max(0, S+ + x - centre - k sigma), S- likewise below; signal above h sigma.

    After a signal the sums go on (they are not set back), so that a lasting shift stays visible.

    Args:
        values: the values in order; not-a-number leaves the sums as they are.
        centre: target.
        sigma: standard deviation fixed beforehand.
        reference: k, half the shift to be found [standard deviations].
        limit: h [standard deviations]; 5 with k 0.5 gives a false alarm every 465 points.
        arl0: average run length that goes with `reference` and `limit`.
        unit: unit of the values.

    Source: Montgomery 2013, section 9.1 (level since the shift: centre + k + S/N). Independent points.
    """
    x = readings(values, "values")
    slack = not_negative(reference, "reference") * positive(sigma, "sigma", unit)
    height = positive(limit, "limit") * sigma
    known = ~np.isnan(x)
    if not known.any():
        return Refused(
            asks(Quantity.CONTROL_CHART),
            message(Method.TABULAR_CUSUM),
            message(Reason.NO_ITEM_WITH_A_VALUE),
            0,
        )
    away = np.where(known, x - centre, 0.0)
    drift = np.where(known, slack, 0.0)
    above, below = _summed(away - drift), _summed(-away - drift)
    found = []
    sides: tuple[tuple[Literal["above", "below"], NDArray[np.float64]], ...] = (
        ("above", above),
        ("below", below),
    )
    for side, sums in sides:
        for i in np.flatnonzero(known & (sums > height)).tolist():
            zeros = np.flatnonzero(sums[:i] == 0.0)
            since = int(zeros[-1]) + 1 if zeros.size else 0
            found.append(Signal(i, float(sums[i]), height, side, message(ChartRule.CUSUM), since))
    return CusumChart(
        above=above,
        below=below,
        limit=height,
        reference=slack,
        centre=centre,
        signals=tuple(sorted(found, key=lambda one: one.item)),
        arl0=arl0,
        unit=unit,
        warnings=_missing(known),
    )


def _summed(steps: NDArray[np.float64]) -> NDArray[np.float64]:
    """S_t = max(0, S_{t-1} + step), all at once: the running sum less its lowest point so far."""
    total = np.cumsum(steps)
    lowest = np.minimum(np.minimum.accumulate(total), 0.0)
    return np.asarray(total - lowest, dtype=np.float64)


def _missing(known: NDArray[np.bool_]) -> tuple[Message, ...]:
    lost = int((~known).sum())
    return (message(Note.ITEMS_NOT_JUDGED, lost=lost, known=known.size),) if lost else ()


def _weight(weight: float) -> float:
    if not 0.0 < weight <= 1.0:
        raise MethodRefusal(
            Complaint("weight", f"{weight:g} was given", "Give a share above 0 and up to 1, such as 0.2")
        )
    return float(weight)

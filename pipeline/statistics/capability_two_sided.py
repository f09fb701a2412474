"""How a quantity with both a lower and an upper limit sits between them: C_p, C_pk and their intervals.

For building wire only the overall diameter may carry two limits; a wall has a lower limit alone and gets no
C_p. Words as in ISO 22514-2 (scope seen): P for performance, C once stability was shown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.departures import apart_from_neighbours, near_normal
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, UnitOfInference

# Fewest effective values for an index (chosen here).
FEWEST = 10.0

NO_CHART = message(Note.NO_CONTROL_CHART)


@dataclass(frozen=True, slots=True)
class Indices:
    """The usual five figures of a quantity between two limits; all pure numbers.

    Args:
        spread: (U - L)/(6 s), C_p or P_p.
        upper: (U - mean)/(3 s).
        lower: (mean - L)/(3 s).
        smaller: the smaller of the two, C_pk or P_pk.
        off_centre: |middle - mean| over half the width, k; C_pk = (1 - k) C_p where the mean is between the
            limits.
    """

    spread: float
    upper: float
    lower: float
    smaller: float
    off_centre: float


@checked
def indices_between_limits(mean: float, sd: float, lower_limit: float, upper_limit: float) -> Indices:
    """The five indices from a mean and a standard deviation.

    Args:
        mean: mean, in the unit of the limits.
        sd: standard deviation above zero, same unit.
        lower_limit: L, same unit.
        upper_limit: U above L, same unit.

    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.1.6.
    """
    upper, lower = (upper_limit - mean) / (3.0 * sd), (mean - lower_limit) / (3.0 * sd)
    width = upper_limit - lower_limit
    middle = (upper_limit + lower_limit) / 2.0
    return Indices(width / (6.0 * sd), upper, lower, min(upper, lower), abs(middle - mean) / (width / 2.0))


@checked
def performance_index_two_sided(
    values: ArrayLike,
    lower_limit: float,
    upper_limit: float,
    *,
    n_for_mean: float | None = None,
    n_for_variance: float | None = None,
    freedom_of_worth: float | None = None,
    stable: bool | None = None,
    stability_evidence: Message = NO_CHART,
    confidence: float = 0.95,
    unit_of_inference: UnitOfInference = "reel",
    known_m: float | None = None,
) -> Result | Refused:
    """Distance of the mean to the nearer of two limits in three overall standard deviations, with a lower
    bound.

    P_pk = min(U - mean, mean - L)/(3 s); lower bound P_pk - z sqrt(1/(9 n_mean) + P_pk^2/(2 f)), f the
    degrees of freedom of the variance. `details` holds P_p with its exact interval P_p sqrt(chi2/f).

    Args:
        values: one reading, section average or reel value each, in the unit of the limits; NaN where unknown.
        lower_limit: L.
        upper_limit: U, above L.
        n_for_mean: effective number for the mean; None only for values independent of each other.
        n_for_variance: effective number for the variance; None as above.
        freedom_of_worth: degrees of freedom the effective numbers are known with (`EffectiveN.freedom`): Student's t
            then stands for z, and both ends of P_p go as much farther in logarithms. None where they are known.
        stable: True if a phase I chart passed, False if it signalled (then refused), None if none was looked
            at.
        stability_evidence: the chart's finding, shown beside the index.
        confidence: of the one-sided bound, and of the two-sided interval of P_p.
        unit_of_inference: what one value is.
        known_m: known length behind the values [m].

    Source: Bissell, Applied Statistics 39 (1990), 331-340, and for P_p the chi-square interval of Montgomery,
    Introduction to Statistical Quality Control, section 8.3 (both from memory). No exact bound of a two-sided
    P_pk exists in closed form; this one is close for normal values, wrong for skewed ones.
    """
    name = "C_pk" if stable else "P_pk"
    question = asks(Quantity.TWO_SIDED_PERFORMANCE_INDEX, symbol=name.replace("_", ""))
    method = message(Method.TWO_SIDED_INDEX, symbol=name.replace("_", ""))
    series = np.asarray(values, dtype=np.float64).ravel()
    known = series[~np.isnan(series)]
    worth = min([float(known.size)] + [one for one in (n_for_mean, n_for_variance) if one is not None])
    reason = None
    if not (math.isfinite(lower_limit) and math.isfinite(upper_limit) and lower_limit < upper_limit):
        reason = message(Reason.LIMITS_NOT_IN_ORDER)
    elif np.isinf(known).any():
        reason = message(Reason.INFINITE_VALUES, infinite=int(np.isinf(known).sum()), known=known.size)
    elif worth < FEWEST:
        reason = message(Reason.TOO_FEW_EFFECTIVE, n=known.size, worth=worth, fewest=FEWEST)
    elif np.ptp(known) == 0.0:
        reason = message(Reason.NO_SPREAD_STUCK, known=known.size)
    elif not all(math.isfinite(one) for one in (n_for_mean, n_for_variance) if one is not None):
        reason = message(Reason.EFFECTIVE_NUMBER_NOT_FINITE)
    elif unit_of_inference not in ("reel", "event") and n_for_mean is None:
        reason = message(Reason.VALUES_REPEAT_NEIGHBOURS)
    elif stable is False:
        reason = message(Reason.PROCESS_NOT_STABLE, evidence=stability_evidence)
    if reason is not None:
        return Refused(question, method, reason, int(known.size))
    n = known.size
    n_mean = float(n if n_for_mean is None else n_for_mean)
    freedom = float(n if n_for_variance is None else n_for_variance) - 1.0
    off = known - known[0]
    sd = float(off.std(ddof=1)) / math.sqrt(n / (n - 1.0) * (1.0 - 1.0 / n_mean))
    found = indices_between_limits(float(known[0] + off.mean()), sd, lower_limit, upper_limit)
    error = math.sqrt(1.0 / (9.0 * n_mean) + found.smaller**2 / (2.0 * freedom))
    tail = (1.0 - confidence) / 2.0
    z = (
        special.ndtri(confidence)
        if freedom_of_worth is None
        else special.stdtrit(freedom_of_worth, confidence)
    )
    wide = (
        1.0
        if freedom_of_worth is None
        else float(special.stdtrit(freedom_of_worth, 1.0 - tail) / special.ndtri(1.0 - tail))
    )
    return Result(
        question=question,
        estimate=found.smaller,
        low=found.smaller - float(z) * error,
        high=math.inf,
        confidence=confidence,
        unit="",
        method=method,
        n=n,
        effective_n=None if n_for_mean is None else n_mean,
        known_m=known_m,
        unit_of_inference=unit_of_inference,
        assumptions=(
            near_normal(series, freedom + 1.0),
            apart_from_neighbours(series)
            if n_for_mean is None
            else Assumption(
                message(Assumed.CORRELATION_ALLOWED_FOR), None, message(Note.EFFECTIVE_NUMBERS_PASSED)
            ),
            Assumption(message(Assumed.PROCESS_STABLE), stable, stability_evidence),
        ),
        warnings=_warnings(found, stable, series.size - n),
        details={
            "mean": float(known[0] + off.mean()),
            "sd": sd,
            "spread_index": found.spread,
            "spread_index_low": found.spread
            * math.sqrt(float(stats.chi2.ppf(tail, freedom)) / freedom) ** wide,
            "spread_index_high": found.spread
            * math.sqrt(float(stats.chi2.isf(tail, freedom)) / freedom) ** wide,
            "index_to_lower": found.lower,
            "index_to_upper": found.upper,
            "off_centre": found.off_centre,
        },
    )


def _warnings(found: Indices, stable: bool | None, unknown: int) -> tuple[Message, ...]:
    told = []
    if found.smaller <= 0.0:
        told.append(message(Note.MEAN_OUTSIDE_THE_LIMITS))
    if stable is None:
        told.append(message(Note.STABILITY_NOT_SHOWN))
    if unknown:
        told.append(message(Note.UNKNOWN_VALUES_LEFT_OUT, n=unknown))
    return tuple(told)

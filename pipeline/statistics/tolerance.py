"""What limit a stated share of reels or points keeps, with stated confidence: tolerance limits and quantile
bounds.

Sources: Odeh and Owen, Tables for Normal Tolerance Limits (1980); Krishnamoorthy and Mathew, Statistical
Tolerance Regions (2009); NIST/SEMATECH e-Handbook, section 7.2.6.3; Wilks, Ann. Math. Stat. 12 (1941), 91-96;
ISO 16269-6 (titles and formulae from memory). Values are independent: one a reel, not readings.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, UnitOfInference


@checked
def one_sided_factor(n: int, share: float, confidence: float) -> float:
    """Factor k of a one-sided normal tolerance limit mean - k s, exact.

    k = t'_{n-1, z_P sqrt(n)}(confidence) / sqrt(n), t' the noncentral t quantile.

    Args:
        n: independent values, 2 or more.
        share: share P of the population that keeps the limit, 0 to 1.
        confidence: confidence of the statement, 0 to 1.

    Source: Odeh and Owen (1980).
    """
    _check(n, share, confidence)
    return float(stats.nct.ppf(confidence, n - 1, special.ndtri(share) * math.sqrt(n))) / math.sqrt(n)


@checked
def confidence_of_extreme(n: int, share: float, rank: int = 1, two_sided: bool = False) -> float:
    """Confidence that the smallest (or largest) of n values bounds the stated share, whatever the
    distribution.

    One-sided, rank r: P(Binomial(n, 1 - share) >= r) = 1 - share^n for r = 1; two-sided from the rank-th
    smallest to the largest: P(Binomial(n, 1 - share) >= r + 1).

    Args:
        n: independent values.
        share: share of the population that keeps the bound.
        rank: 1 for the smallest value, 2 for the second smallest, ...
        two_sided: True for the interval up to the largest value.

    Source: Wilks (1941).
    """
    _check(max(n, 2), share, 0.5)
    return float(stats.binom.sf(rank - 1 + int(two_sided), n, 1.0 - share))


@checked
def values_needed(share: float, confidence: float, rank: int = 1, two_sided: bool = False) -> int:
    """Fewest independent values whose extreme bounds the share with the confidence, whatever the
    distribution.

    Args:
        share: share of the population that keeps the bound.
        confidence: confidence of the statement.
        rank: 1 for the smallest value, 2 for the second smallest, ...
        two_sided: True for the interval up to the largest value.

    Source: Wilks (1941); also the number of faultless samples that shows at most 1 - share faulty.
    """
    _check(2, share, confidence)
    low, high = 0, rank + 1
    while confidence_of_extreme(high, share, rank, two_sided) < confidence:
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        enough = confidence_of_extreme(middle, share, rank, two_sided) >= confidence
        low, high = (low, middle) if enough else (middle, high)
    return high


@checked
def lower_tolerance_limit(
    values: ArrayLike,
    share: float,
    *,
    unit: str,
    unit_of_inference: UnitOfInference = "reel",
    confidence: float = 0.95,
    shape: Literal["normal", "any"] = "normal",
) -> Result | Refused:
    """Limit kept by the stated share of reels with the stated confidence.

    Normal: mean - k s; any distribution: the smallest value, if there are enough values for the share.

    Args:
        values: independent values, one a reel; NaN where unknown.
        share: share of the population above the limit.
        unit: unit of the values.
        unit_of_inference: what one value is; readings are refused because they are not independent.
        confidence: confidence of the statement.
        shape: "normal" or "any".

    Returns:
        A `Result` whose estimate is the sample's (1 - share) quantile under the shape and whose `low` is the
        tolerance limit, or a `Refused`.
    """
    series = np.asarray(values, dtype=np.float64).ravel()
    known = series[~np.isnan(series)]
    question = asks(Quantity.REEL_TOLERANCE_LIMIT, share=share)
    method = message(Method.NORMAL_TOLERANCE_LIMIT) if shape == "normal" else message(Method.SMALLEST_VALUE)
    n = int(known.size)
    reason = None
    if unit_of_inference == "reading":
        reason = message(Reason.READINGS_REPEAT_NEIGHBOURS)
    elif not np.isfinite(known).all():
        reason = message(Reason.VALUE_INFINITE)
    elif n < 10:
        reason = message(Reason.TOO_FEW_VALUES_FOR_A_LIMIT, n=n)
    elif np.ptp(known) == 0.0:
        reason = message(Reason.VALUES_EQUAL, n=n)
    elif shape == "any" and n < values_needed(share, confidence):
        reason = message(
            Reason.TOO_FEW_VALUES_WITHOUT_DISTRIBUTION, n=n, share=values_needed(share, confidence)
        )
    if reason is not None:
        return Refused(question, method, reason, n)
    if shape == "normal":
        off = known - known[0]
        mean, sd = float(known[0] + off.mean()), float(off.std(ddof=1))
        estimate = mean - float(special.ndtri(share)) * sd
        low = mean - one_sided_factor(n, share, confidence) * sd
        held = Assumption(
            message(Assumed.VALUES_NORMAL), bool(stats.shapiro(known).pvalue > 0.05), _shape_told(known)
        )
    else:
        estimate, low = float(np.quantile(known, 1.0 - share)), float(known.min())
        held = Assumption(message(Assumed.VALUES_INDEPENDENT), None, message(Note.TAKEN_AS_GIVEN))
    return Result(
        question=question,
        estimate=estimate,
        low=low,
        high=math.inf,
        confidence=confidence,
        unit=unit,
        method=method,
        n=n,
        effective_n=None,
        known_m=None,
        unit_of_inference=unit_of_inference,
        assumptions=(held,),
        warnings=() if held.held is not False else (message(Note.NOT_NORMAL_LIMIT_MAY_BE_TOO_HIGH),),
    )


def _shape_told(known: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> Message:
    found = stats.shapiro(known)
    return message(Note.SHAPIRO_WILK, statistic=float(found.statistic), pvalue=float(found.pvalue))


def _check(n: int, share: float, confidence: float) -> None:
    complaints = []
    if n < 2:
        complaints.append(Complaint("tolerance: n", f"{n} values show no spread", "Give two values or more"))
    for name, figure in (("share", share), ("confidence", confidence)):
        if not 0.0 < figure < 1.0:
            complaints.append(
                Complaint(
                    f"tolerance: {name}",
                    f"{figure:g} is not between 0 and 1",
                    "Give a figure between 0 and 1",
                )
            )
    if complaints:
        raise MethodRefusal(complaints)

"""How many faults are there per kilometre, and how sure is that?

Exact (Garwood) interval for a Poisson rate, which also says what no fault at all is worth: never "0 faults
per km" without the rate that could still be behind it. F. Garwood, Fiducial limits for the Poisson
distribution, Biometrika 28 (1936) 437-442.
"""

from __future__ import annotations

import math

from scipy import stats

from pipeline.arguments import checked
from pipeline.departures import scatter_of_faults
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused, Result
from pipeline.samples import share

QUESTION = asks(Quantity.FAULT_RATE)
METHOD = message(Method.POISSON_RATE)


@checked
def event_rate(
    count: int,
    known_m: float,
    confidence: float = 0.95,
    dispersion: Result | Refused | None = None,
) -> Result | Refused:
    """Faults per km of known length with the exact two-sided interval.

    low = chi2(a/2; 2n) / 2E, high = chi2(1 - a/2; 2n + 2) / 2E, with n faults on E km and a = 1 - confidence.
    Where faults scatter more than Poisson's, n faults are worth n/phi, each of phi faults, and the quantiles go as much
    farther as Student's t on the lengths counted goes beyond the normal (quasi-likelihood).
    In `details`: `upper_one_sided_per_km`, the rate that is exceeded with probability a at most.

    Args:
        count: separate faults (merged counts).
        known_m: length on which the detector was really working [m].
        confidence: coverage aimed at, 0.95 by default (common practice, no source).
        dispersion: variance over mean of the counts of lengths, phi, as of
            `pipeline.statistics.event_clustering.dispersion_of_counts`; None or refused: not checked, and said so.

    Counts are lower bounds
    where faults closer than the detector's reach were merged.
    Source: Garwood 1936; R stats::poisson.test gives the same numbers. Phi: McCullagh and Nelder, Generalized Linear
    Models (1989), section 6.2 (from memory).
    """
    share(confidence, "confidence")
    if count < 0 or count != int(count):
        raise MethodRefusal(
            Complaint("count", f"{count:g} is no count", "A count is a whole number from 0 upwards")
        )
    if not math.isfinite(known_m) or known_m < 0:
        raise MethodRefusal(
            Complaint("known_m", f"{known_m:g} m was given", "Give the length with a working detector, in m")
        )
    if known_m == 0:
        return Refused(
            question=QUESTION,
            method=METHOD,
            reason=(message(Reason.NO_KNOWN_LENGTH, count=count)),
            n=int(count),
        )
    km = known_m / 1000.0
    alpha = 1.0 - confidence
    scatter, phi, freedom = scatter_of_faults(dispersion)
    worth = count / phi
    tail, one_tail = (_farther(one, freedom) for one in (alpha / 2, alpha))
    high = float(stats.chi2.isf(tail, 2 * worth + 2) / 2 / km) * phi
    one_sided = float(stats.chi2.isf(one_tail, 2 * worth + 2) / 2 / km) * phi
    return Result(
        question=QUESTION,
        estimate=count / km,
        low=0.0 if count == 0 else float(stats.chi2.ppf(tail, 2 * worth) / 2 / km) * phi,
        high=high,
        confidence=confidence,
        unit="1/km",
        method=METHOD,
        n=int(count),
        effective_n=None,
        known_m=known_m,
        unit_of_inference="event",
        assumptions=(scatter,),
        warnings=_zero_warning(known_m, one_sided, confidence) if count == 0 else (),
        details={"upper_one_sided_per_km": one_sided, "dispersion": phi},
    )


def _farther(tail: float, freedom: float) -> float:
    """The tail of the normal that lies where Student's t on so many degrees has `tail`."""
    return float(stats.norm.sf(stats.t.isf(tail, freedom))) if math.isfinite(freedom) else tail


def _zero_warning(known_m: float, upper: float, confidence: float) -> tuple[Message, ...]:
    said = message(
        Note.NO_FAULT_IS_NO_ZERO_RATE,
        known=Measure(known_m, "m"),
        confidence=100.0 * confidence,
        upper=Measure(upper, "1/km"),
    )
    return (said,)

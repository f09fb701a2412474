"""How far a wall that is not normal stands from its limit: indices from the quantiles of a fitted
distribution.

A smallest wall, a bounded eccentricity or a settling line are skewed, and three standard deviations then mean
little. The index uses the fitted median and 0.135 % point instead. Every family that was tried is shown with
its fit; none is chosen in the dark. Sources: ISO 22514-2 and -4 (scopes seen only); Clements, Quality
Progress 22(9) (1989), 95-100.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, UnitOfInference
from pipeline.statistics.distribution_families import Family

Array = NDArray[np.float64]
LOW_SHARE, HIGH_SHARE = 0.00135, 0.99865  # as rounded in ISO 22514-2; the exact 3-sigma tail is 0.0013499
_CLOSE = 10.0  # families this near the best in AIC stay in the race when the wire is redrawn; chosen here


@dataclass(frozen=True, slots=True)
class FamilyFit:
    """One family beside the others.

    Args:
        name: the family.
        aic: Akaike's criterion -2 ln L + 2 k of the thinned readings; the smallest is chosen.
        anderson_darling: A^2 of the thinned readings.
        p_value: of the Anderson-Darling test with fitted parameters; NaN if it was not run.
        low: 0.135 % point, in the unit of the readings.
        median: 50 % point, same unit.
        high: 99.865 % point, same unit.
        index: quantile index against the limit [1].
        share_beyond: fitted share of values beyond the limit.
    """

    name: str
    aic: float
    anderson_darling: float
    p_value: float
    low: float
    median: float
    high: float
    index: float
    share_beyond: float


@checked
def fit_families(
    values: ArrayLike,
    limit: float,
    families: Mapping[str, Family],
    *,
    sense: Literal["at least", "at most"] = "at least",
    goodness: Callable[[Array, Family], tuple[float, float]] | None = None,
    step: int = 1,
    mirror_at: float | None = None,
) -> tuple[FamilyFit, ...]:
    """Every family that can be fitted, with its criterion, its test and its index, best first.

    Args:
        values: finite readings that vary.
        limit: the limit, in their unit.
        families: families to try, as `distribution_families.FAMILIES`.
        sense: "at least" for a lower limit, "at most" for an upper one.
        goodness: statistic and p-value of readings under a family, as of `goodness_of_fit`; None skips it.
        step: every step-th reading goes into criterion and test, so that they are nearly independent.
        mirror_at: a bound the readings cannot exceed; the families are then fitted to `mirror_at` minus
            reading, so that a long tail to the thin side can be a gamma or lognormal one.
    """
    series = _turned(np.asarray(values, dtype=np.float64).ravel(), mirror_at)
    thin = series[::step]
    found = []
    for family in families.values():
        if family.positive and not (series > 0.0).all():
            continue
        with np.errstate(all="ignore"):
            numbers = family.fit(series[None, :])
            likelihood = float(family.log_density(numbers, thin[None, :]).sum())
        if not math.isfinite(likelihood):
            continue
        low, median, high = _three_quantiles(family, numbers, mirror_at)
        index = _index(low, median, high, limit, sense)
        square, p_value = goodness(thin, family) if goodness else (float("nan"), float("nan"))
        found.append(
            FamilyFit(
                family.name,
                -2.0 * likelihood + 2.0 * family.parameters,
                square,
                p_value,
                float(low[0]),
                float(median[0]),
                float(high[0]),
                float(index[0]),
                _share_beyond(family, numbers, limit, sense, mirror_at),
            )
        )
    return tuple(sorted(found, key=lambda one: one.aic))


@checked
def quantile_index_one_sided(
    values: ArrayLike,
    limit: float,
    families: Mapping[str, Family],
    redrawn: NDArray[np.int64],
    *,
    sense: Literal["at least", "at most"] = "at least",
    family: str | None = None,
    goodness: Callable[[Array, Family], tuple[float, float]] | None = None,
    step: int = 1,
    widening: float = 1.0,
    mirror_at: float | None = None,
    confidence: float = 0.95,
    unit: str = "mm",
    unit_of_inference: UnitOfInference = "reel",
    known_m: float | None = None,
) -> Result | Refused:
    """Quantile index against a one-sided limit with a lower bound from redrawn wire.

    P_pkL = (X50 - L)/(X50 - X0.135) of the chosen family. Every redrawn sample is fitted anew and, if the family
    was chosen by the criterion, chosen anew among the families that came close. The bound lies as far under
    the index, in logarithms, as the farther of its (1 - confidence) and confidence percentiles lies from it:
    fitted tails are biased to the good side and skewed, and the plain percentile then holds too seldom (the
    reflected percentile: Davison and Hinkley, Bootstrap Methods and their Application, 1997, section 5.2, from
    memory; the farther of both chosen here).

    Args:
        values: readings in the unit of the limit; NaN is left out.
        limit: the limit.
        families: families to try.
        redrawn: positions of redrawn readings, one sample a row, as of
            `pipeline.statistics.bootstrap.redraw`.
        sense: "at least" for a lower limit, "at most" for an upper one.
        family: family fixed beforehand by the plant; None to choose by the criterion.
        goodness: as in `fit_families`.
        step: as in `fit_families`.
        widening: how much longer the redrawn deviations are made, as of `bootstrap.BlockLength.widening`.
        mirror_at: as in `fit_families`.
        confidence: of the one-sided lower bound.
        unit: unit of the readings, for the details.
        unit_of_inference: what one value is.
        known_m: known length behind the values [m].

    Returns:
        A `Result`, its details listing every family as aic_, p_ and index_ with the family's name; or a
        `Refused`.

    Stops being true where the tail is shaped by something the bulk does not show (a lump, a knot, a
    drop-out): use the fit below a threshold for the thinnest point of a reel.
    """
    series = np.asarray(values, dtype=np.float64).ravel()
    known = series[~np.isnan(series)]
    name = f"Ppk{'L' if sense == 'at least' else 'U'}"
    question = asks(Quantity.QUANTILE_INDEX, symbol=name)
    method = message(Method.QUANTILE_INDEX, symbol=name)
    reason = _refusal(known, limit, redrawn, family, families)
    if reason is not None:
        return Refused(question, method, reason, int(known.size))
    fits = fit_families(
        known, limit, families, sense=sense, goodness=goodness, step=step, mirror_at=mirror_at
    )
    if family is not None:
        fits = tuple(sorted(fits, key=lambda one: one.name != family))
    if not fits or (family is not None and fits[0].name != family):
        return Refused(question, method, message(Reason.NO_FAMILY_FITTED), int(known.size))
    best = fits[0]
    racing = [best.name] if family else [one.name for one in fits if one.aic - best.aic < _CLOSE]
    drawn = _redrawn_indices(known, redrawn, [families[one] for one in racing], limit, sense, mirror_at, step)
    usable = drawn[np.isfinite(drawn)]
    if usable.size < 0.9 * drawn.size:
        told = message(Reason.FIT_FAILS_ON_REDRAWN)
        return Refused(question, method, told, int(known.size))
    under, over = (float(one) for one in np.quantile(usable, [1.0 - confidence, confidence]))
    if under > best.index:
        told = message(Reason.FAMILIES_DISAGREE, under=under, index=best.index)
        return Refused(question, method, told, int(known.size))
    return Result(
        question=question,
        estimate=best.index,
        low=_reflected(best.index, under, over, widening),
        high=math.inf,
        confidence=confidence,
        unit="",
        method=message(Method.QUANTILE_INDEX_OF_FAMILY, method=method, family=best.name),
        n=int(known.size),
        effective_n=float(known[::step].size) if step > 1 else None,
        known_m=known_m,
        unit_of_inference=unit_of_inference,
        assumptions=(
            Assumption(
                message(Assumed.FOLLOWS_A_FAMILY, name=best.name),
                None if math.isnan(best.p_value) else best.p_value > 0.05,
                message(Note.ANDERSON_DARLING, anderson_darling=best.anderson_darling, p_value=best.p_value),
            ),
            Assumption(message(Assumed.PROCESS_STABLE), None, message(Note.NOT_CHECKED)),
        ),
        warnings=_warnings(fits, family is None, best),
        details=_details(fits, unit),
    )


def _reflected(index: float, under: float, over: float, widening: float) -> float:
    """Lower bound as far from the index as the farther percentile; in logarithms where all are positive."""
    if under > 0.0:
        return index * math.exp(-widening * max(math.log(over / index), math.log(index / under)))
    return index - widening * max(over - index, index - under)


def _turned(values: Array, mirror_at: float | None) -> Array:
    return values if mirror_at is None else mirror_at - values


def _three_quantiles(family: Family, numbers: Array, mirror_at: float | None) -> tuple[Array, Array, Array]:
    shares = np.array([[LOW_SHARE, 0.5, HIGH_SHARE]])
    with np.errstate(all="ignore"):
        found = family.quantile(numbers, np.repeat(shares, numbers.shape[0], axis=0))
    if mirror_at is not None:
        found = mirror_at - found[:, ::-1]
    return found[:, 0], found[:, 1], found[:, 2]


def _index(low: Array, median: Array, high: Array, limit: float, sense: str) -> Array:
    with np.errstate(all="ignore"):
        if sense == "at least":
            return (median - limit) / (median - low)
        return (limit - median) / (high - median)


def _share_beyond(family: Family, numbers: Array, limit: float, sense: str, mirror_at: float | None) -> float:
    at = limit if mirror_at is None else mirror_at - limit
    if family.positive and at <= 0.0:
        below = 0.0
    else:
        with np.errstate(all="ignore"):
            below = float(family.cdf(numbers, np.array([[at]]))[0, 0])
    thin_side = (sense == "at least") == (mirror_at is None)
    return below if thin_side else 1.0 - below


def _redrawn_indices(
    known: Array,
    redrawn: NDArray[np.int64],
    racing: list[Family],
    limit: float,
    sense: str,
    mirror_at: float | None,
    step: int,
) -> Array:
    """Index of each redrawn sample under the family with the smallest criterion there."""
    parts = []
    rows = max(1, 1_000_000 // known.size)
    for first in range(0, redrawn.shape[0], rows):
        sample = _turned(known[redrawn[first : first + rows]], mirror_at)
        criterion, index = [], []
        with np.errstate(all="ignore"):
            for family in racing:
                numbers = family.fit(sample)
                likelihood = family.log_density(numbers, sample).sum(axis=1)
                total = -2.0 * np.where(np.isfinite(likelihood), likelihood, -np.inf) / step
                criterion.append(total + 2.0 * family.parameters)
                index.append(_index(*_three_quantiles(family, numbers, mirror_at), limit, sense))
        best = np.argmin(np.stack(criterion), axis=0)
        parts.append(np.take_along_axis(np.stack(index), best[None, :], axis=0)[0])
    return np.concatenate(parts)


def _refusal(
    known: Array,
    limit: float,
    redrawn: NDArray[np.int64],
    family: str | None,
    families: Mapping[str, Family],
) -> Message | None:
    if not math.isfinite(limit):
        return message(Reason.LIMIT_NOT_FINITE)
    if np.isinf(known).any():
        return message(Reason.INFINITE_VALUES, infinite=int(np.isinf(known).sum()), known=known.size)
    if known.size < 50:
        return message(Reason.TOO_FEW_TO_SEE_A_SHAPE, known=known.size)
    if np.ptp(known) == 0.0:
        return message(Reason.NO_SPREAD_STUCK, known=known.size)
    if redrawn.ndim != 2 or redrawn.shape[0] < 100 or redrawn.size == 0 or redrawn.max() >= known.size:
        return message(Reason.REDRAW_MORE)
    if family is not None and family not in families:
        return message(Reason.FAMILY_NOT_LISTED, family=family, families=", ".join(families))
    return None


def _warnings(fits: tuple[FamilyFit, ...], chosen: bool, best: FamilyFit) -> tuple[Message, ...]:
    told = []
    if chosen:
        told.append(message(Note.FAMILY_CHOSEN, name=best.name, fits=len(fits)))
    if best.p_value <= 0.05:
        told.append(message(Note.NO_FAMILY_DESCRIBES))
    close = [one.index for one in fits if one.aic - fits[0].aic < _CLOSE]
    if max(close) - min(close) > 0.2 * abs(best.index):
        told.append(message(Note.FAMILIES_THAT_FIT_AS_WELL, close=min(close), close_2=max(close)))
    if best.index <= 0.0:
        told.append(message(Note.MEDIAN_BEYOND_THE_LIMIT))
    told.append(message(Note.STABILITY_NOT_SHOWN))
    return tuple(told)


def _details(fits: tuple[FamilyFit, ...], unit: str) -> dict[str, float]:
    best = fits[0]
    told = {
        f"x0135_{unit}": best.low,
        f"x50_{unit}": best.median,
        f"x99865_{unit}": best.high,
        "share_beyond_limit": best.share_beyond,
    }
    for one in fits:
        told[f"aic_{one.name}"] = one.aic
        told[f"anderson_darling_{one.name}"] = one.anderson_darling
        told[f"p_{one.name}"] = one.p_value
        told[f"index_{one.name}"] = one.index
    return told

"""Which of line, shift, lot or speed goes with more faults, the others held equal?

Poisson regression of fault counts with the tested length as exposure; where counts scatter more than Poisson
allows, intervals are widened or the negative binomial is fitted. P. McCullagh & J. A. Nelder, Generalized
Linear Models, 2nd ed. (1989), sections 6.2 and 9.2 (from memory); fitted with statsmodels.
"""

from __future__ import annotations

import math
import warnings as python_warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.samples import counts as whole_counts
from pipeline.samples import positive_readings, share, whole_readings
from pipeline.words import counted

QUESTION = asks(Quantity.FAULT_RATE_RATIO_ADJUSTED)
NEGATIVE_BINOMIAL_FROM = 1.5
"""Dispersion above which the negative binomial is fitted (own choice)."""

UNBOUNDED = 50.0
"""Standard error of a log ratio beyond which the ratio has no bound in these data."""
NO_MAXIMUM = message(Reason.FIT_DID_NOT_CONVERGE)


# 10,000 simulated sets of 80 reels whose rate differs from reel to reel (tests/statistics/interval_coverage_found.csv).
HELD = message(Note.HELD_RATE_RATIO)


@dataclass(frozen=True, slots=True)
class RateRegression:
    """Fault-rate ratios of a regression.

    Args:
        base: rate per km where every circumstance is at its base.
        ratios: one result a circumstance: how many times the base rate.
        model: 'Poisson', 'Poisson with dispersion' or 'negative binomial'.
        dispersion: Pearson X^2 / (n - p) of the Poisson fit.
        dispersion_p: p-value that the scatter is Poisson's.
        alpha: variance = mu + alpha mu^2 of the negative binomial; None for the others.
        warnings: sentences a reader must see beside the ratios.
    """

    base: Result
    ratios: tuple[Result, ...]
    model: str
    dispersion: float
    dispersion_p: float
    alpha: float | None
    warnings: tuple[Message, ...]


@dataclass(frozen=True, slots=True)
class _Design:
    names: tuple[str, ...]
    matrix: NDArray[np.float64]
    base: str


@dataclass(frozen=True, slots=True)
class _Fit:
    model: str
    beta: NDArray[np.float64]
    error: NDArray[np.float64]
    dispersion: float
    dispersion_p: float
    alpha: float | None
    quantile: float
    warnings: tuple[Message, ...]


@checked
def rate_regression(
    counts: ArrayLike,
    known_m: ArrayLike,
    circumstances: Mapping[str, Sequence[str] | ArrayLike],
    confidence: float = 0.95,
) -> RateRegression | Refused:
    """Fault-rate ratios by log mu = log(known km) + X b.

    The rule is fixed: Poisson errors while the dispersion phi = X^2 / (n - p) is 1 or less; errors times
    sqrt(phi) and Student's t up to 1.5; above that the negative binomial (NB2) with Student's t and errors times
    sqrt(n / (n - p)), and errors times sqrt(phi)
    again if that fit does not converge, which is then told.

    Args:
        counts: separate faults of each item (reel, shift).
        known_m: tested length of each item [m]; for spark faults crest-km may stand here (counts fall with
            speed).
        circumstances: by name, for each item a word (a class; the base is the first in the alphabet that has
            a fault) or a number.
        confidence: coverage aimed at.

    Stops being true with fewer than about five faults a parameter, or where a factor that matters is left
    out: that looks like overdispersion. Source: McCullagh & Nelder 1989.
    """
    share(confidence, "confidence")
    y = whole_counts(counts, "counts")
    km = positive_readings(known_m, "known_m", "m") / 1000.0
    design = _design(circumstances, y)
    if km.size != y.size:
        raise MethodRefusal(
            Complaint("known_m", f"{km.size} lengths stand against {y.size} counts", "Give one for each item")
        )
    reason = _cannot(y, design)
    if reason is not None:
        return Refused(QUESTION, message(Method.POISSON_REGRESSION), reason, int(y.sum()))
    keep, silent = _without_silent_classes(y, design)
    fit = _fit(y[keep], km[keep], design.matrix[keep][:, silent == 0], confidence)
    if isinstance(fit, Message):
        return Refused(QUESTION, message(Method.POISSON_REGRESSION), fit, int(y.sum()))
    return _answer(y, km, design, silent, fit, confidence)


def _design(circumstances: Mapping[str, Sequence[str] | ArrayLike], y: NDArray[np.float64]) -> _Design:
    n = y.size
    names, columns, bases = ["base"], [np.ones(n)], []
    for name, given in circumstances.items():
        row = np.asarray(given)
        if row.shape != (n,):
            raise MethodRefusal(
                Complaint(
                    f"circumstances: {name}",
                    f"{counted(row.size, 'value stands', 'values stand')} against {counted(n, 'count')}",
                    "Give one value for each item",
                )
            )
        if row.dtype.kind in "US" or row.dtype == object:
            words = row.astype(str)
            classes = sorted(set(words.tolist()))
            base = next((one for one in classes if y[words == one].any()), "")
            bases.append(f"{name} {base}")
            others = [one for one in classes if one != base]
            names += [f"{name} {one}" for one in others]
            columns += [(words == one).astype(np.float64) for one in others]
        else:
            names.append(f"one unit more of {name}")
            columns.append(whole_readings(row, f"circumstances: {name}"))
            bases.append(f"{name} 0")
    return _Design(tuple(names), np.column_stack(columns), ", ".join(bases) or "all items")


def _cannot(y: NDArray[np.float64], design: _Design) -> Message | None:
    """Why no regression is possible, or nothing."""
    n, p = design.matrix.shape
    if n <= p:
        return message(Reason.TOO_FEW_ITEMS_FOR_PARAMETERS, n=n, p=p)
    if not y.any():
        return message(Reason.NO_ITEM_WITH_A_FAULT)
    if np.linalg.matrix_rank(design.matrix) < p:
        return message(Reason.CIRCUMSTANCES_SAY_THE_SAME)
    return None


def _without_silent_classes(
    y: NDArray[np.float64], design: _Design
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Items and columns left once classes without any fault, whose log rate has no bound, are set apart."""
    silent = np.zeros(design.matrix.shape[1], dtype=bool)
    keep = np.ones(y.size, dtype=bool)
    for j in range(1, silent.size):
        column = design.matrix[:, j]
        if set(np.unique(column)) == {0.0, 1.0} and not y[column == 1].any():
            silent[j] = True
            keep &= column == 0
    return keep, silent


def _fit(
    y: NDArray[np.float64], km: NDArray[np.float64], x: NDArray[np.float64], confidence: float
) -> _Fit | Message:
    from statsmodels.genmod.families import Poisson
    from statsmodels.genmod.generalized_linear_model import GLM

    freedom = x.shape[0] - x.shape[1]
    if freedom < 1 or np.linalg.matrix_rank(x) < x.shape[1]:
        return message(Reason.TOO_FEW_ITEMS_LEFT)
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("error")
        try:
            fitted = GLM(y, x, family=Poisson(), offset=np.log(km)).fit(tol=1e-12, maxiter=200)
        except Exception:  # the library names this in many ways; each means "no maximum"
            return NO_MAXIMUM
    if not fitted.converged or not np.isfinite(fitted.bse).all() or float(np.max(fitted.bse)) > UNBOUNDED:
        return NO_MAXIMUM
    beta, error = np.asarray(fitted.params), np.asarray(fitted.bse)
    phi = float(fitted.pearson_chi2) / freedom
    p_value = float(stats.chi2.sf(fitted.pearson_chi2, freedom))
    t = float(stats.t.ppf((1 + confidence) / 2, freedom))
    z = float(stats.norm.ppf((1 + confidence) / 2))
    if phi <= 1.0:
        return _Fit("Poisson", beta, error, phi, p_value, None, z, ())
    scattered = message(Note.COUNTS_SCATTER_MORE, phi=phi, p_value=p_value)
    said = (scattered,) if p_value < 0.05 else ()
    wide = _Fit("Poisson with dispersion", beta, error * math.sqrt(phi), phi, p_value, None, t, said)
    if phi <= NEGATIVE_BINOMIAL_FROM:
        return wide
    # Likelihood errors of few items are short by the freedom its parameters take.
    return _negative_binomial(y, km, x, wide, t * math.sqrt(x.shape[0] / freedom))


def _negative_binomial(
    y: NDArray[np.float64], km: NDArray[np.float64], x: NDArray[np.float64], wide: _Fit, quantile: float
) -> _Fit:
    from statsmodels.discrete.discrete_model import NegativeBinomial

    fell_back = message(Note.NEGATIVE_BINOMIAL_DID_NOT_CONVERGE)
    with python_warnings.catch_warnings():
        python_warnings.simplefilter("ignore")
        try:
            model = NegativeBinomial(y, x, loglike_method="nb2", offset=np.log(km))
            fitted = model.fit(start_params=np.append(wide.beta, 0.1), disp=0, maxiter=500)
            beta, error = np.asarray(fitted.params), np.asarray(fitted.bse)
            fine = bool(fitted.mle_retvals["converged"]) and bool(np.isfinite(error).all()) and beta[-1] > 0
        except Exception:  # as above: any failure of the fit is told and the wider Poisson stands
            fine = False
    if not fine:
        return _Fit(
            wide.model,
            wide.beta,
            wide.error,
            wide.dispersion,
            wide.dispersion_p,
            None,
            wide.quantile,
            (*wide.warnings, fell_back),
        )
    return _Fit(
        "negative binomial",
        beta[:-1],
        error[:-1],
        wide.dispersion,
        wide.dispersion_p,
        float(beta[-1]),
        quantile,
        wide.warnings,
    )


def _answer(
    y: NDArray[np.float64],
    km: NDArray[np.float64],
    design: _Design,
    silent: NDArray[np.bool_],
    fit: _Fit,
    confidence: float,
) -> RateRegression:
    said = list(fit.warnings)
    if y.sum() < 5 * len(design.names):
        said.append(message(Note.FEW_FAULTS_FOR_PARAMETERS, sum=int(y.sum()), names=len(design.names)))
    fitted = np.flatnonzero(~silent)
    rows = []
    for j, name in enumerate(design.names):
        if silent[j]:
            high = _silent_upper(y, km, design.matrix[:, j], confidence)
            row = _row(name, (0.0, 0.0, high), math.nan, design, fit, y, km, confidence)
            told = message(Note.CLASS_WITHOUT_FAULT, name=f"{name[:1].upper()}{name[1:]}", high=high)
            rows.append(replace(row, warnings=(*row.warnings, told)))
            continue
        place = int(np.flatnonzero(fitted == j)[0])
        beta, error = float(fit.beta[place]), float(fit.error[place])
        low, high = math.exp(beta - fit.quantile * error), math.exp(beta + fit.quantile * error)
        rows.append(_row(name, (math.exp(beta), low, high), error, design, fit, y, km, confidence))
    return RateRegression(
        rows[0], tuple(rows[1:]), fit.model, fit.dispersion, fit.dispersion_p, fit.alpha, tuple(said)
    )


def _silent_upper(
    y: NDArray[np.float64], km: NDArray[np.float64], column: NDArray[np.float64], confidence: float
) -> float:
    """Upper bound of the rate ratio of a class without faults (Clopper-Pearson on the split of faults)."""
    inside = km[column == 1].sum()
    p = 1.0 - ((1 - confidence) / 2) ** (1.0 / y.sum())
    return float(p / (1 - p) * (km.sum() - inside) / inside)


def _row(
    name: str,
    figures: tuple[float, float, float],
    error: float,
    design: _Design,
    fit: _Fit,
    y: NDArray[np.float64],
    km: NDArray[np.float64],
    confidence: float,
) -> Result:
    is_base = name == "base"
    against = "all other items" if math.isnan(error) else design.base
    return Result(
        question=asks(Quantity.FAULT_RATE_BASE, design.base, base=design.base)
        if is_base
        else asks(Quantity.FAULT_RATE_RATIO_ADJUSTED, f"{name} : {against}", one=name, other=against),
        estimate=figures[0],
        low=figures[1],
        high=figures[2],
        confidence=confidence,
        unit="1/km" if is_base else "",
        method=message(Method.COUNT_REGRESSION, model=fit.model),
        n=int(y.sum()),
        effective_n=None,
        known_m=float(km.sum() * 1000.0),
        unit_of_inference="event",
        assumptions=(
            Assumption(
                message(Assumed.POISSON_SCATTER),
                fit.dispersion_p >= 0.05,
                message(Note.DISPERSION_AND_P, dispersion=fit.dispersion, dispersion_p=fit.dispersion_p),
                None if fit.dispersion_p >= 0.05 else message(Note.THEN_INTERVAL_OF_MODEL, model=fit.model),
            ),
        ),
        warnings=(HELD,) if fit.model == "negative binomial" and not is_base else (),
        details={} if math.isnan(error) else {"log_standard_error": error},
    )

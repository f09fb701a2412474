"""Does a fitted distribution hold, judged where it matters, in the tails: Anderson-Darling with a bootstrap.

The tabulated limits of the test hold for known parameters only; here the parameters come from the same
readings, so the test is run on samples drawn from the fit and fitted again. Sources: Anderson and Darling, J.
Am. Stat. Assoc. 49 (1954), 765-769; Choulakian and Stephens, Technometrics 43 (2001), 478-484, for why tables
mislead (both from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal

Fit = Callable[[NDArray[np.float64]], NDArray[np.float64]]
Probability = Callable[[NDArray[np.float64], NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class GoodnessOfFit:
    """What the test found.

    Args:
        statistic: Anderson-Darling A^2.
        p_value: share of refitted samples from the fit that lie further off; at least 1/(repetitions + 1).
        n: readings tested.
        repetitions: samples drawn.
    """

    statistic: float
    p_value: float
    n: int
    repetitions: int


@checked
def anderson_darling(probabilities: ArrayLike) -> NDArray[np.float64]:
    """Anderson-Darling A^2 of each row of fitted probabilities F(x).

    A^2 = -n - (1/n) sum (2 i - 1) (ln u_(i) + ln(1 - u_(n+1-i))).

    Args:
        probabilities: F of each reading under the fit, one sample a row; need not be sorted.
    """
    u = np.sort(np.atleast_2d(np.asarray(probabilities, dtype=np.float64)), axis=1)
    u = np.clip(u, 1e-300, 1.0 - 1e-16)
    n = u.shape[1]
    weight = 2.0 * np.arange(1, n + 1) - 1.0
    terms = weight * (np.log(u) + np.log1p(-u[:, ::-1]))
    return np.asarray(-n - terms.sum(axis=1) / n, dtype=np.float64)


@checked
def bootstrap_goodness_of_fit(
    values: ArrayLike,
    fit: Fit,
    cdf: Probability,
    quantile: Probability,
    *,
    repetitions: int = 500,
    seed: int = 1,
    most: int = 2000,
) -> GoodnessOfFit:
    """Anderson-Darling test of a fit whose parameters come from the readings themselves.

    Args:
        values: independent readings; thin a correlated series first, or every fit is rejected.
        fit: parameters, one row each, from samples, one row each.
        cdf: probabilities from parameters and readings, row by row.
        quantile: readings from parameters and probabilities, row by row.
        repetitions: samples drawn from the fit; the p-value is known to about 0.5/sqrt(repetitions).
        seed: of the random numbers.
        most: readings used at most, spread evenly over the series; chosen here, to bound the time.

    Raises:
        MethodRefusal: fewer than ten readings, or one that is not finite.
    """
    series = np.asarray(values, dtype=np.float64).ravel()
    if series.size < 10 or not np.isfinite(series).all():
        raise MethodRefusal(
            Complaint(
                "goodness of fit: values",
                f"{int(np.isfinite(series).sum())} finite readings of {series.size}",
                "Give at least ten finite readings",
            )
        )
    step = -(-series.size // most)
    sample = series[::step][None, :]
    parameters = fit(sample)
    observed = float(anderson_darling(cdf(parameters, sample))[0])
    random = np.random.default_rng(seed)
    further, done = 0, 0
    rows = max(1, min(repetitions, 1_000_000 // sample.shape[1]))
    while done < repetitions:
        wanted = min(rows, repetitions - done)
        uniform = random.random((wanted, sample.shape[1]))
        drawn = quantile(np.repeat(parameters, wanted, axis=0), uniform)
        found = anderson_darling(cdf(fit(drawn), drawn))
        further += int(np.sum(~(found < observed)))
        done += wanted
    return GoodnessOfFit(observed, (further + 1.0) / (repetitions + 1.0), sample.shape[1], repetitions)

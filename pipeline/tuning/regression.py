"""By how much does the wall answer a setting, when neighbouring readings repeat each other?

Least squares takes every reading for new evidence and its standard error comes out several times too small.
Generalised least squares with a first-order autoregression of the errors puts that right; a heteroscedasticity-
and autocorrelation-consistent error of what is left checks whether first order was enough.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import readings
from pipeline.tuned import Tuned

Floats = NDArray[np.float64]

QUESTION = asks(Quantity.REGRESSION)
METHOD = message(Method.GENERALIZED_LEAST_SQUARES)
AGREES = 1.4  # ratio of the two standard errors up to which AR(1) is taken as enough (chosen here)


@dataclass(frozen=True, slots=True)
class Coefficient:
    """Answer of the output to one input.

    Args:
        name: the input.
        estimate: change of the output a unit of the input.
        sd: standard error used: the larger of the two below.
        low: lower end of the interval.
        high: upper end.
        gls_sd: standard error by generalised least squares.
        check_sd: Newey-West standard error of the whitened fit.
        naive_sd: what plain least squares would claim.
        naive_estimate: estimate of plain least squares.
        least_squares_hac_sd: Newey-West standard error of plain least squares at the usual lag.
    """

    name: str
    estimate: float
    sd: float
    low: float
    high: float
    gls_sd: float
    check_sd: float
    naive_sd: float
    naive_estimate: float
    least_squares_hac_sd: float


@dataclass(frozen=True, slots=True)
class Regression:
    """A regression with remembered errors.

    Args:
        coefficients: one entry an input, in the order given.
        constant: level of the output at inputs of zero.
        memory: phi, lag-one correlation of the errors.
        innovation_sd: standard deviation of what is new in each error.
        n: rows used.
        lag: lag of the Newey-West errors [rows].
        left_memory_p: chance of as much memory in what is left, were first order enough (Ljung and Box, 20 lags).
        first_order_enough: whether both checks agree with AR(1).
        confidence: coverage of the intervals.
        warnings: what to read beside it.
    """

    coefficients: tuple[Coefficient, ...]
    constant: float
    memory: float
    innovation_sd: float
    n: int
    lag: int
    left_memory_p: float
    first_order_enough: bool
    confidence: float
    warnings: tuple[Message, ...]


def newey_west(design: Floats, residual: Floats, lag: int) -> Floats:
    """Covariance of least-squares coefficients with Bartlett weights up to a lag.

    (X'X)^-1 [sum_k w_k sum_t (u_t u_(t-k)' + u_(t-k) u_t')] (X'X)^-1, u_t = x_t e_t, w_k = 1 - k/(lag + 1).

    Args:
        design: X, one row a reading.
        residual: e, residuals.
        lag: greatest lag [rows].

    Source: W.K. Newey and K.D. West, Econometrica 55 (1987), 703-708 (from memory); agrees with statsmodels.
    """
    score = design * residual[:, None]
    inner = score.T @ score
    for k in range(1, lag + 1):
        part = score[k:].T @ score[:-k]
        inner += (1.0 - k / (lag + 1.0)) * (part + part.T)
    bread = np.linalg.inv(design.T @ design)
    return np.asarray(bread @ inner @ bread, dtype=np.float64)


def usual_lag(n: int) -> int:
    """Lag of a Newey-West error by the usual rule, 4 (n/100)^(2/9); far too short for readings of 0.9 memory."""
    return int(4.0 * (n / 100.0) ** (2.0 / 9.0))


def regress(
    output: ArrayLike, inputs: Mapping[str, ArrayLike], confidence: float = 0.95
) -> Regression | Refused:
    """Regression of an output on inputs with first-order autoregressive errors.

    Args:
        output: y at equal steps; NaN where unknown.
        inputs: by name, each as long as the output.
        confidence: coverage of the intervals.

    Returns:
        A `Regression`, or a `Refused`. It says how things move together: whether that is what the input does to the
        output is for `response` to tell, from open-loop steps.

    Source: S.J. Prais and C.B. Winsten (1954), iterated; the check after Newey and West (1987).
    """
    y = readings(output, "output")
    columns = [readings(one, name) for name, one in inputs.items()]
    known = np.isfinite(y)
    for one in columns:
        known &= np.isfinite(one)
    n, p = int(known.sum()), len(columns)
    if (
        n < 30 * (p + 1)
        or any(float(np.ptp(one[known])) == 0.0 for one in columns)
        or float(np.ptp(y[known])) == 0.0
    ):
        reason = message(Reason.TOO_FEW_ROWS_FOR_INPUTS, n=n, p=p, p_2=30 * (p + 1))
        return Refused(QUESTION, METHOD, reason, n)
    # Inputs are scaled, so that the fit does not depend on their units.
    middle, scale = (np.array([f(one[known]) for one in columns]) for f in (np.mean, np.std))
    design = np.column_stack(
        [np.ones(n), *[(one[known] - m) / s for one, m, s in zip(columns, middle, scale, strict=True)]]
    )
    if np.linalg.cond(design) > 1e6:
        return Refused(QUESTION, METHOD, message(Reason.INPUTS_MOVE_TOGETHER), n)
    start = np.concatenate(([True], np.diff(np.flatnonzero(known)) > 1))
    plain, *_ = np.linalg.lstsq(design, y[known], rcond=None)
    beta, phi = plain, 0.0
    for _ in range(50):
        rest = y[known] - design @ beta
        new = _memory(rest, start)
        white_x, white_y = _whitened(design, new, start), _whitened(y[known][:, None], new, start)[:, 0]
        beta, *_ = np.linalg.lstsq(white_x, white_y, rcond=None)
        if abs(new - phi) < 1e-9:
            break
        phi = new
    return _answer(y[known], design, middle, scale, list(inputs), plain, beta, phi, start, confidence)


def _memory(rest: Floats, start: NDArray[np.bool_]) -> float:
    follows = ~start[1:]
    return float(
        np.clip(
            (rest[1:][follows] @ rest[:-1][follows]) / (rest[:-1][follows] @ rest[:-1][follows]), -0.99, 0.999
        )
    )


def _whitened(values: Floats, phi: float, start: NDArray[np.bool_]) -> Floats:
    """x_t - phi x_(t-1) inside a stretch, sqrt(1 - phi^2) x_t at its start."""
    moved = values.copy()
    moved[1:] -= phi * values[:-1]
    moved[start] = math.sqrt(1.0 - phi**2) * values[start]
    return moved


def _left_memory(new: Floats, start: NDArray[np.bool_]) -> float:
    """Ljung-Box probability of the whitened residuals; a gap in the rows is passed over as if closed."""
    lags = min(20, new.size // 10)
    centred = np.where(start, 0.0, new - new.mean())
    square = float(centred @ centred)
    r = np.array([float(centred[k:] @ centred[:-k]) / square for k in range(1, lags + 1)])
    n = new.size
    statistic = n * (n + 2.0) * float((r**2 / (n - np.arange(1, lags + 1))).sum())
    return float(stats.chi2.sf(statistic, lags - 1))


def _answer(
    y: Floats,
    design: Floats,
    middle: Floats,
    scale: Floats,
    names: list[str],
    plain: Floats,
    beta: Floats,
    phi: float,
    start: NDArray[np.bool_],
    confidence: float,
) -> Regression:
    n, p = design.shape
    white_x = _whitened(design, phi, start)
    new = _whitened(y[:, None], phi, start)[:, 0] - white_x @ beta
    innovation = float(new @ new) / (n - p)
    gls = np.sqrt(np.diag(innovation * np.linalg.inv(white_x.T @ white_x)))
    lag = usual_lag(n)
    check = np.sqrt(np.diag(newey_west(white_x, new, lag)))
    rest = y - design @ plain
    naive = np.sqrt(np.diag(float(rest @ rest) / (n - p) * np.linalg.inv(design.T @ design)))
    hac = np.sqrt(np.diag(newey_west(design, rest, lag)))
    t = float(stats.t.ppf(0.5 + confidence / 2.0, n - p))
    found = []
    for place, name in enumerate(names, start=1):
        unit = scale[place - 1]
        sd = max(gls[place], check[place]) / unit
        estimate = float(beta[place] / unit)
        found.append(
            Coefficient(
                name,
                estimate,
                float(sd),
                estimate - t * float(sd),
                estimate + t * float(sd),
                float(gls[place] / unit),
                float(check[place] / unit),
                float(naive[place] / unit),
                float(plain[place] / unit),
                float(hac[place] / unit),
            )
        )
    ratio = check[1:] / gls[1:]
    left = _left_memory(new, start)
    enough = bool((ratio < AGREES).all() and (ratio > 1.0 / AGREES).all()) and left > 0.01
    told = []
    if not enough:
        told.append(message(Tuned.MEMORY_LEFT))
    if phi > 0.98:
        told.append(message(Tuned.HARDLY_FORGETS))
    constant = float(beta[0] - (beta[1:] / scale) @ middle)
    return Regression(
        tuple(found), constant, phi, math.sqrt(innovation), n, lag, left, enough, confidence, tuple(told)
    )

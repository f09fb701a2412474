"""How an output follows an input over time: delay, first answer, run-out and final gain.

y_t = c + w(B)/(1 - d(B)) x_(t-b) + N_t with autoregressive noise N. Source: G.E.P. Box, G.M. Jenkins, G.C.
Reinsel and G.M. Ljung, Time Series Analysis: Forecasting and Control, chapter on estimation of transfer function
models (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, signal, stats

from pipeline.messages import message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import whole_readings

Floats = NDArray[np.float64]

QUESTION = asks(Quantity.TRANSFER_FUNCTION)
METHOD = message(Method.TRANSFER_FUNCTION)
_STARTS = (0.2, 0.8)


@dataclass(frozen=True, slots=True)
class TransferFunction:
    """A fitted transfer function.

    Args:
        delay: b, samples before the output begins to answer.
        numerator: w_0, w_1, ...: y gets w_0 x_(t-b) + w_1 x_(t-b-1) + ...
        numerator_sd: their standard errors.
        denominator: d_1, ...: of the output's own answer at the sample before.
        denominator_sd: their standard errors.
        noise: coefficients of the noise's autoregression.
        noise_sd: their standard errors.
        gain: final change of the output a unit of the input: sum w/(1 - sum d).
        gain_sd: its standard error (delta method).
        gain_low: lower end of its interval.
        gain_high: upper end.
        innovation_variance: variance of what is new.
        n: samples behind it.
    """

    delay: int
    numerator: Floats
    numerator_sd: Floats
    denominator: Floats
    denominator_sd: Floats
    noise: Floats
    noise_sd: Floats
    gain: float
    gain_sd: float
    gain_low: float
    gain_high: float
    innovation_variance: float
    n: int

    def answer_to_step(self, samples: int) -> Floats:
        """What the output does after a lasting unit step of the input, sample by sample.

        Args:
            samples: how many.
        """
        step = np.ones(samples)
        answer = signal.lfilter(self.numerator, np.concatenate(([1.0], -self.denominator)), step)
        delayed: Floats = np.concatenate((np.zeros(self.delay), answer))[:samples]
        return delayed


def fit_transfer_function(
    x: ArrayLike,
    y: ArrayLike,
    delay: int,
    numerator: int = 1,
    denominator: int = 1,
    noise: int = 1,
    confidence: float = 0.95,
) -> TransferFunction | Refused:
    """Transfer function of a given delay and orders.

    Args:
        x: input at equal steps, none missing.
        y: output, as long.
        delay: b, samples.
        numerator: number of terms w.
        denominator: number of terms d, 0 or 1 or 2.
        noise: order of the noise's autoregression.
        confidence: of the interval of the gain.

    Returns:
        The fit, or a `Refused` for short or motionless series and where the fit runs to the edge of stability.

    Closed-loop data give the controller: see `response`.
    """
    first, second = whole_readings(x, "x"), whole_readings(y, "y")
    count = numerator + denominator + noise + 1
    if first.size != second.size or first.size < 10 * count + delay:
        reason = message(Reason.TOO_FEW_SAMPLES_FOR_COEFFICIENTS, first=first.size, count=count)
        return Refused(QUESTION, METHOD, reason, int(first.size))
    if float(np.ptp(first)) == 0.0 or float(np.ptp(second)) == 0.0:
        return Refused(QUESTION, METHOD, message(Reason.SERIES_DOES_NOT_VARY), int(first.size))
    scale_x, scale_y = float(first.std()), float(second.std())
    u = (first - first.mean()) / scale_x
    v = (second - second.mean()) / scale_y
    lost = delay + numerator - 1 + denominator + noise

    def new(at: Floats) -> Floats:
        w, d, phi = np.split(at[1:], [numerator, numerator + denominator])
        shifted = np.concatenate((np.full(delay, u[0]), u[: u.size - delay]))
        level = signal.lfilter(w, np.concatenate(([1.0], -d)), shifted - u[0])
        level = level + u[0] * float(w.sum()) / (1.0 - float(d.sum()))
        noise_now = v - at[0] - level
        return np.asarray(
            signal.lfilter(np.concatenate(([1.0], -phi)), [1.0], noise_now)[lost:], dtype=np.float64
        )

    best = None
    for start in _STARTS if denominator else (0.0,):
        guess = np.concatenate(
            (
                [0.0],
                np.full(numerator, 0.1),
                np.full(denominator, start / max(denominator, 1)),
                np.full(noise, 0.4 / max(noise, 1)),
            )
        )
        bounds = np.concatenate(
            (np.full(1 + numerator, np.inf), np.full(denominator, 0.999), np.full(noise, 2.0))
        )
        found = optimize.least_squares(
            new, guess, bounds=(-bounds, bounds), x_scale=1.0, ftol=1e-10, xtol=1e-10, gtol=1e-10
        )
        if best is None or found.cost < best.cost:
            best = found
    assert best is not None  # noqa: S101 - at least one start was tried
    return _fitted(
        best.x,
        np.asarray(best.jac, dtype=np.float64),
        2.0 * float(best.cost),
        lost,
        delay,
        (numerator, denominator),
        first.size,
        scale_y / scale_x,
        scale_y,
        confidence,
    )


def _fitted(
    at: Floats,
    slope: Floats,
    squares: float,
    lost: int,
    delay: int,
    orders: tuple[int, int],
    n: int,
    per_unit: float,
    scale_y: float,
    confidence: float,
) -> TransferFunction | Refused:
    used = n - lost
    variance = squares / (used - at.size)
    normal = slope.T @ slope
    if not np.isfinite(normal).all() or np.linalg.cond(normal) > 1e12:
        reason = message(Reason.COEFFICIENTS_NOT_TOLD_APART)
        return Refused(QUESTION, METHOD, reason, n)
    covariance = variance * np.linalg.inv(normal)
    w, d, phi = np.split(at[1:], [orders[0], orders[0] + orders[1]])
    w_sd, d_sd, phi_sd = np.split(np.sqrt(np.diag(covariance))[1:], [orders[0], orders[0] + orders[1]])
    left = 1.0 - float(d.sum())
    if left < 1e-3:
        reason = message(Reason.RESPONSE_DOES_NOT_END)
        return Refused(QUESTION, METHOD, reason, n)
    gain = float(w.sum()) / left
    lean = np.concatenate(
        ([0.0], np.full(w.size, 1.0 / left), np.full(d.size, gain / left), np.zeros(phi.size))
    )
    sd = math.sqrt(float(lean @ covariance @ lean))
    t = float(stats.t.ppf(0.5 + confidence / 2.0, used - at.size))
    return TransferFunction(
        delay,
        w * per_unit,
        w_sd * per_unit,
        d,
        d_sd,
        phi,
        phi_sd,
        gain * per_unit,
        sd * abs(per_unit),
        (gain - t * sd) * per_unit,
        (gain + t * sd) * per_unit,
        variance * scale_y**2,
        used,
    )

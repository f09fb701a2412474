"""Which shape a set of readings has: families of distributions fitted to many samples at once.

Each family gives its fit, probability, quantile and density; the index, the goodness of fit and the redrawn
samples use them through these four. Sources stand beside each fit.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.arguments import checked

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Family:
    """A distribution family that is fitted to many samples at once, one a row.

    Args:
        name: as shown.
        parameters: how many are fitted.
        positive: True if it holds for positive values only.
        fit: parameters (rows x parameters) from samples (rows x readings).
        cdf: F(x) from parameters and readings.
        quantile: x from parameters and probabilities.
        log_density: ln f(x) from parameters and readings.
    """

    name: str
    parameters: int
    positive: bool
    fit: Callable[[Array], Array]
    cdf: Callable[[Array, Array], Array]
    quantile: Callable[[Array, Array], Array]
    log_density: Callable[[Array, Array], Array]


def _columns(parameters: Array) -> list[Array]:
    return [parameters[:, [one]] for one in range(parameters.shape[1])]


# Normal and lognormal ------------------------------------------------------------------------------------


def _normal_fit(x: Array) -> Array:
    return np.stack([x.mean(axis=1), x.std(axis=1, ddof=1)], axis=1)


def _normal_cdf(parameters: Array, x: Array) -> Array:
    mean, sd = _columns(parameters)
    return np.asarray(special.ndtr((x - mean) / sd), dtype=np.float64)


def _normal_quantile(parameters: Array, p: Array) -> Array:
    mean, sd = _columns(parameters)
    return np.asarray(mean + sd * special.ndtri(p), dtype=np.float64)


def _normal_log_density(parameters: Array, x: Array) -> Array:
    mean, sd = _columns(parameters)
    return np.asarray(-0.5 * ((x - mean) / sd) ** 2 - np.log(sd * math.sqrt(2.0 * math.pi)), dtype=np.float64)


# Weibull and gamma ---------------------------------------------------------------------------------------


def _weibull_fit(x: Array) -> Array:
    """Maximum likelihood: 1/k = sum x^k ln x / sum x^k - mean ln x, by Newton steps in ln k."""
    logs = np.log(x)
    centre = logs.mean(axis=1, keepdims=True)
    z = logs - centre
    shape = 1.2825 / np.maximum(z.std(axis=1, keepdims=True), 1e-300)  # from the variance of ln x
    for _ in range(40):
        power = np.exp(shape * (z - z.max(axis=1, keepdims=True)))
        total = power.sum(axis=1, keepdims=True)
        first = (power * z).sum(axis=1, keepdims=True) / total
        second = (power * z * z).sum(axis=1, keepdims=True) / total - first**2
        score = first - 1.0 / shape
        step = np.clip(score / (second * shape + 1.0 / shape), -0.7, 0.7)
        shape = shape * np.exp(-step)
        if np.all(np.abs(step) < 1e-12):
            break
    top = z.max(axis=1, keepdims=True)
    mean_power = np.exp(shape * (z - top)).mean(axis=1, keepdims=True)
    scale = np.exp(centre + top + np.log(mean_power) / shape)
    return np.concatenate([shape, scale], axis=1)


def _weibull_cdf(parameters: Array, x: Array) -> Array:
    shape, scale = _columns(parameters)
    return np.asarray(-np.expm1(-np.exp(shape * np.log(x / scale))), dtype=np.float64)


def _weibull_quantile(parameters: Array, p: Array) -> Array:
    shape, scale = _columns(parameters)
    return np.asarray(scale * (-np.log1p(-p)) ** (1.0 / shape), dtype=np.float64)


def _weibull_log_density(parameters: Array, x: Array) -> Array:
    shape, scale = _columns(parameters)
    logs = np.log(x / scale)
    return np.asarray(np.log(shape / x) + shape * logs - np.exp(shape * logs), dtype=np.float64)


def _gamma_fit(x: Array) -> Array:
    """Maximum likelihood: ln a - psi(a) = ln mean - mean ln, by Minka's generalised Newton step (2002)."""
    mean = x.mean(axis=1, keepdims=True)
    gap = np.maximum(-np.log(x / mean).mean(axis=1, keepdims=True), 1e-300)
    shape = (3.0 - gap + np.sqrt((gap - 3.0) ** 2 + 24.0 * gap)) / (12.0 * gap)
    for _ in range(12):
        miss = np.log(shape) - special.digamma(shape) - gap
        slope = shape * (1.0 - shape * special.polygamma(1, shape))
        shape = 1.0 / (1.0 / shape + miss / slope)
    return np.concatenate([shape, mean / shape], axis=1)


def _gamma_cdf(parameters: Array, x: Array) -> Array:
    shape, scale = _columns(parameters)
    return np.asarray(special.gammainc(shape, x / scale), dtype=np.float64)


def _gamma_quantile(parameters: Array, p: Array) -> Array:
    shape, scale = _columns(parameters)
    return np.asarray(scale * special.gammaincinv(shape, p), dtype=np.float64)


def _gamma_log_density(parameters: Array, x: Array) -> Array:
    shape, scale = _columns(parameters)
    return np.asarray(
        (shape - 1.0) * np.log(x) - x / scale - special.gammaln(shape) - shape * np.log(scale),
        dtype=np.float64,
    )


# Box-Cox -------------------------------------------------------------------------------------------------


@checked
def box_cox_profile(x: Array, power: Array) -> Array:
    """Profile log-likelihood of the Box-Cox power: -(n/2) ln var(y) + (power - 1) sum ln x, one row a sample.

    Args:
        x: positive readings, rows x readings.
        power: one power a row [1].

    Source: Box and Cox, J. R. Stat. Soc. B 26 (1964), 211-252; NIST/SEMATECH e-Handbook, section 6.5.2.
    """
    logs = np.log(x)
    y = _box_cox(logs, power)
    n = x.shape[1]
    return np.asarray(
        -0.5 * n * np.log(y.var(axis=1)) + (power[:, 0] - 1.0) * logs.sum(axis=1), dtype=np.float64
    )


def _box_cox(logs: Array, power: Array) -> Array:
    return np.where(np.abs(power) < 1e-9, logs, np.expm1(power * logs) / np.where(power == 0.0, 1.0, power))


def _box_cox_fit(x: Array) -> Array:
    """Golden-section search of the profile, on readings over their geometric mean; all rows at once."""
    centre = np.log(x).mean(axis=1, keepdims=True)
    scaled = np.exp(np.log(x) - centre)
    # A narrow spread needs a large power to bend it: the search widens with the mean over the deviation.
    reach = np.maximum(5.0, 3.0 / np.maximum(scaled.std(axis=1, keepdims=True), 1e-12))
    low, high = -reach, reach.copy()
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(45):
        left, right = high - golden * (high - low), low + golden * (high - low)
        better = (box_cox_profile(scaled, left) > box_cox_profile(scaled, right))[:, None]
        low, high = np.where(better, low, left), np.where(better, right, high)
    power = 0.5 * (low + high)
    y = _box_cox(np.log(scaled), power)
    return np.concatenate(
        [power, y.mean(axis=1, keepdims=True), y.std(axis=1, ddof=1, keepdims=True), np.exp(centre)], axis=1
    )


def _box_cox_cdf(parameters: Array, x: Array) -> Array:
    power, mean, sd, centre = _columns(parameters)
    return np.asarray(special.ndtr((_box_cox(np.log(x / centre), power) - mean) / sd), dtype=np.float64)


def _box_cox_quantile(parameters: Array, p: Array) -> Array:
    power, mean, sd, centre = _columns(parameters)
    y = mean + sd * special.ndtri(p)
    with np.errstate(invalid="ignore", divide="ignore"):
        inner = np.log1p(power * y) / np.where(power == 0.0, 1.0, power)
    return np.asarray(centre * np.exp(np.where(np.abs(power) < 1e-9, y, inner)), dtype=np.float64)


def _box_cox_log_density(parameters: Array, x: Array) -> Array:
    power, mean, sd, centre = _columns(parameters)
    logs = np.log(x / centre)
    z = (_box_cox(logs, power) - mean) / sd
    constant = np.log(sd * math.sqrt(2.0 * math.pi) * centre)
    return np.asarray(-0.5 * z**2 - constant + (power - 1.0) * logs, dtype=np.float64)


# Johnson system ------------------------------------------------------------------------------------------


def _johnson_fit(x: Array) -> Array:
    """Slifker and Shapiro, Technometrics 22 (1980), 239-246: four percentiles choose S_U or S_B and its
    numbers.

    The percentiles stand at -3z, -z, z, 3z; z leaves ten readings beyond the outer ones (chosen here).
    """
    n = x.shape[1]
    z = float(np.clip(special.ndtri(1.0 - min(10.0 / n, 0.5)) / 3.0, 0.3, 1.0))
    shares = special.ndtr(np.array([-3.0, -1.0, 1.0, 3.0]) * z)
    a, b, c, d = (one[:, None] for one in np.quantile(x, shares, axis=1))
    p = np.maximum(c - b, 1e-300)
    m, q = np.maximum((d - c) / p, 1e-9), np.maximum((b - a) / p, 1e-9)
    ratio = m * q
    ratio = np.where(np.abs(ratio - 1.0) < 1e-6, 1.0 + 1e-6, ratio)  # the lognormal line between the two
    unbounded = ratio > 1.0
    middle = 0.5 * (b + c)
    with np.errstate(invalid="ignore", divide="ignore"):
        eta_u = 2.0 * z / np.arccosh(0.5 * (m + q))
        gamma_u = eta_u * np.arcsinh((q - m) / (2.0 * np.sqrt(ratio - 1.0)))
        scale_u = 2.0 * p * np.sqrt(ratio - 1.0) / ((m + q - 2.0) * np.sqrt(m + q + 2.0))
        shift_u = middle + p * (q - m) / (2.0 * (m + q - 2.0))
        both = (1.0 + 1.0 / m) * (1.0 + 1.0 / q)
        over = 1.0 / ratio - 1.0
        eta_b = z / np.arccosh(0.5 * np.sqrt(both))
        gamma_b = eta_b * np.arcsinh((1.0 / q - 1.0 / m) * np.sqrt(both - 4.0) / (2.0 * over))
        scale_b = p * np.sqrt((both - 2.0) ** 2 - 4.0) / over
        shift_b = middle - 0.5 * scale_b + p * (1.0 / q - 1.0 / m) / (2.0 * over)
    pick = [(gamma_u, gamma_b), (eta_u, eta_b), (scale_u, scale_b), (shift_u, shift_b)]
    chosen = [np.where(unbounded, first, second) for first, second in pick]
    return np.concatenate([unbounded.astype(np.float64), *chosen], axis=1)


def _johnson_cdf(parameters: Array, x: Array) -> Array:
    unbounded, gamma, eta, scale, shift = _columns(parameters)
    y = (x - shift) / scale
    inside = np.clip(y, 1e-300, 1.0 - 1e-16)
    bent = np.where(unbounded > 0.5, np.arcsinh(y), np.log(inside) - np.log1p(-inside))
    return np.asarray(special.ndtr(gamma + eta * bent), dtype=np.float64)


def _johnson_quantile(parameters: Array, p: Array) -> Array:
    unbounded, gamma, eta, scale, shift = _columns(parameters)
    bent = (special.ndtri(p) - gamma) / eta
    with np.errstate(over="ignore"):
        y = np.where(unbounded > 0.5, np.sinh(bent), special.expit(bent))
    return np.asarray(shift + scale * y, dtype=np.float64)


def _johnson_log_density(parameters: Array, x: Array) -> Array:
    unbounded, gamma, eta, scale, shift = _columns(parameters)
    y = (x - shift) / scale
    with np.errstate(invalid="ignore", divide="ignore"):
        bent = np.where(unbounded > 0.5, np.arcsinh(y), np.log(y) - np.log1p(-y))
        slope = np.where(unbounded > 0.5, -0.5 * np.log1p(y * y), -np.log(y) - np.log1p(-y))
        found = -0.5 * (gamma + eta * bent) ** 2 + np.log(eta / scale) + slope - 0.5 * math.log(2.0 * math.pi)
    return np.where(np.isfinite(found), found, -np.inf)


def _of_logs(inner: Callable[[Array, Array], Array]) -> Callable[[Array, Array], Array]:
    return lambda parameters, x: inner(parameters, np.log(x))


FAMILIES: Mapping[str, Family] = {
    "normal": Family("normal", 2, False, _normal_fit, _normal_cdf, _normal_quantile, _normal_log_density),
    "lognormal": Family(
        "lognormal",
        2,
        True,
        lambda x: _normal_fit(np.log(x)),
        _of_logs(_normal_cdf),
        lambda parameters, p: np.exp(_normal_quantile(parameters, p)),
        lambda parameters, x: _normal_log_density(parameters, np.log(x)) - np.log(x),
    ),
    "Weibull": Family(
        "Weibull", 2, True, _weibull_fit, _weibull_cdf, _weibull_quantile, _weibull_log_density
    ),
    "gamma": Family("gamma", 2, True, _gamma_fit, _gamma_cdf, _gamma_quantile, _gamma_log_density),
    "Box-Cox": Family(
        "Box-Cox", 3, True, _box_cox_fit, _box_cox_cdf, _box_cox_quantile, _box_cox_log_density
    ),
    "Johnson": Family(
        "Johnson", 4, False, _johnson_fit, _johnson_cdf, _johnson_quantile, _johnson_log_density
    ),
}

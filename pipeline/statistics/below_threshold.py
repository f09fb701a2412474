"""How deep the wall goes once it is under a threshold: the generalised Pareto distribution of the deficits.

Far enough down, the depth below a threshold has nearly the same shape whatever the wall's own distribution
is. Only cluster minima go in, one for each thin stretch. Source: Coles, An Introduction to Statistical
Modeling of Extreme Values (2001), chapter 4 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import interpolate, optimize, stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.information import covariance_of
from pipeline.messages import Said, message
from pipeline.reasons import Reason

Array = NDArray[np.float64]
# Below -1 the likelihood grows without bound towards an endpoint at the deepest reading, so the search stops
# short.
_LEAST_SHAPE = -0.95
# Search variable s, where 1 + tau max(y) = exp(s).
_GRID = np.concatenate(
    [np.linspace(-7.0, -0.5, 27), np.linspace(-0.45, 0.45, 19), np.linspace(0.5, 14.0, 55)]
)
_NEAR_0 = np.geomspace(1e-7, 0.06, 50)
_FINE = np.concatenate(
    [np.linspace(-14.0, -0.07, 200), -_NEAR_0[::-1], _NEAR_0, np.linspace(0.07, 14.0, 200)]
)


@dataclass(frozen=True, slots=True)
class TailFit:
    """Generalised Pareto fit of deficits.

    Args:
        scale: sigma, in the unit of the deficits.
        shape: xi [1]; negative where the depth has an end, zero for an exponential tail.
        covariance: of (scale, shape), from the observed information; NaN where that is not positive definite.
        log_likelihood: at the maximum.
        n: deficits.
        converged: False if the shape ran into the edge of the search; the exponential tail then stands in.
    """

    scale: float
    shape: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    log_likelihood: float
    n: int
    converged: bool


@checked
def tail_log_likelihood(deficits: Array, scale: Array | float, shape: Array | float) -> Array:
    """Log-likelihood of deficits, summed over the last axis: -n ln sigma - (1 + 1/xi) sum ln(1 + xi y/sigma).

    Args:
        deficits: y above zero; last axis is summed.
        scale: sigma, broadcast against the deficits.
        shape: xi, likewise; below 1e-9 in size the exponential form is used.
    """
    return _log_likelihood(deficits, scale, shape)


def _log_likelihood(deficits: Array, scale: Array | float, shape: Array | float) -> Array:
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        ratio = deficits / scale
        inside = 1.0 + shape * ratio
        general = (1.0 + 1.0 / np.where(shape == 0.0, 1.0, shape)) * np.log(inside)
        each = -np.log(scale) - np.where(np.abs(shape) < 1e-9, ratio, general)
        total = np.where(inside > 0.0, each, -np.inf).sum(axis=-1)
    return np.asarray(total, dtype=np.float64)


@checked
def fit_tail_rows(rows: Array) -> Array:
    """Maximum-likelihood scale and shape of many samples at once, one a row.

    For tau = xi/sigma the best shape is mean ln(1 + tau y), so one number is searched: first on a grid, then
    by golden section (Grimshaw, Technometrics 35 (1993), 185-191, from memory).

    Args:
        rows: deficits above zero, one sample a row.

    Returns:
        (scale, shape), one row a sample.
    """
    top = rows.max(axis=1, keepdims=True)
    y = rows / top
    # As many rows at once as a few million figures hold.
    many = max(1, 2_000_000 // (_GRID.size * y.shape[1]))
    heights = np.concatenate(
        [_profile(y[at : at + many, None, :], _GRID[None, :, None]) for at in range(0, len(y), many)]
    ).T
    best = np.clip(np.argmax(heights, axis=0), 1, _GRID.size - 2)
    low, high = _GRID[best - 1][:, None], _GRID[best + 1][:, None]
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    left, right = high - golden * (high - low), low + golden * (high - low)
    at_left, at_right = _profile(y, left), _profile(y, right)
    for _ in range(28):
        better = (at_left > at_right)[:, None]
        low, high = np.where(better, low, left), np.where(better, right, high)
        fresh = np.where(better, high - golden * (high - low), low + golden * (high - low))
        at_fresh = _profile(y, fresh)
        left, right = np.where(better, fresh, right), np.where(better, left, fresh)
        at_left, at_right = (
            np.where(better[:, 0], at_fresh, at_right),
            np.where(better[:, 0], at_left, at_fresh),
        )
    scale, shape = _from_search(y, 0.5 * (low + high))
    return np.concatenate([scale * top, shape], axis=1)


def _from_search(y: Array, s: Array) -> tuple[Array, Array]:
    """Scale and shape at the search variable s, where 1 + tau max(y) = e^s."""
    tau = np.expm1(s)
    shape = np.log1p(tau * y).mean(axis=-1, keepdims=True)
    near = np.abs(s) < 1e-7
    scale = np.where(near, y.mean(axis=-1, keepdims=True), shape / np.where(near, 1.0, tau))
    return scale, np.where(near, 0.0, shape)


def _profile(y: Array, s: Array) -> Array:
    """Log-likelihood over n of the best shape at each row's s: -ln sigma - xi - 1."""
    scale, shape = _from_search(y, s)
    height = -np.log(scale) - shape - 1.0
    return np.where(shape > _LEAST_SHAPE, height, -np.inf)[..., 0]


@checked
def mean_of_logs(tau: Array, deficits: Array) -> Array:
    """Mean of ln(1 + tau y) over the deficits at each tau, so many at once as a million figures hold.

    Args:
        tau: one number each [1/unit of the deficits].
        deficits: y.
    """
    many = max(1, 1_000_000 // deficits.size)
    parts = [
        np.log1p(np.multiply.outer(tau[at : at + many], deficits)).mean(axis=1)
        for at in range(0, tau.size, many)
    ]
    return np.concatenate(parts)


@checked
def fit_tail(deficits: ArrayLike) -> TailFit:
    """Maximum-likelihood generalised Pareto fit of cluster deficits.

    P(Y > y) = (1 + xi y/sigma)^(-1/xi).

    Args:
        deficits: threshold minus the thinnest reading of each cluster, above zero, in any unit.

    Raises:
        MethodRefusal: fewer than ten deficits, one that is not finite and positive, or all equal.

    Stops being true for xi below -0.5, where the usual errors fail, and where deficits of one stretch are
    counted several times. A positive xi for a wall is physically suspect: a mixture or a drop-out; look
    before reporting.
    """
    y = checked_deficits(deficits)
    scale, shape = (float(one) for one in fit_tail_rows(y[None, :])[0])
    height = float(tail_log_likelihood(y, scale, shape))
    exponential = float(tail_log_likelihood(y, float(y.mean()), 0.0))
    if shape <= _LEAST_SHAPE + 0.02 or not math.isfinite(height):
        nan = float("nan")
        covariance = ((float(y.mean()) ** 2 / y.size, nan), (nan, nan))
        return TailFit(float(y.mean()), 0.0, covariance, exponential, int(y.size), False)
    (scale_scale, both), (_, shape_shape) = covariance_of(
        lambda at: float(_log_likelihood(y, at[0], at[1])), (scale, shape), (scale * 1e-4, 1e-4)
    ).tolist()
    known = ((scale_scale, both), (both, shape_shape))
    return TailFit(scale, shape, known, height, int(y.size), True)


@checked
def shape_interval(deficits: ArrayLike, confidence: float = 0.95) -> tuple[float, float]:
    """Profile-likelihood interval of the shape xi.

    Args:
        deficits: as in `fit_tail`.
        confidence: coverage aimed at.
    """
    y = checked_deficits(deficits)
    fit = fit_tail(y)
    drop = float(stats.chi2.ppf(confidence, 1)) / 2.0
    top = float(y.max())
    # g = mean ln(1 + tau y) over s; at a fixed shape the log-likelihood over n is ln(tau/xi) - (1 + 1/xi) g.
    tau = np.expm1(_FINE) / top
    log_mean = interpolate.CubicSpline(_FINE, mean_of_logs(tau, y))

    def best(s: Array, shape: float) -> Array:
        with np.errstate(divide="ignore", invalid="ignore"):
            found = np.log(np.expm1(s) / (top * shape)) - (1.0 + 1.0 / shape) * log_mean(s)
        return np.where(np.isfinite(found), found, -np.inf)

    def short(shape: float) -> float:
        if abs(shape) < 1e-7:
            return -y.size * (math.log(float(y.mean())) + 1.0) - fit.log_likelihood + drop
        at = int(np.clip(np.argmax(best(_FINE, shape)), 1, _FINE.size - 2))
        near = np.linspace(_FINE[at - 1], _FINE[at + 1], 61)
        return y.size * float(best(near, shape).max()) - fit.log_likelihood + drop

    low, high = fit.shape - 0.05, fit.shape + 0.05
    while short(low) > 0.0 and low > _LEAST_SHAPE:
        low -= 0.1
    while short(high) > 0.0:
        high += 0.1
    low = float(optimize.brentq(short, low, fit.shape, xtol=1e-4)) if short(low) < 0.0 else _LEAST_SHAPE
    return low, float(optimize.brentq(short, fit.shape, high, xtol=1e-4))


@checked
def tail_cdf(parameters: Array, deficits: Array) -> Array:
    """P(Y <= y) of each row: 1 - (1 + xi y/sigma)^(-1/xi), for goodness of fit.

    Args:
        parameters: (scale, shape), one row a sample.
        deficits: y, one row a sample.
    """
    scale, shape = parameters[:, [0]], parameters[:, [1]]
    flat = np.abs(shape) < 1e-9
    with np.errstate(invalid="ignore", divide="ignore"):
        inside = np.maximum(1.0 + shape * deficits / scale, 0.0)
        power = -np.log(inside) / np.where(flat, 1.0, shape)
    return np.asarray(-np.expm1(np.where(flat, -deficits / scale, power)), dtype=np.float64)


@checked
def tail_quantile(parameters: Array, probabilities: Array) -> Array:
    """Deficit at each probability of each row: sigma ((1 - p)^(-xi) - 1)/xi.

    Args:
        parameters: (scale, shape), one row a sample.
        probabilities: p, one row a sample.
    """
    scale, shape = parameters[:, [0]], parameters[:, [1]]
    logs = -np.log1p(-probabilities)
    flat = np.abs(shape) < 1e-9
    bent = np.expm1(shape * logs) / np.where(flat, 1.0, shape)
    return np.asarray(scale * np.where(flat, logs, bent), dtype=np.float64)


@checked
def checked_deficits(deficits: ArrayLike) -> Array:
    """Deficits as an array, after the checks every tail method shares.

    Args:
        deficits: threshold minus reading, in any unit.

    Raises:
        MethodRefusal: fewer than ten, one not finite and positive, or all equal.
    """
    y = np.asarray(deficits, dtype=np.float64).ravel()
    found: Said | None = None
    remedy: Said = message(Reason.RAISE_THRESHOLD)
    if y.size < 10:
        found = message(Reason.CLUSTERS_TOO_FEW, clusters=y.size)
    elif not np.isfinite(y).all() or (y <= 0.0).any():
        found = "a deficit that is not a finite number above zero"
        remedy = "Give threshold minus the thinnest reading of each cluster"
    elif np.ptp(y) == 0.0:
        found = f"all {y.size} deficits are equal"
        remedy = "Look for a stuck instrument or a resolution coarser than the deficits"
    if found is not None:
        raise MethodRefusal(Complaint("Tail fit", found, remedy))
    return y

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
from scipy import optimize, stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.information import covariance_of
from pipeline.words import counted

Array = NDArray[np.float64]
# Below -1 the likelihood grows without bound towards an endpoint at the deepest reading, so the search stops
# short.
_LEAST_SHAPE = -0.95


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

    @property
    def deepest(self) -> float:
        """Greatest possible deficit -scale/shape; infinite unless the shape is negative."""
        return -self.scale / self.shape if self.shape < 0.0 else math.inf


@checked
def tail_log_likelihood(deficits: Array, scale: Array | float, shape: Array | float) -> Array:
    """Log-likelihood of deficits, summed over the last axis: -n ln sigma - (1 + 1/xi) sum ln(1 + xi y/sigma).

    Args:
        deficits: y above zero; last axis is summed.
        scale: sigma, broadcast against the deficits.
        shape: xi, likewise; below 1e-9 in size the exponential form is used.
    """
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
    grid = np.concatenate(
        [np.linspace(-7.0, -0.5, 27), np.linspace(-0.45, 0.45, 19), np.linspace(0.5, 14.0, 55)]
    )
    heights = np.stack([_profile(y, np.full((rows.shape[0], 1), one)) for one in grid])
    best = np.clip(np.argmax(heights, axis=0), 1, grid.size - 2)
    low, high = grid[best - 1][:, None], grid[best + 1][:, None]
    golden = (math.sqrt(5.0) - 1.0) / 2.0
    for _ in range(40):
        left, right = high - golden * (high - low), low + golden * (high - low)
        better = (_profile(y, left) > _profile(y, right))[:, None]
        low, high = np.where(better, low, left), np.where(better, right, high)
    scale, shape = _from_search(y, 0.5 * (low + high))
    return np.concatenate([scale * top, shape], axis=1)


def _from_search(y: Array, s: Array) -> tuple[Array, Array]:
    """Scale and shape at the search variable s, where 1 + tau max(y) = e^s."""
    tau = np.expm1(s)
    shape = np.log1p(tau * y).mean(axis=1, keepdims=True)
    near = np.abs(s) < 1e-7
    scale = np.where(near, y.mean(axis=1, keepdims=True), shape / np.where(near, 1.0, tau))
    return scale, np.where(near, 0.0, shape)


def _profile(y: Array, s: Array) -> Array:
    """Log-likelihood over n of the best shape at each row's s: -ln sigma - xi - 1."""
    scale, shape = _from_search(y, s)
    height = -np.log(scale) - shape - 1.0
    return np.where(shape > _LEAST_SHAPE, height, -np.inf)[:, 0]


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
        lambda at: float(tail_log_likelihood(y, at[0], at[1])), (scale, shape), (scale * 1e-4, 1e-4)
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

    def short(shape: float) -> float:
        least = -shape * float(y.max()) * (1.0 + 1e-9) if shape < 0.0 else 0.0
        mean = float(y.mean())

        def loss(log_scale: float) -> float:
            return -float(tail_log_likelihood(y, least + math.exp(log_scale), shape))

        bounds = (math.log(mean) - 12.0, math.log(mean) + 4.0)
        found = optimize.minimize_scalar(loss, bounds=bounds, method="bounded", options={"xatol": 1e-10})
        return -float(found.fun) - fit.log_likelihood + drop

    low, high = fit.shape - 0.05, fit.shape + 0.05
    while short(low) > 0.0 and low > _LEAST_SHAPE:
        low -= 0.1
    while short(high) > 0.0:
        high += 0.1
    low = float(optimize.brentq(short, low, fit.shape)) if short(low) < 0.0 else _LEAST_SHAPE
    return low, float(optimize.brentq(short, fit.shape, high))


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
    found, remedy = None, "Raise the threshold or gather more wire"
    if y.size < 10:
        found = (
            f"{counted(y.size, 'cluster below the threshold is', 'clusters below the threshold are')} "
            "too few, 10 are needed"
        )
    elif not np.isfinite(y).all() or (y <= 0.0).any():
        found = "a deficit that is not a finite number above zero"
        remedy = "Give threshold minus the thinnest reading of each cluster"
    elif np.ptp(y) == 0.0:
        found = f"all {y.size} deficits are equal"
        remedy = "Look for a stuck instrument or a resolution coarser than the deficits"
    if found is not None:
        raise MethodRefusal(Complaint("fit below a threshold: deficits", found, remedy))
    return y

"""How likely a reel has a point under the limit, from the thinnest points of equal lengths of wire.

The smallest reading of each block (a kilometre, or the reel itself) follows a generalised extreme-value
distribution if the block is much longer than the correlation of the wall. With the reel as block, differences
between reels are in it. Source: Coles, An Introduction to Statistical Modeling of Extreme Values (2001),
chapter 3 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, stats

from pipeline.arguments import checked
from pipeline.assumed import Assumed
from pipeline.errors import Complaint, MethodRefusal
from pipeline.information import covariance_of
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.words import counted

Array = NDArray[np.float64]
_EULER = 0.5772156649015329
# Simulated sets of reels (tests/statistics/interval_coverage_found.csv).
HELD = message(Note.HELD_BLOCK_MINIMA)


@dataclass(frozen=True, slots=True)
class BlockFit:
    """Generalised extreme-value fit of block minima.

    Args:
        location: mu, in the unit of the readings; the level passed once a block on average.
        scale: sigma, same unit.
        shape: xi [1]; negative where there is a thinnest possible point.
        covariance: of (location, scale, shape), row by row; NaN where the information is not positive
            definite.
        log_likelihood: at the maximum.
        n: blocks.
        converged: False if the Gumbel form (xi = 0) stands in.
    """

    location: float
    scale: float
    shape: float
    covariance: tuple[tuple[float, ...], ...]
    log_likelihood: float
    n: int
    converged: bool

    def passings(self, level: float) -> float:
        """Mean number of passings of `level` a block: (1 + xi (mu - level)/sigma)^(-1/xi)."""
        return float(_passings(np.array(self.location - level), self.scale, self.shape))

    def chance_below(self, level: float, blocks: float = 1.0) -> float:
        """Probability that the thinnest point of `blocks` blocks lies under `level`."""
        return -math.expm1(-blocks * self.passings(level))


def _passings(depth: Array, scale: float | Array, shape: float | Array) -> Array:
    """(1 + xi depth/sigma)^(-1/xi); infinite or zero beyond the end of the distribution."""
    flat = np.abs(shape) < 1e-9
    with np.errstate(all="ignore"):
        inside = 1.0 + shape * depth / scale
        power = np.where(flat, -depth / scale, -np.log(inside) / np.where(flat, 1.0, shape))
        beyond = np.where(np.asarray(shape) > 0.0, np.inf, 0.0)
        return np.where((inside > 0.0) | flat, np.exp(power), beyond)


def _log_likelihood(depths: Array, location: float, scale: float, shape: float) -> float:
    """r-largest log-likelihood of depths (minus the r smallest readings of each block, NaN where fewer)."""
    if not scale > 0.0:
        return -math.inf
    known = ~np.isnan(depths)
    z = (depths - location) / scale
    if np.any(1.0 + shape * z[known] <= 0.0):
        return -math.inf
    logs = np.log1p(shape * z) / shape if abs(shape) > 1e-9 else z
    each = math.log(scale) + (1.0 + shape) * logs
    with np.errstate(over="ignore"):
        value = -float(np.sum(each[known])) - float(np.sum(np.exp(-np.nanmin(logs, axis=1))))
    return value if math.isfinite(value) else -math.inf


@checked
def fit_block_minima(minima: ArrayLike) -> BlockFit:
    """Maximum-likelihood generalised extreme-value fit of the thinnest reading, or the r thinnest, of each
    block.

    P(min < c) = 1 - exp(-(1 + xi (mu - c)/sigma)^(-1/xi)).

    Args:
        minima: one value a block, or one row a block with its r thinnest values, thinnest first, NaN where
            fewer.

    Raises:
        MethodRefusal: fewer than ten blocks, one not finite, or all equal.

    Source: Coles (2001), sections 3.3 and 3.5. If the search runs away, the Gumbel form stands in and
    `converged` is False. Stops being true for xi below -0.5 and for blocks shorter than some tens of
    correlation lengths.
    """
    depths = -_checked(minima)
    first = depths[:, 0]
    spread = float(first.std(ddof=1)) * math.sqrt(6.0) / math.pi
    start = np.array([float(first.mean()) - _EULER * spread, math.log(spread), -0.1], dtype=np.float64)

    def loss(at: Array) -> float:
        if not -0.95 < at[2] < 3.0:
            return 1e300
        found = _log_likelihood(depths, float(at[0]), math.exp(float(at[1])), float(at[2]))
        return -found if math.isfinite(found) else 1e300

    def descend(begin: Array, fine: float) -> tuple[Array, float]:
        found = optimize.minimize(
            loss, begin, method="Nelder-Mead", options={"xatol": fine, "fatol": fine / 10.0, "maxiter": 1500}
        )
        return np.asarray(found.x, dtype=np.float64), float(found.fun)

    rough = [descend(np.array([start[0], start[1], shape]), 1e-3) for shape in (-0.1, 0.15, -0.4)]
    best, height = min(rough, key=lambda one: one[1])
    for _ in range(2):  # a fresh simplex frees a stuck one
        best, height = descend(best, 1e-9)
    location, scale, shape = float(best[0]), math.exp(float(best[1])), float(best[2])
    ran_away = not -0.93 < shape < 2.0 or scale < 1e-6 * float(first.std(ddof=1))
    if not height < 1e299 or ran_away:
        return _gumbel(depths)
    return BlockFit(
        -location, scale, shape, _covariance(depths, location, scale, shape), -height, len(first), True
    )


def _gumbel(depths: Array) -> BlockFit:
    """Gumbel fit, the open fallback where the three-parameter search fails."""

    def loss(at: Array) -> float:
        return -_log_likelihood(depths, float(at[0]), math.exp(float(at[1])), 0.0)

    first = depths[:, 0]
    spread = float(first.std(ddof=1)) * math.sqrt(6.0) / math.pi
    begin = np.array([float(first.mean()) - _EULER * spread, math.log(spread)], dtype=np.float64)
    found = optimize.minimize(loss, begin, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-10})
    nan = float("nan")
    location, scale = -float(found.x[0]), math.exp(float(found.x[1]))
    return BlockFit(location, scale, 0.0, ((nan,) * 3,) * 3, -float(found.fun), len(first), False)


def _covariance(depths: Array, location: float, scale: float, shape: float) -> tuple[tuple[float, ...], ...]:
    """Covariance of (location of the minima, scale, shape)."""
    found = covariance_of(
        lambda at: _log_likelihood(depths, float(at[0]), float(at[1]), float(at[2])),
        (location, scale, shape),
        (scale * 1e-3, scale * 1e-3, 1e-3),
    )
    sign = np.array([-1.0, 1.0, 1.0])  # the location of minima is minus that of the depths
    return tuple(tuple(float(one) for one in row) for row in found * sign[:, None] * sign[None, :])


@checked
def reel_risk_from_blocks(
    minima: ArrayLike,
    fit: BlockFit,
    *,
    limit: float,
    block_m: ArrayLike,
    reel_m: float,
    averaging_m: float | None = None,
    confidence: float = 0.95,
    fewest: int = 20,
) -> Result | Refused:
    """Probability that a reel has a point under the limit, from block minima, with a profile-likelihood
    interval.

    P = 1 - exp(-eta L/b), eta = (1 + xi (mu - c)/sigma)^(-1/xi); the interval profiles eta over (sigma, xi).

    Args:
        minima: thinnest reading of each block, in the unit of the limit.
        fit: their `fit_block_minima`.
        limit: c.
        block_m: length of the blocks [m]; one figure, or one a block, equal within 5 %.
        reel_m: L, length of a reel [m]; the block length if the reel is the block.
        averaging_m: length [m] over which one reading averages; None if at the scale of the standard's
            specimen.
        confidence: coverage aimed at.
        fewest: fewest blocks; twenty chosen here.

    Returns:
        A `Result` about one reel, or a `Refused`.
    """
    z = np.asarray(minima, dtype=np.float64).ravel()
    lengths = np.atleast_1d(np.asarray(block_m, dtype=np.float64))
    question = asks(Quantity.BLOCK_REEL_MINIMUM_RISK)
    method = message(Method.BLOCK_MINIMA)
    reason = _refusal(z, lengths, limit, reel_m, fewest)
    if reason is not None:
        return Refused(question, method, reason, int(z.size))
    block = float(lengths.mean())
    blocks = reel_m / block
    low, high = _interval(-z, -limit, fit, float(stats.chi2.ppf(confidence, 1)) / 2.0)
    high_chance = -math.expm1(-high * blocks)
    warnings = [
        message(Note.REELS_THAT_MAY_HAVE_A_POINT, confidence=100.0 * confidence, high_chance=high_chance)
    ]
    if not fit.converged:
        warnings.append(message(Note.FIT_TO_GUMBEL))
    if fit.shape > 0.0:
        warnings.append(message(Note.POSITIVE_SHAPE, shape=fit.shape))
    if blocks > 1.0 + 1e-9:
        warnings.append(message(Note.BLOCKS_TAKEN_AS_INDEPENDENT))
    warnings.append(HELD)
    if averaging_m is not None:
        warnings.append(message(Note.AVERAGES_OVER_A_LENGTH, averaging_m=Measure(averaging_m, "m")))
    return Result(
        question=question,
        estimate=fit.chance_below(limit, blocks),
        low=-math.expm1(-low * blocks),
        high=high_chance,
        confidence=confidence,
        unit="",
        method=method,
        n=int(z.size),
        effective_n=None,
        known_m=block * z.size,
        unit_of_inference="reel",
        assumptions=(
            Assumption(message(Assumed.FIT_CONVERGED), fit.converged, message(Note.MAXIMUM_LIKELIHOOD)),
        ),
        warnings=tuple(warnings),
        details={
            "location": fit.location,
            "scale": fit.scale,
            "shape": fit.shape,
            "block_m": block,
            "blocks_below_limit": float(np.sum(z < limit)),
        },
    )


@checked
def profile_height(depths: Array, level: float, eta: float) -> float:
    """Largest log-likelihood of block depths if `level` is passed eta times a block on average.

    Args:
        depths: minus the minima.
        level: minus the limit.
        eta: passings a block, above zero.
    """
    thin = 3 if depths.size > 200 else 1  # a coarser grid then; the simplex finds the rest
    shapes = np.linspace(-0.9, 1.4, 47)[::thin]
    spread = float(depths.std(ddof=1))
    logs = np.linspace(math.log(spread) - 3.0, math.log(spread) + 2.0, 41)[::thin]
    shape, log_scale = np.meshgrid(shapes, logs)
    heights = _tied(depths, level, eta, log_scale, shape)
    best = np.unravel_index(int(np.argmax(heights)), heights.shape)

    def loss(at: Array) -> float:
        if not -0.95 < at[1] < 3.0:
            return 1e300
        found = float(_tied(depths, level, eta, np.array(at[0]), np.array(at[1])))
        return -found if math.isfinite(found) else 1e300

    start = np.array([log_scale[best], shape[best]], dtype=np.float64)
    simplex = start + np.array([[0.0, 0.0], [0.06, 0.0], [0.0, 0.03]])
    found = optimize.minimize(
        loss,
        start,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 1e-5, "fatol": 1e-7, "maxiter": 400},
    )
    return -float(found.fun)


def _tied(depths: Array, level: float, eta: float, log_scale: Array, shape: Array) -> Array:
    """Log-likelihood with the location tied to eta: mu = level - sigma (eta^-xi - 1)/xi."""
    scale = np.exp(log_scale)
    flat = np.abs(shape) < 1e-9
    with np.errstate(all="ignore"):
        bent = np.where(flat, -math.log(eta), np.expm1(-shape * math.log(eta)) / np.where(flat, 1.0, shape))
        z = (depths - level) / scale[..., None] + bent[..., None]
        wide, level_flat = shape[..., None], flat[..., None]
        logs = np.where(level_flat, z, np.log1p(wide * z) / np.where(level_flat, 1.0, wide))
        each = log_scale[..., None] + (1.0 + wide) * logs + np.exp(-logs)
        total = -np.where(np.isfinite(each), each, np.inf).sum(axis=-1)
    return np.asarray(total, dtype=np.float64)


def _interval(depths: Array, level: float, fit: BlockFit, drop: float) -> tuple[float, float]:
    """Ends of the interval of eta, passings a block."""
    top = fit.log_likelihood

    def short(log_eta: float) -> float:
        return profile_height(depths, level, math.exp(log_eta)) - top + drop

    fitted = fit.passings(-level)
    floor, ceiling = -60.0, 6.0
    start = math.log(fitted) if 1e-25 < fitted < 1e3 else floor
    if short(start) <= 0.0:  # far beyond the minima the search for the profile can stop short of its top
        grid = np.linspace(floor, ceiling, 67)
        heights = [short(float(one)) for one in grid]
        start = float(grid[int(np.argmax(heights))])
        top += min(max(heights) - drop, 0.0)
    low, step = start, 0.5
    while low > floor and short(low) > 0.0:
        low, step = low - step, step * 1.6
    high, step = start, 0.3
    while high < ceiling and short(high) > 0.0:
        high, step = high + step, step * 1.3
    lower = math.exp(float(optimize.brentq(short, low, start, xtol=1e-3))) if short(low) < 0.0 else 0.0
    upper = float(optimize.brentq(short, start, high, xtol=1e-3)) if short(high) < 0.0 else ceiling
    return lower, math.exp(upper)


def _refusal(z: Array, lengths: Array, limit: float, reel_m: float, fewest: int) -> Message | None:
    if not math.isfinite(limit):
        return message(Reason.LIMIT_NOT_FINITE_READINGS)
    if not (np.isfinite(lengths).all() and (lengths > 0.0).all() and 0.0 < reel_m < math.inf):
        return message(Reason.BLOCKS_OR_REELS_WITHOUT_LENGTH)
    if np.ptp(lengths) > 0.05 * lengths.mean():
        return message(Reason.BLOCKS_UNEQUAL, min=lengths.min(), max=Measure(lengths.max(), "m"))
    if z.size < fewest:
        return message(Reason.TOO_FEW_BLOCKS, n=z.size, fewest=fewest)
    if not np.isfinite(z).all() or np.ptp(z) == 0.0:
        return message(Reason.MINIMA_EQUAL_OR_NOT_FINITE)
    return None


def _checked(minima: ArrayLike) -> Array:
    z = np.asarray(minima, dtype=np.float64)
    z = z[:, None] if z.ndim == 1 else z
    found = None
    if z.shape[0] < 10:
        found = f"{counted(z.shape[0], 'block is', 'blocks are')} too few, 10 are needed"
    elif not np.isfinite(z[:, 0]).all() or np.isinf(z).any():
        found = "a block whose minimum is not a finite number"
    elif np.ptp(z[:, 0]) == 0.0:
        found = f"all {z.shape[0]} block minima are equal"
    if found is not None:
        remedy = "Give one finite minimum a block, at least ten that differ"
        raise MethodRefusal(Complaint("fit of block minima", found, remedy))
    return z

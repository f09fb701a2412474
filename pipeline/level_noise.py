"""Do values that repeat their neighbours to an unknown degree keep one level, and how sure is a difference of two?

The values are a first-order autoregression about levels; its correlation is weighed by its restricted likelihood.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize, signal, special, stats

PHI = np.tanh(np.linspace(np.arctanh(-0.5), np.arctanh(0.995), 81))
"""Correlations of neighbours that are averaged over, evenly in Fisher's z."""
WANDER_PHI = np.tanh(np.linspace(0.0, np.arctanh(0.95), 14))
WANDER_OWN = np.array([0.0, 0.4])
"""Correlations of neighbours, and shares of the variance that each average has of its own (chosen here)."""
PLAYED, CALLED = 199, 0.01
"""Wanders without a change, and the share of them that may look as much like one as the values (chosen here)."""


def correlations(
    x: NDArray[np.float64], edges: Sequence[int]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Weight and variance of a value at each correlation of `PHI`: restricted likelihood about levels at `edges`."""
    start, end = np.asarray(edges[:-1]), np.asarray(edges[1:])
    levels, n = len(start), x.size
    rest = x - np.repeat([x[a:b].mean() for a, b in pairwise(edges)], end - start)
    phi = PHI[:, None]
    # Normal equations of the levels once each departure has phi of the one before it taken off.
    own = (1 - phi) ** 2 * (end - start - 1) + np.where(start == 0, 1 - phi**2, 1.0)
    own = own + np.where(end == n, 0.0, phi**2)
    design = np.zeros((PHI.size, levels, levels))
    at = np.arange(levels)
    design[:, at, at] = own
    design[:, at[1:], at[:-1]] = design[:, at[:-1], at[1:]] = -phi
    first, last, before = rest[start], rest[end - 1], rest[start - 1]
    opening = np.where(start == 0, (1 - phi**2) * first, first - phi * before)
    closing = np.where(end == n, 0.0, -phi * (rest[end % n] - phi * last))
    right = opening + closing + (1 - phi) * (phi * last - first)
    taken = (right * np.linalg.solve(design, right[:, :, None])[:, :, 0]).sum(axis=1)
    square, lagged = float(rest @ rest), float(rest[1:] @ rest[:-1])
    inside = square - rest[0] ** 2 - rest[-1] ** 2
    left = np.maximum(square - 2 * PHI * lagged + PHI**2 * inside - taken, 1e-30 * max(square, 1e-300))
    fit = np.log1p(-(PHI**2)) - (n - levels) * np.log(left) - np.linalg.slogdet(design)[1]
    weight = np.exp((fit - fit.max()) / 2)
    return weight / weight.sum(), left / (n - levels) / (1 - PHI**2)


def variance_of_difference(before: NDArray[np.int64], after: NDArray[np.int64]) -> NDArray[np.float64]:
    """Variance of the difference of neighbouring means at each correlation of `PHI`, over the variance of a value.

    Of a mean of m: [(1 + phi)/(1 - phi) - 2 phi (1 - phi^m)/(m (1 - phi)^2)]/m. Derived.
    """
    m, k = (np.asarray(one[:, None], dtype=np.float64) for one in (before, after))
    away = 1 - PHI
    gone_m, gone_k = 1 - PHI**m, 1 - PHI**k

    def of_mean(many: NDArray[np.float64], gone: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(((1 + PHI) / away - 2 * PHI * gone / (many * away**2)) / many, dtype=np.float64)

    together = PHI * gone_m * gone_k / (m * k * away**2)
    return np.asarray(of_mean(m, gone_m) + of_mean(k, gone_k) - 2 * together, dtype=np.float64)


def half_width(
    error: NDArray[np.float64], weight: NDArray[np.float64], free: float, confidence: float
) -> float:
    """Half width of an interval, Student's t averaged over the correlations; 0 where nothing scatters.

    Args:
        error: standard error at each correlation of `PHI`.
        weight: weight of each.
        free: degrees of freedom.
        confidence: coverage aimed at.
    """
    return half_of_mixture(np.zeros(error.size), error, weight, free, confidence)


def half_of_mixture(
    off: NDArray[np.float64],
    error: NDArray[np.float64],
    weight: NDArray[np.float64],
    free: float,
    confidence: float,
) -> float:
    """Half width about the middle that holds `confidence` of a mixture of Student's t; 0 where nothing scatters.

    Args:
        off: how far each one's own middle is from the mixture's.
        error: standard error of each.
        weight: weight of each; 1 in all.
        free: degrees of freedom.
        confidence: coverage aimed at.
    """
    longest = float((np.abs(off) + error * float(special.stdtrit(free, (1 + confidence) / 2))).max())
    if longest <= 0 or not (error > 0).all():
        return 0.0

    def held(half: float) -> float:
        within = special.stdtr(free, (half - off) / error) - special.stdtr(free, (-half - off) / error)
        return float(weight @ within) - confidence

    return float(optimize.brentq(held, 0.0, 1.01 * longest))


@dataclass(frozen=True, slots=True)
class Coefficients:
    """What values that wander are made of, by generalised least squares averaged over the correlations.

    Args:
        estimate: coefficients, a row a column of the design, a column a value.
        half: half width of the interval of each.
        p_value: chance of the tested ones, of all values together, where the values only wander.
        n: averages known.
    """

    estimate: NDArray[np.float64]
    half: NDArray[np.float64]
    p_value: float
    n: int


def coefficients_of(
    rows: NDArray[np.float64], laid: NDArray[np.float64], tested: Sequence[int], confidence: float = 0.95
) -> Coefficients:
    """Coefficients of values that wander about what they are laid on, and the chance of the tested ones.

    F over the tested coefficients of all values together, their correlation with what was before being one; Student's t
    for each interval. The values are in one unit, scatter alike and do not follow each other.
    A missing average keeps its place: those on its two sides stand two steps apart.

    Args:
        rows: averages over stretches of equal length in order, one column a value; not-a-number where there is none.
        laid: what they are laid on, one column a coefficient; not-a-number where the average is to be left out.
        tested: columns of the design that are tested, together.
        confidence: coverage of the intervals.

    Source: C. R. Henderson's generalised least squares under restricted likelihood, H. D. Patterson & R. Thompson,
    Biometrika 58 (1971) 545 (from memory).
    """
    at = np.flatnonzero(np.isfinite(rows).all(axis=1) & np.isfinite(laid).all(axis=1))
    y, x = rows[at], laid[at]
    (n, p), k = x.shape, y.shape[1]
    if n <= p + 1 or not np.ptp(y, axis=0).any() or np.linalg.matrix_rank(x) < p:
        level = np.full((p, k), np.nan)
        return Coefficients(level, level, 1.0, n)
    free, apart = n - p, np.abs(at[:, None] - at[None, :])
    fits, chances, found, errors = [], [], [], []
    for phi in WANDER_PHI:
        together = np.where(apart == 0, 1.0, phi**apart)
        for own in WANDER_OWN if phi > 0.0 else WANDER_OWN[:1]:
            root = linalg.cholesky((1.0 - own) * together + own * np.eye(n), lower=True)
            white = linalg.solve_triangular(root, np.column_stack([x, y]), lower=True)
            xs, ys = white[:, :p], white[:, p:]
            inverse = np.linalg.inv(xs.T @ xs)
            level = inverse @ (xs.T @ ys)
            left = np.maximum(((ys - xs @ level) ** 2).sum(axis=0), 1e-300)
            fits.append(
                -2.0 * k * float(np.log(np.diag(root)).sum())
                - free * float(np.log(left).sum())
                + k * float(np.linalg.slogdet(inverse)[1])
            )
            part = level[list(tested)]
            square = float((part * np.linalg.solve(inverse[np.ix_(tested, tested)], part)).sum())
            scatter = float(left.mean()) / free
            chances.append(float(stats.f.sf(square / len(tested) / k / scatter, len(tested) * k, k * free)))
            found.append(level)
            errors.append(np.sqrt(np.diag(inverse)[:, None] * left / free))
    weight = np.exp((np.array(fits) - max(fits)) / 2.0)
    weight /= weight.sum()
    each, error = np.array(found), np.array(errors)
    estimate = np.tensordot(weight, each, 1)
    half = np.array(
        [
            [
                half_of_mixture(each[:, i, j] - estimate[i, j], error[:, i, j], weight, free, confidence)
                for j in range(k)
            ]
            for i in range(p)
        ]
    )
    return Coefficients(estimate, half, float(weight @ np.array(chances)), n)


def best_split(rows: NDArray[np.float64], shortest: int) -> int:
    """The item at which one change of level is likeliest, `shortest` items from either end at least."""
    return shortest + int(_ratios(rows)[shortest - 1 : len(rows) - shortest].argmax())


def beyond_chance(rows: NDArray[np.float64], starts: Sequence[int]) -> bool:
    """Whether wanders that keep one level seldom look as much like a change as these values.

    The wanders are first-order autoregressions whose correlation is drawn as the departures from the levels found
    leave it possible.
    """
    n, edges = len(rows), (0, *starts, len(rows))
    rng = np.random.default_rng(n)
    weights = [correlations(rows[:, j], edges)[0] for j in range(rows.shape[1])]
    reached, beyond = _gain(rows), 0
    for _ in range(PLAYED):
        phi = [rng.choice(PHI, p=weight) for weight in weights]
        played = np.column_stack([_wander(rng, one, n) for one in phi])
        beyond += _gain(played) >= reached
        if beyond > CALLED * PLAYED:
            return False
    return True


def _wander(rng: np.random.Generator, phi: float, n: int) -> NDArray[np.float64]:
    """A stationary first-order autoregression of unit innovations."""
    steps = rng.standard_normal(n)
    steps[0] /= math.sqrt(1 - phi**2)
    return np.asarray(signal.lfilter([1.0], [1.0, -phi], steps), dtype=np.float64)


def _gain(rows: NDArray[np.float64]) -> float:
    """Largest log likelihood ratio of one change, over all places, of autoregressions about one level and about two."""
    return float(_ratios(rows).max())


def _ratios(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """The ratio at each item from the second on, of all values together."""
    return np.asarray(np.sum([_ratio_of_split(one) for one in rows.T], axis=0), dtype=np.float64)


def _ratio_of_split(x: NDArray[np.float64]) -> NDArray[np.float64]:
    """Twice the log likelihood ratio of a change at each item from the second on, the correlation fitted both times."""
    n = x.size
    phi = PHI[::5, None]
    root = np.sqrt(1 - phi**2)
    # Each value with phi of the one before it taken off, and the same of a level of 1 that begins at an item.
    y = np.hstack([root * x[:1], x[1:] - phi * x[:-1]])
    one = np.hstack([root, np.broadcast_to(1 - phi, (phi.size, n - 1))])
    later = n - 1 - np.arange(1, n)
    step_one = (1 - phi) + later * (1 - phi) ** 2
    step_step = 1 + later * (1 - phi) ** 2
    tail = np.cumsum(y[:, ::-1], axis=1)[:, ::-1]
    after = np.hstack([tail[:, 2:], np.zeros((phi.size, 1))])
    step_y = y[:, 1:] + (1 - phi) * after
    one_one, one_y = (one * one).sum(axis=1, keepdims=True), (one * y).sum(axis=1, keepdims=True)
    square = (y * y).sum(axis=1, keepdims=True) - one_y**2 / one_one
    taken = (step_y - step_one * one_y / one_one) ** 2 / (step_step - step_one**2 / one_one)
    of_correlation = np.log(root[:, 0]) * 2
    least = 1e-12 * float(square.max()) + 1e-300
    without = of_correlation - n * np.log(np.maximum(square[:, 0], least))
    changed = of_correlation[:, None] - n * np.log(np.maximum(square - taken, least))
    return np.asarray(changed.max(axis=0) - without.max(), dtype=np.float64)

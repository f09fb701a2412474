"""Where do levels of correlated values change at the least cost, and how sure is a place?

The exact segmentation, the long-run variance its cost is counted in, and the law of a place. Sources stand beside
each.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special, stats

from pipeline.arguments import checked
from pipeline.samples import readings, share

TRIM = 3.0
KEPT = float(1 - 2 * TRIM * stats.norm.pdf(TRIM) / (2 * stats.norm.cdf(TRIM) - 1))
"""Variance of a normal value within 3 standard deviations, as a share of the whole."""


@checked
def pelt(values: ArrayLike, penalty: float, shortest: int = 1) -> tuple[int, ...]:
    """Starts of new segments that minimise squared error + penalty x changes, exactly.

    F(t) = min_s F(s) + cost(s, t) + penalty; s is dropped for good once F(s) + cost(s, t) > F(t).

    Args:
        values: one column a value, already in units of their long-run sd; one row an item.
        penalty: cost of one more change.
        shortest: least items between two changes.

    Source: Killick, Fearnhead & Eckley 2012.
    """
    x = np.asarray(values, dtype=np.float64)
    x = x[:, None] if x.ndim == 1 else x
    n = len(x)
    total = np.vstack([np.zeros(x.shape[1]), np.cumsum(x, axis=0)])
    squares = np.append(0.0, np.cumsum((x**2).sum(axis=1)))
    best, last = np.full(n + 1, np.inf), np.zeros(n + 1, dtype=np.int64)
    best[0] = -penalty
    # Starts that may still lead, with what is known at each, in the first `alive` rows: only few are at any time.
    start, beaten = np.zeros(n + 1, dtype=np.int64), np.full(n + 1, n + 1)
    square, sums, behind = np.zeros(n + 1), np.zeros((n + 1, x.shape[1])), np.full(n + 1, -penalty)
    alive = 1
    for t in range(shortest, n + 1):
        away = total[t] - sums[:alive]
        away *= away
        cost = squares[t] - square[:alive] - away.sum(axis=1) / (t - start[:alive])
        reached = behind[:alive] + cost
        least = int(reached.argmin())
        best[t], last[t] = reached[least] + penalty, start[least]
        # A start that is behind even without the penalty never leads again, once a segment from t fits in.
        np.minimum(beaten[:alive], t, out=beaten[:alive], where=reached > best[t])
        keep = np.flatnonzero(beaten[:alive] + shortest > t + 1)
        if keep.size < alive:
            for one in (start, beaten, square, sums, behind):
                one[: keep.size] = one[keep]
            alive = keep.size
        fresh = t - shortest + 1
        if fresh >= shortest:
            start[alive], beaten[alive], square[alive] = fresh, n + 1, squares[fresh]
            sums[alive], behind[alive] = total[fresh], best[fresh]
            alive += 1
    found, t = [], n
    while last[t] > 0:
        t = int(last[t])
        found.append(t)
    return tuple(reversed(found))


@checked
def long_run_variance(values: ArrayLike) -> tuple[float, float]:
    """Long-run variance of readings whose level may jump, and the variance of their scatter.

    From differences, those that only a jump makes left out: phi from lags 1 and 2 of an
    AR(1), s^2 (1 + phi) / (1 - phi); and from differences of neighbouring block means; the larger counts.

    Args:
        values: readings in order, none missing.

    Stops being true for drifts: they look like memory, and fewer changes are called. Derived.
    """
    x = readings(values, "values")
    one, two = _difference_variance(x, 1), _difference_variance(x, 2)
    if one == 0.0:
        spread = float(np.diff(x).var()) / 2
        return spread, spread
    phi = min(max(two / one - 1, 0.0), 0.98)
    white = one / 2 / (1 - phi)
    model = white * (1 + phi) / (1 - phi)
    size = max(5, int(math.sqrt(x.size) / 2), math.ceil(1.5 * (1 + phi) / (1 - phi)))
    blocks = x[: x.size // size * size].reshape(-1, size).mean(axis=1)
    observed = _difference_variance(blocks, 1) / 2 * size if blocks.size >= 12 else 0.0
    return max(model, observed), white


def _difference_variance(x: NDArray[np.float64], lag: int) -> float:
    """Variance of differences, those that only a jump makes (beyond 3 robust sd) left out."""
    step = x[lag:] - x[:-lag]
    step = step - np.median(step)
    usual = float(np.median(np.abs(step)) / stats.norm.ppf(0.75))
    return float((step[np.abs(step) <= TRIM * usual] ** 2).mean()) / KEPT if usual > 0 else 0.0


@checked
def place_quantile(confidence: float) -> float:
    """Half width of the interval of a change's place, in items x (size / long-run sd)^2.

    Quantile of where a two-sided Brownian motion less |s|/2 is highest: 11.03 at 95 %.

    Args:
        confidence: coverage of the two-sided interval.

    Source: Y.-C. Yao, Ann. Statist. 15 (1987) 1321; Bai 1997 (7.7 and 11.0 for 90 and 95 %).
    """
    wanted = (1 + share(confidence, "confidence")) / 2

    def below(x: float) -> float:
        root = math.sqrt(x)
        tail = 1.5 * math.exp(x + float(special.log_ndtr(-1.5 * root)))
        middle = 0.5 * (x + 5) * float(special.ndtr(-root / 2))
        return 1 + math.sqrt(x / (2 * math.pi)) * math.exp(-x / 8) - middle + tail - wanted

    return float(optimize.brentq(below, 1e-9, 500.0))

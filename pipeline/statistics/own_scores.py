"""How far does each reel stand from the reels before it, as a standard normal score that owes nothing to a baseline?

Limits from a dozen reels are themselves unsure, and a chart that adds up small shifts adds that error up too. A reel is
scored by the mean and scatter of the reels before it alone; such scores are independent standard normal while nothing
changes, however few reels there are, and a chart of known limits keeps its promise on them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.samples import readings

Floats = NDArray[np.float64]


@checked
def own_scores(values: ArrayLike, remembering: bool = False) -> Floats:
    """Score of each item by the items before it; of several values each by those before it in the row as well.

    The errors of recursive regression, e_j/(s_j sqrt(1 + 1/n + sum_(k<j) c_k^2/(n - 1))), are Student's t with n - j
    degrees of freedom over n items, j counted from 1, and independent; normal scores are made of them.

    Args:
        values: one row an item, one column a value; a row with not-a-number has no score and teaches nothing.
        remembering: whether an item may repeat the known one before it: it is then scored by what it does not repeat,
            to any degree, which is learned too. Of a lasting shift only that part shows after its first item.

    Returns:
        As many rows; not-a-number for the first items, of which too few lie before. A score moves back toward nothing
        as a lasting shift is learned.

    Source: D.M. Hawkins, The Statistician 36 (1987), 299-316, and D.M. Hawkins and E.M. Maboudou-Tchao, Technometrics
    49 (2007), 199-209 (from memory); for normal, independent items.
    """
    given = np.asarray(values, dtype=np.float64)
    rows = np.column_stack([readings(one, "values") for one in (given[None] if given.ndim == 1 else given.T)])
    width = rows.shape[1]
    if remembering:
        known = np.flatnonzero(np.isfinite(rows).all(axis=1))
        before = np.full(rows.shape, np.nan)
        before[known[1:]] = rows[known[:-1]]
        rows = np.hstack([before, rows])
    p = rows.shape[1]
    deviate, freedom = np.full(rows.shape, np.nan), np.ones(rows.shape)
    mean, square = np.zeros(p), np.zeros((p, p))
    for n, item in enumerate(np.flatnonzero(np.isfinite(rows).all(axis=1)).tolist()):
        away = rows[item] - mean
        if n > p + 1:
            deviate[item] = _deviates(away, square, n)
            freedom[item] = n - 1 - np.arange(p)
        mean = mean + away / (n + 1)
        square = square + np.outer(away, away) * n / (n + 1)
    # By the tail, whose logarithm does not run out of digits.
    tail = np.maximum(stats.t.sf(np.abs(deviate), freedom), 1e-300)
    made = np.copysign(stats.norm.isf(tail), deviate)[:, p - width :]
    return np.asarray(made[:, 0] if given.ndim == 1 else made, dtype=np.float64)


def _deviates(away: Floats, square: Floats, n: int) -> Floats:
    """Student's t of one row's departures from the mean of n rows with that sum of squares; NaN where they are tied."""
    try:
        root = np.linalg.cholesky(square / (n - 1))
    except np.linalg.LinAlgError:
        return np.full(away.size, np.nan)
    apart = np.linalg.solve(root, away)
    behind = 1.0 + 1.0 / n + (np.cumsum(apart**2) - apart**2) / (n - 1)
    return np.asarray(apart * np.sqrt((n - 1 - np.arange(away.size)) / (n - 1) / behind), dtype=np.float64)

"""Does a wall or a centre stand off a level, or move along the wire, by more than it wanders about anyway?

Averages over stretches of wire repeat their neighbours. Their noise is a first-order autoregression with some noise of
its own on top; how much of each is not known, so the test is averaged over both by their restricted likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg, stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.samples import whole_readings

Floats = NDArray[np.float64]

ONE_CLAIM, QUESTIONS = 0.05, 16
CLAIM_P = ONE_CLAIM / QUESTIONS
"""Chance at which a claim is made of a run in which nothing is wrong. Its pages ask some sixteen questions of causes:
periods, changes and drift of each channel, the centre, faults, settings. One clean run in twenty may hold a claim."""
WANDER_P = 0.01
"""The same for `chance_of_wander`, whose average over correlations is on the safe side: of wanders of 43 averages with
memories of 1 to 4 averages 0.001 were below it, with memories of 10 averages 0.006 to 0.02."""
MOST = 120
"""Averages that are looked at; of more, neighbours are put together."""
PHI = np.tanh(np.linspace(0.0, np.arctanh(0.95), 14))
OWN = np.array([0.0, 0.4])
"""Correlations of neighbours, and shares of the variance that each average has of its own."""


@cache
def _bases(n: int) -> tuple[tuple[Floats, Floats], ...]:
    """Eigenvalues and eigenvectors of the correlation of n averages, for each of `PHI`."""
    return tuple(linalg.eigh(linalg.toeplitz(phi ** np.arange(n))) for phi in PHI)


@checked
def chance_of_wander(values: ArrayLike, design: ArrayLike, tested: Sequence[int]) -> float:
    """Chance of coefficients as large as these where the values only wander.

    F over the tested coefficients of all values together, by generalised least squares, averaged over correlations.

    Args:
        values: averages in order, one column a value, none missing.
        design: what they are laid on, one column a coefficient.
        tested: columns of the design that are tested, together.

    Returns:
        The probability. Found on 43 averages of memories from 1 to 4 averages, with and without noise of their own:
        0.01 or less of wanders were below 0.05. Derived.
    """
    given, laid = (np.asarray(one, dtype=np.float64) for one in (values, design))
    rows, laid = (
        np.column_stack([whole_readings(part, name) for part in (one[None] if one.ndim == 1 else one.T)])
        for one, name in ((given, "values"), (laid, "design"))
    )
    few = [one for one in tested if 0 <= one < laid.shape[1]]
    if len(rows) != len(laid) or not few:
        raise MethodRefusal(
            Complaint(
                "design",
                f"{len(laid)} rows and {laid.shape[1]} columns stand for {len(rows)} values",
                "Give a row for each value, and columns of it to test",
            )
        )
    together = -(-len(rows) // MOST)
    n = len(rows) // together
    rows, laid = (one[: n * together].reshape(n, together, -1).mean(axis=1) for one in (rows, laid))
    k, p = rows.shape[1], laid.shape[1]
    if n <= p + 1 or not np.ptp(rows, axis=0).any():
        return 1.0
    fits, chances = [], []
    for phi, (root, turn) in zip(PHI, _bases(n), strict=True):
        x, y = turn.T @ laid, turn.T @ rows
        for own in OWN if phi > 0.0 else OWN[:1]:
            variance = np.maximum((1.0 - own) * root + own, 1e-12)
            each = 1.0 / np.sqrt(variance)[:, None]
            xs, ys = x * each, y * each
            inverse = np.linalg.inv(xs.T @ xs)
            found = inverse @ (xs.T @ ys)
            left = np.maximum(((ys - xs @ found) ** 2).sum(axis=0), 1e-300)
            fits.append(
                -k * float(np.log(variance).sum())
                - (n - p) * float(np.log(left).sum())
                + k * float(np.linalg.slogdet(inverse)[1])
            )
            part = found[few]
            square = float((part * np.linalg.solve(inverse[np.ix_(few, few)], part)).sum())
            scatter = float(left.mean()) / (n - p)
            chances.append(float(stats.f.sf(square / len(few) / k / scatter, len(few) * k, k * (n - p))))
    weight = np.exp((np.array(fits) - max(fits)) / 2.0)
    return float(weight @ np.array(chances) / weight.sum())

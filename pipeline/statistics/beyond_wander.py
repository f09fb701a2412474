"""Does a wall or a centre stand off a level, or move along the wire, by more than it wanders about anyway?

Averages over stretches of wire repeat their neighbours. Their noise is a first-order autoregression with some noise of
its own on top; how much of each is not known, so the test is averaged over both by their restricted likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.level_noise import coefficients_of
from pipeline.samples import readings

Floats = NDArray[np.float64]

ONE_CLAIM, QUESTIONS = 0.05, 16
CLAIM_P = ONE_CLAIM / QUESTIONS
"""Chance at which a claim is made of a run in which nothing is wrong. Its pages ask some sixteen questions of causes:
periods, changes and drift of each channel, the centre, faults, settings. One clean run in twenty may hold a claim."""
WANDER_P = 0.01
"""The same for `chance_of_wander`, whose average over correlations is on the safe side: of wanders of 43 averages with
memories of 1 to 4 averages 0.001 were below it, with memories of 10 averages 0.006 to 0.02."""
MOST = 120
"""Averages that `chance_of_wander` looks at; of more, neighbours are put together."""


def _columns(given: ArrayLike, name: str) -> Floats:
    """Values or a design, one column each; not-a-number where there is none."""
    one = np.asarray(given, dtype=np.float64)
    return np.column_stack([readings(part, name) for part in (one[None] if one.ndim == 1 else one.T)])


@checked
def chance_of_wander(values: ArrayLike, design: ArrayLike, tested: Sequence[int]) -> float:
    """Chance of coefficients as large as these where the values only wander.

    Args:
        values: averages in order, one column a value; not-a-number where there is none.
        design: what they are laid on, one column a coefficient.
        tested: columns of the design that are tested, together.

    Returns:
        The probability of `coefficients_of`. Found on 43 averages of memories from 1 to 4 averages, with and without
        noise of their own: 0.01 or less of wanders were below 0.05. Derived.
    """
    rows, laid = _columns(values, "values"), _columns(design, "design")
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
    if together > 1:
        n = len(rows) // together
        rows, laid = (_put_together(one[: n * together], together) for one in (rows, laid))
    return coefficients_of(rows, laid, few).p_value


def _put_together(rows: Floats, each: int) -> Floats:
    """Means over so many neighbours, of those that are known; not-a-number where none is."""
    parts = rows.reshape(len(rows) // each, each, -1)
    known = np.isfinite(parts)
    count = known.sum(axis=1)
    return np.where(count > 0, np.where(known, parts, 0.0).sum(axis=1) / np.maximum(count, 1), np.nan)

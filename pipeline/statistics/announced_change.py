"""Did the level change where the run sheet says that something was changed?

A place named beforehand needs no search: two levels are compared there, with the wire in between that may hold both
left out. Correlation of neighbouring averages is weighed as for changes that are searched for. A step shows near the
place, for a wander takes its time; what only begins there shows in the levels: both are asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.level_noise import PHI, coefficients_of, correlations, half_width, variance_of_difference
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import not_negative, readings, share, whole_readings

FEWEST = 4
"""Fewest averages on either side."""
LONGEST = 0.95
"""Largest correlation of neighbouring averages that is taken for possible: a wander that hardly ever comes back to its
level would hide any change. Found on 40 and 60 averages: chance is called as seldom as said for correlations to .9."""
NEAREST = 200
"""Averages, nearest to the place, in which a step there is looked for: many times any wander's memory (chosen here)."""


@dataclass(frozen=True, slots=True)
class AnnouncedChange:
    """Levels on both sides of a place.

    Args:
        before: level before, of each value.
        after: level after.
        half: half width of the interval of each difference.
        p_value: chance of such differences, of all values together, where nothing changed there.
        n: averages on both sides.
    """

    before: tuple[float, ...]
    after: tuple[float, ...]
    half: tuple[float, ...]
    p_value: float
    n: int


@checked
def announced_change(
    values: ArrayLike, at_m: ArrayLike, announced_m: float, mixed_m: float, confidence: float = 0.95
) -> AnnouncedChange | Refused:
    """Whether one value, or several together, changed at a place that was named beforehand.

    Of the two levels T^2 over p values is F with p and p v degrees, its variance averaged over the correlations that
    the departures from both levels leave possible; a difference's interval is Student's. Of a step the same by
    generalised least squares (`pipeline.level_noise.coefficients_of`). Twice the smaller chance of the two is told.

    Args:
        values: averages over stretches in order, one column a value; not-a-number where there is none.
        at_m: middle of each stretch [m].
        announced_m: the place [m].
        mixed_m: wire after it that may hold both [m]: it is left out.
        confidence: coverage of the intervals.

    Stops being true where the level drifts anyway: a drift differs on both sides of any place. Derived.
    """
    share(confidence, "confidence")
    given = np.asarray(values, dtype=np.float64)
    columns = [readings(one, "values") for one in (given[None] if given.ndim == 1 else given.T)]
    rows, place = np.column_stack(columns), whole_readings(at_m, "at_m")
    not_negative(mixed_m, "mixed_m", "m")
    if len(rows) != place.size:
        raise MethodRefusal(
            Complaint("at_m", f"{place.size} places for {len(rows)} averages", "Give one for each")
        )
    known = np.isfinite(rows).all(axis=1)
    first, second = (rows[known & side] for side in (place < announced_m, place >= announced_m + mixed_m))
    n, p = len(first) + len(second), rows.shape[1]
    if min(len(first), len(second)) < FEWEST:
        reason = message(
            Reason.TOO_LITTLE_ON_ONE_SIDE,
            before=len(first),
            after=len(second),
            fewest=FEWEST,
            mixed=Measure(mixed_m, "m"),
        )
        return Refused(asks(Quantity.ANNOUNCED_CHANGE), message(Method.TWO_LEVELS), reason, n)
    both, edges = np.concatenate([first, second]), (0, len(first), n)
    share_of = variance_of_difference(np.array([len(first)]), np.array([len(second)]))[0]
    near = PHI <= LONGEST
    share_of = share_of[near]
    found = []
    for j in range(p):
        weight, variance = correlations(both[:, j], edges)
        found.append((weight[near] / weight[near].sum(), variance[near]))
    moved = second.mean(axis=0) - first.mean(axis=0)
    half = [half_width(np.sqrt(variance * share_of), weight, n - 2, confidence) for weight, variance in found]
    return AnnouncedChange(
        tuple(first.mean(axis=0).tolist()),
        tuple(second.mean(axis=0).tolist()),
        tuple(half),
        min(
            1.0,
            2.0 * min(_p_value(moved, found, share_of, n - 2), _p_of_step(rows, place, announced_m, mixed_m)),
        ),
        n,
    )


def _p_of_step(
    rows: NDArray[np.float64], place: NDArray[np.float64], announced_m: float, mixed_m: float
) -> float:
    """Chance of a step at the place in averages that wander; a missing one keeps its place."""
    near = np.argsort(np.maximum(announced_m - place, place - announced_m - mixed_m), kind="stable")[:NEAREST]
    near.sort()
    rows, place = rows[near], place[near]
    mixed = (place >= announced_m) & (place < announced_m + mixed_m)
    later = np.where(mixed, np.nan, place >= announced_m)
    return coefficients_of(rows, np.column_stack([np.ones(place.size), later]), [1]).p_value


def _p_value(
    moved: NDArray[np.float64],
    found: list[tuple[NDArray[np.float64], NDArray[np.float64]]],
    share_of: NDArray[np.float64],
    free: int,
) -> float:
    weight = np.prod([one for one, _ in found], axis=0)
    variance = np.mean([one for _, one in found], axis=0) * share_of
    if not (variance > 0).all():
        return 0.0 if moved.any() else 1.0
    p = moved.size
    chance = stats.f.sf(float(moved @ moved) / p / variance, p, p * free)
    return float(weight @ chance / weight.sum())

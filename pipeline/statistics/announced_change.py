"""Did the level change where the run sheet says that something was changed?

A place named beforehand needs no search: two levels are compared there, with the wire in between that may hold both
left out. Averages near the place say more of a step than those far away, for a wander takes its time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.level_noise import coefficients_of
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import not_negative, readings, share, whole_readings

FEWEST = 4
"""Fewest averages on either side."""
MOST = 200
"""Averages looked at, those nearest to the place."""


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

    Two levels by generalised least squares, averaged over the correlations that the departures from them leave possible
    (`pipeline.level_noise.coefficients_of`). Found on wanders of 43 to 120 averages with memories of 0.4 to 6 averages:
    1 to 8 % of such places were called at 5 %.

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
    near = np.argsort(np.maximum(announced_m - place, place - announced_m - mixed_m), kind="stable")[:MOST]
    near.sort()
    rows, place = rows[near], place[near]
    later = np.where((place >= announced_m) & (place < announced_m + mixed_m), np.nan, place >= announced_m)
    known = np.isfinite(rows).all(axis=1)
    first, second = (int((known & (later == side)).sum()) for side in (0.0, 1.0))
    if min(first, second) < FEWEST:
        reason = message(
            Reason.TOO_LITTLE_ON_ONE_SIDE,
            before=first,
            after=second,
            fewest=FEWEST,
            mixed=Measure(mixed_m, "m"),
        )
        return Refused(asks(Quantity.ANNOUNCED_CHANGE), message(Method.TWO_LEVELS), reason, first + second)
    found = coefficients_of(rows, np.column_stack([np.ones(place.size), later]), [1], confidence)
    if not np.isfinite(found.estimate).all():  # The averages are all alike.
        level = np.nanmean(rows, axis=0)
        return AnnouncedChange(
            tuple(level.tolist()), tuple(level.tolist()), (0.0,) * level.size, 1.0, first + second
        )
    before, moved = found.estimate
    return AnnouncedChange(
        tuple(before.tolist()),
        tuple((before + moved).tolist()),
        tuple(found.half[1].tolist()),
        found.p_value,
        found.n,
    )

"""Where do events lie once the lengths without a working detector are taken out?

Chance spreads events only over wire that was tested, so tests of chance work on the tested stretches joined
end to end. Derived; needs no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.samples import readings


@dataclass(frozen=True, slots=True)
class KnownPositions:
    """Events on the joined known length.

    Args:
        at_m: position of each event on the joined length, in the order handed in [m]; not-a-number for an
            event outside the known length or without a position.
        known_m: the joined length [m].
        outside: events outside the known length or without a position.
        warnings: what a reader must know about those.
    """

    at_m: NDArray[np.float64]
    known_m: float
    outside: int
    warnings: tuple[str, ...]


@checked
def join_known(at_m: ArrayLike, known: ArrayLike) -> KnownPositions:
    """Positions on the known stretches joined end to end.

    Args:
        at_m: positions on the wire [m]; not-a-number where not known.
        known: stretches with a working detector, one row each: from [m], to [m]; in order, not overlapping.
    """
    place = readings(at_m, "at_m")
    stretch = np.asarray(known, dtype=np.float64)
    if stretch.size == 0:
        stretch = np.zeros((0, 2))
    if stretch.ndim != 2 or stretch.shape[1] != 2 or not np.isfinite(stretch).all():
        raise MethodRefusal(
            Complaint(
                "known", "is not a list of stretches", "Give one row for each stretch: from and to, in m"
            )
        )
    if (np.diff(stretch.ravel()) < 0).any():
        raise MethodRefusal(
            Complaint(
                "known",
                "stretches overlap or run backwards",
                "Give them in the order of the wire, each ending where or before the next begins",
            )
        )
    size = stretch[:, 1] - stretch[:, 0]
    before = np.concatenate([[0.0], np.cumsum(size)])
    number = np.searchsorted(stretch[:, 0], place, side="right") - 1
    held = np.clip(number, 0, max(size.size - 1, 0))
    joined = np.full(place.shape, np.nan)
    if size.size:
        inside = (number >= 0) & (place <= stretch[held, 1])
        joined[inside] = before[held[inside]] + place[inside] - stretch[held[inside], 0]
    outside = int(np.isnan(joined).sum())
    said = (
        f"{outside} of {place.size} events lie outside the known length or have no position and are left out "
        "of the test."
    )
    return KnownPositions(joined, float(before[-1]), outside, (said,) if outside else ())

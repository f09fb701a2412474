"""How much wire of a reel may lack evidence before the reel is held, and which lengths go beyond that?

None, unless the plant allows it in writing: wire nobody read is not known to conform. What cannot be avoided is not
counted: see `unavoidable`. The figures are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.found import Found
from pipeline.length import intervals
from pipeline.length.reels import WRITTEN_TO_M, PlacedReel
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.finding import Sighting, place_sighting
from pipeline.sheets.plant_rules import Holds
from pipeline.steps.evidence import Seen

Floats = NDArray[np.float64]
ROUNDING_M = 1e-6


@dataclass(frozen=True, slots=True)
class AllowedLack:
    """What one reel may lack: the longest piece and all pieces together [m], and how that is told."""

    longest_m: float
    total_m: float
    told: Message
    written: bool


def allowed_on(holds: Holds, reel_m: float) -> AllowedLack:
    """What a plant's sheet allows a reel of `reel_m` [m] to lack; nothing where it says nothing.

    Where the sheet gives one of its two figures only, it bounds the other: so much at a stretch is as much in all, and
    a share of the reel may lie in one piece.
    """
    longest, share = holds.longest_unmonitored_m, holds.unmonitored_pct
    if longest is None and share is None:
        return AllowedLack(0.0, 0.0, message(Found.NONE_ALLOWED), False)
    total = longest if share is None else share / 100.0 * reel_m
    stretch = total if longest is None else longest
    in_share = None if share is None else Measure(share, "%")
    in_length = None if longest is None else Measure(longest, "m")
    told = message(Found.ALLOWED, stretch=in_length or in_share, total=in_share or in_length)
    return AllowedLack(stretch or 0.0, total or 0.0, told, True)


def unavoidable(pieces: Floats, reel: PlacedReel, extent_m: float) -> NDArray[np.bool_]:
    """True for pieces without evidence that no log of the line could have avoided.

    These are a piece at an end of the reel no longer than reel ends are written to, and pieces no longer than the
    wire one reading averages over, such as beside one lost reading, while all of them make no more than a metre.

    Args:
        pieces: wire of the reel without evidence, merged [m].
        reel: the reel.
        extent_m: wire one reading of the instrument averages over [m].
    """
    long = pieces[:, 1] - pieces[:, 0]
    at_end = (pieces[:, 0] <= reel.from_m + ROUNDING_M) | (pieces[:, 1] >= reel.to_m - ROUNDING_M)
    ends = at_end & (long <= WRITTEN_TO_M)
    short = ~ends & (long <= extent_m)
    if long[short].sum() > WRITTEN_TO_M:
        short[:] = False
    found: NDArray[np.bool_] = ends | short
    return found


def beyond_allowed(holds: Holds, pieces: Floats, reel: PlacedReel, extent_m: float) -> Floats:
    """The pieces without evidence that hold a reel [m]; none where it lacks no more than is allowed.

    Args:
        holds: the plant's rules.
        pieces: wire of the reel without evidence, merged [m].
        reel: the reel.
        extent_m: wire one reading of the instrument averages over [m].
    """
    allowed = allowed_on(holds, reel.length_m)
    counted = pieces if allowed.written else pieces[~unavoidable(pieces, reel, extent_m)]
    long = counted[:, 1] - counted[:, 0]
    if long.sum() > allowed.total_m + ROUNDING_M:
        return counted
    return counted[long > allowed.longest_m + ROUNDING_M]


def gap_sightings(
    holds: Holds,
    reel: PlacedReel,
    seen: Seen | None,
    pieces: Sequence[tuple[float, float]],
    subject: str,
    gap_m: float,
) -> list[Sighting]:
    """The lengths of a reel without evidence that hold it, near ones taken together.

    Args:
        holds: the plant's rules.
        reel: the reel.
        seen: the quantity that should have been read, None where no instrument reads it.
        pieces: wire of the reel without evidence [m].
        subject: what was not read, in words.
        gap_m: pieces no further apart are one length [m].
    """
    merged = intervals.merged(np.array(pieces, dtype=np.float64).reshape(-1, 2))
    held = beyond_allowed(holds, merged, reel, seen.extent_m if seen is not None else 0.0)
    if held.shape[0] == 0:
        return []
    total, longest = intervals.length_m(merged), float((merged[:, 1] - merged[:, 0]).max())
    detail = message(
        Found.LACKING,
        total=Measure(total, "m"),
        reel=reel.id,
        share=100.0 * total / reel.length_m,
        longest=Measure(longest, "m"),
        allowed=allowed_on(holds, reel.length_m).told,
    )
    return [
        place_sighting(
            "unmonitored",
            from_m,
            to_m,
            subject=subject,
            reel_id=reel.id,
            detail=detail,
            lacking_m=Measure(intervals.length_m(intervals.within(held, from_m, to_m)), "m"),
        )
        for from_m, to_m in intervals.merged(held, bridge_m=gap_m).tolist()
    ]

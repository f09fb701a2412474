"""What does the run sheet note near a place on the wire, such as that of a change of level?"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Measure, Message, Place, message
from pipeline.notes import Note
from pipeline.samples import not_negative


@checked
def noted_nearby(
    low_m: float, high_m: float, noted_m: Sequence[float], noted: Sequence[str], margin_m: float = 0.0
) -> tuple[Message, ...]:
    """What the run sheet notes where something changed.

    Args:
        low_m: lower end of the interval of the change's place [m].
        high_m: upper end [m].
        noted_m: places of the run sheet's notes on the wire [m].
        noted: what each note says.
        margin_m: how far outside the interval a note still counts [m].

    A note at the same place is no proof of the cause.
    """
    if len(noted_m) != len(noted):
        raise MethodRefusal(
            Complaint("noted", f"{len(noted)} notes for {len(noted_m)} places", "Give one for each")
        )
    if high_m < low_m:
        raise MethodRefusal(
            Complaint("high_m", f"{high_m:g} m is before {low_m:g} m", "Give the ends in order")
        )
    middle = (low_m + high_m) / 2
    reach = (high_m - low_m) / 2 + not_negative(margin_m, "margin_m", "m") + 1e-9
    near = sorted((abs(at - middle), at, what) for at, what in zip(noted_m, noted, strict=True))
    found = tuple(
        message(
            Note.NOTED_BEFORE if at < middle else Note.NOTED_AFTER,
            what=what,
            at=Place(at),
            away=Measure(away, "m"),
        )
        for away, at, what in near
        if away <= reach
    )
    return found or (message(Note.NOTHING_NOTED),)

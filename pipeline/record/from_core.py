"""Places that were counted from the core end of a reel or length, as places from its outer end."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, ReelproofError
from pipeline.length.reel_places import Span, from_other_end, length_told
from pipeline.record.lengths import GONE, lengths_on_file
from pipeline.record.not_found import reel_not_on_file
from pipeline.record.plant_sheet_on_file import unit_of_plant
from pipeline.record.shipping_list import CutLength, ShippingList

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.record.gauge_tables import Sample
    from pipeline.store.database import Store


def wire_on(store: Store, name: str) -> float:
    """Wire on a reel, or on a length cut from one [m].

    Raises:
        NotFoundError: neither is on file.
        ReelproofError: all of the length was rewound.
    """
    for row in lengths_on_file(store):
        if row["length_id"] == name:
            if row["use"] == GONE:
                raise ReelproofError(
                    Complaint(
                        name, "all of it was rewound onto other lengths", "Count on the length it is on now"
                    )
                )
            return float(row["to_outer_m"] - row["from_outer_m"])
    for row in store.ask("questions/reel", reel_id=name):
        return float(row["length_m"])
    raise reel_not_on_file(store, name)


def span_from_core(store: Store, name: str, span_m: Span) -> Span:
    """A stretch counted from the core end of a reel or length, counted from its outer end [m].

    An open end stays open; what lies beyond the wire stays so and is refused by whoever takes it.
    """
    length_m = wire_on(store, name)
    start, end = (from_other_end(at, length_m) for at in reversed(span_m))
    return (start if math.isfinite(start) else -math.inf), (end if math.isfinite(end) else math.inf)


def samples_from_core(store: Store, samples: Sequence[Sample]) -> tuple[Sample, ...]:
    """Samples whose places were counted from the core end of their reels, counted from the outer end.

    Raises:
        ReelproofError: a place is not on its reel.
    """
    complaints, found, unit = [], [], unit_of_plant(store)
    for one in samples:
        length_m = wire_on(store, one.reel)
        if one.from_outer_m > length_m:
            complaints.append(
                Complaint(
                    one.where,
                    f"{length_told(one.from_outer_m, unit)} from the core end of reel {one.reel} is not on it",
                    f"It holds {length_told(length_m, unit)}; correct the place or its unit",
                )
            )
        found.append(replace(one, from_outer_m=from_other_end(one.from_outer_m, length_m)))
    if complaints:
        raise ReelproofError(complaints)
    return tuple(found)


def cuts_from_outer(store: Store, told: ShippingList) -> ShippingList:
    """A shipping list with the places of its cuts from the outer end, also of those counted from the core end.

    Raises:
        ReelproofError: a cut that was counted from the core end is longer than its reel, or its reel is not on file.
    """
    cuts, complaints, unit = [], [], unit_of_plant(store)
    for one in told.cuts:
        if one.counted_from == "core end":
            start, end = span_from_core(store, one.reel, one.metres)
            if start < 0.0:
                complaints.append(
                    Complaint(
                        f"length {one.length}",
                        f"it ends at {length_told(one.metres[1], unit)} from the core end and reel {one.reel} holds "
                        f"{length_told(wire_on(store, one.reel), unit)}",
                        "Check the places and their unit",
                    )
                )
            cuts.append(_turned(one, start, end))
        else:
            cuts.append(one)
    if complaints:
        raise ReelproofError(complaints)
    return told.model_copy(update={"cuts": tuple(cuts)})


def _turned(one: CutLength, start_m: float, end_m: float) -> CutLength:
    return one.model_copy(
        update={
            "counted_from": "outer end",
            "from_ft": None,
            "to_ft": None,
            "from_m": max(start_m, 0.0),
            "to_m": end_m,
        }
    )

"""What is said where nothing of a number is on file: the nearest numbers, so that a slip is seen."""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, NotFoundError

if TYPE_CHECKING:
    from pipeline.store.database import Store


def not_on_file(kind: str, wanted: str, known: list[str]) -> NotFoundError:
    """The complaint that no `kind` of that number is on file, naming the nearest ones."""
    near = get_close_matches(wanted, known, n=3, cutoff=0.5)
    remedy = (
        f"The nearest on file: {', '.join(near)}"
        if near
        else f"{len(known)} others are on file; check the number, or load the run that holds it"
    )
    return NotFoundError(Complaint(wanted, f"no {kind} of this number is on file", remedy))


def reel_not_on_file(store: Store, reel_id: str) -> NotFoundError:
    """The complaint that no judgement stands behind a reel now, or that there is none of that number.

    Args:
        store: the store.
        reel_id: what was asked for, no reel of a newest judgement.
    """
    for row in store.ask("questions/reels_no_longer_judged", reels=[reel_id]):
        gone = [one for one in store.ask("questions/shipments") if one["item"] == reel_id]
        left = f"ALARM: it left in {gone[0]['shipment']} to {gone[0]['to_place']}, and " if gone else ""
        if row["run_is_judged"]:
            why = f"the newest judgment of run {row['run_id']} knows no such reel"
            return NotFoundError(Complaint(reel_id, f"{left}{why}", "Correct the run sheet, then load it"))
        why = f"run {row['run_id']} was loaded anew and is not judged"
        return NotFoundError(
            Complaint(reel_id, f"{left}{why}", f"Judge it with 'reelproof assess {row['run_id']}'")
        )
    return not_on_file("reel", reel_id, [row["reel_id"] for row in store.ask("questions/reel_ids")])

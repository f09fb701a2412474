"""Which wire may not leave, and may somebody send it all the same?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Remedy
from pipeline.messages import Message, message
from pipeline.nonconformance.disposition import Person, check_power
from pipeline.record.left_on_file import Override
from pipeline.record.lengths import lengths_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.shipping_list import Shipment
from pipeline.record.standing import ALARMS, LengthStanding, Standing, standings_of_run
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.store.database import Store


def held_back(store: Store, items: Iterable[str]) -> dict[str, tuple[str, Message]]:
    """Which of the items may not leave now: the run each was made in, and what is said against it.

    Args:
        store: the store, with the lengths on file.
        items: reels and cut lengths that are to leave.
    """
    return {
        item: (run_id, now.headline)
        for item, (run_id, now) in _standings_of(store, items).items()
        if not now.may_leave
    }


def _standings_of(store: Store, items: Iterable[str]) -> dict[str, tuple[str, Standing | LengthStanding]]:
    """How each reel or cut length stands, with the run it was made in."""
    reel_of = {row["length_id"]: row["reel_id"] for row in lengths_on_file(store)}
    known: dict[str, Standing] = {}
    found: dict[str, tuple[str, Standing | LengthStanding]] = {}
    for item in items:
        reel_id = reel_of.get(item, item)
        if reel_id not in known:
            known |= standings_of_run(store, store.ask("questions/reel", reel_id=reel_id)[0]["run_id"])
        reel = known[reel_id]
        lengths = {one.length_id: one for one in reel.lengths}
        found[item] = reel.run_id, lengths.get(item, reel)
    return found


def check_leaving(
    store: Store,
    leaving: Iterable[tuple[Shipment, str]],
    against: Mapping[str, tuple[str, Message]],
    override: Override | None,
) -> None:
    """Refuse items that may not leave, unless somebody who may sends them all the same.

    Args:
        store: the store.
        leaving: each item with its shipment.
        against: of the items that may not leave, the run and what is said against it (`held_back`).
        override: who sends them all the same; None for nobody.

    Raises:
        ReelproofError: an item may not leave, or whoever sends it may not.
    """
    if override is not None:
        if not override.reason.strip() or not override.role.strip():
            raise ReelproofError(
                Complaint(
                    "override",
                    "the role or the reason is missing",
                    message(Remedy.OVERRIDE_REASON),
                )
            )
        if not against:
            raise ReelproofError(
                Complaint("override", "nothing in the list is held back", "Leave --override-role out")
            )
        for item, (run_id, _) in against.items():
            plant, _ = plant_sheet_of(store, run_id)
            by = Person(override.role, override.person)
            check_power(
                item, "ship held", by, plant.may_decide.get("ship held", ()), "ship wire that is held"
            )
        return
    complaints = [
        Complaint(
            f"shipment {one.id}",
            f"{item} may not leave: {_told(store, *against[item])}",
            message(Remedy.OVERRIDE),
        )
        for one, item in leaving
        if item in against
    ]
    if complaints:
        raise ReelproofError(complaints)


def _told(store: Store, run_id: str, headline: Message) -> str:
    """What is said against an item, in the plant's units."""
    return plain(headline, plant_sheet_of(store, run_id)[0].system).rstrip(".")


def said_of_left(store: Store, items: Iterable[str]) -> list[Message]:
    """What must be told of items that left although they might not."""
    return [now.headline for _, now in _standings_of(store, items).values() if now.code in ALARMS]

"""Which holds of persons are in force, on which reels and stretches of wire?

A hold and its lifting are entries of the journal, which keeps them; nothing else does.
"""

from __future__ import annotations

import json
from datetime import UTC
from typing import TYPE_CHECKING, Any

from pipeline.nonconformance.disposition import Person
from pipeline.nonconformance.hold import Hold, in_force

if TYPE_CHECKING:
    from pipeline.store.database import Store

HOLD, LIFT = "hold", "lift"


def holds_on_file(store: Store) -> tuple[tuple[Hold, ...], frozenset[int]]:
    """Every hold ever put, oldest first, and the numbers of those lifted."""
    put = tuple(hold_of(row) for row in store.ask("questions/entries_of_kind", kind=HOLD))
    lifted = {lifted_by(row) for row in store.ask("questions/entries_of_kind", kind=LIFT)}
    return put, frozenset(lifted)


def holds_in_force(store: Store) -> tuple[Hold, ...]:
    """The holds that nobody has lifted, oldest first."""
    return in_force(*holds_on_file(store))


def holds_by_reel(store: Store) -> dict[str, tuple[Hold, ...]]:
    """The holds in force by the reel they reach: its own, and those on lots in its wire."""
    found: dict[str, tuple[Hold, ...]] = {}
    for one in holds_in_force(store):
        if one.about == "lot":
            reels = {row["reel_id"] for row in store.ask("questions/reels_of_lot_ever", lot=one.subject)}
        else:
            reels = {one.subject}
        for reel_id in sorted(reels):
            found[reel_id] = (*found.get(reel_id, ()), one)
    return found


def hold_of(row: dict[str, Any]) -> Hold:
    """A journal entry of a hold as the hold it is."""
    told = json.loads(row["record"])["record"]
    return Hold(
        row["entry_no"],
        told["about"],
        row["subject"],
        float(told["from_outer_m"]) if told["from_outer_m"] else None,
        float(told["to_outer_m"]) if told["to_outer_m"] else None,
        Person(told["role"], told["person"]),
        told["reason"],
        row["at_utc"].replace(tzinfo=UTC),
    )


def lifted_by(row: dict[str, Any]) -> int:
    """The number of the hold that a journal entry lifts."""
    return int(json.loads(row["record"])["record"]["lifts"])

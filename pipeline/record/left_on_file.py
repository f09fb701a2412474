"""What left the plant, and who let it leave where it was held?"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class Override:
    """Who let wire leave although it was held, and why, in their words."""

    role: str
    person: str
    reason: str


@dataclass(frozen=True, slots=True)
class Left:
    """One item that left the plant.

    Args:
        item: the reel or cut length.
        shipment: its shipment.
        to_place: where it went.
        at_utc: when, UTC without its zone; None where the plant gives no time.
        entry_no: the journal entry that keeps it.
        override: who let it leave although it was held; None where nobody had to.
    """

    item: str
    shipment: str
    to_place: str
    at_utc: datetime | None
    entry_no: int
    override: Override | None = None


def left_on_file(store: Store) -> dict[str, Left]:
    """Everything that left the plant, by the reel or cut length."""
    overridden: dict[tuple[int, str], Override] = {}
    for entry in store.ask("questions/entries_of_kind", kind="shipment"):
        told = json.loads(entry["record"])["record"].get("override")
        for item in told["items"] if told else ():
            overridden[entry["entry_no"], item] = Override(told["role"], told["person"], told["reason"])
    return {
        row["item"]: Left(
            row["item"],
            row["shipment"],
            row["to_place"],
            row["at_utc"],
            row["entry_no"],
            overridden.get((row["entry_no"], row["item"])),
        )
        for row in store.ask("questions/shipments")
    }

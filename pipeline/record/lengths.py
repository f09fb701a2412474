"""Which lengths are on file, cut from reels or rewound from other lengths, and where does each lie on its reel?

Wire is paid off from the outer end, so a rewound length lies the other way round on its new package; rewound twice it
lies the first way again. What was taken from a length is no longer told as being on it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Noted
from pipeline.length.reel_places import OUTER, length_told
from pipeline.messages import Between, Measure, said
from pipeline.units import foot_from_m

if TYPE_CHECKING:
    from pipeline.length.reel_places import Unit
    from pipeline.nonconformance.disposition import Person
    from pipeline.record.shipping_list import Rewound
    from pipeline.store.database import Store

Row = dict[str, Any]
KIND = "rewind"
# Use of a length of which nothing is left: all of it was rewound.
GONE = "rewound"
# Places that differ by less are the same place [m].
SAME_M = 0.01
# A rewinder's counter and the line's differ; a length may hold this much less than is said to be taken
# (common practice, no source).
COUNTERS_DIFFER = 0.01


def lengths_on_file(store: Store) -> list[Row]:
    """Every length on file, cut or rewound, with the shipment it left in.

    Places count from the outer end of the reel it was made on. A length rewound in part is told with what is left of
    it, `taken_m` less than was made; one rewound whole keeps its places and has the use ``rewound``. `turned` says
    if its own outer end lies towards the reel's core, `source_id` what it was rewound from ("" if cut), ``made_…``
    where it began and ended when it was made, and for what use.
    """
    shipped = {row["item"]: row for row in store.ask("questions/shipments")}
    rows = [{**row, "turned": False, "source_id": ""} for row in store.ask("questions/cuts")]
    for row in rows:
        row["shipped_entry_no"] = shipped.get(row["length_id"], {}).get("entry_no")
    for entry in store.ask("questions/entries_of_kind", kind=KIND):
        told = json.loads(entry["record"])["record"]
        left = shipped.get(told["length"], {})
        rows.append(
            {
                "length_id": told["length"],
                "reel_id": told["reel"],
                "from_outer_m": float(told["from_outer_m"]),
                "to_outer_m": float(told["to_outer_m"]),
                "use": told["use"],
                "at_utc": datetime.fromisoformat(told["at"]) if told["at"] else None,
                "entry_no": entry["entry_no"],
                "shipment": left.get("shipment"),
                "to_place": left.get("to_place"),
                "shipped_utc": left.get("at_utc"),
                "shipped_entry_no": left.get("entry_no"),
                "turned": told["turned"],
                "source_id": told["source"],
            }
        )
    return sorted(_left(rows), key=lambda row: (row["reel_id"], row["from_outer_m"], row["length_id"]))


def lengths_of_reel(store: Store, reel_id: str) -> list[Row]:
    """The lengths of `lengths_on_file` that were made on one reel, from the end that comes off first."""
    return [row for row in lengths_on_file(store) if row["reel_id"] == reel_id]


def marks_told(store: Store, length_id: str) -> tuple[float, bool, str] | None:
    """The mark at a rewound length's outer end now, whether marks rise from it, and their unit; None if not told."""
    for entry in store.ask("questions/entries_of_kind", kind=KIND):
        told = json.loads(entry["record"])["record"]
        if told["length"] == length_id and told["outer_mark"]:
            (taken_m,) = (row["taken_m"] for row in lengths_on_file(store) if row["length_id"] == length_id)
            taken = taken_m if told["mark_unit"] == "m" else foot_from_m(taken_m)
            rising = told["marks"] == "rising"
            return float(told["outer_mark"]) + (taken if rising else -taken), rising, told["mark_unit"]
    return None


def _left(rows: Sequence[Row]) -> list[Row]:
    """The rows with what was taken from each left out."""
    taken: dict[str, float] = {}
    for row in rows:
        taken[row["source_id"]] = taken.get(row["source_id"], 0.0) + row["to_outer_m"] - row["from_outer_m"]
    return [_after(row, taken.get(row["length_id"], 0.0)) for row in rows]


def _after(row: Row, taken_m: float) -> Row:
    """A length once so much was taken from its outer end."""
    row = {
        "taken_m": 0.0,
        "made_from_m": row["from_outer_m"],
        "made_to_m": row["to_outer_m"],
        "made_use": row["use"],
        **row,
    }
    if taken_m >= row["to_outer_m"] - row["from_outer_m"] - SAME_M:
        return {**row, "use": GONE}
    end = "to_outer_m" if row["turned"] else "from_outer_m"
    return {
        **row,
        end: row[end] - taken_m if row["turned"] else row[end] + taken_m,
        "taken_m": row["taken_m"] + taken_m,
    }


@dataclass(slots=True)
class Shelf:
    """Lengths and reels as they lie while a list of rewindings is gone through.

    Args:
        lengths: lengths by their number, as `lengths_on_file` gives them.
        reels: reels by their number, each with ``length_m``.
        shipped: what left the plant.
        unit: unit that lengths are told in.
    """

    lengths: dict[str, Row]
    reels: Mapping[str, Row]
    shipped: Mapping[str, Row]
    unit: Unit

    def rewound(self, one: Rewound) -> Row:
        """Go through one rewinding: the row of the new length; the source is left with the rest.

        Raises:
            ReelproofError: it cannot have been so, with every reason.
        """
        source = self._source(one)
        said = self._said_against(one, source)
        if said or source is None:
            where = f"rewinding of {one.source} onto {one.onto}"
            raise ReelproofError([Complaint(where, found, remedy) for found, remedy in said])
        low, high = source["from_outer_m"], source["to_outer_m"]
        take = min(high - low if one.taken_m is None else one.taken_m, high - low)
        place = (high - take, high) if source["turned"] else (low, low + take)
        row = {
            **source,
            "length_id": one.onto,
            "from_outer_m": place[0],
            "to_outer_m": place[1],
            "use": one.use,
            "turned": not source["turned"],
            "source_id": one.source,
            "shipment": None,
        }
        if one.source in self.lengths:
            self.lengths[one.source] = _after(source, take)
        self.lengths[one.onto] = row
        return row

    def _source(self, one: Rewound) -> Row | None:
        """The length or reel paid off; of a reel what no length was made of yet, from its outer end."""
        if one.source in self.lengths or one.source not in self.reels:
            return self.lengths.get(one.source)
        begun = [row["to_outer_m"] for row in self.lengths.values() if row["reel_id"] == one.source]
        return {
            "reel_id": one.source,
            "from_outer_m": max(begun, default=0.0),
            "to_outer_m": self.reels[one.source]["length_m"],
            "use": "package",
            "turned": False,
        }

    def _said_against(self, one: Rewound, source: Row | None) -> list[tuple[str, str]]:
        said = []
        if one.onto in self.lengths or one.onto in self.reels:
            said.append(
                (
                    f"a length or reel on file has the number {one.onto}",
                    "Give the new package a number of its own; wire joined onto another length cannot be told",
                )
            )
        if source is None:
            return [
                *said,
                (f"{one.source} is no length and no reel on file", "Check its number, or tell its cut first"),
            ]
        left = self.shipped.get(one.source)
        if left is not None:
            said.append((f"{one.source} left in shipment {left['shipment']}", "Check the number"))
        if source["use"] in ("scrap", GONE):
            what = "is scrap" if source["use"] == "scrap" else "holds no wire any more: all of it was rewound"
            said.append((f"{one.source} {what}", "Check the order of the rewindings and the numbers"))
            return said
        holds = source["to_outer_m"] - source["from_outer_m"]
        if holds <= SAME_M or (one.taken_m or 0.0) > holds * (1.0 + COUNTERS_DIFFER) + 1.0:
            taken = "all that is left" if one.taken_m is None else length_told(one.taken_m, self.unit)
            said.append(
                (
                    f"{taken} is taken and {one.source} holds {length_told(max(holds, 0.0), self.unit)}",
                    "Check the length and its unit",
                )
            )
        return said


def note_rewound(store: Store, one: Rewound, row: Row, by: Person) -> None:
    """Put one rewinding into the journal, which keeps it.

    Args:
        store: the store, open to write.
        one: what was told.
        row: the new length, from `Shelf.rewound`.
        by: whoever tells it.
    """
    from pipeline.record.journal_on_file import (
        note,  # here, so that a reel is read without a library of frames
    )

    told = {
        "length": one.onto,
        "source": one.source,
        "holds": Measure(row["to_outer_m"] - row["from_outer_m"], "m"),
        "span": Between(row["from_outer_m"], row["to_outer_m"], OUTER),
        "turned" if row["turned"] else "reel": row["reel_id"],
    }
    mark, unit = one.mark
    record: dict[str, Any] = {
        **by.kept,
        "said": said(Noted.REWOUND, **told),
        "length": one.onto,
        "source": one.source,
        "reel": row["reel_id"],
        "from_outer_m": repr(row["from_outer_m"]),
        "to_outer_m": repr(row["to_outer_m"]),
        "turned": row["turned"],
        "use": one.use,
        "outer_mark": "" if mark is None else repr(mark),
        "marks": one.marks,
        "mark_unit": unit,
        "at": one.at_utc.isoformat() if one.at_utc else "",
    }
    note(store, KIND, row["reel_id"], record)

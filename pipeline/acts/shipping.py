"""Cuts and shipments put on file: which length of which reel went where, each told once.

Wire that may not leave is refused, and nothing of the list is then on file, unless a role that the plant's sheet lists
for it sends the wire all the same, with a reason: that is kept, and told wherever the wire is.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.acts.leaving import check_leaving, held_back, said_of_left
from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Noted
from pipeline.length.reel_places import Unit, length_told
from pipeline.messages import Between, Message, Slot, message, said, said_json
from pipeline.nonconformance.disposition import Person, check_open_power
from pipeline.record.decided import reel_and_findings
from pipeline.record.earlier_numbers import numbers_of_earlier_reels
from pipeline.record.from_core import cuts_from_outer
from pipeline.record.left_on_file import Override
from pipeline.record.lengths import (
    COUNTERS_DIFFER,
    GONE,
    SAME_M,
    Shelf,
    lengths_on_file,
    note_rewound,
)
from pipeline.record.plant_sheet_on_file import plant_sheet_of, unit_of_plant
from pipeline.record.sealing import note_sealed
from pipeline.record.shipping_list import CutLength, Rewound, Shipment, ShippingList
from pipeline.why import Cuts

if TYPE_CHECKING:
    from pipeline.store.database import Store

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Shipped:
    """What came of a list.

    Args:
        cuts: lengths put on file.
        rewound: rewound lengths put on file.
        items: reels and lengths put on file as shipped.
        known: lengths and items that were on file already.
        told: what speaks against a cut or a shipment.
        alarms: those of these that are about wire that left although it might not.
    """

    cuts: tuple[str, ...]
    rewound: tuple[str, ...]
    items: tuple[str, ...]
    known: tuple[str, ...]
    told: tuple[Message, ...]
    alarms: tuple[Message, ...] = ()


@dataclass(frozen=True, slots=True)
class _OnFile:
    """What the store knows before the list."""

    reels: dict[str, Row]
    cuts: dict[str, Row]
    shipped: dict[str, Row]
    unit: Unit

    def told(self, length_m: float) -> str:
        """A place or length in the plant's unit."""
        return length_told(length_m, self.unit)


def put_shipping_on_file(
    store: Store, told: ShippingList, role: str, override: Override | None = None, person: str = ""
) -> Shipped:
    """Put cuts and shipments on file; what is on file already is left as it is.

    Args:
        store: the store, open to write.
        told: the list.
        role: role of whoever tells it.
        override: who sends wire that may not leave all the same, and why; None for nobody.
        person: the plant's own mark of whoever tells it, "" where it keeps roles only.

    Raises:
        DispositionRefused: the plant's sheet lists roles that may ship, and this is none of them.
        ReelproofError: something in it contradicts what is on file, or wire in it may not leave; nothing of the list
            is then on file.
    """
    with store.transaction():
        told = cuts_from_outer(store, told)
        names = {name for one in told.cuts for name in (one.reel, one.length)}
        names |= {item for one in told.shipments for item in one.contents}
        names |= {name for one in told.rewinds for name in (one.source, one.onto)}
        on_file = _OnFile(
            {name: row for name in names for row in store.ask("questions/reel", reel_id=name)},
            {row["length_id"]: row for row in lengths_on_file(store)},
            {row["item"]: row for row in store.ask("questions/shipments")},
            unit_of_plant(store),
        )
        shelf = _shelf(told, on_file)
        rewound, complaints = _rewound(told.rewinds, shelf, on_file)
        complaints += [*_cut_complaints(told, on_file), *_shipment_complaints(told, on_file, shelf)]
        made = (*(one.length for one in told.cuts), *(one.onto for one in told.rewinds))
        complaints += numbers_of_earlier_reels(store, [name for name in made if name not in on_file.cuts])
        if complaints:
            raise ReelproofError(complaints)
        cuts = [one for one in told.cuts if one.length not in on_file.cuts]
        leaving = [
            (one, item) for one in told.shipments for item in one.contents if item not in on_file.shipped
        ]
        by = Person(role, person)
        _check_may_ship(store, [*(one.reel for one in cuts), *(item for _, item in leaving)], by)
        _note_cuts(store, cuts, by)
        for each, row in rewound:
            note_rewound(store, each, row, by)
        against = held_back(store, [item for _, item in leaving])
        check_leaving(store, leaving, against, override)
        _note_shipments(store, leaving, on_file, by, override, against)
    known = [one.length for one in told.cuts if one.length in on_file.cuts]
    known += [one.onto for one in told.rewinds if one.onto in on_file.cuts]
    known += [item for one in told.shipments for item in one.contents if item in on_file.shipped]
    alarms = tuple(said_of_left(store, [item for one in told.shipments for item in one.contents]))
    return Shipped(
        tuple(one.length for one in cuts),
        tuple(each.onto for each, _ in rewound),
        tuple(item for _, item in leaving),
        tuple(dict.fromkeys(known)),
        (*_said_of_cuts(store, told.cuts), *alarms),
        alarms,
    )


def _check_may_ship(store: Store, items: Iterable[str], by: Person) -> None:
    """Refuse a role that the plant's sheet does not list for shipping, where it lists any."""
    reel_of = {row["length_id"]: row["reel_id"] for row in lengths_on_file(store)}
    for item in items:
        for reel in store.ask("questions/reel", reel_id=reel_of.get(item, item)):
            plant, _ = plant_sheet_of(store, reel["run_id"])
            check_open_power(item, "ship", by, plant.may_decide.get("ship", ()), "ship or cut wire")


def _shelf(told: ShippingList, on_file: _OnFile) -> Shelf:
    """Lengths and reels before the list's rewindings, its own cuts among them."""
    lengths = dict(on_file.cuts)
    for one in told.cuts:
        if one.length not in lengths:
            start, end = one.metres
            lengths[one.length] = {
                "length_id": one.length,
                "reel_id": one.reel,
                "from_outer_m": start,
                "to_outer_m": end,
                "use": one.use,
                "turned": False,
                "source_id": "",
            }
    return Shelf(lengths, on_file.reels, on_file.shipped, on_file.unit)


def _rewound(
    rewinds: Iterable[Rewound], shelf: Shelf, on_file: _OnFile
) -> tuple[list[tuple[Rewound, Row]], list[Complaint]]:
    """Each rewinding that is new with the length it made, in order, and what speaks against any."""
    made: list[tuple[Rewound, Row]] = []
    complaints: list[Complaint] = []
    for one in rewinds:
        before = on_file.cuts.get(one.onto)
        if before is not None and before["source_id"] == one.source:
            holds = before["made_to_m"] - before["made_from_m"]
            if one.taken_m is not None and abs(one.taken_m - holds) > SAME_M:
                complaints.append(
                    Complaint(
                        f"rewinding of {one.source} onto {one.onto}",
                        f"it is on file with {on_file.told(holds)}",
                        "What is on file stays; give the new length a number of its own",
                    )
                )
            continue
        try:
            made.append((one, shelf.rewound(one)))
        except ReelproofError as fault:
            complaints += fault.complaints
    return made, complaints


def _cut_complaints(told: ShippingList, on_file: _OnFile) -> list[Complaint]:
    complaints: list[Complaint] = []
    laid: dict[str, list[tuple[float, float, str]]] = {}
    for row in on_file.cuts.values():
        if row["use"] == GONE:
            continue  # its wire is on the lengths rewound from it
        laid.setdefault(row["reel_id"], []).append((row["from_outer_m"], row["to_outer_m"], row["length_id"]))
    seen: set[str] = set()
    for one in told.cuts:
        if one.length in seen:
            complaints.append(
                Complaint(
                    f"length {one.length}",
                    "it stands in the list more than once",
                    "Give each length its own number",
                )
            )
        elif one.length in on_file.cuts:
            complaints += _against_itself(one, on_file)
        else:
            complaints += _against_the_reel(one, on_file, laid.setdefault(one.reel, []))
            laid[one.reel].append((*one.metres, one.length))
        seen.add(one.length)
    return complaints


def _against_itself(one: CutLength, on_file: _OnFile) -> list[Complaint]:
    """What a length on file says against the same length told again."""
    before = on_file.cuts[one.length]
    start, end = one.metres
    begin, stop, use = (before[f"made_{name}"] for name in ("from_m", "to_m", "use"))
    same_place = abs(begin - start) < SAME_M and abs(stop - end) < SAME_M
    if (before["reel_id"], use) == (one.reel, one.use) and same_place and not before["source_id"]:
        return []
    return [
        Complaint(
            f"length {one.length}",
            f"it is on file as {use} from {on_file.told(begin)} to {on_file.told(stop)} of reel {before['reel_id']}",
            "What is on file stays; give the new length a number of its own",
        )
    ]


def _against_the_reel(
    one: CutLength, on_file: _OnFile, laid: Iterable[tuple[float, float, str]]
) -> list[Complaint]:
    """What the reel and the lengths cut from it say against a new length."""
    start, end = one.metres
    reel = on_file.reels.get(one.reel)
    said = []
    if one.length in on_file.reels:
        said.append(("a reel on file has this number", "Give the length a number of its own"))
    if reel is None:
        said.append((f"reel {one.reel} is not on file", "Check its number, or load the run it was made in"))
    elif one.reel in on_file.shipped:
        shipment = on_file.shipped[one.reel]["shipment"]
        said.append((f"reel {one.reel} left whole in shipment {shipment}", "Check the reel's number"))
    elif end > reel["length_m"] * (1.0 + COUNTERS_DIFFER) + 1.0:
        said.append(
            (
                f"it ends at {on_file.told(end)} and reel {one.reel} holds {on_file.told(reel['length_m'])}",
                "Check the places and their unit; they count from the end that comes off first",
            )
        )
    said += [
        (
            f"it overlaps length {other}, {on_file.told(low)} to {on_file.told(high)} of reel {one.reel}",
            "One wire cannot be in two lengths: correct the places",
        )
        for low, high, other in laid
        if min(end, high) - max(start, low) > SAME_M
    ]
    return [Complaint(f"length {one.length}", found, remedy) for found, remedy in said]


def _shipment_complaints(told: ShippingList, on_file: _OnFile, shelf: Shelf) -> list[Complaint]:
    complaints: list[Complaint] = []
    uses = {name: row["use"] for name, row in shelf.lengths.items()}
    was_cut = {row["reel_id"] for row in shelf.lengths.values()}
    gone: dict[str, str] = {name: row["shipment"] for name, row in on_file.shipped.items()}
    went = {row["shipment"]: row["to_place"] for row in on_file.shipped.values()}
    for one in told.shipments:
        if went.get(one.id, one.to) != one.to:
            told_to = f"it is on file to {went[one.id]}, and the list has '{one.to}'"
            remedy = "A shipment has one destination: correct it, or give the shipment another number"
            complaints.append(Complaint(f"shipment {one.id}", told_to, remedy))
        for item in one.contents:
            found = ""
            if gone.get(item, one.id) != one.id:
                found = f"{item} left in shipment {gone[item]} already"
            elif uses.get(item) == "scrap":
                found = f"length {item} is scrap"
            elif uses.get(item) == GONE and item not in on_file.shipped:
                found = f"all of length {item} was rewound"
            elif item not in uses and item not in on_file.reels:
                found = f"{item} is no cut length and no reel on file"
            elif item not in uses and item in was_cut:
                found = f"reel {item} was cut"
            if found:
                complaints.append(
                    Complaint(
                        f"shipment {one.id}", found, "Name cut lengths, or reels that were not cut, each once"
                    )
                )
            gone.setdefault(item, one.id)
    return complaints


def _utc(at: datetime | None) -> datetime | None:
    return None if at is None else at.astimezone(UTC).replace(tzinfo=None)


def _note_cuts(store: Store, cuts: Iterable[CutLength], by: Person) -> None:
    """One journal entry a reel."""
    by_reel: dict[str, list[CutLength]] = {}
    for one in cuts:
        by_reel.setdefault(one.reel, []).append(one)
    for reel, lengths in by_reel.items():
        rows = pl.DataFrame(
            [
                {
                    "length_id": one.length,
                    "reel_id": one.reel,
                    "from_outer_m": one.metres[0],
                    "to_outer_m": one.metres[1],
                    "use": one.use,
                    "at_utc": _utc(one.at),
                }
                for one in lengths
            ],
        )
        shown = [
            message(Noted.CUT_LENGTH, length=one.length, use=one.use, span=Between(*one.metres))
            for one in lengths
        ]
        record = {**by.kept, "said": said(Noted.CUT, reel=reel, lengths=shown)}
        note_sealed(store, "cut", reel, rows, {**record, "lengths": [one.length for one in lengths]})


def _note_shipments(
    store: Store,
    leaving: Iterable[tuple[Shipment, str]],
    on_file: _OnFile,
    by: Person,
    override: Override | None,
    against: Mapping[str, tuple[str, Message]],
) -> None:
    """One journal entry a shipment."""
    by_shipment: dict[str, tuple[Shipment, list[str]]] = {}
    for one, item in leaving:
        by_shipment.setdefault(one.id, (one, []))[1].append(item)
    for shipment, (one, items) in by_shipment.items():
        rows = pl.DataFrame(
            [
                {
                    "item": item,
                    "item_kind": "reel" if item in on_file.reels else "cut length",
                    "shipment": shipment,
                    "to_place": one.to,
                    "at_utc": _utc(one.at),
                }
                for item in items
            ],
        )
        told: dict[str, Slot] = {"shipment": shipment, "place": one.to, "items": tuple(items)}
        record: dict[str, Any] = {**by.kept, "contents": items}
        held = [item for item in items if item in against]
        if override is not None and held:
            told |= {"held": tuple(held), "role": override.role, "reason": override.reason.rstrip(".")}
            record["override"] = {
                "role": override.role,
                "person": override.person,
                "reason": override.reason,
                "items": held,
                "against": {item: said_json(against[item][1]) for item in held},
            }
        note_sealed(store, "shipment", shipment, rows, {**record, "said": said(Noted.SHIPPED, **told)})


def _said_of_cuts(store: Store, cuts: Iterable[CutLength]) -> list[Message]:
    """Wire in lengths that were kept which may be neither sold nor kept."""
    from pipeline.record.stretches_that_go import stretches_that_go

    said = []
    for one in cuts:
        if one.use == "scrap":
            continue
        _, _, states, _ = reel_and_findings(store, one.reel)
        start, end = one.metres
        for stretch in stretches_that_go(store, one.reel):
            if not stretch.meets(start, end):
                continue
            along = Between(max(stretch.from_m, start) - start, min(stretch.to_m, end) - start)
            told: dict[str, Slot] = {"length": one.length, "use": one.use, "along": along}
            if stretch.finding_id:
                state = states[stretch.finding_id]
                now = f"{state.standing}{f' ({state.disposition})' if state.disposition else ''}"
                holds = message(Cuts.HOLDS_FINDING, finding=stretch.finding_id, state=now, **told)
            else:
                holds = message(Cuts.HOLDS, kind=stretch.kind, why=stretch.told, **told)
            said.append(holds)
    return list(dict.fromkeys(said))

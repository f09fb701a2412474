"""Events of wire for others to read: GS1 EPCIS 2.0 from what is on file of runs, cuts, decisions and shipments."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pipeline.errors import Complaint, ReelproofError
from pipeline.lots.epcis import (
    Event,
    Naming,
    cut_event,
    disposition_event,
    document_faults,
    epcis_document,
    judged_event,
    made_event,
    rewound_event,
    shipped_event,
    standing_event,
)
from pipeline.nonconformance.disposition import State
from pipeline.record.decided import acts_of_run
from pipeline.record.issuer_sheet import IssuerSheet
from pipeline.record.lengths import lengths_of_reel, lengths_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.reel_and_lot import lacks_of
from pipeline.record.standing import Standing, standings_of_runs
from pipeline.record.wire_named import pieces_of
from pipeline.store.said_columns import holding_of, told_of
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.store.database import Store

Row = dict[str, Any]


def events_of_wire(
    store: Store, names: Sequence[str], sheet: IssuerSheet, now: datetime | None = None
) -> dict[str, Any]:
    """Everything on file of lots, shipments, reels or lengths as an EPCIS document.

    Args:
        store: the store, open to read.
        names: lots, shipments, reels or cut lengths.
        sheet: the issuer's sheet, with how the plant names things to others.
        now: the instant, UTC; the clock's where it is left out.

    Raises:
        NotFoundError: a name is not on file.
        ReelproofError: the sheet has no naming.
    """
    if sheet.naming is None:
        raise ReelproofError(
            Complaint(
                "events for others",
                "the issuer's sheet does not say how the plant names things to others",
                "Add [naming] with base, an address under the plant's own domain",
            )
        )
    at_utc = now or datetime.now(UTC)
    pieces = pieces_of(store, names)
    reels = tuple(dict.fromkeys(piece.reel_id for piece in pieces))
    heads = {row["run_id"]: row for row in store.ask("questions/current_runs")}
    runs = {store.ask("questions/reel", reel_id=reel)[0]["run_id"]: None for reel in reels}
    naming = _naming(store, sheet, next(iter(runs)), at_utc)
    events = [_made(store, naming, heads[run_id]) for run_id in runs]
    standings = {name: one for run in standings_of_runs(store, runs).values() for name, one in run.items()}
    for reel_id in reels:
        events += _of_reel(store, naming, standings[reel_id])
        events += _now(naming, standings[reel_id], at_utc)
    events += _shipped(store, naming, sheet, reels)
    document = epcis_document(naming, events, at_utc)
    faults = document_faults(document)
    if faults:
        raise ReelproofError(
            Complaint("events for others", one, "Correct the names in the issuer's sheet") for one in faults
        )
    return document


def _naming(store: Store, sheet: IssuerSheet, run_id: str, at_utc: datetime) -> Naming:
    plant, _ = plant_sheet_of(store, run_id)
    offset = at_utc.astimezone(ZoneInfo(plant.zone)).strftime("%z")
    base = sheet.naming.base if sheet.naming else ""
    return Naming(base, f"{offset[:3]}:{offset[3:5]}", plant.name)


def _aware(at: datetime) -> datetime:
    return at.replace(tzinfo=UTC)


def _made(store: Store, naming: Naming, head: Row) -> Event:
    lots = dict.fromkeys(
        f"{row['material']} {row['lot']}"
        for row in store.ask("questions/materials_of_load", load_id=head["load_id"])
    )
    reels = [
        row["reel_id"]
        for row in store.ask("questions/places_of_assessment", assessment_id=head["assessment_id"])
    ]
    return made_event(naming, head["run_id"], tuple(lots), reels, _aware(head["ended_utc"]))


def _now(naming: Naming, one: Standing, at_utc: datetime) -> list[Event]:
    """How a reel and each length cut from it stand when the events are written."""
    return [
        standing_event(naming, f"reel {one.reel_id}", one.code, at_utc, plain(one.headline)),
        *(
            standing_event(naming, f"cut length {each.length_id}", each.code, at_utc, plain(each.headline))
            for each in one.lengths
        ),
    ]


def _decided(store: Store, naming: Naming, one: Standing) -> list[Event]:
    """The decision that stands on a reel, and on each length cut from it."""
    acts = acts_of_run(store, one.run_id)
    subjects: list[tuple[str, str, State]] = [("reel", one.reel_id, one.decided)]
    subjects += [("cut length", each.length_id, each.decided) for each in one.lengths]
    return [
        disposition_event(naming, f"{kind} {name}", state.disposition, done[-1].at_utc, done[-1].by.role)
        for kind, name, state in subjects
        if state.standing == "closed" and state.disposition is not None and (done := acts.on(name))
    ]


def _of_reel(store: Store, naming: Naming, now: Standing) -> list[Event]:
    """The newest judgement of a reel, the decisions that stand on it and its lengths, and its cuts."""
    reel_id = now.reel_id
    reel = store.ask("questions/reel", reel_id=reel_id)[0]
    findings = store.ask("questions/findings_of_assessment", assessment_id=reel["assessment_id"])
    against = [told_of(one) for one in holding_of(reel, findings)]
    against += [one.told for one in lacks_of(store, reel["assessment_id"], reel_id)]
    said = dict.fromkeys(plain(one) for one in against)
    events = [
        judged_event(
            naming,
            reel_id,
            str(reel["assessment_id"]),
            _aware(reel["assessed_utc"]),
            releasable=now.evidence == "releasable",
            reason="; ".join(said) or "Nothing on file speaks against it.",
        ),
        *_decided(store, naming, now),
    ]
    by_entry: dict[int, list[Row]] = {}
    for row in lengths_of_reel(store, reel_id):
        if row["source_id"]:
            at = row["at_utc"] or _entry_time(store, reel_id, row["entry_no"])
            kind = "reel" if row["source_id"] == reel_id else "cut length"
            length_m = row["made_to_m"] - row["made_from_m"]
            events.append(
                rewound_event(naming, (kind, row["source_id"]), row["length_id"], length_m, _aware(at))
            )
            continue
        by_entry.setdefault(row["entry_no"], []).append(row)
    for entry_no, rows in by_entry.items():
        kept = {
            row["length_id"]: row["made_to_m"] - row["made_from_m"]
            for row in rows
            if row["made_use"] != "scrap"
        }
        scrapped = sum(row["made_to_m"] - row["made_from_m"] for row in rows if row["made_use"] == "scrap")
        at = max((row["at_utc"] for row in rows if row["at_utc"] is not None), default=None)
        events.append(
            cut_event(naming, reel_id, kept, _aware(at or _entry_time(store, reel_id, entry_no)), scrapped)
        )
    return events


def _entry_time(store: Store, subject: str, entry_no: int) -> datetime:
    """When a journal entry was written, for what the plant gave no time of."""
    at: datetime = next(
        row["at_utc"]
        for row in store.ask("questions/entries_of_subject", subject=subject)
        if row["entry_no"] == entry_no
    )
    return at


def _shipped(store: Store, naming: Naming, sheet: IssuerSheet, reels: Sequence[str]) -> list[Event]:
    """Shipments that hold one of the reels or a length cut from one."""
    lengths = {row["length_id"] for row in lengths_on_file(store) if row["reel_id"] in reels}
    by_shipment: dict[str, list[Row]] = {}
    for row in store.ask("questions/shipments"):
        if row["item"] in lengths or row["item"] in reels:
            by_shipment.setdefault(row["shipment"], []).append(row)
    places = sheet.naming.places if sheet.naming else {}
    events = []
    for shipment, rows in by_shipment.items():
        to_place = rows[0]["to_place"]
        address = places.get(to_place) or naming.name("party", to_place)
        at = rows[0]["at_utc"] or _entry_time(store, shipment, rows[0]["entry_no"])
        contents = [(row["item_kind"], row["item"]) for row in rows]
        events.append(shipped_event(naming, shipment, contents, _aware(at), address))
    return events

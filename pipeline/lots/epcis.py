"""What happened to the wire, in a form other companies' systems can read: GS1 EPCIS 2.0 events as JSON-LD.

Objects are named by addresses under the plant's own domain, which EPCIS allows beside GS1 keys; a plant with a
GS1 company prefix gives its own names instead. Business steps and dispositions are those of the Core Business
Vocabulary.

Source: GS1 EPCIS and CBV 2.0; required fields and vocabularies as in the public JSON schema of the standard's
working group (github gs1/EPCIS, folder JSON-Schema, commit 2c8a13e; the printed standard was not read).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

CONTEXT = "https://ref.gs1.org/standards/epcis/2.0.0/epcis-context.jsonld"
ACTIONS = ("OBSERVE", "ADD", "DELETE")
STEPS = (
    "accepting", "arriving", "assembling", "collecting", "commissioning", "consigning",
    "creating_class_instance", "cycle_counting", "decommissioning", "departing", "destroying", "disassembling",
    "dispensing", "encoding", "entering_exiting", "holding", "inspecting", "installing", "killing", "loading",
    "other", "packing", "picking", "receiving", "removing", "repackaging", "repairing", "replacing", "reserving",
    "retail_selling", "sampling", "sensor_reporting", "shipping", "staging_outbound", "stock_taking", "stocking",
    "storing", "transporting", "unloading", "unpacking", "void_shipping",
)  # fmt: skip
DISPOSITIONS = (
    "active", "available", "completeness_inferred", "completeness_verified", "conformant",
    "container_closed", "container_open", "damaged", "destroyed", "dispensed", "disposed", "encoded",
    "expired", "in_progress", "in_transit", "inactive", "mismatch_class", "mismatch_instance",
    "mismatch_quantity", "needs_replacement", "no_pedigree_match", "non_conformant", "non_sellable_other",
    "partially_dispensed", "recalled", "reserved", "retail_sold", "returned", "sellable_accessible",
    "sellable_not_accessible", "stolen", "unavailable", "unknown",
)  # fmt: skip

Event = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Naming:
    """How the plant names things to others.

    Args:
        base: an address under the plant's own domain, for example ``https://id.example.com``.
        offset: offset of the plant's clock from UTC, for example ``-06:00``.
        place: name of the plant, for read points.
    """

    base: str
    offset: str
    place: str

    def name(self, kind: str, name: str) -> str:
        """Address of a thing; kind and name as the plant writes them."""
        return f"{self.base.rstrip('/')}/{quote(kind.replace(' ', '-'))}/{quote(name, safe='')}"


def _event(naming: Naming, kind: str, event_id: str, at_utc: datetime, **fields: object) -> Event:
    return {
        "type": kind,
        "eventID": naming.name("event", event_id),
        "eventTime": at_utc.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z",
        "eventTimeZoneOffset": naming.offset,
        **fields,
        "readPoint": {"id": naming.name("place", naming.place)},
    }


def _stamp(at_utc: datetime) -> str:
    """A time as part of an event's name, for what can happen to one thing more than once."""
    return f"{at_utc.astimezone(UTC):%Y%m%dT%H%M%S}"


def _metres(naming: Naming, kind: str, name: str, length_m: float) -> dict[str, object]:
    """A quantity in metres (UN/ECE code MTR) of a class of wire or material."""
    return {"epcClass": naming.name(kind, name), "quantity": round(length_m, 3), "uom": "MTR"}


def made_event(
    naming: Naming, run_id: str, lots: Sequence[str], reels: Sequence[str], at_utc: datetime
) -> Event:
    """A run: material lots went in, reels came out.

    Args:
        naming: the plant's naming.
        run_id: the run.
        lots: material lots, each ``material lot-number``.
        reels: master reels.
        at_utc: when the run ended.
    """
    return _event(
        naming,
        "TransformationEvent",
        f"made-{run_id}",
        at_utc,
        inputEPCList=[naming.name("material lot", lot) for lot in lots],
        outputEPCList=[naming.name("reel", reel) for reel in reels],
        transformationID=naming.name("run", run_id),
        bizStep="commissioning",
        disposition="in_progress",
    )


def cut_event(
    naming: Naming, reel: str, lengths: Mapping[str, float], at_utc: datetime, scrapped_m: float = 0.0
) -> Event:
    """A reel was cut into lengths.

    Args:
        naming: the plant's naming.
        reel: the reel.
        lengths: cut length -> wire on it [m].
        at_utc: when.
        scrapped_m: wire cut out [m].
    """
    fields: dict[str, object] = {
        "inputEPCList": [naming.name("reel", reel)],
        "outputEPCList": [naming.name("cut length", name) for name in lengths],
        "bizStep": "repackaging",
        "disposition": "in_progress",
        "ilmd": {
            "wire:length": [
                {"wire:of": naming.name("cut length", name), "wire:metres": round(length, 3)}
                for name, length in lengths.items()
            ]
        },
    }
    if scrapped_m > 0.0:
        fields["outputQuantityList"] = [_metres(naming, "scrap", f"from-{reel}", scrapped_m)]
    return _event(naming, "TransformationEvent", f"cut-{reel}-{_stamp(at_utc)}", at_utc, **fields)


def rewound_event(
    naming: Naming, source: tuple[str, str], length: str, length_m: float, at_utc: datetime
) -> Event:
    """Wire was wound from a reel or length onto another package.

    Args:
        naming: the plant's naming.
        source: kind (``reel`` or ``cut length``) and number of what was paid off.
        length: the new length.
        length_m: wire on it [m].
        at_utc: when.
    """
    event = cut_event(naming, source[1], {length: length_m}, at_utc)
    name = f"rewound-{source[1]}-{length}-{_stamp(at_utc)}"
    return {
        **event,
        "eventID": naming.name("event", name),
        "inputEPCList": [naming.name(*source)],
    }


def judged_event(
    naming: Naming, reel: str, assessment: str, at_utc: datetime, *, releasable: bool, reason: str
) -> Event:
    """A reel was judged on in-line evidence.

    Args:
        naming: the plant's naming.
        reel: the reel.
        assessment: the assessment.
        at_utc: when.
        releasable: whether the evidence supports a release.
        reason: the judgement in words.
    """
    return _event(
        naming,
        "ObjectEvent",
        f"judged-{reel}-{assessment}",
        at_utc,
        action="OBSERVE",
        epcList=[naming.name("reel", reel)],
        bizStep="inspecting" if releasable else "holding",
        disposition="in_progress" if releasable else "non_sellable_other",
        **{"wire:assessment": assessment, "wire:judgement": reason},
    )


# How wire may stand, and what that is as a disposition of the vocabulary. No standing is "recalled": to call wire
# back is a person's decision.
STANDINGS: Mapping[str, str] = {
    "left while held": "non_sellable_other",
    "held since it left": "non_sellable_other",
    "left unreleased": "non_sellable_other",
    "held": "non_sellable_other",
    "no conclusion": "non_sellable_other",
    "awaiting a second person": "non_sellable_other",
    "decided": "non_sellable_other",
    "regraded": "non_conformant",
    "releasable": "in_progress",
    "released": "conformant",
    "released by concession": "non_conformant",
    "scrapped": "destroyed",
    "cut": "inactive",
    "shipped": "in_transit",
}


def standing_event(naming: Naming, subject: str, standing: str, at_utc: datetime, reason: str) -> Event:
    """How a reel or cut length stands when the events are written, all acts, holds and shipments counted.

    Args:
        naming: the plant's naming.
        subject: kind and name, for example ``reel K1``.
        standing: a key of `STANDINGS`.
        at_utc: when the events are written.
        reason: the standing in words.
    """
    state = STANDINGS[standing]
    kind, _, name = subject.rpartition(" ")
    return _event(
        naming,
        "ObjectEvent",
        f"standing-{name}-{_stamp(at_utc)}",
        at_utc,
        action="OBSERVE",
        epcList=[naming.name(kind, name)],
        bizStep="holding" if state == "non_sellable_other" else "other",
        disposition=state,
        **{"wire:standing": standing, "wire:reason": reason},
    )


def disposition_event(naming: Naming, subject: str, disposition: str, at_utc: datetime, role: str) -> Event:
    """A person's disposition of a reel or cut length.

    Args:
        naming: the plant's naming.
        subject: kind and name, for example ``reel K1``.
        disposition: an ISO 9000 term.
        at_utc: when.
        role: role that decided.
    """
    steps = {
        "release": ("accepting", "conformant"),
        "concession": ("accepting", "non_conformant"),
        "regrade": ("inspecting", "non_conformant"),
        "rework": ("holding", "non_conformant"),
        "repair": ("repairing", "non_conformant"),
        "scrap": ("destroying", "destroyed"),
    }
    step, state = steps[disposition]
    kind, _, name = subject.rpartition(" ")
    return _event(
        naming,
        "ObjectEvent",
        f"{disposition}-{name}-{_stamp(at_utc)}",
        at_utc,
        action="DELETE" if disposition == "scrap" else "OBSERVE",
        epcList=[naming.name(kind or "reel", name)],
        bizStep=step,
        disposition=state,
        **{"wire:decidedBy": role},
    )


def shipped_event(
    naming: Naming, shipment: str, contents: Sequence[tuple[str, str]], at_utc: datetime, to_place: str
) -> Event:
    """Whole reels and cut lengths left the plant.

    Args:
        naming: the plant's naming.
        shipment: the shipment.
        contents: kind and name of each thing that left: ``reel`` or ``cut length``.
        at_utc: when.
        to_place: address of the party it went to.
    """
    return _event(
        naming,
        "ObjectEvent",
        f"shipped-{shipment}",
        at_utc,
        action="OBSERVE",
        epcList=[naming.name(kind, name) for kind, name in contents],
        bizStep="shipping",
        disposition="in_transit",
        bizTransactionList=[{"type": "desadv", "bizTransaction": naming.name("shipment", shipment)}],
        destinationList=[{"type": "possessing_party", "destination": to_place}],
    )


def epcis_document(naming: Naming, events: Sequence[Event], made_utc: datetime) -> dict[str, Any]:
    """Events as an EPCIS document, in the order they happened."""
    return {
        "@context": [CONTEXT, {"wire": f"{naming.base.rstrip('/')}/terms/"}],
        "type": "EPCISDocument",
        "schemaVersion": "2.0",
        "creationDate": made_utc.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3] + "Z",
        "epcisBody": {"eventList": sorted(events, key=lambda one: (one["eventTime"], one["eventID"]))},
    }


_OFFSET = re.compile(r"[+-]((0[0-9]|1[0-3]):[0-5][0-9]|14:00)")
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[^\s<>\"{}|\\^`]+")
_LISTS = ("epcList", "inputEPCList", "outputEPCList")


def _event_faults(event: Mapping[str, Any]) -> list[str]:
    faults = []
    if event.get("type") not in ("ObjectEvent", "TransformationEvent"):
        faults.append("its type is not one this program writes")
    if not _TIME.fullmatch(str(event.get("eventTime"))):
        faults.append("eventTime is no time with an offset")
    if not _OFFSET.fullmatch(str(event.get("eventTimeZoneOffset"))):
        faults.append("eventTimeZoneOffset is no offset such as -06:00")
    addresses = [one for name in _LISTS for one in event.get(name, ())] + [event.get("eventID")]
    addresses += [one.get("epcClass") for one in event.get("outputQuantityList", ())]
    addresses.append(event.get("readPoint", {}).get("id"))
    if not all(isinstance(one, str) and _ADDRESS.fullmatch(one) for one in addresses):
        faults.append("a name in it is no address")
    if any(len(set(event.get(name, ()))) != len(event.get(name, ())) for name in _LISTS):
        faults.append("a list names something twice")
    if event.get("bizStep") not in STEPS:
        faults.append(f"bizStep {event.get('bizStep')} is not in the vocabulary")
    if event.get("disposition") not in DISPOSITIONS:
        faults.append(f"disposition {event.get('disposition')} is not in the vocabulary")
    if event.get("type") == "ObjectEvent":
        faults += [] if event.get("action") in ACTIONS else ["action is not OBSERVE, ADD or DELETE"]
        faults += [] if event.get("epcList") or event.get("quantityList") else ["it names no object"]
        if "ilmd" in event and event.get("action") != "ADD":
            faults.append("ilmd stands only in an event that adds")
    elif not event.get("transformationID") and not (
        (event.get("inputEPCList") or event.get("inputQuantityList"))
        and (event.get("outputEPCList") or event.get("outputQuantityList"))
    ):
        faults.append("it names no input or no output")
    return faults


def document_faults(document: Mapping[str, Any]) -> tuple[str, ...]:
    """What in an EPCIS document breaks the required fields and vocabularies, as far as can be told offline.

    Args:
        document: the document.

    The linked context is not fetched, and master data are not looked up.
    """
    faults = [
        f"the document has no {name}"
        for name in ("@context", "type", "schemaVersion", "creationDate", "epcisBody")
        if name not in document
    ]
    if faults:
        return tuple(faults)
    if CONTEXT not in document["@context"]:
        faults.append("the context of EPCIS 2.0 is not named")
    if (document["type"], document["schemaVersion"]) != ("EPCISDocument", "2.0"):
        faults.append("it is no EPCISDocument of schema version 2.0")
    if not _TIME.fullmatch(str(document["creationDate"])):
        faults.append("creationDate is no time with an offset")
    for number, event in enumerate(document["epcisBody"].get("eventList", ()), start=1):
        faults += [f"event {number}: {fault}" for fault in _event_faults(event)]
    return tuple(faults)

"""Traceability events: valid against the published required fields and vocabularies, faults found."""

import copy
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, get_args

import jsonschema
import pytest

from pipeline.lots.epcis import (
    DISPOSITIONS,
    STANDINGS,
    STEPS,
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
from pipeline.nonconformance.disposition import MEANING
from pipeline.record.standing import Code

SCHEMA = json.loads(
    (Path(__file__).parents[1] / "published" / "data" / "EPCIS-2.0.schema.json").read_text(encoding="utf-8")
)
NAMING = Naming("https://id.example.com/", "-06:00", "demo plant")
AT = datetime(2025, 3, 4, 6, 30, tzinfo=UTC)


def document() -> dict[str, Any]:
    events = [
        shipped_event(
            NAMING,
            "S1",
            [("cut length", "P1"), ("cut length", "P2"), ("reel", "K9")],
            AT + timedelta(days=2),
            "https://id.example.com/party/7",
        ),
        made_event(NAMING, "R1", ["insulation compound C7", "conductor W1"], ["K1", "K2"], AT),
        judged_event(NAMING, "K1", "3", AT, releasable=True, reason="Every requirement conforms."),
        judged_event(NAMING, "K2", "3", AT, releasable=False, reason="Finding R1-F01 is open."),
        cut_event(NAMING, "K1", {"P1": 152.4, "P2": 304.8}, AT + timedelta(days=1), scrapped_m=6.1),
        cut_event(NAMING, "K2", {"P3": 152.4}, AT + timedelta(days=1)),
        rewound_event(NAMING, ("cut length", "P3"), "P4", 100.0, AT + timedelta(days=1)),
        *(
            disposition_event(NAMING, "reel K2", term, AT + timedelta(hours=n), "quality engineer")
            for n, term in enumerate(MEANING)
        ),
        *(
            standing_event(NAMING, f"reel K{n}", code, AT + timedelta(days=3), "In words.")
            for n, code in enumerate(STANDINGS, start=10)
        ),
    ]
    return epcis_document(NAMING, events, AT + timedelta(days=3))


def test_every_standing_of_the_program_has_an_event() -> None:
    assert set(STANDINGS) == set(get_args(Code))


def test_the_document_meets_the_published_schema() -> None:
    """GS1 EPCIS/CBV 2.0: required fields, patterns and vocabularies, by an independent validator."""
    jsonschema.Draft7Validator(SCHEMA, format_checker=jsonschema.FormatChecker()).validate(document())
    assert document_faults(document()) == ()


def test_events_stand_in_the_order_they_happened() -> None:
    events = document()["epcisBody"]["eventList"]
    assert [one["eventTime"] for one in events] == sorted(one["eventTime"] for one in events)
    assert len({one["eventID"] for one in events}) == len(events)
    (made,) = [one for one in events if one["eventID"].endswith("/made-R1")]
    assert made == {
        "type": "TransformationEvent",
        "eventID": "https://id.example.com/event/made-R1",
        "eventTime": "2025-03-04T06:30:00.000Z",
        "eventTimeZoneOffset": "-06:00",
        "inputEPCList": [
            "https://id.example.com/material-lot/insulation%20compound%20C7",
            "https://id.example.com/material-lot/conductor%20W1",
        ],
        "outputEPCList": ["https://id.example.com/reel/K1", "https://id.example.com/reel/K2"],
        "transformationID": "https://id.example.com/run/R1",
        "bizStep": "commissioning",
        "disposition": "in_progress",
        "readPoint": {"id": "https://id.example.com/place/demo%20plant"},
    }


def test_a_shipment_names_reels_as_reels() -> None:
    (left,) = [one for one in document()["epcisBody"]["eventList"] if one["bizStep"] == "shipping"]
    assert left["epcList"] == [
        "https://id.example.com/cut-length/P1",
        "https://id.example.com/cut-length/P2",
        "https://id.example.com/reel/K9",
    ]


def test_the_vocabularies_are_the_published_ones() -> None:
    """Business steps and dispositions, word for word, of the working group's JSON schema (commit 2c8a13e)."""
    (events,) = [
        one["items"]["oneOf"] if "oneOf" in one["items"] else one["items"]["anyOf"]
        for one in [SCHEMA["properties"]["epcisBody"]["properties"]["eventList"]]
    ]
    for event in events:
        assert set(event["properties"]["disposition"]["enum"]) == set(DISPOSITIONS)
        assert set(event["properties"]["bizStep"]["enum"]) == set(STEPS)
    assert (len(DISPOSITIONS), len(STEPS)) == (33, 41)


SPOILED: list[tuple[str, Any, str]] = [
    ("type", "PaintEvent", "its type is not one this program writes"),
    ("eventTime", "yesterday", "eventTime is no time with an offset"),
    ("eventTimeZoneOffset", "CST", "eventTimeZoneOffset is no offset such as -06:00"),
    ("epcList", ["reel 7"], "a name in it is no address"),
    ("epcList", ["urn:a:1", "urn:a:1"], "a list names something twice"),
    ("epcList", [], "it names no object"),
    ("bizStep", "cutting", "bizStep cutting is not in the vocabulary"),
    ("disposition", "good", "disposition good is not in the vocabulary"),
    ("action", "LOOK", "action is not OBSERVE, ADD or DELETE"),
    ("ilmd", {}, "ilmd stands only in an event that adds"),
]


@pytest.mark.parametrize(("name", "value", "fault"), SPOILED)
def test_a_spoiled_event_is_found_here_and_by_the_schema(name: str, value: Any, fault: str) -> None:
    spoiled = copy.deepcopy(document())
    number = next(
        place
        for place, one in enumerate(spoiled["epcisBody"]["eventList"])
        if one["eventID"].endswith("/judged-K1-3")
    )
    spoiled["epcisBody"]["eventList"][number][name] = value
    assert f"event {number + 1}: {fault}" in document_faults(spoiled)
    validator = jsonschema.Draft7Validator(SCHEMA, format_checker=jsonschema.FormatChecker())
    if name != "eventTime":  # the validator needs an extra package to read times
        assert not validator.is_valid(spoiled)


def test_a_document_without_its_parts_is_told() -> None:
    assert document_faults({"type": "EPCISDocument", "epcisBody": {}}) == (
        "the document has no @context",
        "the document has no schemaVersion",
        "the document has no creationDate",
    )
    other = {**document(), "@context": [], "schemaVersion": "1.2", "creationDate": "today"}
    assert document_faults(other) == (
        "the context of EPCIS 2.0 is not named",
        "it is no EPCISDocument of schema version 2.0",
        "creationDate is no time with an offset",
    )
    empty = copy.deepcopy(document())
    made = next(one for one in empty["epcisBody"]["eventList"] if "/cut-K2-" in one["eventID"])
    del made["inputEPCList"]
    assert any(fault.endswith("it names no input or no output") for fault in document_faults(empty))

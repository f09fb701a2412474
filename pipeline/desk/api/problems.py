"""What a program is told that cannot be done: RFC 9457 problem details, each with what to do about it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from starlette.responses import Response

from pipeline.desk.acting import in_form
from pipeline.desk.seen import ChangedMeanwhile
from pipeline.errors import Complaint, NotFoundError, ReelproofError, StoreError, in_words
from pipeline.nonconformance.disposition import DecidedMeanwhile

if TYPE_CHECKING:
    from pipeline.desk.api.described import Schema

KIND = "application/problem+json"
PROBLEM: Schema = {
    "type": "object",
    "description": "Why something was not done (RFC 9457).",
    "required": ["type", "title", "status", "detail", "complaints", "happened"],
    "additionalProperties": False,
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "complaints": {
            "type": "array",
            "description": "Each thing that is wrong: where, what was found there, and what to do.",
            "items": {
                "type": "object",
                "required": ["where", "found", "remedy"],
                "additionalProperties": False,
                "properties": {name: {"type": "string"} for name in ("where", "found", "remedy")},
            },
        },
        "happened": {
            "type": "array",
            "description": "What the journal keeps about it since it was read; empty where that is not known.",
            "items": {"$ref": "#/components/schemas/Message"},
        },
    },
}


@dataclass(frozen=True, slots=True)
class Trouble:
    """A kind of problem: its status and its title."""

    status: int
    title: str


TROUBLES: Mapping[str, Trouble] = {
    "not-readable": Trouble(400, "The request cannot be read"),
    "not-known": Trouble(401, "No token that stands was sent"),
    "not-allowed": Trouble(403, "This may not be done"),
    "not-on-file": Trouble(404, "There is no such thing"),
    "not-answered": Trouble(405, "This address does not answer that method"),
    "changed-meanwhile": Trouble(409, "It changed since it was read"),
    "too-long": Trouble(413, "The request is too long"),
    "not-json": Trouble(415, "Only JSON is read here"),
    "not-valid": Trouble(422, "A value cannot stand where it stands"),
    "too-often": Trouble(429, "Too many requests"),
    "not-now": Trouble(503, "The store cannot be used now"),
}


def problem(
    name: str,
    complaints: Sequence[Complaint],
    happened: Sequence[Any] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """A problem as an answer.

    Args:
        name: one of `TROUBLES`.
        complaints: what is wrong.
        happened: messages as JSON.
        headers: headers besides.
    """
    trouble = TROUBLES[name]
    body = {
        "type": f"/api/problems#{name}",
        "title": trouble.title,
        "status": trouble.status,
        "detail": " ".join(str(one) for one in complaints),
        "complaints": [
            {"where": one.where, "found": in_words(one.found), "remedy": in_words(one.remedy)}
            for one in complaints
        ],
        "happened": list(happened),
    }
    text = json.dumps(body, ensure_ascii=False, allow_nan=False)
    return Response(text, trouble.status, dict(headers or {}), media_type=KIND)


def name_of(fault: ReelproofError, is_act: bool) -> str:
    """Which of `TROUBLES` a complaint is."""
    if isinstance(fault, NotFoundError):
        return "not-on-file"
    if isinstance(fault, StoreError):
        return "not-now"
    if isinstance(fault, ChangedMeanwhile | DecidedMeanwhile):
        return "changed-meanwhile"
    return "not-allowed" if is_act else "not-valid"


def told(fault: ReelproofError) -> list[Complaint]:
    """The complaints, with remedies that name no command."""
    return [in_form(one) for one in fault.complaints]

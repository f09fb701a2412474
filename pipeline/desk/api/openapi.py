"""The API as OpenAPI 3.1, from the lists that answer: what they take, what they give, what they refuse."""

from __future__ import annotations

from pydantic import BaseModel
from pydantic.json_schema import models_json_schema

from pipeline import __version__
from pipeline.desk.api.bodies import DEEDS
from pipeline.desk.api.described import Description, Schema
from pipeline.desk.api.problems import KIND, PROBLEM, TROUBLES
from pipeline.desk.api.reads import READS, Read
from pipeline.messages import Message


def path_of_act(what: str) -> str:
    """The address of an act."""
    return f"/api/acts/{what}"


_BESIDES = {
    "/api/openapi.json": ("description", "What can be asked here?"),
    "/api/problems": ("problems", "Which kinds of problem are there?"),
}


def description() -> Schema:
    """The API as OpenAPI 3.1, from the same lists that answer."""
    records = Description()
    paths: dict[str, Schema] = {}
    for read in READS:
        paths[read.path] = {"get": _described_read(read, records)}
    _, bodies = models_json_schema(
        [(one.body, "validation") for one in DEEDS.values()], ref_template="#/components/schemas/{model}"
    )
    did = records.of(Message)
    for path, (name, told) in _BESIDES.items():
        answer = _content("What was asked.", {"type": "object"})
        responses = {"200": answer, **_problems_of(401, 429)}
        paths[path] = {"get": {"operationId": name, "summary": told, "responses": responses}}
    for what, deed in DEEDS.items():
        paths[path_of_act(what)] = {"post": _described_act(what, deed.told, deed.body, did)}
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "reelproof",
            "version": __version__,
            "description": (
                "Reads and acts of the review site. In-line evidence supports and does not replace the adopted "
                "standard's own tests; qualified persons decide. Lengths are in metres, walls and diameters in mm."
            ),
        },
        "security": [{"token": []}],
        "paths": paths,
        "components": {
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
            "schemas": {**records.schemas, **bodies["$defs"], "Problem": PROBLEM},
        },
    }


def _described_read(read: Read, records: Description) -> Schema:
    gives = records.of(read.gives)
    part = {
        "type": "object",
        "required": ["items", "next"],
        "additionalProperties": False,
        "properties": {
            "items": {"type": "array", "items": gives},
            "next": {
                "type": "string",
                "description": "What to give as 'after' for the next part, '' at the end.",
            },
        },
    }
    return {
        "operationId": read.name,
        "summary": read.told,
        "parameters": [
            {
                "name": one.name,
                "in": "path" if one.in_path else "query",
                "required": one.in_path,
                "description": one.told,
                "schema": one.schema,
            }
            for one in read.parameters
        ],
        "responses": {
            "200": _content("What was asked.", part if read.is_list else gives),
            **_problems_of(401, 404, 422, 429, 503),
        },
    }


def _described_act(what: str, summary: str, body: type[BaseModel], did: Schema) -> Schema:
    done = {
        "type": "object",
        "required": ["did", "entry_no"],
        "additionalProperties": False,
        "properties": {
            "did": did,
            "entry_no": {"type": "integer", "description": "Newest entry of the journal now."},
        },
    }
    return {
        "operationId": what,
        "summary": summary,
        "requestBody": {
            "required": True,
            "content": {"application/json": {"schema": {"$ref": f"#/components/schemas/{body.__name__}"}}},
        },
        "responses": {
            "200": _content("It was done, or was on file already.", done),
            **_problems_of(400, 401, 403, 404, 409, 413, 415, 422, 429, 503),
        },
    }


def _content(told_of: str, schema: Schema, kind: str = "application/json") -> Schema:
    return {"description": told_of, "content": {kind: {"schema": schema}}}


def _problems_of(*statuses: int) -> dict[str, Schema]:
    titles = {one.status: one.title for one in TROUBLES.values()}
    ref: Schema = {"$ref": "#/components/schemas/Problem"}
    return {str(one): _content(f"{titles[one]}.", ref, KIND) for one in statuses}

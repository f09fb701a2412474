"""A walk over the API's description: whatever is sent, right or wrong, gets an answer that the description has.

Values are drawn from the schemas of the description itself; no answer is a fault of the program, and a body that the
description does not let stand is refused as such. `REELPROOF_WALK=20` sends twenty times as many.
"""

from __future__ import annotations

import os
from typing import Any

import httpx
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator, ValidationError

from pipeline.desk.api.openapi import description
from pipeline.desk.tokens import SCOPES, Tokens
from tests.desk.api_client import Client
from tests.desk.site import Site

TIMES = int(os.environ.get("REELPROOF_WALK", "1"))
MOST_TEXT = 60
ALONE = [one for one in SCOPES if one != "confirm"]
DESCRIBED = description()
OPERATIONS = [
    (method, path, one) for path, methods in DESCRIBED["paths"].items() for method, one in methods.items()
]
ON_FILE = ["L1-0412-03", "R-0412-F02", "R-0412", "L1", "none"]
ANYTHING = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=5,
)


def values(schema: dict[str, Any]) -> st.SearchStrategy[Any]:
    """Values that a schema lets stand."""
    if "$ref" in schema:
        return values(DESCRIBED["components"]["schemas"][schema["$ref"].rpartition("/")[2]])
    if "anyOf" in schema:
        return st.one_of(*map(values, schema["anyOf"]))
    if "enum" in schema:
        return st.sampled_from(schema["enum"])
    if schema["type"] == "array":
        return st.lists(values(schema["items"]), min_size=schema.get("minItems", 0), max_size=3)
    if schema["type"] == "object":
        needed = schema.get("required", [])
        told = {name: values(one) for name, one in schema["properties"].items()}
        more = {name: one for name, one in told.items() if name not in needed}
        return st.fixed_dictionaries({name: told[name] for name in needed}, optional=more)
    if schema["type"] == "integer":
        return st.integers(schema.get("minimum", 0), min(schema.get("maximum", 2**53), 2**53))
    if schema["type"] == "number":
        low = schema.get("minimum", schema.get("exclusiveMinimum", 0))
        return st.floats(low, 1e6, exclude_min="exclusiveMinimum" in schema)
    if schema["type"] == "null":
        return st.none()
    return texts(schema)


def texts(schema: dict[str, Any]) -> st.SearchStrategy[str]:
    if "pattern" in schema:
        known = [one for one in ON_FILE if "Za-z" in schema["pattern"]]
        drawn = st.from_regex(schema["pattern"].replace("$", r"\Z"))
        return drawn.map(lambda one: one[: schema.get("maxLength", 200)]) | (
            st.sampled_from(known) if known else st.nothing()
        )
    if schema.get("format") == "date":
        return st.dates().map(str)
    least = schema.get("minLength", 0)
    return st.text(min_size=least, max_size=max(least, MOST_TEXT)) | st.sampled_from(ON_FILE)


@st.composite
def requests(draw: st.DrawFn) -> tuple[str, str, dict[str, Any], Any, dict[str, Any], bool]:
    """A request of an operation, and whether every value in it may stand there."""
    method, path, one = draw(st.sampled_from(OPERATIONS))
    wrong = draw(st.sampled_from([False, False, True]))
    query: dict[str, Any] = {}
    for told in one.get("parameters", []):
        value = draw(st.text(min_size=1, max_size=20) if wrong else values(told["schema"]))
        if told["in"] == "path":
            path = path.replace(f"{{{told['name']}}}", httpx.QueryParams({"v": str(value)}).__str__()[2:])
        elif draw(st.booleans()):
            query[told["name"]] = value
    body = None
    if "requestBody" in one:
        schema = one["requestBody"]["content"]["application/json"]["schema"]
        body = draw(ANYTHING if wrong and draw(st.booleans()) else values(schema))
        if wrong and isinstance(body, dict):
            body = {**body, draw(st.sampled_from([*body, "more"])): draw(ANYTHING)}
    return method, path, query, body, one, not wrong


def test_every_request_gets_an_answer_that_is_described(site: Site) -> None:
    tokens = Tokens(site.desk.accounts)
    statuses: dict[int, int] = {}
    with Client(
        site.base, tokens.make("walker", "quality manager", "", [s for s in SCOPES if s != "confirm"], 1)
    ) as to:

        @settings(
            max_examples=100 * TIMES,
            deadline=None,
            database=None,
            derandomize=TIMES == 1,
            suppress_health_check=list(HealthCheck),
        )
        @given(requests())
        def walk(one: tuple[str, str, dict[str, Any], Any, dict[str, Any], bool]) -> None:
            method, path, query, body, told, is_right = one
            answer = to.http.request(method, path, params=query, json=body)
            if answer.status_code == 404 and "requestBody" not in told and not told.get("parameters"):
                raise AssertionError(f"{path} is not there")
            to.held(told["operationId"], answer)
            statuses[answer.status_code] = statuses.get(answer.status_code, 0) + 1
            if "requestBody" in told and not is_right:
                schema = told["requestBody"]["content"]["application/json"]["schema"]
                try:
                    Draft202012Validator({**schema, "components": DESCRIBED["components"]}).validate(body)
                except ValidationError:
                    assert answer.status_code == 422, (body, answer.text)

        walk()
    assert set(statuses) >= {200, 404, 422}, statuses
    assert 500 not in statuses and 429 not in statuses

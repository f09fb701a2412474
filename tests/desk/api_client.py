"""A client of the API that is made of its description alone, and holds each answer to it."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

import httpx
from jsonschema import Draft202012Validator

PROBLEM = "application/problem+json"


class Client:
    """Every operation by its name; what is sent and what comes back are held to the description."""

    def __init__(self, base: str, token: str) -> None:
        self.http = httpx.Client(base_url=base, timeout=60.0, trust_env=False)
        self.http.headers["authorization"] = f"Bearer {token}"
        self.described = self.http.get("/api/openapi.json").raise_for_status().json()
        self.operations = {
            one["operationId"]: (method, path, one)
            for path, methods in self.described["paths"].items()
            for method, one in methods.items()
        }

    def __enter__(self) -> Client:
        return self

    def __exit__(self, *_: object) -> None:
        self.http.close()

    def valid(self, schema: dict[str, Any], value: Any) -> None:
        Draft202012Validator(
            {**schema, "components": self.described["components"]},
            format_checker=Draft202012Validator.FORMAT_CHECKER,
        ).validate(value)

    def ask(self, operation: str, body: dict[str, Any] | None = None, **given: Any) -> httpx.Response:
        """Ask an operation; the answer is one that it describes."""
        method, path, one = self.operations[operation]
        query = {}
        for told in one.get("parameters", []):
            name = told["name"]
            if name not in given:
                assert not told["required"], f"{operation} needs {name}"
                continue
            self.valid(told["schema"], given[name])
            if told["in"] == "path":
                path = path.replace(f"{{{name}}}", quote(str(given.pop(name)), safe=""))
            else:
                query[name] = given.pop(name)
        assert not given, f"{operation} takes no {sorted(given)}"
        if "requestBody" in one:
            self.valid(one["requestBody"]["content"]["application/json"]["schema"], body)
        answer = self.http.request(method, path, params=query, json=body)
        self.held(operation, answer)
        return answer

    def held(self, operation: str, answer: httpx.Response) -> None:
        """Hold an answer to the description."""
        _, _, one = self.operations[operation]
        told = one["responses"].get(str(answer.status_code))
        assert told is not None, f"{operation} answered {answer.status_code}: {answer.text[:500]}"
        kind = answer.headers["content-type"].partition(";")[0]
        assert kind in told["content"], kind
        self.valid(told["content"][kind]["schema"], answer.json())
        if kind == PROBLEM:
            assert answer.json()["status"] == answer.status_code

    def get(self, operation: str, **given: Any) -> Any:
        """What an operation answers."""
        answer = self.ask(operation, **given)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def all(self, operation: str, **given: Any) -> list[Any]:
        """Every part of a list."""
        found: list[Any] = []
        after = None
        while after != "":
            more = {} if after is None else {"after": int(after) if after.isdecimal() else after}
            part = self.get(operation, **given, **more)
            found += part["items"]
            after = part["next"]
        return found

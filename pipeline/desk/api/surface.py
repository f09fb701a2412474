"""The API's addresses, who may ask them, and their description: all from one list of reads and one of acts.

Whoever sends a token that stands is let in; a person who is signed in may read with their session. Acts take a token
alone, so that no page of another site can send one. Nothing is answered to anybody else.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable, Mapping
from datetime import date
from functools import cached_property, partial
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Match, Route

from pipeline.desk.acting import act
from pipeline.desk.api.bodies import DEEDS, Body, scopes_of
from pipeline.desk.api.composed import Part
from pipeline.desk.api.described import Schema, System, as_json
from pipeline.desk.api.openapi import description, path_of_act
from pipeline.desk.api.problems import TROUBLES, name_of, problem, told
from pipeline.desk.api.reads import READS, Parameter, Read, WhatIsAsked
from pipeline.desk.door import FORM_WITHIN_S, LONGEST_FORM, Caller, cookies_of
from pipeline.desk.offers import newest_entry
from pipeline.desk.seen import ChangedMeanwhile
from pipeline.desk.tries import Tries
from pipeline.errors import Complaint, ReelproofError, StoreError
from pipeline.record.access_log import Access, note_access

if TYPE_CHECKING:
    from starlette.types import Receive, Scope, Send

    from pipeline.desk.asked import Desk
    from pipeline.desk.tokens import Service, Tokens

# Common practice, no source: a program that asks oftener waits for what it has asked.
MOST_A_MINUTE = 600
_SIGN = "Send a token as 'Authorization: Bearer TOKEN'; 'reelproof token' makes one"


class _Stopped(Exception):  # noqa: N818 - a refusal is an answer, not a fault
    """A request that ends in a problem before it is asked."""

    def __init__(self, answer: Response) -> None:
        super().__init__()
        self.answer = answer


def _stop(name: str, complaint: Complaint, headers: Mapping[str, str] | None = None) -> _Stopped:
    return _Stopped(problem(name, [complaint], headers=headers))


class Api:
    """The API of a site.

    Args:
        desk: the site.
        tokens: the tokens beside its store.
    """

    def __init__(self, desk: Desk, tokens: Tokens) -> None:
        self.desk = desk
        self.tokens = tokens
        self.pace = Tries(most=MOST_A_MINUTE, within_s=60.0)
        self.routes: list[tuple[Route, Callable[[Request, Caller], Response]]] = [
            self._route("/api/openapi.json", "GET", self._describe),
            self._route("/api/problems", "GET", self._problems),
            *(self._route(one.path, "GET", partial(self._read, one)) for one in READS),
            *(self._route(path_of_act(what), "POST", partial(self._act, what)) for what in DEEDS),
        ]

    @staticmethod
    def _route(
        path: str, method: str, answer: Callable[[Request, Caller], Response]
    ) -> tuple[Route, Callable[[Request, Caller], Response]]:
        return Route(path, _never, methods=[method]), answer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        request = Request(scope, receive)
        asked: str = scope["method"]
        try:
            body = b"" if asked in ("GET", "HEAD") else await _body(request)
            response = await run_in_threadpool(self._answered, request, body)
        except _Stopped as stopped:
            response = stopped.answer
        await response(scope, receive, send)

    def _answered(self, request: Request, body: bytes) -> Response:
        caller = self._caller(request)
        self._check_pace(caller)
        answer = self._found(request)
        request.state.body = body
        try:
            return answer(request, caller)
        except ReelproofError as fault:
            return problem(name_of(fault, is_act=False), told(fault))

    def _caller(self, request: Request) -> Caller:
        address = request.client.host if request.client is not None else "an unknown address"
        sent = request.headers.get("authorization", "")
        scheme, _, token = sent.partition(" ")
        if sent and scheme.casefold() == "bearer":
            service = self.tokens.of(token.strip())
            if service is not None:
                return Caller(None, "", address, "", service=service)
            self._note_wrong(address)
        elif not sent and request.method in ("GET", "HEAD"):
            cookie = cookies_of(request.headers).get(self.desk.cookies.session, "")
            session = self.desk.sessions.of(cookie)
            if session is not None:
                return Caller(session, cookie, address, "")
        raise _stop(
            "not-known",
            Complaint("token", "none that stands was sent", _SIGN),
            {"www-authenticate": 'Bearer realm="reelproof"'},
        )

    def _note_wrong(self, address: str) -> None:
        if not self.desk.tries.may_try(address):
            raise _stop(
                "too-often",
                Complaint("token", "too many wrong ones came from this address", "Wait five minutes"),
                {"retry-after": "300"},
            )
        note_access(
            self.desk.accounts.file,
            Access.TOKEN_REFUSED,
            "a token",
            self.desk.accounts.now(),
            {"address": address},
        )

    def _check_pace(self, caller: Caller) -> None:
        who = caller.service.token_sha256 if caller.service is not None else caller.token
        if not self.pace.may_try(who):
            raise _stop(
                "too-often",
                Complaint("token", f"it asked more than {MOST_A_MINUTE} times in a minute", "Wait a minute"),
                {"retry-after": "60"},
            )

    def _found(self, request: Request) -> Callable[[Request, Caller], Response]:
        others: set[str] = set()
        for route, answer in self.routes:
            match, more = route.matches(request.scope)
            if match is Match.FULL:
                request.scope["path_params"] = more["path_params"]
                return answer
            if match is Match.PARTIAL:
                others |= route.methods or set()
        if others:
            allowed = ", ".join(sorted(others))
            raise _stop(
                "not-answered",
                Complaint(request.method, "it is not answered at this address", f"Send {allowed}"),
                {"allow": allowed},
            )
        raise _stop(
            "not-on-file",
            Complaint(request.url.path[:200], "there is no such address", "See /api/openapi.json"),
        )

    def _system(self) -> System:
        return "us" if self.desk.shelf.plan().contents.plant.units == "mil and foot" else "si"

    def _json(self, value: Any) -> Response:
        return _json(as_json(value, self._system()))

    def _read(self, read: Read, request: Request, _: Caller) -> Response:
        given = _given(read, request)
        with self.desk.shelf.reading() as (plan, store):
            answer = read.ask(WhatIsAsked(plan, store, given))
            if isinstance(answer, Part):
                return self._json({"items": answer.items, "next": answer.next})
            return self._json(answer)

    def _act(self, what: str, request: Request, caller: Caller) -> Response:
        service = caller.service
        if service is None:
            raise TypeError("an act came without a token")
        kind = request.headers.get("content-type", "").partition(";")[0].strip().casefold()
        if kind != "application/json":
            complaint = Complaint("content-type", f"'{kind[:80]}' was sent", "Send application/json")
            raise _stop("not-json", complaint)
        body = _read_body(DEEDS[what].body, request.state.body)
        self._check_scope(service, what, body)
        form = Caller(None, "", caller.address, "", tuple(body.fields()), service)
        try:
            did = act(self.desk.store, self.desk.accounts.file, what, service.by, form)
        except ReelproofError as fault:
            return self._refused(service, what, form, fault)
        with self.desk.shelf.reading() as (_, store):
            return self._json({"did": did, "entry_no": newest_entry(store)})

    def _check_scope(self, service: Service, what: str, body: Body) -> None:
        missing = [one for one in scopes_of(body) if one not in service.may]
        if not missing:
            return
        self._note_refused(service, Access.ACT_REFUSED, what, missing[0])
        raise _stop(
            "not-allowed",
            Complaint(
                f"token {service.name}",
                f"it was not made for '{missing[0]}'",
                "Ask whoever runs this site for another",
            ),
        )

    def _refused(self, service: Service, what: str, form: Caller, fault: ReelproofError) -> Response:
        name = name_of(fault, is_act=True)
        if not isinstance(fault, StoreError):
            subjects = ", ".join(form.fields("subject") or form.fields("item"))[:200] or "nothing"
            late = name == "changed-meanwhile"
            self._note_refused(service, Access.ACT_LATE if late else Access.ACT_REFUSED, what, subjects)
        happened = fault.happened if isinstance(fault, ChangedMeanwhile) else ()
        headers = {"retry-after": "10"} if name == "not-now" else None
        return problem(name, told(fault), [as_json(one, self._system()) for one in happened], headers)

    def _note_refused(self, service: Service, code: Access, what: str, subject: str) -> None:
        role = service.by.role or "reading only"
        more = {"act": what, "subject": subject, "role": role}
        note_access(self.desk.accounts.file, code, service.by.person, self.desk.accounts.now(), more)

    def _describe(self, _: Request, __: Caller) -> Response:
        return _json(self.description)

    def _problems(self, _: Request, __: Caller) -> Response:
        return _json({name: {"status": one.status, "title": one.title} for name, one in TROUBLES.items()})

    @cached_property
    def description(self) -> Schema:
        """The description, as OpenAPI 3.1."""
        return description()


def _json(value: Any) -> Response:
    return Response(json.dumps(value, ensure_ascii=False, allow_nan=False), media_type="application/json")


async def _never(_: Request) -> Response:
    raise TypeError("a route of the API is only matched")


async def _body(request: Request) -> bytes:
    """What was sent, as long as it is no longer than an act may be and comes in time."""
    sent = bytearray()
    try:
        async with asyncio.timeout(FORM_WITHIN_S):
            async for part in request.stream():
                sent += part
                if len(sent) > LONGEST_FORM:
                    raise _stop(
                        "too-long",
                        Complaint("body", f"it is longer than {LONGEST_FORM:,} bytes", "Send less at once"),
                    )
    except (TimeoutError, ClientDisconnect):
        raise _stop("not-readable", Complaint("body", "it did not arrive in time", "Send it anew")) from None
    return bytes(sent)


def _read_body(kind: type[Body], sent: bytes) -> Body:
    try:
        return kind.model_validate_json(sent)
    except ValidationError as fault:
        name = "not-readable" if fault.errors()[0]["type"] == "json_invalid" else "not-valid"
        complaints = [
            Complaint(
                ".".join(map(str, one["loc"])) or "body",
                one["msg"].rstrip("."),
                "See /api/openapi.json for what may stand there",
            )
            for one in fault.errors(include_input=False, include_url=False)
        ]
        raise _Stopped(problem(name, complaints)) from None


def _given(read: Read, request: Request) -> dict[str, Any]:
    """What the address and its query give, each as its schema has it; what is left out and has a default, as that."""
    sent = request.query_params.multi_items()
    known = {one.name: one for one in read.parameters}
    complaints = [
        Complaint(name[:80], "it is not asked by this address", "Leave it out")
        for name, _ in sent
        if name not in known or known[name].in_path
    ]
    complaints += [
        Complaint(name[:80], "it stands twice", "Give it once")
        for name in known
        if sum(one == name for one, _ in sent) > 1
    ]
    given: dict[str, Any] = {}
    for one in read.parameters:
        text = request.path_params.get(one.name) if one.in_path else request.query_params.get(one.name)
        if text is None:
            given |= {one.name: one.schema["default"]} if "default" in one.schema else {}
        elif (value := _value(one, text)) is not None:
            given[one.name] = value
        else:
            complaints.append(
                Complaint(one.name, f"'{text[:80]}' cannot stand there", _may_stand(one.schema))
            )
    if complaints:
        raise _Stopped(problem("not-valid", complaints))
    return given


def _may_stand(schema: Schema) -> str:
    if "enum" in schema:
        return f"Give one of {', '.join(schema['enum'])}"
    if schema["type"] == "integer":
        return f"Give a whole number from {schema['minimum']} to {schema['maximum']}"
    if schema.get("format") == "date":
        return "Give a day like 2026-03-31"
    return f"Give up to {schema['maxLength']} characters that can be printed"


def _value(one: Parameter, text: str) -> Any:
    """What a parameter's text means; None where it may not stand there."""
    schema = one.schema
    if "enum" in schema:
        return text if text in schema["enum"] else None
    if schema["type"] == "integer":
        if not (text.isascii() and text.isdecimal() and len(text) < 17):
            return None
        return int(text) if schema["minimum"] <= int(text) <= schema["maximum"] else None
    if schema.get("format") == "date":
        try:
            return date.fromisoformat(text) if len(text) == 10 else None
        except ValueError:
            return None
    return text if 1 <= len(text) <= schema["maxLength"] and text.isprintable() else None

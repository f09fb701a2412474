"""What every request passes: the host's name, who is signed in, where a form came from; and what every answer carries.

Whoever is not signed in is let to nothing but the door itself. Answers are told to browsers as strictly as the pages
allow: no script but the site's own files, no frame, nothing guessed, nothing kept.
"""

from __future__ import annotations

import asyncio
import hmac
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field
from email.errors import MessageError
from email.message import EmailMessage
from email.parser import BytesParser
from email.policy import HTTP
from http.cookies import CookieError, SimpleCookie
from typing import TYPE_CHECKING
from urllib.parse import parse_qsl, quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response

from pipeline.acts.attaching import MOST_BYTES, EvidenceFile
from pipeline.record.access_log import Access

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

    from pipeline.desk.sessions import Session, Sessions
    from pipeline.desk.tokens import Service

LONGEST_FORM = 64_000
MOST_FIELDS = 600
FORM_WITHIN_S = 20.0
FILE_WITHIN_S = 120.0
# Styles stand in elements, where a mark's place on a scale is one; scripts stand in files only.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
    "font-src 'self' data:; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
OPEN_TO_ALL = re.compile(r"/(?:sign-in|link/[A-Za-z0-9_-]{20,80}|assets/[\w.-]+)")
_SAFE = ("GET", "HEAD")
# Where an open page listens for what changes, and the header with which it asks for itself anew then; nobody uses
# their session by that.
LISTENS = "/events"
BY_ITSELF = "x-asked-by-page"
# The one form that carries a file, and how many of them are read at once.
TAKES_FILES = "/acts/attach"
_FILES_AT_ONCE = asyncio.Semaphore(3)


@dataclass(frozen=True, slots=True)
class Caller:
    """Who asks.

    Args:
        session: who is signed in; None for nobody.
        token: what the browser has of the session.
        address: where the request came from.
        form: fields of the form that was sent, in order; each may stand more than once.
        door_token: what a form for signing in must carry.
        service: the service whose token a program sent; None for a browser.
        file: the file sent with the form; None for none.
    """

    session: Session | None
    token: str
    address: str
    door_token: str
    form: tuple[tuple[str, str], ...] = field(default=(), repr=False)
    service: Service | None = None
    file: EvidenceFile | None = field(default=None, repr=False)

    @property
    def form_token(self) -> str:
        """What each form made for this caller must carry."""
        return self.door_token if self.session is None else self.session.form_token

    def field(self, name: str) -> str:
        """A field of the form without outer spaces; "" where it is not there."""
        return next((value for key, value in self.form if key == name), "").strip()

    def fields(self, name: str) -> tuple[str, ...]:
        """Every field of a name."""
        return tuple(dict.fromkeys(value.strip() for key, value in self.form if key == name))


@dataclass(frozen=True, slots=True)
class Cookies:
    """The names of the two cookies.

    Args:
        is_secure: whether browsers reach the site over TLS, so that they send cookies over nothing else.
    """

    is_secure: bool

    @property
    def session(self) -> str:
        """The one of the session."""
        return "__Host-reelproof" if self.is_secure else "reelproof"

    @property
    def door(self) -> str:
        """The one that a form for signing in is compared with."""
        return f"{self.session}-door"

    def set_on(self, response: Response, name: str, value: str) -> None:
        """Set one; a page of another site neither reads nor sends it with a form. It ends with the browser."""
        response.set_cookie(name, value, path="/", secure=self.is_secure, httponly=True, samesite="lax")

    def end_on(self, response: Response, name: str) -> None:
        """Take one away."""
        response.delete_cookie(name, path="/", secure=self.is_secure, httponly=True, samesite="lax")


class _Refused(Exception):  # noqa: N818 - a refusal is an answer, not a fault
    """A request that is answered at the door."""

    def __init__(self, status: int, told: str) -> None:
        super().__init__(told)
        self.status = status
        self.told = told


class Door:
    """The door, around the site's own pages."""

    def __init__(
        self, site: ASGIApp, api: ASGIApp, sessions: Sessions, names: frozenset[str], cookies: Cookies
    ) -> None:
        self.site = site
        self.api = api
        self.sessions = sessions
        self.names = names
        self.cookies = cookies

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.site(scope, receive, send)
            return
        sent = self._strictly(scope["path"], send)
        if scope["path"].startswith("/api/") and self._is_named(Headers(scope=scope)):
            await self.api(scope, receive, sent)  # which lets in whoever sends a token, and reads no form
            return
        try:
            caller, receive = await self._caller(scope, receive)
        except _Refused as fault:
            await PlainTextResponse(f"{fault.told}\n", fault.status)(scope, receive, sent)
            return
        if caller.session is None and not OPEN_TO_ALL.fullmatch(scope["path"]):
            await self._to_sign_in(scope)(scope, receive, sent)
            return
        scope.setdefault("state", {})["caller"] = caller
        await self.site(scope, receive, sent)

    def _strictly(self, path: str, send: Send) -> Send:
        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["content-security-policy"] = POLICY
                headers["x-content-type-options"] = "nosniff"
                # With "no-referrer" browsers send their own forms with the origin "null".
                headers["referrer-policy"] = "same-origin"
                headers["x-frame-options"] = "DENY"
                headers["cross-origin-opener-policy"] = "same-origin"
                headers["cross-origin-resource-policy"] = "same-origin"
                headers["permissions-policy"] = "camera=(), geolocation=(), microphone=(), payment=(), usb=()"
                if not path.startswith("/assets/"):
                    headers["cache-control"] = "no-store"
                if self.cookies.is_secure:
                    headers["strict-transport-security"] = "max-age=31536000"
            await send(message)

        return sent

    async def _caller(self, scope: Scope, receive: Receive) -> tuple[Caller, Receive]:
        headers = Headers(scope=scope)
        if not self._is_named(headers):
            raise _Refused(400, "This site is not served under that name.")
        sent = cookies_of(headers)
        token = sent.get(self.cookies.session, "")
        session = None
        if token:
            is_used = scope["path"] != LISTENS and BY_ITSELF not in headers
            session = await run_in_threadpool(self.sessions.of, token, is_used=is_used)
        address = scope["client"][0] if scope.get("client") else "an unknown address"
        door = sent.get(self.cookies.door, "")
        door = door if re.fullmatch(r"[\w-]{43}", door) else secrets.token_urlsafe(32)
        caller = Caller(session, token, address, door)
        asked: str = scope["method"]
        if asked in _SAFE:
            return caller, receive
        if asked != "POST":
            raise _Refused(405, "Only GET and POST are answered.")
        sent_with = None
        if scope["path"] == TAKES_FILES and session is not None:
            form, sent_with = await _form_with_file(headers, receive)
        else:
            form = await _form(headers, receive)
        caller = Caller(session, token, address, door, form, file=sent_with)
        if not self._is_own_form(caller, headers):
            if session is not None:
                await run_in_threadpool(
                    self.sessions.note_refused, session, Access.FORM_REFUSED, address=address
                )
            raise _Refused(
                403,
                "This form was not made by this site, or is out of date. Open the page again and send it anew.",
            )
        return caller, receive

    def _is_named(self, headers: Headers) -> bool:
        return _host_name(headers.getlist("host")) in self.names

    def _is_own_form(self, caller: Caller, headers: Headers) -> bool:
        """Whether a form was made by this site for who sends it."""
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc.casefold() != headers.get("host", "").casefold():
            return False
        if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return False
        return hmac.compare_digest(caller.field("form_token").encode(), caller.form_token.encode())

    def _to_sign_in(self, scope: Scope) -> Response:
        asked: str = scope["method"]
        if asked not in _SAFE:
            return PlainTextResponse(
                "You are not signed in, or the session has ended. Nothing was done.\n", 401
            )
        wanted = scope["path"] + (
            f"?{scope['query_string'].decode('latin-1')}" if scope["query_string"] else ""
        )
        to = "" if wanted == "/" else f"?to={quote(wanted, safe='/')}"
        return RedirectResponse(f"/sign-in{to}", 303)


def _host_name(given: list[str]) -> str:
    """The name in a Host header, without port and case; "" where there is none, or more than one."""
    if len(given) != 1:
        return ""
    try:
        return (urlsplit(f"//{given[0]}").hostname or "").casefold()
    except ValueError:
        return ""


def cookies_of(headers: Headers) -> Mapping[str, str]:
    """The cookies that were sent."""
    try:
        return {name: one.value for name, one in SimpleCookie("; ".join(headers.getlist("cookie"))).items()}
    except CookieError:
        return {}


async def _form(headers: Headers, receive: Receive) -> tuple[tuple[str, str], ...]:
    if headers.get("content-type", "").partition(";")[0].strip() != "application/x-www-form-urlencoded":
        raise _Refused(415, "Only forms of this site are read.")
    try:
        body = await asyncio.wait_for(_body(receive, LONGEST_FORM), FORM_WITHIN_S)
        return tuple(
            parse_qsl(
                body.decode("utf-8"),
                keep_blank_values=True,
                strict_parsing=bool(body),
                max_num_fields=MOST_FIELDS,
            )
        )
    except TimeoutError:
        raise _Refused(408, "The form did not arrive in time.") from None
    except ValueError:
        raise _Refused(400, "The form cannot be read.") from None


async def _form_with_file(
    headers: Headers, receive: Receive
) -> tuple[tuple[tuple[str, str], ...], EvidenceFile | None]:
    kind = headers.get("content-type", "")
    if kind.partition(";")[0].strip() != "multipart/form-data":
        raise _Refused(415, "Only forms of this site are read.")
    async with _FILES_AT_ONCE:
        try:
            body = await asyncio.wait_for(_body(receive, MOST_BYTES + LONGEST_FORM), FILE_WITHIN_S)
        except TimeoutError:
            raise _Refused(408, "The file did not arrive in time.") from None
        return await run_in_threadpool(_parts, kind, body)


def _parts(kind: str, body: bytes) -> tuple[tuple[tuple[str, str], ...], EvidenceFile | None]:
    """Fields and file of a form with a file (RFC 7578)."""
    try:
        whole = BytesParser(policy=HTTP).parsebytes(
            b"content-type: " + kind.encode("ascii") + b"\r\n\r\n" + body
        )
        form: list[tuple[str, str]] = []
        file: EvidenceFile | None = None
        parts = [one for one in whole.iter_parts() if isinstance(one, EmailMessage)]
        if len(parts) > MOST_FIELDS:
            raise _Refused(400, "The form cannot be read.")
        for part in parts:
            content = part.get_payload(decode=True)
            name = part.get_param("name", header="content-disposition")
            if not isinstance(content, bytes) or not isinstance(name, str):
                raise _Refused(400, "The form cannot be read.")
            if part.get_filename() is not None:
                file = EvidenceFile(part.get_filename() or "", content)
            else:
                form.append((name, content.decode("utf-8")))
        return tuple(form), file
    except (ValueError, LookupError, TypeError, MessageError):
        raise _Refused(400, "The form cannot be read.") from None


async def _body(receive: Receive, most: int) -> bytes:
    body = bytearray()
    while True:
        message = await receive()
        if message["type"] == "http.disconnect":
            raise _Refused(400, "The form did not arrive whole.")
        body += message.get("body", b"")
        if len(body) > most:
            raise _Refused(413, "The form is longer than any of this site.")
        if not message.get("more_body"):
            return bytes(body)


def local_path(wanted: str) -> str:
    """Where to go after signing in: a path of this site, ``/`` for anything else.

    Args:
        wanted: as the browser sent it.
    """
    if not re.fullmatch(r"/(?![/\\])[\x21-\x5b\x5d-\x7e]{0,500}", f"{wanted or '/'}"):
        return "/"
    return wanted or "/"

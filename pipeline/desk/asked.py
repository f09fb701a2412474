"""What every answer of the review site stands on: its parts, who asks, and how a page tells what cannot be done."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.responses import HTMLResponse, Response

from dashboards.desk_pages import SignedIn, desk_page
from pipeline.desk.door import BY_ITSELF, Caller, Cookies
from pipeline.desk.waiting import WaitingGroup, count_of, waiting_for
from pipeline.errors import StoreError
from pipeline.messages import message_of

if TYPE_CHECKING:
    from starlette.requests import Request

    from dashboards.page_shelf import PageShelf
    from pipeline.desk.accounts import Accounts
    from pipeline.desk.board import Board
    from pipeline.desk.sessions import Session, Sessions
    from pipeline.desk.tries import Tries


MOST_COUNTS = 500


@dataclass(frozen=True, slots=True)
class Desk:
    """What the site stands on.

    Args:
        store: the store's folder.
        accounts: who may sign in.
        sessions: who is signed in.
        shelf: the pages.
        board: the lists.
        tries: how often somebody tried the door.
        cookies: the cookies' names.
        names: host names under which it is served.
    """

    store: Path
    accounts: Accounts
    sessions: Sessions
    shelf: PageShelf
    board: Board
    tries: Tries
    cookies: Cookies
    names: frozenset[str]


def caller_of(request: Request) -> Caller:
    """Who asks, as the door found it."""
    found = request.state.caller
    if not isinstance(found, Caller):
        raise TypeError("a request came past the door")
    return found


def session_of(request: Request) -> Session:
    """The session of who asks; the door lets nobody else to what needs one."""
    session = caller_of(request).session
    if session is None:
        raise TypeError("a request without a session came past the door")
    return session


def signed_in(desk: Desk, request: Request) -> SignedIn:
    """Who asks, as a page shows them; what is told once is told now, if a person asks."""
    session, told = session_of(request), None
    if session.told and BY_ITSELF not in request.headers:
        desk.sessions.tell(session, "")
        told = message_of(json.loads(session.told))
    waits, version = None, desk.board.version
    with suppress(StoreError):  # told by what needs the store
        waits = how_many_wait(desk, session)
    return SignedIn(session.name, session.role, session.form_token, told, waits, version)


def waits_of(desk: Desk, session: Session) -> tuple[WaitingGroup, ...]:
    """What waits for whoever is signed in, as things stand now.

    Raises:
        StoreError: the store cannot be read.
    """
    desk.board.catch_up()
    return waiting_for(desk.board, session.by, desk.sessions.looked(session), desk.accounts.now())


def how_many_wait(desk: Desk, session: Session) -> int:
    """How many things wait for whoever is signed in: counted once a change, for every page says it.

    Raises:
        StoreError: the store cannot be read.
    """
    desk.board.catch_up()
    known = desk.board.counted
    key = (desk.board.version, session.role, session.name, desk.sessions.looked(session))
    if key not in known:
        if len(known) > MOST_COUNTS:
            known.clear()
        known[key] = count_of(waits_of(desk, session))
    return known[key]


def told_page(
    desk: Desk, request: Request, status: int, heading: str, told: list[str], reel: str = ""
) -> Response:
    """A page that says what could not be done, and leads back, or on to a reel's page."""
    caller = caller_of(request)
    text = desk_page(
        "desk_told.html.j2",
        signed=signed_in(desk, request) if caller.session is not None else None,
        heading=heading,
        question="What now?",
        told=told,
        back=reel or ("/" if caller.session is not None else "/sign-in"),
        back_label="To the reel"
        if reel
        else "To the first page"
        if caller.session is not None
        else "Sign in",
    )
    return HTMLResponse(text, status)

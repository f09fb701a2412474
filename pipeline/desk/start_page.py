"""The start page: what waits for whoever is signed in, what is new to them, and the way to everything else."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from starlette.responses import HTMLResponse, RedirectResponse, Response

from dashboards.desk_pages import EveryPage, desk_page
from dashboards.records import Alarm, Stamp
from pipeline.desk.asked import Desk, caller_of, session_of, signed_in, waits_of
from pipeline.desk.waiting import MOST_SHOWN, since_then
from pipeline.messages import message_of
from pipeline.record.standing import ALARMS

if TYPE_CHECKING:
    from starlette.requests import Request

RUNS_SHOWN = 8


def start(desk: Desk, request: Request) -> Response:
    """The page for whoever asks."""
    session = session_of(request)
    looked = desk.sessions.looked(session)
    groups = waits_of(desk, session)
    text = desk_page(
        "desk_start.html.j2",
        desk.board.plant,
        signed_in(desk, request),
        EveryPage(),
        Stamp(left_held=alarms_on(desk)),
        groups=groups,
        since=since_then(desk.board, session.by, looked),
        runs=desk.board.file.ask("newest_runs", most=RUNS_SHOWN),
        still=desk.board.still_to_come(),
        shown=MOST_SHOWN,
    )
    return HTMLResponse(text)


def alarms_on(desk: Desk) -> tuple[Alarm, ...]:
    """Wire that left although it might not, of the whole plant."""
    rows = desk.board.file.ask("alarms", standings=json.dumps(ALARMS))
    return tuple(Alarm(row["reel_id"], message_of(json.loads(row["told"]))) for row in rows)


def looked(desk: Desk, request: Request) -> Response:
    """Note that whoever asks has looked at what the page showed."""
    entry = caller_of(request).field("entry")
    if entry.isdecimal() and entry.isascii() and len(entry) < 17:
        desk.sessions.look(session_of(request), int(entry))
    return RedirectResponse("/#since", 303)

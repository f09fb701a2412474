"""What changed, told to open pages as it happens (server-sent events, WHATWG HTML, section 9.2, from memory)."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from time import monotonic
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.responses import Response, StreamingResponse

from pipeline.desk.asked import Desk, caller_of, how_many_wait, session_of
from pipeline.errors import StoreError

if TYPE_CHECKING:
    from starlette.requests import Request

LOOKS_EVERY_S = 0.25
# How often it is looked whether the person is still signed in, and something is sent that keeps the connection.
ASKS_EVERY_S = 5.0


async def events(desk: Desk, request: Request) -> Response:
    """Tell one page of changes until it is closed or its person is signed out.

    An event's data is a JSON object: `version` of the board, `waits` for the person, and whether the `page` may show
    something else now. An event ``ended`` says that nobody is signed in there any more.
    """
    if request.method == "HEAD":
        return Response(media_type="text/event-stream")
    known = request.query_params.get("version", "")
    since = int(known) if known.isdecimal() and known.isascii() and len(known) < 12 else -1
    where = request.query_params.get("at", "/").lstrip("/")
    told = _told(desk, request, where, since if since <= desk.board.version else -1)
    return StreamingResponse(told, media_type="text/event-stream", headers={"x-accel-buffering": "no"})


async def _told(desk: Desk, request: Request, where: str, since: int) -> AsyncIterator[str]:
    board, token, asked = desk.board, caller_of(request).token, monotonic()
    while True:
        if board.version != since:
            now = board.version
            yield f"data: {json.dumps(await run_in_threadpool(_change, desk, request, where, since, now))}\n\n"
            since = now
        if monotonic() - asked > ASKS_EVERY_S:
            asked = monotonic()
            if await run_in_threadpool(desk.sessions.of, token, is_used=False) is None:
                yield "event: ended\ndata: {}\n\n"
                return
            yield ": still here\n\n"
        await asyncio.sleep(LOOKS_EVERY_S)


def _change(desk: Desk, request: Request, where: str, since: int, now: int) -> dict[str, object]:
    try:
        waits: int | None = how_many_wait(desk, session_of(request))
    except StoreError:  # the page says so when it is asked for
        waits = None
    return {"version": now, "waits": waits, "page": desk.board.concerns(since, desk.shelf.runs_behind(where))}

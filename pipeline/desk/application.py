"""The review site as a whole: its addresses, and what each answers.

An address that is not listed here is a page of the site or nothing; whoever is not signed in is turned back at the
door before any of these is asked.
"""

from __future__ import annotations

import mimetypes
from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from dashboards.addresses import address
from dashboards.desk_pages import SignedIn, acts_part, desk_page, for_person
from pipeline.desk.accounts import SHORTEST
from pipeline.desk.acting import ACTS, act, in_form
from pipeline.desk.api.surface import Api
from pipeline.desk.asked import Desk, caller_of, session_of, signed_in, told_page
from pipeline.desk.door import LISTENS, Caller, Door, local_path
from pipeline.desk.follow_offers import cutting, evidence, follow_offer
from pipeline.desk.lists import find, keep_view, show_list
from pipeline.desk.offers import About, offer_on
from pipeline.desk.scanned import scan
from pipeline.desk.seen import ChangedMeanwhile
from pipeline.desk.start_page import looked, start
from pipeline.desk.telling import events
from pipeline.desk.tokens import Tokens
from pipeline.errors import NotFoundError, ReelproofError, StoreError
from pipeline.messages import said_json
from pipeline.nonconformance.disposition import DecidedMeanwhile
from pipeline.record.access_log import Access
from pipeline.record.plant_sheet_on_file import roles_of_plant
from pipeline.trust.sampled import SAMPLED

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.types import ASGIApp

    from dashboards.records import Plant

REFUSED = (
    "The name or the password is wrong, or the account is locked. After five wrong passwords in a row it is locked for "
    "15 minutes."
)
# The kinds of page that are about something that is acted on.
ABOUT: Mapping[str, About] = {"reel": "reel", "finding": "finding", "lot": "lot"}
# Fields whose text is kept where an act is refused.
TYPED = (
    "reason",
    "evidence",
    "deed",
    "shipment",
    "to",
    "from",
    "to_place",
    "value",
    "sd",
    "place",
    "instrument",
)
TOO_MANY = "Too many tries came from this address. Wait five minutes."


def application(desk: Desk) -> ASGIApp:
    """The site, behind its door."""

    def at(path: str, answer: Callable[[Desk, Request], Response], *methods: str) -> Route:
        # Answers ask files and the store: each on a thread, so that none waits for another's.
        async def endpoint(request: Request) -> Response:
            return await run_in_threadpool(partial(_answered, desk, answer), request)

        return Route(path, endpoint, methods=[*methods])

    async def listen(request: Request) -> Response:
        return await events(desk, request)

    routes = [
        Route(LISTENS, listen, methods=["GET"]),
        at("/sign-in", _sign_in_page, "GET"),
        at("/sign-in", _sign_in, "POST"),
        at("/sign-out", _sign_out, "POST"),
        at("/link/{token}", _link_page, "GET"),
        at("/link/{token}", _use_link, "POST"),
        at("/assets/{name}", _asset, "GET"),
        at("/acts/{what}", _act, "POST"),
        at("/", start, "GET"),
        at("/looked", looked, "POST"),
        at("/find", find, "GET"),
        at("/lists/{what}", show_list, "GET"),
        at("/views", keep_view, "POST"),
        at("/evidence/{sha256}", evidence, "GET"),
        at("/cutting/{reel}", cutting, "GET"),
        at("/tag/{reel}/{number}", scan, "GET"),
        at("/8004/{reel}", scan, "GET"),
        at("/{where:path}", _page, "GET"),
    ]
    api = Api(desk, Tokens(desk.accounts))
    return Door(Starlette(routes=routes), api, desk.sessions, desk.names, desk.cookies)


def _answered(desk: Desk, answer: Callable[[Desk, Request], Response], request: Request) -> Response:
    """An answer; what cannot be done is told in the words of the complaint."""
    try:
        return answer(desk, request)
    except ReelproofError as fault:
        told = [str(one) for one in fault.complaints]
        if isinstance(fault, NotFoundError):
            return told_page(desk, request, 404, "Not found", told)
        return told_page(
            desk, request, 503 if fault.exit_code == 3 else 400, "This cannot be shown now", told
        )


def _sign_in_page(desk: Desk, request: Request) -> Response:
    caller = caller_of(request)
    to = local_path(request.query_params.get("to", "/"))
    if caller.session is not None:
        return RedirectResponse(to, 303)
    return _at_the_door(desk, caller, to=to)


def _at_the_door(
    desk: Desk, caller: Caller, to: str, refused: str = "", name: str = "", status: int = 200
) -> Response:
    text = desk_page("desk_sign_in.html.j2", form_token=caller.form_token, to=to, refused=refused, name=name)
    response = HTMLResponse(text, status)
    desk.cookies.set_on(response, desk.cookies.door, caller.door_token)
    return response


def _sign_in(desk: Desk, request: Request) -> Response:
    caller = caller_of(request)
    to, name = local_path(caller.field("to")), caller.field("name")
    if not desk.tries.may_try(caller.address):
        return _at_the_door(desk, caller, to, TOO_MANY, name, 429)
    # Signing in by a form that was made for who is signed in already ends that session.
    if caller.session is not None:
        desk.sessions.end(caller.session)
    password = next((value for key, value in caller.form if key == "password"), "")
    account = desk.accounts.signed_in(name, password, caller.address)
    if account is None:
        return _at_the_door(desk, caller, to, REFUSED, name, 403)
    response = RedirectResponse(to, 303)
    desk.cookies.set_on(response, desk.cookies.session, desk.sessions.begin(account))
    desk.cookies.end_on(response, desk.cookies.door)
    return response


def _sign_out(desk: Desk, request: Request) -> Response:
    desk.sessions.end(session_of(request))
    response = RedirectResponse("/sign-in", 303)
    desk.cookies.end_on(response, desk.cookies.session)
    response.headers["clear-site-data"] = '"cache"'
    return response


def _link_page(
    desk: Desk, request: Request, refused: str = "", typed: str = "", status: int = 200
) -> Response:
    caller = caller_of(request)
    token = str(request.path_params["token"])
    stands, account = desk.accounts.whose_link(token)
    if not stands:
        told = [
            "This link was used already, has run out, or is none. Ask whoever runs this site for a new one."
        ]
        return told_page(desk, request, 404, "No such link", told)
    text = desk_page(
        "desk_link.html.j2",
        form_token=caller.form_token,
        token=token,
        name=account.name if account is not None else "",
        roles=() if account is not None else _roles(desk),
        refused=refused,
        typed=typed,
        shortest=SHORTEST,
    )
    response = HTMLResponse(text, status)
    if caller.session is None:
        desk.cookies.set_on(response, desk.cookies.door, caller.door_token)
    return response


def _roles(desk: Desk) -> tuple[str, ...]:
    with desk.shelf.reading() as (_, store):
        return roles_of_plant(store)


def _use_link(desk: Desk, request: Request) -> Response:
    caller = caller_of(request)
    name, role = caller.field("name"), caller.field("role")
    if not desk.tries.may_try(caller.address):
        return _link_page(desk, request, TOO_MANY, name, 429)
    passwords = [value for wanted in ("password", "again") for key, value in caller.form if key == wanted]
    if len(passwords) != 2 or passwords[0] != passwords[1]:
        return _link_page(desk, request, "The two passwords differ. Type the same twice.", name, 400)
    if role and role not in _roles(desk):
        return _link_page(
            desk, request, "The plant's sheet names no such role. Choose one of the list.", name, 400
        )
    try:
        account = desk.accounts.set_password(str(request.path_params["token"]), passwords[0], name, role)
    except ReelproofError as fault:
        return _link_page(desk, request, " ".join(str(one) for one in fault.complaints), name, 400)
    response = RedirectResponse("/", 303)
    desk.cookies.set_on(response, desk.cookies.session, desk.sessions.begin(account))
    desk.cookies.end_on(response, desk.cookies.door)
    return response


def _asset(desk: Desk, request: Request) -> Response:
    path = desk.shelf.asset(f"assets/{request.path_params['name']}")
    if path is None:
        return told_page(desk, request, 404, "Not found", ["There is no such file."])
    return FileResponse(path, headers={"cache-control": "public, max-age=86400"})


def _page(desk: Desk, request: Request) -> Response:
    where = str(request.path_params.get("where", "")) or "index.html"
    found = desk.shelf.file(where)
    if found is None:
        return told_page(
            desk, request, 404, "Not found", ["There is no such page, run, reel or finding on file."]
        )
    if found.page is None:
        kind, _ = mimetypes.guess_type(found.path.name)
        return FileResponse(found.path, media_type=kind or "application/octet-stream")
    signed = signed_in(desk, request)
    acts = _acts_on_page(desk, found.page.kind, found.page.record_id, signed, found.plant)
    return HTMLResponse(for_person(found.path.read_text(encoding="utf-8"), signed, acts))


def _acts_on_page(
    desk: Desk, kind: str, name: str, signed: SignedIn, plant: Plant, typed: Mapping[str, str] | None = None
) -> str:
    """What a page offers whoever looks at it, as markup; "" where it is about nothing that is acted on.

    Args:
        desk: the site.
        kind: kind of page.
        name: id of what it is about.
        signed: who looks at it.
        plant: the plant.
        typed: what they typed in a form that was refused.
    """
    about = ABOUT.get(kind)
    if about is None:
        return ""
    plan, wanted = desk.shelf.plan(), ("offer", about, name, signed.role)
    kept = plan.kept.get(wanted)
    if kept is None:
        with desk.shelf.reading() as (plan, store):
            try:
                kept = plan.kept[wanted] = (
                    offer_on(store, about, name, signed.role),
                    follow_offer(store, name),
                )
            except NotFoundError:  # a finding that no judgement sees any more
                return ""
    offer, follow = kept
    return acts_part(offer, signed, f"/{address(about, name)}", typed or {}, SAMPLED, plant, follow)


def _act(desk: Desk, request: Request) -> Response:
    caller, session = caller_of(request), session_of(request)
    what = str(request.path_params["what"])
    if what not in ACTS:
        return told_page(desk, request, 404, "Not found", ["There is no such act."])
    try:
        did = act(desk.store, desk.accounts.file, what, session.by, caller)
    except ReelproofError as fault:
        return _refused(desk, request, what, fault)
    desk.sessions.tell(session, said_json(did))
    return RedirectResponse(local_path(caller.field("back")), 303)


def _refused(desk: Desk, request: Request, what: str, fault: ReelproofError) -> Response:
    """The page about an act that was not done: why, what happened meanwhile, and the form with what was typed."""
    caller, session = caller_of(request), session_of(request)
    is_late = isinstance(fault, ChangedMeanwhile | DecidedMeanwhile)
    is_busy = isinstance(fault, StoreError)  # another writer has the store: nobody refused anything
    if not is_busy:
        subjects = caller.fields("subject") or caller.fields("item")
        desk.sessions.note_refused(
            session,
            Access.ACT_LATE if is_late else Access.ACT_REFUSED,
            act=what,
            subject=", ".join(subjects)[:200] or "nothing",
            role=session.role or "reading only",
        )
    back = local_path(caller.field("back"))
    signed = signed_in(desk, request)
    plan = desk.shelf.plan()
    page = plan.contents.pages.get(back.lstrip("/"))
    typed = {name: caller.field(name) for name in TYPED}
    acts = (
        _acts_on_page(desk, page.kind, page.record_id, signed, plan.contents.plant, typed)
        if page is not None
        else ""
    )
    text = desk_page(
        "desk_refused.html.j2",
        plan.contents.plant,
        signed,
        frozenset(plan.contents.pages),
        told=[str(in_form(one)) for one in fault.complaints],
        happened=fault.happened if isinstance(fault, ChangedMeanwhile) else (),
        is_late=is_late,
        acts_here=acts,
        back=back,
    )
    return HTMLResponse(text, 503 if is_busy else 409 if is_late else 403)

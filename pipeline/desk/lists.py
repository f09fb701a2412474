"""Search and lists over everything on file: filtered, sorted and cut into pages by the board; the address says all."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import MAXYEAR, MINYEAR, UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from starlette.responses import HTMLResponse, RedirectResponse, Response

from dashboards.addresses import address
from dashboards.desk_pages import EveryPage, desk_page, list_file
from dashboards.records import Stamp
from pipeline.desk.asked import Desk, caller_of, session_of, signed_in, told_page
from pipeline.desk.door import local_path
from pipeline.desk.start_page import alarms_on
from pipeline.desk.waiting import at_of, due_of, href_of
from pipeline.messages import Message, message_of

if TYPE_CHECKING:
    from starlette.requests import Request

SIZES = (50, 200, 1000)
FILES: Mapping[str, str] = {  # their registered media types (IANA)
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "parquet": "application/vnd.apache.parquet",
}
MOST_EXPORTED = 200_000
_FURTHEST = 10_000_000
LONGEST = 100
MOST_VIEWS = 50


@dataclass(frozen=True, slots=True)
class ListKind:
    """One kind of list.

    Args:
        title: its title.
        question: the reader's question that it answers.
        columns: key, label and the name under which it is saved, of each column.
        filters: name of each filter with its label and the choices it takes from the board.
        down: whether it begins with the last first.
    """

    title: str
    question: str
    columns: tuple[tuple[str, str, str], ...]
    filters: tuple[tuple[str, str, str], ...]
    sorted_by: tuple[str, ...]
    sort: str
    down: bool = True


_DAYS = (("from", "From day", ""), ("to", "To day", ""))
KINDS: Mapping[str, ListKind] = {
    "reels": ListKind(
        "Reels",
        "What may leave, and why is the rest held?",
        (
            ("reel", "Reel", "reel"),
            ("standing", "Standing", "standing"),
            ("told", "Reasons", "reasons"),
            ("run", "Run", "run"),
            ("line", "Line", "line"),
            ("product", "Product", "product"),
            ("day", "Day", "day"),
            ("length", "Length", "length_m"),
        ),
        (
            ("leave", "May leave", "leave"),
            ("standing", "Standing", "standing of reel"),
            ("line", "Line", "line"),
            ("product", "Product", "product"),
            *_DAYS,
        ),
        ("reel", "standing", "run", "line", "product", "day", "length"),
        "day",
    ),
    "findings": ListKind(
        "Findings",
        "What was found, and who decides?",
        (
            ("finding", "Finding", "finding"),
            ("severity", "Severity", "severity"),
            ("standing", "Standing", "standing"),
            ("told", "Found", "found"),
            ("reel", "Reel", "reel"),
            ("run", "Run", "run"),
            ("line", "Line", "line"),
            ("day", "Day", "day"),
            ("owner", "Owner", "owner"),
            ("due", "Due", "due_utc"),
        ),
        (
            ("standing", "Standing", "standing of finding"),
            ("severity", "Severity", "severity"),
            ("line", "Line", "line"),
            ("product", "Product", "product"),
            *_DAYS,
        ),
        ("finding", "severity", "standing", "reel", "run", "line", "day"),
        "day",
    ),
    "runs": ListKind(
        "Runs",
        "What was made, and how does it stand?",
        (
            ("run", "Run", "run"),
            ("line", "Line", "line"),
            ("product", "Product", "product"),
            ("day", "Day", "day"),
            ("shift", "Shift", "shift"),
            ("made", "Made", "made_m"),
            ("reels", "Reels", "reels"),
            ("may_leave", "May leave", "may_leave"),
            ("releasable", "Releasable", "releasable"),
            ("held", "Held", "held"),
            ("no_conclusion", "No conclusion", "no_conclusion"),
        ),
        (("line", "Line", "line"), ("product", "Product", "product"), *_DAYS),
        ("run", "line", "product", "day", "made"),
        "day",
    ),
    "acts": ListKind(
        "Acts",
        "What is decided, by whom and why?",
        (
            ("entry", "Journal", "journal_entry"),
            ("at", "Time", "at_utc"),
            ("subject", "About", "about"),
            ("who", "By", "by"),
            ("told", "Act", "act"),
        ),
        (("kind", "Kind", "kind"), ("role", "Role", "role"), *_DAYS),
        ("entry", "subject", "who"),
        "entry",
    ),
}
LEAVE = ("may", "may not")


@dataclass(frozen=True, slots=True)
class ListWanted:
    """What of a list is asked for.

    Args:
        what: which list.
        words: words that must all occur.
        given: what each filter is set to; "" for all.
        sort: the column it is sorted by.
        down: whether the last comes first.
        page: the page, from 1.
        size: rows on a page.
    """

    what: str
    words: str
    given: Mapping[str, str]
    sort: str
    down: bool
    page: int
    size: int

    def href(self, **more: object) -> str:
        """The address of this list with something else: `sort`, `down`, `page` or `size`."""
        now = {"sort": self.sort, "down": int(self.down), "page": self.page, "size": self.size, **more}
        kept = {"q": self.words, **self.given}
        usual = {
            "sort": KINDS[self.what].sort,
            "down": int(KINDS[self.what].down),
            "page": 1,
            "size": SIZES[0],
        }
        query = {name: value for name, value in kept.items() if value}
        query |= {name: str(value) for name, value in now.items() if value != usual[name]}
        return f"/lists/{self.what}" + (f"?{urlencode(query)}" if query else "")

    def href_file(self, ending: str) -> str:
        """The address of all that fits, as a file of one of `FILES`."""
        return self.href(page=1, size=SIZES[0]).replace(
            f"/lists/{self.what}", f"/lists/{self.what}.{ending}", 1
        )


def wanted_of(what: str, query: Mapping[str, str]) -> ListWanted:
    """What an address asks for; what it says wrongly is left out."""
    kind = KINDS[what]
    given = {name: query.get(name, "").strip()[:LONGEST] for name, _, _ in kind.filters}
    for name in ("from", "to"):
        given[name] = given[name] if _is_day(given[name]) else ""
    sort = query.get("sort", kind.sort)
    page, size = (
        _whole(query.get(name, ""), most) for name, most in (("page", _FURTHEST), ("size", SIZES[-1]))
    )
    return ListWanted(
        what,
        query.get("q", "").strip()[:LONGEST],
        given,
        sort if sort in kind.sorted_by else kind.sort,
        query.get("down", str(int(kind.down))) == "1",
        max(1, page),
        size if size in SIZES else SIZES[0],
    )


def _whole(text: str, most: int) -> int:
    return min(int(text), most) if text.isdecimal() and text.isascii() and len(text) < 12 else 0


def _is_day(text: str) -> bool:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return False
    return text == day.isoformat() and MINYEAR < day.year < MAXYEAR


def rows_of(desk: Desk, wanted: ListWanted, most: int, skip: int) -> list[dict[str, Any]]:
    """The rows that fit, with how many fit in all; as stored, with `told` and `why` as messages."""
    given = dict(wanted.given)
    if wanted.what == "acts":  # whose times are instants: a day of the plant begins and ends by its clocks
        zone = ZoneInfo(desk.board.plant.zone)
        for name, later in (("from", 0), ("to", 1)):
            if given[name]:
                day = date.fromisoformat(given[name]) + timedelta(days=later)
                begins = datetime.combine(day, time(), zone).astimezone(UTC)
                given[name] = begins.replace(tzinfo=None).isoformat(timespec="seconds")
    rows = desk.board.file.ask(
        f"list_{wanted.what}",
        words=json.dumps(wanted.words.casefold().split()),
        **given,
        sort=wanted.sort,
        down=wanted.down,
        most=most,
        skip=skip,
    )
    return [_shown(desk, wanted.what, row) for row in rows]


def _shown(desk: Desk, what: str, row: dict[str, Any]) -> dict[str, Any]:
    """A row with its columns by their keys, and the pages they lead to."""
    told: tuple[Message, ...] = tuple(message_of(one) for one in json.loads(row.get("why", "[]")))
    if not told and "told" in row:
        told = (message_of(json.loads(row["told"])),)
    shown: dict[str, Any] = {**row, "told": told, "links": {}}
    names = {"run": ("run", "run_id"), "reel": ("reel", "reel_id"), "finding": ("finding", "finding_id")}
    for key, (kind, column) in names.items():
        if row.get(column):
            shown[key] = row[column]
            shown["links"][key] = f"/{address(kind, row[column])}"  # type: ignore[arg-type]
    if what == "reels":
        shown["length"] = row["length_m"]
    elif what == "runs":
        shown["made"] = row["made_m"]
    elif what == "findings" and desk.board.sheet is not None:
        grade = desk.board.sheet.response.due.get(row["severity"])
        own = row["owner_role"] + (f" ({row['owner_person']})" if row["owner_person"] else "")
        shown["owner"] = own or (grade.owner if grade else "")
        shown["due"] = due_of(row, desk.board.sheet) if row["standing"] == "open" else None
    elif what == "acts":
        shown |= {"entry": row["entry_no"], "at": at_of(row)}
        shown["who"] = row["role"] + (f" ({row['person']})" if row["person"] else "")
        shown["links"]["subject"] = href_of(row["subject"])
    return shown


def show_list(desk: Desk, request: Request) -> Response:
    """A list as a page, or all of it as a file."""
    what, _, ending = str(request.path_params["what"]).partition(".")
    if what not in KINDS or ending not in ("", *FILES):
        return told_page(desk, request, 404, "Not found", ["There is no such list."])
    desk.board.catch_up()
    wanted = wanted_of(what, request.query_params)
    if ending:
        return _as_file(desk, wanted, ending)
    rows = rows_of(desk, wanted, wanted.size, (wanted.page - 1) * wanted.size)
    if not rows and wanted.page > 1:
        return RedirectResponse(wanted.href(page=1), 303)
    choices: dict[str, list[str]] = {"leave": [*LEAVE]}
    for row in desk.board.file.ask("choices"):
        choices.setdefault(row["name"], []).append(row["value"])
    session = session_of(request)
    text = desk_page(
        "desk_list.html.j2",
        desk.board.plant,
        signed_in(desk, request),
        EveryPage(),
        Stamp(left_held=alarms_on(desk)),
        kind_of_list=KINDS[what],
        wanted=wanted,
        rows=rows,
        fitting=rows[0]["fitting"] if rows else 0,
        choices=choices,
        sizes=SIZES,
        still=desk.board.still_to_come(),
        views=desk.sessions.file.ask("views", key=session.key),
    )
    return HTMLResponse(text)


def _as_file(desk: Desk, wanted: ListWanted, ending: str) -> Response:
    kind = KINDS[wanted.what]
    rows = rows_of(desk, wanted, MOST_EXPORTED, 0)
    heads = [name for _, _, name in kind.columns]
    table = list_file(
        ending, kind.title, heads, ([row.get(key) for key, _, _ in kind.columns] for row in rows)
    )
    headers = {"content-disposition": f'attachment; filename="{wanted.what}.{ending}"'}
    return Response(table, media_type=FILES[ending], headers=headers)


def find(desk: Desk, request: Request) -> Response:
    """Go to the page of what is named, or to the list of what fits."""
    wanted = request.query_params.get("q", "").strip()[:LONGEST]
    desk.board.catch_up()
    for row in desk.board.file.ask("page_of", name=wanted):
        return RedirectResponse(f"/{address(row['kind'], row['name'])}", 303)
    given = {"words": json.dumps(wanted.casefold().split()), "sort": "", "down": True, "most": 1, "skip": 0}
    for what, kind in KINDS.items():
        if desk.board.file.ask(f"list_{what}", **given, **{name: "" for name, _, _ in kind.filters}):
            return RedirectResponse(f"/lists/{what}?{urlencode({'q': wanted})}", 303)
    return RedirectResponse(f"/lists/reels?{urlencode({'q': wanted})}", 303)


def keep_view(desk: Desk, request: Request) -> Response:
    """Keep a list under a name for whoever asks, or take one away."""
    caller, session = caller_of(request), session_of(request)
    name, where = caller.field("name")[:LONGEST], local_path(caller.field("address"))
    file = desk.sessions.file
    if caller.field("drop"):
        file.do("drop_view", key=session.key, name=name)
    elif (
        name.isprintable()
        and name
        and where.startswith("/lists/")
        and len(file.ask("views", key=session.key)) < MOST_VIEWS
    ):
        file.do("set_view", key=session.key, name=name, address=where)
    return RedirectResponse(where, 303)

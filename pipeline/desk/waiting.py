"""What waits for one person, and what happened since they last looked?

By their role on the plant's sheet: findings they own, decisions they may confirm or complete, holds they may lift,
samples they may hand in, cutting plans they may accept, and comments for them. It is only shown: whether an act may be
done is asked when it is done.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any, get_args
from urllib.parse import quote

from dashboards.addresses import PageKind, address
from pipeline.desk.offers import DISPOSITIONS
from pipeline.messages import Code, Message, message, message_of
from pipeline.nonconformance.disposition import Person
from pipeline.sheets.plant_response import Grade

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.desk.board import Board
    from pipeline.sheets.plant_sheet import PlantSheet

MOST_SHOWN = 12
MOST_EVENTS = 200
_PAGE_OF: dict[str, PageKind] = {"finding": "finding", "reel": "reel", "length": "reel", "lot": "lot"}


@dataclass(frozen=True, slots=True)
class Waits:
    """One thing that waits.

    Args:
        name: finding, reel, length or lot.
        href: its page.
        told: what is said of it.
        note: who did what before, or its severity.
        due: by when; None for no time.
        is_overdue: whether that is past.
    """

    name: str
    href: str
    told: Message | None
    note: str = ""
    due: datetime | None = None
    is_overdue: bool = False


@dataclass(frozen=True, slots=True)
class WaitingGroup:
    """Things that wait for the same act: its key, title and things, the most urgent first."""

    key: str
    title: str
    things: tuple[Waits, ...]

    @property
    def overdue(self) -> int:
        """How many are past their time."""
        return sum(one.is_overdue for one in self.things)


@dataclass(frozen=True, slots=True)
class NewsItem:
    """One thing that happened: its entry, when, about what, and its words."""

    entry_no: int
    at: datetime | None
    subject: str
    href: str
    told: Message
    note: str = ""


@dataclass(frozen=True, slots=True)
class SinceThen:
    """What happened since a person last looked.

    Args:
        entry_no: the newest entry shown.
        runs: runs judged, newest first.
        turned: reels that came to stand otherwise.
        acts: acts of others.
        is_more: whether there is more than is listed.
    """

    entry_no: int
    runs: tuple[NewsItem, ...]
    turned: tuple[NewsItem, ...]
    acts: tuple[NewsItem, ...]
    is_more: bool


def waiting_for(board: Board, by: Person, looked: int, now: datetime) -> tuple[WaitingGroup, ...]:
    """What waits for a person; nothing for an account that reads only.

    Args:
        board: the lists.
        by: who.
        looked: newest entry they have looked at.
        now: the instant, UTC.
    """
    sheet = board.sheet
    if sheet is None or not by.role:
        return ()
    powers = [one for one in DISPOSITIONS if by.role in sheet.may_decide.get(one, ())]
    pending = board.file.ask("pending_of", dispositions=json.dumps(powers))
    groups = [
        WaitingGroup("decide", "Findings to decide", _findings(board, by, sheet, bool(powers), now)),
        WaitingGroup(
            "confirm",
            "Decisions to confirm",
            tuple(
                _pending(row)
                for row in pending
                if row["standing"] == "awaiting a second person"
                and not by.same_as(Person(row["role"], row["person"]))
            ),
        ),
        WaitingGroup(
            "complete",
            "Decisions to complete",
            tuple(_pending(row) for row in pending if row["standing"] == "decided"),
        ),
        WaitingGroup(
            "lift", "Holds to lift", _holds(board) if _may(sheet, "lift hold", by, listed=True) else ()
        ),
        WaitingGroup("plan", "Cutting plans to accept", _plans(board) if _may(sheet, "ship", by) else ()),
        WaitingGroup("sample", "Samples due", _samples(board) if _may(sheet, "hand in sample", by) else ()),
        WaitingGroup("mention", "Comments for you", _mentions(board, by, looked)),
    ]
    return tuple(one for one in groups if one.things)


def _may(sheet: PlantSheet, power: Any, by: Person, listed: bool = False) -> bool:
    """Whether a role has a power; any role has one that the sheet lists nobody for, unless it must be listed."""
    roles = sheet.may_decide.get(power)
    return (not listed) if roles is None else by.role in roles


def _findings(board: Board, by: Person, sheet: PlantSheet, decides: bool, now: datetime) -> tuple[Waits, ...]:
    due = sheet.response.due
    own = [name for name in get_args(Grade) if (due[name].owner == by.role if name in due else decides)]
    rows = board.file.ask("findings_waiting", severities=json.dumps(own), role=by.role, person=by.person)
    found = []
    for row in rows:
        until = due_of(row, sheet)
        late = until is not None and until < now
        note = f"{row['severity']}, line {row['line']}"
        found.append(
            Waits(row["finding_id"], _at("finding", row["finding_id"]), _told(row), note, until, late)
        )
    return tuple(sorted(found, key=lambda one: (one.due or datetime.max.replace(tzinfo=UTC), one.name)))


def due_of(row: dict[str, Any], sheet: PlantSheet) -> datetime | None:
    """By when a finding of the board is to be decided: as it was given to somebody, else by its severity."""
    if row["due_utc"]:
        return datetime.fromisoformat(row["due_utc"]).replace(tzinfo=UTC)
    grade = sheet.response.due.get(row["severity"])
    if grade is None or not row["opened_utc"]:
        return None
    return datetime.fromisoformat(row["opened_utc"]).replace(tzinfo=UTC) + timedelta(hours=grade.hours)


def _pending(row: dict[str, Any]) -> Waits:
    who = str(Person(row["role"], row["person"]))
    page = _PAGE_OF[row["about"]]
    where = row["subject"] if page == "finding" else row["reel_id"]
    return Waits(
        row["subject"], _at(page, where), None, f"{row['disposition'].capitalize()}, decided by {who}"
    )


def _holds(board: Board) -> tuple[Waits, ...]:
    return tuple(
        Waits(row["subject"], _at(_PAGE_OF[row["about"]], row["subject"]), _told(row))
        for row in board.file.ask("holds")
    )


def _plans(board: Board) -> tuple[Waits, ...]:
    return tuple(
        Waits(row["reel_id"], _at("reel", row["reel_id"]), _told(row))
        for row in board.file.ask("plans_waiting")
    )


def _samples(board: Board) -> tuple[Waits, ...]:
    return tuple(
        Waits(row["reel_id"], _at("reel", row["reel_id"]), _told(row))
        for row in board.file.ask("samples_due")
    )


def _mentions(board: Board, by: Person, looked: int) -> tuple[Waits, ...]:
    rows = board.file.ask("mentions", role=by.role, person=by.person, entry_no=looked)
    return tuple(Waits(row["subject"], href_of(row["subject"]), _told(row)) for row in rows)


def since_then(board: Board, by: Person, looked: int) -> SinceThen:
    """What happened since a person last looked, but for what they did themselves.

    Args:
        board: the lists.
        by: who.
        looked: newest entry they have looked at.
    """
    mark = board.file.ask("mark")
    rows = board.file.ask("events_since", entry_no=looked, most=MOST_EVENTS + 1)
    turned = board.file.ask("turned_since", entry_no=looked, most=MOST_EVENTS + 1)
    judged = board.file.ask("runs_judged_since", entry_no=looked, most=MOST_EVENTS)
    acts = [
        row
        for row in rows[:MOST_EVENTS]
        if row["role"] and not (by.person and by.same_as(Person(row["role"], row["person"])))
    ]
    return SinceThen(
        mark[0]["entry_no"] if mark else 0,
        tuple(_judged(row) for row in judged),
        tuple(
            NewsItem(
                row["entry_no"],
                None,
                row["reel_id"],
                _at("reel", row["reel_id"]),
                _message(row["told"]),
                row["was"],
            )
            for row in turned[:MOST_EVENTS]
        ),
        tuple(_happened(row) for row in acts),
        len(rows) > MOST_EVENTS or len(turned) > MOST_EVENTS,
    )


class New(Code):
    """What is told of a run that was judged."""

    JUDGED = "new/judged"
    NOT_JUDGED = "new/not judged"


def _judged(row: dict[str, Any]) -> NewsItem:
    told = message(New.NOT_JUDGED)
    if row["outcome"] == "judged":
        counts = {name: row[name] for name in ("reels", "releasable", "held", "no_conclusion")}
        told = message(New.JUDGED, product=row["product"], **counts)
    return NewsItem(row["entry_no"], at_of(row), row["run_id"], _at("run", row["run_id"]), told)


def _happened(row: dict[str, Any]) -> NewsItem:
    return NewsItem(
        row["entry_no"], at_of(row), row["subject"], href_of(row["subject"]), _message(row["told"])
    )


def at_of(row: dict[str, Any]) -> datetime:
    """When an entry of the board was made."""
    return datetime.fromisoformat(row["at_utc"]).replace(tzinfo=UTC)


def href_of(subject: str) -> str:
    """Where a subject of the journal is looked up: the list that knows which page it has."""
    return f"/find?q={quote(subject)}" if subject else ""


def count_of(groups: Iterable[WaitingGroup]) -> int:
    """How many things wait."""
    return sum(len(one.things) for one in groups)


def _at(kind: PageKind, name: str) -> str:
    return f"/{address(kind, name)}"


def _told(row: dict[str, Any]) -> Message:
    return _message(row["told"])


def _message(text: str) -> Message:
    return message_of(json.loads(text))

"""What the API answers about what is on file, from the records that the pages show.

A list goes over whole runs, newest first, so many at a time; it says after which run it goes on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from dashboards.fillers.lot import lot_history, lots_of
from dashboards.fillers.rows import finding_row, product_row, reel_row
from dashboards.fillers.run_book import RunBook, ShelfBook
from dashboards.fillers.run_rows import run_row
from dashboards.records import FindingRow, LotEntry, ReelEntry, RunEntry, RunRow
from pipeline.acts.deciding import subject_on_file
from pipeline.acts.holding import holds_on
from pipeline.desk.api.composed import (
    EntryAnswer,
    FindingAnswer,
    LengthAnswer,
    LotAnswer,
    MayLeave,
    Part,
    ReelAnswer,
)
from pipeline.desk.offers import newest_entry, sight_of
from pipeline.record.journal_on_file import entry_of
from pipeline.record.left_on_file import Left, left_on_file
from pipeline.record.lengths import lengths_on_file
from pipeline.record.not_found import not_on_file
from pipeline.record.standing import Code

if TYPE_CHECKING:
    from dashboards.page_shelf import Plan
    from pipeline.desk.api.described import Schema
    from pipeline.store.database import Store

# Runs that a list goes over at once, at the most: as many as their books are asked about at a time.
MOST_RUNS, RUNS = 64, 20
MOST_ENTRIES, ENTRIES = 1000, 200
_ID: Schema = {"type": "string", "minLength": 1, "maxLength": 200}


@dataclass(frozen=True, slots=True)
class WhatIsAsked:
    """What a request asks.

    Args:
        plan: what there is to show.
        store: the store, open to read.
        given: what the address and its query give, each as its schema has it.
    """

    plan: Plan
    store: Store
    given: Mapping[str, Any]

    def books(self) -> tuple[list[RunBook], str]:
        """The runs of this part of a list, newest first, and after which the list goes on; "" where it ends."""
        heads = [one for one in reversed(self.plan.contents.heads) if self._wanted(one)]
        after = self.given.get("after", "")
        places = {one["run_id"]: place for place, one in enumerate(heads)}
        if after and after not in places:
            raise not_on_file("run", after, list(places))
        start = places[after] + 1 if after else 0
        shown = heads[start : start + self.given["runs"]]
        last = str(shown[-1]["run_id"]) if start + len(shown) < len(heads) else ""
        return list(reversed(self._made(list(reversed(shown))))), last

    def book(self, run_id: str) -> RunBook:
        """One run.

        Raises:
            NotFoundError: there is no such run.
        """
        heads = [one for one in self.plan.contents.heads if one["run_id"] == run_id]
        if not heads:
            raise not_on_file("run", run_id, [one["run_id"] for one in self.plan.contents.heads])
        return self._made(heads)[0]

    def books_of_lot(self, lot: str) -> list[RunBook]:
        """The runs that used a lot, oldest first."""
        runs = {row["run_id"] for row in self.store.ask("questions/loads_of_lot", lot=lot)}
        return self._made([one for one in self.plan.contents.heads if one["run_id"] in runs])

    def _made(self, heads: list[dict[str, Any]]) -> list[RunBook]:
        shelf = ShelfBook(self.store, heads, ahead=len(heads))
        shelf.take_samples(self.plan.samples)
        return [RunBook(self.store, head, shelf) for head in heads]

    def _wanted(self, head: Mapping[str, Any]) -> bool:
        day, given = head["shift_date"], self.given
        return (
            given.get("run") in (None, head["run_id"])
            and given.get("line") in (None, head["line"])
            and day >= given.get("from_day", date.min)
            and day <= given.get("to_day", date.max)
        )


@dataclass(frozen=True, slots=True)
class Parameter:
    """What an address or its query may give.

    Args:
        name: its name.
        told: what it means.
        schema: what may stand there.
        in_path: whether it is part of the address; else it may be left out.
    """

    name: str
    told: str
    schema: Schema
    in_path: bool = False


@dataclass(frozen=True, slots=True)
class Read:
    """Something that the API answers.

    Args:
        path: its address.
        name: its name for programs.
        told: what it answers, in a sentence.
        gives: the record it answers with, or that a list is of.
        ask: answers it.
        parameters: what may be given.
        is_list: whether it is a part of a list.
    """

    path: str
    name: str
    told: str
    gives: Any
    ask: Callable[[WhatIsAsked], Any]
    parameters: tuple[Parameter, ...] = ()
    is_list: bool = False


def _runs(on: WhatIsAsked) -> Part:
    books, after = on.books()
    return Part(
        tuple(
            RunEntry(
                one.run_id,
                one.head["line"],
                product_row(one).label,
                one.head["shift_date"],
                one.shift_id,
                one.head["made_m"] or 0.0,
            )
            for one in books
        ),
        after,
    )


def _reels(on: WhatIsAsked) -> Part:
    books, after = on.books()
    wanted = on.given.get("standing")
    return Part(
        tuple(
            ReelEntry(
                row["reel_id"],
                book.run_id,
                product_row(book).label,
                book.head["shift_date"],
                now.code,
                row["length_m"],
                tuple(sorted({one["lot"] for one in book.materials})),
                now.headline,
            )
            for book in books
            for row in book.reels
            if (now := book.standings[row["reel_id"]]).code == wanted or wanted is None
        ),
        after,
    )


def _findings(on: WhatIsAsked) -> Part:
    books, after = on.books()
    wanted = on.given.get("status")
    rows = (finding_row(book, row) for book in books for row in book.findings)
    return Part(tuple(one for one in rows if wanted in (None, one.status)), after)


def _may_leave(on: WhatIsAsked) -> Part:
    books, after = on.books()
    return Part(tuple(one for book in books for one in _leaving(book)), after)


def _leaving(book: RunBook) -> Iterable[MayLeave]:
    product = product_row(book).label
    lengths = {row["reel_id"]: row["length_m"] for row in book.reels}
    for name, now in book.standings.items():
        if now.may_leave and not now.lengths:
            yield MayLeave(name, name, book.run_id, product, lengths[name], now.code)
        for one in now.lengths:
            if one.may_leave:
                length_m = one.to_outer_m - one.from_outer_m
                yield MayLeave(one.length_id, name, book.run_id, product, length_m, one.code)


def _lots(on: WhatIsAsked) -> Part:
    books, after = on.books()
    return Part(
        tuple(
            LotEntry(
                lot,
                ", ".join(
                    sorted({row["material"] for one in its for row in one.materials if row["lot"] == lot})
                ),
                sum(len(one.reels) for one in its),
                min(one.head["shift_date"] for one in its),
            )
            for lot, its in lots_of(books).items()
        ),
        after,
    )


def _run(on: WhatIsAsked) -> RunRow:
    return run_row(on.book(on.given["run_id"]))


def _reel(on: WhatIsAsked) -> ReelAnswer:
    name = on.given["reel_id"]
    subject = subject_on_file(on.store, name)
    if subject.about != "reel":
        raise not_on_file("reel", name, [row["reel_id"] for row in on.store.ask("questions/reel_ids")])
    book = on.book(subject.run_id)
    (row,) = (one for one in book.reels if one["reel_id"] == name)
    findings = tuple(finding_row(book, one) for one in book.findings if one["reel_id"] == name)
    return ReelAnswer(
        reel_row(book, row),
        book.standings[name],
        findings,
        sight_of(on.store, name),
        newest_entry(on.store),
    )


def _length(on: WhatIsAsked) -> LengthAnswer:
    name = on.given["length_id"]
    subject = subject_on_file(on.store, name)
    if subject.length is None:
        raise not_on_file("cut length", name, [row["length_id"] for row in lengths_on_file(on.store)])
    return LengthAnswer(subject.length, subject.run_id, sight_of(on.store, name), newest_entry(on.store))


def _finding(on: WhatIsAsked) -> FindingAnswer:
    name = on.given["finding_id"]
    subject = subject_on_file(on.store, name)
    if subject.about != "finding":
        known = [row["finding_id"] for row in on.store.ask("questions/finding_ids")]
        raise not_on_file("finding", name, known)
    book = on.book(subject.run_id)
    rows = [one for one in book.findings if one["finding_id"] == name]
    return FindingAnswer(
        finding_row(book, rows[0]) if rows else None,
        subject.sentence,
        subject.run_id,
        subject.reel_id,
        subject.state,
        subject.acts,
        subject.proposal,
        sight_of(on.store, name),
        newest_entry(on.store),
    )


def _lot(on: WhatIsAsked) -> LotAnswer:
    name = on.given["lot_id"]
    held = holds_on(on.store, name)
    if held.about != "lot":
        raise not_on_file("lot", name, [row["lot"] for row in on.store.ask("questions/lot_ids")])
    history = lot_history(on.plan.contents.plant, name, on.books_of_lot(name))
    return LotAnswer(history, held.in_force, sight_of(on.store, name), newest_entry(on.store))


def _shipments(on: WhatIsAsked) -> Part:
    after, most = on.given["after"], on.given["most"]
    left = sorted(left_on_file(on.store).values(), key=lambda one: (one.entry_no, one.item))
    numbers = sorted({one.entry_no for one in left if one.entry_no > after})[:most]
    shown = tuple(one for one in left if one.entry_no in numbers)
    return Part(shown, str(numbers[-1]) if numbers and numbers[-1] < left[-1].entry_no else "")


def _journal(on: WhatIsAsked) -> Part:
    after, most = on.given["after"], on.given["most"]
    rows = on.store.ask("questions/entries_after", entry_no=after, most=most + 1)
    shown = [entry_of(row) for row in rows[:most]]
    return Part(
        tuple(EntryAnswer(one, one.told) for one in shown),
        str(shown[-1].entry_no) if len(rows) > most else "",
    )


def _in_path(name: str, told: str) -> tuple[Parameter, ...]:
    return (Parameter(name, told, _ID, in_path=True),)


_AFTER = Parameter("after", "Go on after this run, as the part before said.", _ID)
_OVER = (
    Parameter("run", "Of this run alone.", _ID),
    Parameter("line", "Of runs of this line.", _ID),
    Parameter("from_day", "Of runs from this production day on.", {"type": "string", "format": "date"}),
    Parameter("to_day", "Of runs up to this production day.", {"type": "string", "format": "date"}),
    _AFTER,
    Parameter(
        "runs",
        "How many runs a part goes over.",
        {"type": "integer", "minimum": 1, "maximum": MOST_RUNS, "default": RUNS},
    ),
)
_ENTRIES = (
    Parameter(
        "after",
        "Go on after this entry of the journal, as the part before said.",
        {"type": "integer", "minimum": 0, "maximum": 2**53, "default": 0},
    ),
    Parameter(
        "most",
        "How many entries a part goes over.",
        {"type": "integer", "minimum": 1, "maximum": MOST_ENTRIES, "default": ENTRIES},
    ),
)
_STANDING = Parameter("standing", "Those that stand so.", {"enum": list(Code.__args__)})  # type: ignore[attr-defined]
_STATUS = Parameter("status", "Those that are so.", {"enum": ["open", "closed"]})
READS: tuple[Read, ...] = (
    Read("/api/runs", "runs", "Which runs are on file, newest first?", RunEntry, _runs, _OVER, True),
    Read(
        "/api/runs/{run_id}",
        "run",
        "What did a run make, and how does it stand?",
        RunRow,
        _run,
        _in_path("run_id", "The run."),
    ),
    Read(
        "/api/reels", "reels", "How do reels stand now?", ReelEntry, _reels, (*_OVER, _STANDING), is_list=True
    ),
    Read(
        "/api/reels/{reel_id}",
        "reel",
        "How does a reel stand, and why?",
        ReelAnswer,
        _reel,
        _in_path("reel_id", "The reel."),
    ),
    Read(
        "/api/lengths/{length_id}",
        "length",
        "How does a cut length stand?",
        LengthAnswer,
        _length,
        _in_path("length_id", "The cut length."),
    ),
    Read("/api/may-leave", "may_leave", "What may leave the plant now?", MayLeave, _may_leave, _OVER, True),
    Read(
        "/api/findings",
        "findings",
        "What was found on the wire?",
        FindingRow,
        _findings,
        (*_OVER, _STATUS),
        True,
    ),
    Read(
        "/api/findings/{finding_id}",
        "finding",
        "What was found, and what was decided about it?",
        FindingAnswer,
        _finding,
        _in_path("finding_id", "The finding."),
    ),
    Read("/api/lots", "lots", "Which material lots went into which runs?", LotEntry, _lots, _OVER, True),
    Read(
        "/api/lots/{lot_id}",
        "lot",
        "Where did a material lot go?",
        LotAnswer,
        _lot,
        _in_path("lot_id", "The lot."),
    ),
    Read("/api/shipments", "shipments", "What left the plant?", Left, _shipments, _ENTRIES, True),
    Read("/api/journal", "journal", "What stands in the journal?", EntryAnswer, _journal, _ENTRIES, True),
)

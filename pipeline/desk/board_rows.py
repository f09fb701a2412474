"""Rows of the board: what the pages say of a run, its reels and findings, and of an entry of the journal."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from dashboards.fillers.rows import product_row
from dashboards.fillers.run_book import RunBook, run_books
from dashboards.records import GATE_OF
from pipeline.length.reel_places import told_on_reel
from pipeline.messages import as_message, said_json, to_json
from pipeline.record.decided import UNFINISHED, finding_state
from pipeline.record.entry_kinds import COMMENT
from pipeline.record.followed_up import FollowedUp, followed_up
from pipeline.store.said_columns import told_of

if TYPE_CHECKING:
    from pipeline.lots.journal import Entry
    from pipeline.nonconformance.disposition import State
    from pipeline.record.standing import Standing
    from pipeline.store.account_file import BoardFile
    from pipeline.store.database import Store


def put_event(file: BoardFile, entry: Entry) -> None:
    """Put what an entry of the journal keeps on the board."""
    content = entry.content
    told = entry.told
    file.do(
        "put_event",
        entry_no=entry.entry_no,
        at_utc=entry.at_utc.replace(tzinfo=None).isoformat(timespec="seconds"),
        kind=entry.kind,
        subject=entry.subject,
        role=str(content.get("role", "")),
        person=str(content.get("person", "")),
        told=said_json(told),
        mention=str(content.get("mention", "")) if entry.kind == COMMENT else "",
        find=_find(
            entry.kind, entry.subject, content.get("role"), content.get("person"), content.get("reason")
        ),
    )


def put_head(file: BoardFile, head: Mapping[str, Any], is_stale: bool) -> None:
    """Put a run on the board, with its rows still to be read where it is stale."""
    product = " ".join(
        str(head[name]) for name in ("size", "conductor", "metal", "construction", "colour") if head[name]
    )
    shift = "".join(sign if sign.isalnum() else "-" for sign in str(head["shift"]).upper()).strip("-")
    file.do(
        "put_run",
        run_id=head["run_id"],
        basis=basis_of(head),
        is_stale=int(is_stale),
        line=head["line"],
        product=product,
        day=head["shift_date"].isoformat(),
        shift=str(head["shift"]),
        shift_id=f"{head['shift_date']:%Y-%m-%d}-{shift}",
        outcome=head["outcome"] or "",
        made_m=head["made_m"] or 0.0,
        judged_utc=head["assessed_utc"].isoformat(timespec="seconds") if head["assessed_utc"] else "",
        find=_find(head["run_id"], head["line"], product, head["shift_date"], head["shift"]),
    )


def clear(file: BoardFile, run_id: str) -> None:
    """Take the rows of a run away."""
    for name in ("reels", "findings", "pendings"):
        file.do(f"clear_{name}_of_run", run_id=run_id)


def put_runs(file: BoardFile, store: Store, heads: list[dict[str, Any]], entry_no: int) -> None:
    """Read the rows of some runs anew.

    Args:
        file: the board.
        store: the store, open to read.
        heads: the runs' rows of the question ``current_runs``.
        entry_no: newest entry of the journal, beside which it stands what became of a reel.
    """
    if not heads:
        return
    given = followed_up(store)
    for book in run_books(store, heads):
        was = {row["reel_id"]: row["standing"] for row in file.ask("reels_of_run", run_id=book.run_id)}
        clear(file, book.run_id)
        put_head(file, book.head, is_stale=False)
        for name, now in book.standings.items():
            _put_reel(file, book, now, given)
            if was.get(name, now.code) != now.code:
                file.do("put_turned", reel_id=name, entry_no=entry_no, was=was[name], now=now.code)
        _put_findings(file, book, given)


def _put_reel(file: BoardFile, book: RunBook, now: Standing, given: FollowedUp) -> None:
    lots = {row["lot"] for row in book.materials}
    scrap = [
        book.decided.decided_in(one)
        for one, reel_id in book.decided.reel_of.items()
        if reel_id == now.reel_id and _is_scrap(book, one)
    ]
    waits = bool(scrap) and now.where == "in plant" and given.plan_of.get(now.reel_id, 0) < max(scrap)
    length_m = next((row["length_m"] for row in book.reels if row["reel_id"] == now.reel_id), 0.0)
    gate = GATE_OF[now.code]
    file.do(
        "put_reel",
        run_id=book.run_id,
        reel_id=now.reel_id,
        standing=now.code,
        may_leave=int(now.may_leave),
        length_m=length_m,
        told=said_json(now.headline),
        why=_list(now.reasons),
        missing=_list(now.samples.missing),
        plan_waits=int(waits),
        find=_find(
            now.reel_id, book.run_id, now.code, gate, product_row(book).label, book.head["line"], *sorted(lots),
            *(one.shipment for one in now.left), *(one.length_id for one in now.lengths),
        ),
    )  # fmt: skip
    for subject, about, state in (
        (now.reel_id, "reel", now.decided),
        *((one.length_id, "length", one.decided) for one in now.lengths),
    ):
        _put_pending(file, book.run_id, now.reel_id, subject, about, state)


def _put_pending(file: BoardFile, run_id: str, reel_id: str, subject: str, about: str, state: State) -> None:
    if state.standing not in UNFINISHED or state.disposition is None or state.decided_by is None:
        return
    file.do(
        "put_pending",
        subject=subject,
        about=about,
        run_id=run_id,
        reel_id=reel_id,
        standing=state.standing,
        disposition=state.disposition,
        role=state.decided_by.role,
        person=state.decided_by.person,
    )


def _put_findings(file: BoardFile, book: RunBook, given: FollowedUp) -> None:
    for row in book.findings:
        name, reel_id = row["finding_id"], row["reel_id"] or ""
        state = finding_state(row, book.decided.on(name))
        _put_pending(file, book.run_id, reel_id, name, "finding", state)
        to, place = given.owner_of.get(name), book.place_of_reel.get(reel_id)
        requirement = row["requirement"] or row["rule"].replace("-", " ")
        opened = book.first_seen.get(name)
        file.do(
            "put_finding",
            finding_id=name,
            run_id=book.run_id,
            reel_id=reel_id,
            severity=row["severity"],
            requirement=requirement,
            cause=row["cause"] or "",
            standing=state.standing,
            opened_utc=opened.isoformat(timespec="seconds") if opened else "",
            owner_role=to.role if to else "",
            owner_person=to.person if to else "",
            due_utc=to.due_utc if to else "",
            told=said_json(told_of(row) if place is None else told_on_reel(told_of(row), place["to_m"])),
            find=_find(name, reel_id, book.run_id, row["severity"], requirement, row["cause"], state.standing,
                       book.head["line"], product_row(book).label),
        )  # fmt: skip


def _is_scrap(book: RunBook, finding_id: str) -> bool:
    """Whether wire of a finding is decided to be scrapped."""
    row = next((one for one in book.findings if one["finding_id"] == finding_id), None)
    if row is None:
        return False
    state = finding_state(row, book.decided.on(finding_id))
    return state.disposition == "scrap" and state.standing in ("decided", "closed")


def basis_of(head: Mapping[str, Any]) -> str:
    """What the rows of a run stand on besides acts of persons."""
    return f"{head['load_id']} {head['assessment_id']} {head['judged_plant_sheet_sha256']}"


def _list(told: Iterable[Any]) -> str:
    return json.dumps([to_json(as_message(one)) for one in told], ensure_ascii=False)


def _find(*words: object) -> str:
    return " ".join(str(one) for one in words if one).casefold()

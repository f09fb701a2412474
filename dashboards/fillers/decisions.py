"""Decisions as pages show them: every act in order, and the one that stands.

Standings as pages show them: the alarms first, then each reel's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Set

from dashboards.fillers.run_book import Row, RunBook
from dashboards.records import Alarm, DispositionRow
from pipeline.nonconformance.disposition import Act, State
from pipeline.record.decided import closed_at, finding_state, holding_states, reel_state


def alarms_of(books: Iterable[RunBook], reels: Set[str] | None = None) -> tuple[Alarm, ...]:
    """Wire that left although it might not, or that no judgement stands behind now, of the reels of some runs.

    Args:
        books: the runs.
        reels: the reels to look at; None for all.
    """
    found: list[Alarm] = []
    for book in books:
        found += [
            Alarm(one.reel_id, one.told)
            for one in book.shelf.unjudged.get(book.run_id, ())
            if reels is None or one.reel_id in reels or not book.is_judged
        ]
        found += [
            Alarm(name, told)
            for name, one in book.standings.items()
            if one.left_while_held and (reels is None or name in reels)
            for told in one.alarms
        ]
    return tuple(found)


DONE = {
    "decide": "{disposition}",
    "confirm": "{disposition} confirmed",
    "decline": "{disposition} declined",
    "complete": "{disposition} completed",
    "reopen": "opened again after {disposition}",
}


def disposition_rows(book: RunBook, subject: str) -> tuple[DispositionRow, ...]:
    """Every act on a finding or reel, oldest first."""
    return tuple(_row(book, act) for act in book.decided.on(subject))


def _row(book: RunBook, act: Act, decision: str = "", second_role: str = "") -> DispositionRow:
    is_finding = act.subject in book.decided.reel_of
    evidence = f" Evidence: {act.evidence}." if act.evidence else ""
    return DispositionRow(
        decision=decision or DONE[act.kind].format(disposition=act.disposition),
        role=str(act.by),
        reason=f"{act.reason.rstrip('.')}.{evidence}",
        decided_at=act.at_utc,
        second_role=second_role,
        finding_id=act.subject if is_finding else "",
        reel_id=book.decided.reel_of.get(act.subject, act.subject),
        journal_entry=str(book.decided.entry_of[act.subject, act.version]),
    )


def _standing(book: RunBook, state: State) -> DispositionRow | None:
    """The decision that stands on a finding or reel, with who confirmed it; None while it is open."""
    if state.disposition is None:
        return None
    acts = book.decided.on(state.subject)
    decided = max((act for act in acts if act.kind == "decide"), key=lambda act: act.version)
    second = [act for act in acts if act.kind == "confirm" and act.version > decided.version]
    waiting = "" if state.standing == "closed" else f" ({state.standing}, not closed)"
    return _row(book, decided, f"{state.disposition}{waiting}", str(second[-1].by) if second else "")


def state_of_finding(book: RunBook, row: Row) -> State:
    """What the acts on a finding amount to now."""
    return finding_state(row, book.decided.on(row["finding_id"]))


def decision_on_finding(book: RunBook, row: Row) -> tuple[DispositionRow | None, Act | None]:
    """The decision that stands on a finding, and the act that closed it."""
    state = state_of_finding(book, row)
    closing = closed_at(book.decided.on(row["finding_id"])) if state.standing == "closed" else None
    return _standing(book, state), closing


def decision_on_reel(book: RunBook, reel_id: str) -> DispositionRow | None:
    """The decision that stands on a reel."""
    holding = holding_states(book.findings, book.decided, reel_id)
    return _standing(book, reel_state(reel_id, book.decided, holding))

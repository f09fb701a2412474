"""May a decision stand beside the others on file, and may it let the wire go as things stand?

The plant's sheet says who may decide; these say what may be decided at all, whoever does.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.errors import Complaint
from pipeline.found import Remedy
from pipeline.messages import message
from pipeline.nonconformance.disposition import Act, DispositionRefused, State, check_release, state_of
from pipeline.record.decided import LETS_GO, UNFINISHED, finding_state, holding_states, reel_state
from pipeline.record.lengths import lengths_of_reel
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.wound_from import kept_here_by
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.acts.deciding import Subject
    from pipeline.messages import Message
    from pipeline.store.database import Store


def check_which(store: Store, subject: Subject) -> None:
    """Refuse an act on a reel or length of which it is not known which wire it is.

    Raises:
        DispositionRefused: with why.
    """
    now = subject.standing
    if subject.about in ("reel", "length") and now is not None and now.not_known_which:
        raise DispositionRefused(
            Complaint(subject.name, _told(store, subject, one), "Nothing can be decided on it before")
            for one in now.not_known_which
        )


def check_beside(store: Store, subject: Subject, act: Act) -> None:
    """Refuse a decision that contradicts one that stands on the reel, on a finding of it or on a length cut from it.

    Scrap on a reel beside rework on its finding, release of a length beside scrap on its reel: one of the two must be
    taken back first.

    Args:
        store: the store.
        subject: what is decided on.
        act: the act.

    Raises:
        DispositionRefused: with every decision that it contradicts and how to take that back.
    """
    if act.kind not in ("decide", "confirm"):
        return
    others = _others(store, subject)
    complaints = [
        Complaint(
            subject.name,
            f"{act.disposition} contradicts what stands on {name}: {state.disposition} by {state.decided_by} "
            f"({state.standing})",
            message(Remedy.REOPEN_ONE, subject=name),
        )
        for name, state in sorted(others.items())
        if _contradicts(act.disposition, state, subject, name)
    ]
    if complaints:
        raise DispositionRefused(complaints)


def _others(store: Store, subject: Subject) -> dict[str, State]:
    """What stands on the reel of a subject, on its findings and on its lengths, the subject itself left out."""
    decided = subject.decided
    found: dict[str, State] = {}
    if not subject.reel_id:
        return found
    rows = store.ask("questions/findings_of_assessment", assessment_id=subject.assessment_id)
    seen = {row["finding_id"]: row for row in rows}
    holding = holding_states(rows, decided, subject.reel_id)
    if subject.name != subject.reel_id and decided.on(subject.reel_id):
        found[subject.reel_id] = reel_state(subject.reel_id, decided, holding)
    names = [name for name, reel in decided.reel_of.items() if reel == subject.reel_id]
    names += [name for name, reel in decided.lengths.items() if reel == subject.reel_id]
    for name in names:
        acts = decided.on(name)
        if name == subject.name or not acts:
            continue
        found[name] = finding_state(seen[name], acts) if name in seen else state_of(name, acts)
    return found


def _contradicts(chosen: str, state: State, subject: Subject, other: str) -> bool:
    """Whether a decision cannot stand beside another one on the same reel."""
    if state.standing == "open":
        return False
    if other == subject.reel_id:  # the other is the reel, this a finding or a length of it
        if state.disposition == "scrap":
            return chosen != "scrap"
        return state.disposition in LETS_GO and subject.about == "finding" and chosen not in LETS_GO
    if subject.about != "reel":
        return False  # findings and lengths of one reel are decided each by itself
    if chosen == "scrap":
        return state.disposition != "scrap" and (
            state.standing in UNFINISHED or other in subject.decided.lengths
        )
    return False


def _told(store: Store, subject: Subject, told: Message) -> str:
    """A reason against a subject in the plant's units."""
    return plain(told, plant_sheet_of(store, subject.run_id)[0].system).rstrip(".")


def check_lets_go(store: Store, subject: Subject, act: Act) -> None:
    """Refuse to let wire go that a hold, an open finding or a sample holds, or that lacks evidence nobody names.

    Args:
        store: the store.
        subject: what is decided on.
        act: the act; whatever lets nothing go is not looked at.

    Raises:
        DispositionRefused: with every reason.
    """
    if act.kind not in ("decide", "confirm") or act.disposition not in LETS_GO:
        return
    if subject.about not in ("reel", "length") or subject.standing is None:
        return
    check_release(subject.name, subject.holding, act.disposition)
    now = subject.standing
    length = subject.length
    holds = [one for one in now.holds if length is None or one.meets(length.from_outer_m, length.to_outer_m)]
    complaints = [
        Complaint(
            subject.name,
            f"{act.disposition} is refused: {_told(store, subject, one.told)}",
            message(Remedy.LIFT, subject=one.subject, number=str(one.number)),
        )
        for one in holds
    ]
    if length is not None:
        shelf = lengths_of_reel(store, length.reel_id)
        (row,) = (one for one in shelf if one["length_id"] == length.length_id)
        complaints += [
            Complaint(
                subject.name,
                f"{act.disposition} is refused: length {name}, which it was wound from, was decided for {disposition}",
                message(Remedy.REOPEN_THAT, subject=name),
            )
            for name, disposition in kept_here_by(row, shelf, subject.decided).items()
            if name != length.length_id
        ]
        complaints += [
            Complaint(
                subject.name,
                f"{act.disposition} is refused: finding {name} was closed by {subject.holding[name].disposition} "
                "and its wire is in this length",
                "Cut it out, or reopen the finding",
            )
            for name in length.open_findings
            if subject.holding[name].standing == "closed"
        ]
    said = now.samples
    hard = (*said.fails, *said.contradicts, *said.missing)
    if act.disposition == "release":
        complaints += [
            Complaint(
                subject.name,
                f"release is refused: {_told(store, subject, reason)}",
                "Put the sample on file, or decide otherwise: a release needs what the plant's sheet asks for"
                if reason in said.missing
                else message(Remedy.WITHDRAW),
            )
            for reason in hard
        ]
    doubts: tuple[Message, ...] = (*said.doubts, *(hard if act.disposition != "release" else ()))
    weak = dict.fromkeys(_told(store, subject, one) for one in (*subject.reasons, *doubts))
    if act.kind == "decide" and not act.evidence.strip():
        complaints += [
            Complaint(subject.name, f"{act.disposition} is refused: {reason}", message(Remedy.NAME_EVIDENCE))
            for reason in weak
        ]
    if complaints:
        raise DispositionRefused(complaints)

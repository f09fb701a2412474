"""Decide: a person's act on a finding or a reel is put on file once, with role, reason and time, for good.

The program proposes and never decides. Of two persons at once the store lets one write; the other is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from pipeline.acts.decision_checks import check_beside, check_lets_go, check_which
from pipeline.acts.wanted_act import WantedAct
from pipeline.errors import Complaint
from pipeline.found import Found, Noted, together
from pipeline.length.reel_places import Unit, length_told, told_on_reel
from pipeline.messages import message, said
from pipeline.nonconformance.disposition import (
    Act,
    ActKind,
    Disposition,
    DispositionRefused,
    Extent,
    Person,
    State,
    check_power,
    next_act,
    state_of,
)
from pipeline.nonconformance.proposal import proposed
from pipeline.record.decided import RunActs, acts_of_run, extent_of, finding_state, holding_states
from pipeline.record.finding_on_file import finding_of
from pipeline.record.lengths import lengths_on_file
from pipeline.record.not_found import not_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.standing import LengthStanding, Standing, standing_of
from pipeline.store.said_columns import told_of
from pipeline.why import Stands

if TYPE_CHECKING:
    import polars as pl

    from pipeline.messages import Message
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class Subject:
    """A finding or reel with everything decided about it.

    Args:
        name: its id.
        about: ``finding``, ``reel`` or ``length``.
        run_id: its run.
        reel_id: its reel.
        assessment_id: the judgement it is shown by.
        sentence: what is said of it.
        reasons: what of a reel or length lacks evidence, which a person may name other evidence for.
        extent: the finding as it is now; None for a reel.
        state: what the acts on it amount to now.
        holding: of a reel or length, the state of what holds its release.
        proposal: what the program would suggest; "" where it suggests nothing.
        is_current: False for a finding the newest judgement no longer sees.
        decided: acts on the run's findings, reels and lengths.
        standing: how its reel stands.
    """

    name: str
    about: str
    run_id: str
    reel_id: str
    assessment_id: int
    sentence: Message
    reasons: tuple[Message, ...]
    extent: Extent | None
    state: State
    holding: dict[str, State]
    proposal: str
    is_current: bool
    decided: RunActs
    standing: Standing | None = None

    @property
    def length(self) -> LengthStanding | None:
        """How the length stands; None for a finding or a reel."""
        lengths = self.standing.lengths if self.standing is not None and self.about == "length" else ()
        return next((one for one in lengths if one.length_id == self.name), None)

    @property
    def code(self) -> str | None:
        """How the reel or length stands now; None for a finding."""
        if self.standing is None:
            return None
        return self.standing.code if self.length is None else self.length.code

    @property
    def acts(self) -> tuple[Act, ...]:
        """Every act on it, in order."""
        return self.decided.on(self.name)


def subject_on_file(store: Store, name: str) -> Subject:
    """The finding, reel or cut length of that id, with everything decided about it.

    Raises:
        NotFoundError: there is none of that number; the nearest are named.
    """
    found = store.ask("questions/finding", finding_id=name)
    if found:
        return _finding(store, found[0])
    reel = store.ask("questions/reel", reel_id=name)
    if reel:
        return _reel(store, reel[0])
    lengths = {row["length_id"]: row["reel_id"] for row in lengths_on_file(store)}
    if name in lengths:
        return _length(store, store.ask("questions/reel", reel_id=lengths[name])[0], name)
    known = [row["finding_id"] for row in store.ask("questions/finding_ids")]
    known += [row["reel_id"] for row in store.ask("questions/reel_ids")]
    raise not_on_file("finding, reel or cut length", name, [*known, *lengths])


def _finding(store: Store, row: dict[str, Any]) -> Subject:
    decided = acts_of_run(store, row["run_id"])
    acts = decided.on(row["finding_id"])
    reel = store.ask("questions/reel", reel_id=row["reel_id"])
    end_m = reel[0]["to_m"] if reel else None
    told = told_of(row) if end_m is None else told_on_reel(told_of(row), end_m)
    return Subject(
        row["finding_id"],
        "finding",
        row["run_id"],
        row["reel_id"],
        row["assessment_id"],
        told if row["is_current"] else together(told, message(Found.NOT_SEEN_NOW)),
        (),
        extent_of(row),
        finding_state(row, acts),
        {},
        proposal_of(row),
        row["is_current"],
        decided,
    )


def proposal_of(finding: dict[str, Any]) -> str:
    """What the program would suggest for a finding, as a sentence; never a decision."""
    return proposed(finding_of(finding)).sentence


def _reel(store: Store, row: dict[str, Any]) -> Subject:
    name = row["reel_id"]
    decided = acts_of_run(store, row["run_id"])
    findings = store.ask("questions/findings_of_assessment", assessment_id=row["assessment_id"])
    now = standing_of(store, name)
    return Subject(
        name,
        "reel",
        row["run_id"],
        name,
        row["assessment_id"],
        message(Stands.NOW_AND_EVIDENCE, now=now.code, evidence=row["standing"]),
        now.lacking,
        None,
        now.decided,
        holding_states(findings, decided, name),
        "",
        True,
        decided,
        now,
    )


def _length(store: Store, row: dict[str, Any], name: str) -> Subject:
    reel = _reel(store, row)
    now = reel.standing
    one = next(one for one in now.lengths if one.length_id == name) if now is not None else None
    if one is None:
        raise not_on_file("cut length", name, [])
    return replace(
        reel,
        name=name,
        about="length",
        sentence=one.headline,
        reasons=one.lacking,
        state=one.decided,
        holding={found: reel.holding[found] for found in one.open_findings},
    )


@dataclass(frozen=True, slots=True)
class Acted:
    """An act that was put on file.

    Args:
        act: the act.
        state: what the acts on the subject amount to now.
        entry_no: the journal entry that keeps it.
    """

    act: Act
    state: State
    entry_no: int


def act_on(
    store: Store,
    name: str,
    kind: ActKind,
    by: Person,
    reason: str,
    disposition: Disposition | None = None,
    *,
    evidence: str = "",
    seen: int | None = None,
    now: datetime | None = None,
) -> Acted:
    """Put one act of a person on file, if it may be done as things stand.

    Args:
        store: the store, open to write.
        name: finding, reel or cut length.
        kind: what the person does.
        by: who.
        reason: why, in the person's words.
        disposition: what is decided; of the other kinds what the act is about, taken from the decision where
            it is left out.
        evidence: test report, sample or cut record that was seen.
        seen: how many acts the person had seen on it; None for every one on file.
        now: the instant, UTC; the clock's where it is left out.

    Raises:
        NotFoundError: there is no such finding or reel.
        DecidedMeanwhile: somebody acted since the person looked; the complaint says who and what.
        DispositionRefused: the act does not apply, or a release is not carried; every reason is named.
    """
    deed = WantedAct(kind, by, reason, disposition, evidence, now)
    with store.transaction():
        done, entry_no = put_inside(store, name, deed, seen)
    return Acted(done, subject_on_file(store, name).state, entry_no)


def put_inside(store: Store, name: str, deed: WantedAct, seen: int | None) -> tuple[Act, int]:
    """Put an act on file inside the caller's transaction; the act, and the journal entry that keeps it.

    It raises as `act_on` does.
    """
    by = deed.by
    _check_texts(name, by.role, by.person, deed.reason, deed.evidence)
    subject = subject_on_file(store, name)
    check_which(store, subject)
    plant, plant_sha256 = plant_sheet_of(store, subject.run_id)
    so_far = state_of(name, subject.acts)
    chosen = deed.disposition or so_far.disposition
    if chosen is None:
        raise DispositionRefused(_nothing_named(subject, deed.kind))
    if _is_repeated(subject, deed, chosen):
        # The command was killed after it had put the act on file, and given again.
        return subject.acts[-1], subject.decided.last_entry(name)
    version = (so_far.version if seen is None else seen) + 1
    at_utc = deed.at_utc or datetime.now(UTC)
    act = Act(name, version, deed.kind, chosen, by, deed.reason, at_utc, deed.evidence, subject.extent)
    allowed = plant.may_decide.get(act.disposition, ())
    check_power(name, act.disposition, by, allowed, f"{deed.kind} {chosen}")
    acts = next_act(subject.acts, act, plant.second_person.dispositions, subject.state)
    check_beside(store, subject, acts[-1])
    check_lets_go(store, subject, acts[-1])
    _check_grown(subject, acts[-1], plant.unit)
    return acts[-1], _put_on_file(store, subject, acts[-1], plant_sha256)


def _is_repeated(subject: Subject, deed: WantedAct, chosen: Disposition) -> bool:
    """Whether the newest act on a subject is this one, on the same length: an act is done once."""
    if not subject.acts or subject.state.standing == "open":
        return False  # nothing was done, or what was done no longer stands and is done anew
    if subject.code == "held" and subject.state.standing == "closed":
        return False  # what let it go does not let it go now: whoever does it again must be told so
    last = subject.acts[-1]
    said = (last.kind, last.disposition, last.by, last.reason, last.evidence, last.extent)
    return said == (deed.kind, chosen, deed.by, deed.reason, deed.evidence, subject.extent)


def _check_texts(name: str, *texts: str) -> None:
    """Refuse a text that cannot be kept, as a terminal of another encoding may give it."""
    for text in texts:
        try:
            text.encode()
        except UnicodeEncodeError:
            raise DispositionRefused(
                Complaint(
                    name,
                    "a text of the act is not UTF-8 and cannot be kept as it is",
                    "Type it again in UTF-8",
                )
            ) from None


def _nothing_named(subject: Subject, kind: ActKind) -> Complaint:
    if kind != "decide":
        return Complaint(
            subject.name, f"nothing is decided on it, so '{kind}' does not apply", "Decide first"
        )
    hint = f". Proposed: {subject.proposal.rstrip('.')}" if subject.proposal else ""
    return Complaint(
        subject.name,
        "the decision is missing; the program proposes and never decides",
        f"Name rework, repair, regrade, scrap, concession or release{hint}",
    )


def _check_grown(subject: Subject, act: Act, unit: Unit) -> None:
    """Refuse to confirm or complete what the subject has outgrown."""
    if act.kind not in ("confirm", "complete") or subject.state.standing != "open":
        return
    was = state_of(subject.name, subject.acts).extent
    now = subject.extent
    grown = (
        f"it was decided on from {length_told(was.from_m, unit)} to {length_told(was.to_m, unit)} "
        f"({', '.join(was.rule_ids)}) and is now from {length_told(now.from_m, unit)} to "
        f"{length_told(now.to_m, unit)} ({', '.join(now.rule_ids)})"
        if was is not None and now is not None
        else "something holds it, or was done about its findings, that was not there when it was decided"
    )
    raise DispositionRefused(Complaint(subject.name, grown, "Look at it again and decide anew"))


def _put_on_file(store: Store, subject: Subject, act: Act, plant_sha256: str) -> int:
    from pipeline.record.sealing import note_sealed

    record = {
        "said": said(
            Noted.DECIDED,
            about=subject.about,
            subject=subject.name,
            kind=act.kind,
            disposition=act.disposition,
            by=str(act.by),
            at=f"{act.at_utc:%Y-%m-%d %H:%M:%S}",
            reason=act.reason,
        ),
        "version": act.version,
        "about": subject.about,
        "kind": act.kind,
        "disposition": act.disposition,
        "role": act.by.role,
        "person": act.by.person,
        "reason": act.reason,
        "evidence": act.evidence,
        "waits": act.waits,
        "assessment_id": subject.assessment_id,
        "plant_sheet_sha256": plant_sha256,
    }
    return note_sealed(store, "disposition", subject.name, _row(subject, act, plant_sha256), record)


def _row(subject: Subject, act: Act, plant_sha256: str) -> pl.DataFrame:
    import polars as pl

    extent = act.extent
    return pl.DataFrame(
        {
            "subject": [act.subject],
            "version": [act.version],
            "about": [subject.about],
            "run_id": [subject.run_id],
            "reel_id": [subject.reel_id],
            "kind": [act.kind],
            "disposition": [act.disposition],
            "role": [act.by.role],
            "person": [act.by.person],
            "reason": [act.reason],
            "evidence": [act.evidence],
            "waits": [act.waits],
            "plant_sheet_sha256": [plant_sha256],
            "assessment_id": [subject.assessment_id],
            "from_m": [extent.from_m if extent else None],
            "to_m": [extent.to_m if extent else None],
            "rules": [list(extent.rule_ids) if extent else None],
            "at_utc": [without_zone(act.at_utc)],
        },
    )


def without_zone(at_utc: datetime) -> datetime:
    """An instant in UTC as the store keeps it, without its zone."""
    return at_utc.astimezone(UTC).replace(tzinfo=None)

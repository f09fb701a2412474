"""What is done with nonconforming wire, who decided it and why, with nothing ever overwritten.

A subject (a finding, or a reel for its release) has a list of acts that only grows; its state is what the
acts amount to. The terms are those of ISO 9000:2015, 3.12 (from memory); ISO 9001:2015, 8.7 asks that the
nonconformity, the action, any concession and the deciding authority be kept. The program proposes and never
decides; time comes in as an argument.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Remedy
from pipeline.messages import Said, message
from pipeline.nonconformance.mark import mark_of

GROWN_M = 1.0  # growth of a finding at either end that changes nothing (chosen here)
Disposition = Literal["rework", "repair", "regrade", "scrap", "concession", "release"]
# What a plant's sheet lets roles do: decide each disposition, put and lift holds, ship held wire, withdraw samples.
Power = Disposition | Literal["hold", "lift hold", "ship", "ship held", "hand in sample", "withdraw sample"]
ActKind = Literal["decide", "confirm", "decline", "complete", "reopen"]
Standing = Literal["open", "awaiting a second person", "decided", "closed"]

# ISO 9000:2015, 3.12.4 to 3.12.10, shortened (from memory).
MEANING: dict[Disposition, str] = {
    "rework": "action on nonconforming wire to make it conform to the requirements",
    "repair": "action on nonconforming wire to make it acceptable for its intended use",
    "regrade": "change of grade so that the wire conforms to other requirements",
    "scrap": "action that keeps the wire from its originally intended use",
    "concession": "permission to use or release wire that does not conform",
    "release": "permission to go on to the next stage",
}
# These are done only when someone has acted on the wire and checked it (ISO 9001:2015, 8.7.1, from memory).
NEEDS_COMPLETION: tuple[Disposition, ...] = ("rework", "repair", "scrap")
# Once these are done the wire goes to a next decision, which contradicts none of them.
_MADE_READY: tuple[Disposition, ...] = ("rework", "repair", "regrade")


class DispositionRefused(ReelproofError):  # noqa: N818 - a refusal is an answer, not a fault
    """An act that may not be done as things stand."""


class DecidedMeanwhile(DispositionRefused):
    """Another person acted on the same subject first."""


@dataclass(frozen=True, slots=True)
class Person:
    """Who acts.

    Args:
        role: role in the plant, for example ``shift quality technician``.
        person: the plant's own mark of the person, "" where the plant keeps roles only.
    """

    role: str
    person: str = ""

    @property
    def mark(self) -> str:
        """The person's mark as it is compared: its letters, accents and digits, without case (`mark_of`)."""
        return mark_of(self.person)

    @property
    def kept(self) -> dict[str, str]:
        """As an entry of the journal keeps it; no mark of a person where none is given."""
        return {"role": self.role, "person": self.person} if self.person else {"role": self.role}

    def same_as(self, other: Person) -> bool:
        """Whether the two cannot be told apart as persons: the same mark, or a mark is missing."""
        return not self.mark or not other.mark or self.mark == other.mark

    def __str__(self) -> str:
        return f"{self.role} ({self.person})" if self.person else self.role


@dataclass(frozen=True, slots=True)
class Extent:
    """What a person saw of a finding when deciding.

    Args:
        from_m: start on the wire [m].
        to_m: its end [m].
        rule_ids: the rules broken.
    """

    from_m: float
    to_m: float
    rule_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Act:
    """One act on one subject; never changed once written.

    Args:
        subject: finding or reel.
        version: number of the act on its subject, from 1 without a gap.
        kind: what was done.
        disposition: what was decided; of the other kinds, what the act is about.
        by: who.
        reason: why, in the person's words.
        at_utc: when, in UTC.
        evidence: what was seen: test report, sample, cut record; "" for none.
        extent: what the person saw of the finding; None for a reel.
        waits: True if the plant's rule, as it stood then, wants a second person for it.
    """

    subject: str
    version: int
    kind: ActKind
    disposition: Disposition
    by: Person
    reason: str
    at_utc: datetime
    evidence: str = ""
    extent: Extent | None = None
    waits: bool = False

    def __str__(self) -> str:
        when = self.at_utc.strftime("%Y-%m-%d %H:%M:%S UTC")
        return f"{self.kind} {self.disposition} by {self.by} on {when}: {self.reason}"


@dataclass(frozen=True, slots=True)
class State:
    """What the acts on a subject amount to.

    Args:
        subject: finding or reel.
        version: acts so far.
        standing: ``open`` until decided; ``closed`` when nothing is left to do.
        disposition: what is decided or awaits a second person, None while open.
        decided_by: who decided, None while open.
        extent: what was decided on, None while open and for a reel.
    """

    subject: str
    version: int
    standing: Standing
    disposition: Disposition | None
    decided_by: Person | None
    extent: Extent | None = None


def _refuse(subject: str, found: str, remedy: Said) -> DispositionRefused:
    return DispositionRefused(Complaint(subject, found, remedy))


def state_of(subject: str, acts: Sequence[Act]) -> State:
    """What the acts on a subject amount to, by folding them in order.

    Args:
        subject: finding or reel.
        acts: every act on it; order does not matter, versions do.

    Raises:
        DispositionRefused: a version is missing or stands twice, so the record is not whole.
    """
    ordered = sorted(acts, key=lambda act: act.version)
    if [act.version for act in ordered] != list(range(1, len(ordered) + 1)):
        raise _refuse(
            subject,
            f"its acts carry the versions {', '.join(str(act.version) for act in ordered)}",
            "The record is not whole; restore it from the journal before deciding anything",
        )
    standing: Standing = "open"
    disposition: Disposition | None = None
    decided_by: Person | None = None
    extent: Extent | None = None
    for act in ordered:
        if act.kind == "decide":
            disposition, decided_by, extent = act.disposition, act.by, act.extent
            standing = "awaiting a second person" if act.waits else _after(act.disposition)
        elif act.kind == "confirm":
            standing = _after(act.disposition)
        elif act.kind == "complete":
            standing = "closed"
        else:
            standing, disposition, decided_by, extent = "open", None, None, None
    return State(subject, len(ordered), standing, disposition, decided_by, extent)


def as_seen_now(state: State, now: Extent) -> State:
    """The state of a finding that was assessed again: open once more if it is more than was decided on.

    A decision on 3 m of thin wall does not stand for 30 m of it, nor for a spark fault found there since.

    Args:
        state: what the acts amount to.
        now: the finding as the newest assessment shows it.
    """
    seen = state.extent
    if state.standing == "open" or seen is None:
        return state
    grown = now.from_m < seen.from_m - GROWN_M or now.to_m > seen.to_m + GROWN_M
    if grown or not set(now.rule_ids) <= set(seen.rule_ids):
        return State(state.subject, state.version, "open", None, None)
    return state


def _after(disposition: Disposition) -> Standing:
    return "decided" if disposition in NEEDS_COMPLETION else "closed"


def check_power(subject: str, power: Power, by: Person, allowed: Sequence[str], act: str = "") -> None:
    """Refuse what the plant's sheet does not let a role do; a sheet that lists nobody allows nobody.

    Args:
        subject: what is acted on.
        power: what is done.
        by: who does it.
        allowed: the roles that the sheet lists for it.
        act: the act in words, where the power's own name does not say it.

    Raises:
        DispositionRefused: the role is not listed (ISO 9001:2015, 8.7.2 d asks for the deciding authority).
    """
    if by.role in allowed:
        return
    key = power if " " not in power else f'"{power}"'
    if allowed:
        raise _refuse(
            subject,
            f"by the plant's sheet the role '{by.role}' may not {act or power}",
            f"It is for {' or '.join(allowed)}",
        )
    raise _refuse(
        subject,
        f"the plant's sheet lists no role that may {act or power}",
        message(Remedy.ENTER_ROLES, key=key),
    )


def check_open_power(subject: str, power: Power, by: Person, allowed: Sequence[str], act: str = "") -> None:
    """Refuse what the plant's sheet keeps for other roles; any role may do it where the sheet lists none.

    The arguments and what is raised are those of `check_power`.
    """
    if allowed:
        check_power(subject, power, by, allowed, act)


def _check_act(act: Act, state: State) -> None:
    """Whether the act may follow the state, apart from its version."""
    if not act.reason.strip() or not act.by.role.strip():
        raise _refuse(
            act.subject, f"the act '{act.kind}' has no role or no reason", message(Remedy.GIVE_BOTH)
        )
    if act.at_utc.utcoffset() != timedelta(0):
        raise _refuse(
            act.subject, "the time of the act is not in UTC", "Give the time with the offset +00:00"
        )
    if act.kind == "decide" and state.standing != "open":
        if state.standing == "closed" and state.disposition in _MADE_READY and not act.extent:
            return
        way = message(Remedy.REOPEN, subject=act.subject)
        if state.standing == "awaiting a second person":
            way = message(Remedy.CONFIRM_OR_REOPEN, subject=act.subject)
        raise _refuse(
            act.subject,
            f"{state.disposition} by {state.decided_by} stands on it ({state.standing}), so {act.disposition} cannot "
            "be decided beside it",
            way,
        )
    wanted: dict[ActKind, tuple[Standing, ...]] = {
        "decide": ("open", "closed"),
        "confirm": ("awaiting a second person",),
        "decline": ("awaiting a second person",),
        "complete": ("decided",),
        "reopen": ("awaiting a second person", "decided", "closed"),
    }
    if state.standing not in wanted[act.kind]:
        raise _refuse(
            act.subject,
            f"it is {state.standing}, so '{act.kind}' does not apply",
            f"'{act.kind}' applies to a subject that is {' or '.join(wanted[act.kind])}",
        )
    if act.kind != "decide" and act.disposition != state.disposition:
        raise _refuse(
            act.subject,
            f"'{act.kind} {act.disposition}' was given while {state.disposition} is decided",
            "Read the decision again and act on that",
        )
    if act.kind in ("confirm", "decline") and state.decided_by:
        _check_second(act, state.decided_by)
    if act.kind == "complete" and not act.evidence.strip():
        raise _refuse(
            act.subject,
            f"{act.disposition} is said to be done without evidence",
            "Name the test, sample or cut record that shows it",
        )


def _check_second(act: Act, first: Person) -> None:
    """Whether whoever confirms or declines is another person than the one who decided."""
    if not first.mark:
        raise _refuse(
            act.subject,
            f"{first} decided {act.disposition} without a person's mark, so nobody can be shown to be a second person",
            f"Take it back with 'reelproof disposition {act.subject} reopen' and decide again with --person",
        )
    if not act.by.mark:
        raise _refuse(
            act.subject,
            f"the second person on {act.disposition} gives no mark of their own",
            "Give --person, your mark in the plant; it must differ from the first person's",
        )
    if act.by.same_as(first):
        raise _refuse(
            act.subject,
            f"{first} decided {act.disposition} and cannot be the second person as well",
            "Let another person confirm or decline it",
        )


def next_act(
    acts: Sequence[Act], act: Act, second_person: Sequence[str] = (), now: State | None = None
) -> tuple[Act, ...]:
    """The acts with one more, if it may be done and nobody acted since the person looked.

    `act.version` is one more than the version the person saw. The store keeps (subject, version) unique, so
    of two persons at once one wins and the other is told.

    Args:
        acts: every act on the subject so far.
        act: the new one.
        second_person: dispositions that a second person must confirm, as the plant's rule stands now; a
            decision keeps the rule it was made under, and needs the mark of the person.
        now: what the acts amount to as things stand, where that is open again; the acts alone where left out.

    Raises:
        DecidedMeanwhile: someone acted first; the complaint says who, when and what.
        DispositionRefused: the act does not apply, lacks a reason, a role or evidence, or breaks the rule of
            the second person.
    """
    state = state_of(act.subject, acts)
    if act.version <= state.version:
        raise told_first(max(acts, key=lambda one: one.version))
    if act.version != state.version + 1:
        raise _refuse(
            act.subject, f"act {act.version} would follow act {state.version}", "Give the next version"
        )
    _check_act(act, now if now is not None and act.kind == "decide" else state)
    if act.kind == "decide":
        act = replace(act, waits=act.disposition in second_person)
        if act.waits and not act.by.mark:
            raise _refuse(
                act.subject,
                f"by the plant's rule a second person must confirm {act.disposition}, and you give no mark of your own",
                "Give --person, your mark in the plant",
            )
    return (*sorted(acts, key=lambda one: one.version), act)


def told_first(winner: Act) -> DecidedMeanwhile:
    """What the person who came second is told."""
    return DecidedMeanwhile(
        Complaint(
            winner.subject,
            f"{winner.by} acted first ({winner})",
            "Nothing of yours was written; read that act and decide again if you still must",
        )
    )


def check_release(
    reel_id: str,
    holding: Mapping[str, State],
    disposition: Disposition = "release",
) -> None:
    """Refuse the release of a reel while a finding that holds it is open.

    Args:
        reel_id: the reel.
        holding: state of every finding on the reel whose rule holds a release, by finding.
        disposition: ``release``, or ``concession`` for a release that does not conform; both are refused.

    Raises:
        DispositionRefused: with one complaint for each finding that is not closed.
    """
    complaints = [
        Complaint(
            reel_id,
            f"{disposition} is refused: finding {name} is {state.standing}"
            + (f" ({state.disposition})" if state.disposition else ""),
            "Decide it, have it confirmed where the plant asks, and complete what was decided",
        )
        for name, state in sorted(holding.items())
        if state.standing != "closed"
    ]
    if complaints:
        raise DispositionRefused(complaints)

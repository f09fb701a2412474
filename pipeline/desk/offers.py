"""What may a person do about what a page shows, and what exactly did they see when they decided?

An offer is only shown: whether an act may be done is asked of `pipeline.acts` when it is done. What was seen is a
digest of everything the form told of its subject, so that an act on something else than was seen is not done.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from pipeline.acts.deciding import subject_on_file
from pipeline.acts.holding import holds_on
from pipeline.messages import Message, Said
from pipeline.nonconformance.disposition import ActKind, Disposition, State
from pipeline.record.journal_on_file import entry_of
from pipeline.record.plant_sheet_on_file import plant_sheet_of

if TYPE_CHECKING:
    from pipeline.acts.deciding import Subject
    from pipeline.acts.holding import HoldsOn
    from pipeline.nonconformance.hold import Hold
    from pipeline.record.standing import Standing
    from pipeline.sheets.plant_sheet import PlantSheet
    from pipeline.store.database import Store

About = Literal["reel", "finding", "lot"]
DISPOSITIONS: tuple[Disposition, ...] = ("rework", "repair", "regrade", "scrap", "concession", "release")
# What may follow a state; whether it may be done is not decided here.
_FOLLOWS: dict[str, tuple[ActKind, ...]] = {
    "open": ("decide",),
    "awaiting a second person": ("confirm", "decline", "reopen"),
    "decided": ("complete", "reopen"),
    "closed": ("reopen",),
}
# Findings of one cause that a page offers at once, newest first.
MOST_ALIKE = 100
# Uses of a length that nobody ships.
NOT_SHIPPED = ("scrap", "rewound")


@dataclass(frozen=True, slots=True)
class Choice:
    """A finding, reel or lot that may be acted on.

    Args:
        name: its id.
        reel_id: its reel.
        told: what is said of it.
        state: what the acts on it amount to now; None for a lot.
        sight: digest of what is shown of it.
        proposal: what the program would suggest; "" for nothing.
        is_chosen: whether the form begins with it chosen.
    """

    name: str
    reel_id: str
    told: Said
    state: State | None
    sight: str
    proposal: str = ""
    is_chosen: bool = False


@dataclass(frozen=True, slots=True)
class DeedOffered:
    """One thing that may be done with what is chosen, as the form sends it and as a reader sees it."""

    value: str
    label: str


@dataclass(frozen=True, slots=True)
class Item:
    """A reel or cut length that may be shipped: its id, whether it may leave, and the digest of what is shown of it."""

    name: str
    may_leave: bool
    sight: str


@dataclass(frozen=True, slots=True)
class HoldShown:
    """A hold in force: its number, what it is on, what is said of it, and the digest of what is shown of that."""

    number: int
    subject: str
    told: Message
    sight: str


@dataclass(frozen=True, slots=True)
class Offer:
    """What a page offers a person.

    Args:
        subject: what the page is about.
        about: what that is.
        own: the subject itself.
        own_deeds: what may be done with it.
        findings: findings that may be acted on together.
        deeds: what may be done with them.
        who_decides: roles that decide, where this one decides nothing.
        holds: holds in force on it.
        may_hold: whether the role holds wire.
        may_lift: whether it lifts holds.
        items: what may be shipped.
        may_override: whether the role sends wire that may not leave.
        may_ship: whether the role ships.
        may_sample: whether it hands in samples.
        unit: the plant's unit of length.
        entry_no: newest entry of the journal when this was shown.
    """

    subject: str
    about: About
    own: Choice
    own_deeds: tuple[DeedOffered, ...]
    findings: tuple[Choice, ...]
    deeds: tuple[DeedOffered, ...]
    who_decides: tuple[str, ...]
    holds: tuple[HoldShown, ...]
    may_hold: bool
    may_lift: bool
    items: tuple[Item, ...]
    may_override: bool
    may_ship: bool
    may_sample: bool
    unit: str
    entry_no: int


def sight_of(store: Store, name: str) -> str:
    """A digest of everything a form shows of a finding, reel, cut length or lot.

    Raises:
        NotFoundError: there is none of that number.
    """
    if store.ask("questions/reel", reel_id=name) or not store.ask("questions/loads_of_lot", lot=name):
        return _sight(subject_on_file(store, name))
    return _sight_of_lot(holds_on(store, name))


def _sight(subject: Subject) -> str:
    """Of a finding what is said of it and done about it; of a reel or length how all of it stands too."""
    seen = (
        subject.assessment_id,
        subject.sentence,
        subject.extent,
        subject.state,
        subject.acts,
        subject.is_current,
    )
    return _digest((*seen, subject.standing))


def _sight_of_lot(held: HoldsOn) -> str:
    return _digest((held.subject, held.in_force))


def _digest(seen: object) -> str:
    text = json.dumps(seen, default=_plain, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:32]


def _plain(value: Any) -> Any:
    """What JSON does not know: a record as its fields in order, a set sorted, an instant as text."""
    if is_dataclass(value):
        return [getattr(value, one.name) for one in fields(value)]
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, datetime):
        return value.isoformat()
    raise TypeError(f"a form may not show {type(value).__name__}")


def newest_entry(store: Store) -> int:
    """Number of the newest entry of the journal; 0 for none."""
    last = store.ask("questions/last_entry")
    return int(last[0]["entry_no"]) if last else 0


def happened_since(store: Store, names: Sequence[str], entry_no: int) -> tuple[Message, ...]:
    """What the journal keeps about some findings, reels or lots and their runs after an entry.

    Args:
        store: the store.
        names: what a person wanted to act on.
        entry_no: the newest entry when they looked.
    """
    about = dict.fromkeys(names)
    for name in names:
        found = [*store.ask("questions/finding", finding_id=name), *store.ask("questions/reel", reel_id=name)]
        about |= dict.fromkeys(row[key] for row in found for key in ("reel_id", "run_id") if row[key])
        for row in found:
            about |= dict.fromkeys(
                one["finding_id"]
                for one in store.ask("questions/findings_of_assessment", assessment_id=row["assessment_id"])
                if one["reel_id"] == row["reel_id"]
            )
    entries = {
        row["entry_no"]: entry_of(row)
        for name in about
        for row in store.ask("questions/entries_of_subject", subject=name)
        if row["entry_no"] > entry_no
    }
    return tuple(entries[number].told for number in sorted(entries))


def offer_on(store: Store, about: About, name: str, role: str) -> Offer:
    """What the page of a reel, finding or lot offers a role.

    Args:
        store: the store, open to read.
        about: what the page is about.
        name: its id.
        role: the person's role; "" for one that decides nothing.

    Raises:
        NotFoundError: there is none of that number.
    """
    if about == "lot":
        return _on_lot(store, name, role)
    subject = subject_on_file(store, name)
    plant, _ = plant_sheet_of(store, subject.run_id)
    alike = _of_reel(store, subject) if about == "reel" else _of_cause(store, subject)
    findings = tuple(_choice(one, is_chosen=one.name == name) for one in alike)
    own = _choice(subject)
    standing = subject.standing
    wanted = {one.state.disposition for one in (own, *findings) if one.state is not None}
    powers = {one for one in DISPOSITIONS if role and role in plant.may_decide.get(one, ())}
    needed = [one for one in DISPOSITIONS if one in wanted] or DISPOSITIONS
    return Offer(
        subject=name,
        about=about,
        own=own,
        own_deeds=_deeds([own], powers),
        findings=findings,
        deeds=_deeds(findings, powers),
        who_decides=()
        if powers
        else tuple(dict.fromkeys(who for one in needed for who in plant.may_decide.get(one, ()))),
        holds=_holds(store, () if standing is None else standing.holds, own),
        items=() if standing is None else _items(store, standing, own),
        unit=plant.unit,
        entry_no=newest_entry(store),
        **_may(plant, role),
    )


def _may(plant: PlantSheet, role: str) -> dict[str, bool]:
    """What a role may do besides deciding, by the plant's sheet."""
    listed = {power: role in roles for power, roles in plant.may_decide.items()}
    return {
        "may_hold": bool(role) and listed.get("hold", False),
        "may_lift": bool(role) and listed.get("lift hold", False),
        "may_override": bool(role) and listed.get("ship held", False),
        # Any role may where the sheet lists none.
        "may_ship": bool(role) and listed.get("ship", True),
        "may_sample": bool(role) and listed.get("hand in sample", True),
    }


def _on_lot(store: Store, name: str, role: str) -> Offer:
    held = holds_on(store, name)
    plant, _ = plant_sheet_of(store, held.run_id)
    own = Choice(name, "", name, None, _sight_of_lot(held))
    return Offer(
        subject=name,
        about="lot",
        own=own,
        own_deeds=(),
        findings=(),
        deeds=(),
        who_decides=(),
        holds=_holds(store, held.in_force, own),
        items=(),
        unit=plant.unit,
        entry_no=newest_entry(store),
        **_may(plant, role),
    )


def _choice(subject: Subject, is_chosen: bool = False) -> Choice:
    told = subject.sentence if subject.standing is None else subject.standing.headline
    return Choice(
        subject.name, subject.reel_id, told, subject.state, _sight(subject), subject.proposal, is_chosen
    )


def _of_reel(store: Store, reel: Subject) -> list[Subject]:
    """The findings of a reel that its newest judgement sees, and those somebody has not finished."""
    rows = store.ask("questions/findings_of_assessment", assessment_id=reel.assessment_id)
    names = [row["finding_id"] for row in rows if row["reel_id"] == reel.name]
    names += [name for name in reel.holding if name not in names]
    return [subject_on_file(store, name) for name in names]


def _of_cause(store: Store, finding: Subject) -> list[Subject]:
    """A finding and those of the same named cause, in the newest judgement of every run."""
    own = store.ask("questions/finding", finding_id=finding.name)[0]
    alike = (
        store.ask("questions/findings_of_cause", cause=own["cause"], cause_of=own["cause_of"])
        if own["cause_of"]
        else []
    )
    names = [row["finding_id"] for row in alike if row["finding_id"] != finding.name][:MOST_ALIKE]
    return [finding, *(subject_on_file(store, name) for name in names)]


def _deeds(choices: Sequence[Choice], powers: Collection[Disposition]) -> tuple[DeedOffered, ...]:
    """What may follow the states of some choices, of what a role may decide."""
    found: dict[str, DeedOffered] = {}
    for one in choices:
        state = one.state
        if state is None:
            continue
        for kind in _FOLLOWS[state.standing]:
            if kind == "decide":
                found |= {
                    f"decide {what}": DeedOffered(f"decide {what}", f"Decide: {what}")
                    for what in DISPOSITIONS
                    if what in powers
                }
            elif state.disposition in powers:
                found[kind] = DeedOffered(kind, _LABEL[kind])
    return tuple(found.values())


_LABEL: dict[ActKind, str] = {
    "confirm": "Confirm as the second person",
    "decline": "Decline as the second person",
    "complete": "Complete: done and checked",
    "reopen": "Open again",
}


def _seen_of(store: Store, name: str, own: Choice) -> str:
    """The digest of a subject; what a page is about was digested already, and a standing is long in the making."""
    return own.sight if name == own.name else sight_of(store, name)


def _holds(store: Store, holds: Sequence[Hold], own: Choice) -> tuple[HoldShown, ...]:
    sights = {name: _seen_of(store, name, own) for name in dict.fromkeys(one.subject for one in holds)}
    return tuple(HoldShown(one.number, one.subject, one.told, sights[one.subject]) for one in holds)


def _items(store: Store, reel: Standing, own: Choice) -> tuple[Item, ...]:
    """What of a reel may be named in a shipment."""
    here = {
        one.length_id: one.may_leave
        for one in reel.lengths
        if one.left is None and one.use not in NOT_SHIPPED
    }
    if not reel.lengths and not reel.left:
        here = {reel.reel_id: reel.may_leave}
    return tuple(Item(name, may_leave, _seen_of(store, name, own)) for name, may_leave in here.items())

"""Acts from the browser: each form becomes one call of `pipeline.acts`, whose rules are the only ones.

A form carries what the person saw of what they act on. If that is no longer so, nothing is done and they see what
happened meanwhile. What is refused is noted in the access log; what is done is in the journal, with person and role.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from threading import Lock
from typing import TYPE_CHECKING

from pydantic import ValidationError

from pipeline.acts.deciding_together import act_on_all
from pipeline.acts.holding import lift_hold, put_hold
from pipeline.acts.sampling import hand_in
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.acts.wanted_act import WantedAct
from pipeline.desk.further_acts import FURTHER_ACTS
from pipeline.desk.offers import DISPOSITIONS
from pipeline.desk.seen import check_seen, metres
from pipeline.errors import Complaint, ReelproofError, SheetError
from pipeline.found import Remedy
from pipeline.messages import Code, Message, message
from pipeline.nonconformance.disposition import DispositionRefused
from pipeline.record.access_log import seal_access
from pipeline.record.gauge_tables import SAMPLE_COLUMNS, sample_of
from pipeline.record.left_on_file import Override
from pipeline.record.samples_compared import compare_samples
from pipeline.record.shipping_list import Shipment, ShippingList
from pipeline.store.database import open_to_write

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.desk.door import Caller
    from pipeline.nonconformance.disposition import ActKind, Disposition, Person
    from pipeline.store.account_file import AccountFile
    from pipeline.store.database import Store

WAIT_S = 10.0
REACH_M = 1.0
LONGEST_TEXT = 4000
_turn = Lock()


class Did(Code):
    """What a person is told that they did."""

    DECIDED = "did/decided"
    HELD = "did/held"
    LIFTED = "did/lifted"
    SHIPPED = "did/shipped"
    SAMPLED = "did/sampled"
    KNOWN = "did/known"


class InForm(Code):
    """What to do about an act that is refused, for who fills in a form."""

    GIVE_REASON = "in form/give reason"
    ENTER_ROLES = "in form/enter roles"
    REOPEN = "in form/reopen"
    CONFIRM_OR_REOPEN = "in form/confirm or reopen"
    REOPEN_ONE = "in form/reopen one"
    LIFT = "in form/lift"
    NAME_EVIDENCE = "in form/name evidence"
    WITHDRAW = "in form/withdraw"
    OVERRIDE = "in form/override"


def in_form(one: Complaint) -> Complaint:
    """A complaint whose remedy fits a form; as it is where it names no command."""
    if not isinstance(one.remedy, Message):
        return one
    given = one.remedy.arguments
    subject, number = given.get("subject", ""), given.get("number", "")
    remedies: Mapping[str, Message] = {
        Remedy.GIVE_REASON: message(InForm.GIVE_REASON),
        Remedy.GIVE_BOTH: message(InForm.GIVE_REASON),
        Remedy.OVERRIDE_REASON: message(InForm.GIVE_REASON),
        Remedy.ENTER_ROLES: message(InForm.ENTER_ROLES),
        Remedy.REOPEN: message(InForm.REOPEN, subject=subject),
        Remedy.REOPEN_THAT: message(InForm.REOPEN, subject=subject),
        Remedy.CONFIRM_OR_REOPEN: message(InForm.CONFIRM_OR_REOPEN, subject=subject),
        Remedy.REOPEN_ONE: message(InForm.REOPEN_ONE, subject=subject),
        Remedy.LIFT: message(InForm.LIFT, subject=subject, number=number),
        Remedy.NAME_EVIDENCE: message(InForm.NAME_EVIDENCE),
        Remedy.WITHDRAW: message(InForm.WITHDRAW),
        Remedy.OVERRIDE: message(InForm.OVERRIDE),
    }
    return replace(one, remedy=remedies.get(one.remedy.code, one.remedy))


def act(store: Path, file: AccountFile, what: str, by: Person, form: Caller) -> Message:
    """Do what a form asks for; what was done.

    Args:
        store: the store's folder.
        file: the accounts beside it, whose access log is sealed with the act.
        what: one of `ACTS`.
        by: who is signed in.
        form: the form.

    Raises:
        ChangedMeanwhile: what the person saw is no longer so; nothing was done.
        ReelproofError: it may not be done, or the store cannot be written; nothing was done.
    """
    if not by.role:
        raise DispositionRefused(
            Complaint(f"account {by.person}", "it reads only", "Ask whoever runs this site for a role")
        )
    for text in (form.field("reason"), form.field("evidence"), form.field("to")):
        if len(text) > LONGEST_TEXT or any(not (sign.isprintable() or sign in "\r\n\t") for sign in text):
            raise ReelproofError(
                Complaint(
                    "form",
                    "a text is too long or cannot be printed",
                    f"Give up to {LONGEST_TEXT:,} characters",
                )
            )
    with _turn, open_to_write(store, WAIT_S, must_exist=True) as opened:
        _check_signed_in(file, by, form)
        told = ACTS[what](opened, by, form)
        with opened.transaction():
            seal_access(opened, file)
    return told


def _check_signed_in(file: AccountFile, by: Person, form: Caller) -> None:
    """Refuse an act whose account or token was ended, or got another role, while it waited for the store."""
    if form.service is not None:
        now = datetime.now(UTC).replace(tzinfo=None).isoformat(timespec="microseconds")
        rows = file.ask("service_token", token_sha256=form.service.token_sha256, at_utc=now)
    else:
        token = form.session.token_sha256 if form.session is not None else ""
        rows = [row for row in file.ask("session", token_sha256=token) if not row["ended_utc"]]
    if not any(row["role"] == by.role for row in rows):
        raise DispositionRefused(
            Complaint(
                f"account {by.person}",
                f"the {'session' if form.service is None else 'token'} was ended or its role changed meanwhile",
                "Nothing of yours was done. Sign in again",
            )
        )


def _decide(store: Store, by: Person, form: Caller) -> Message:
    names = [name for name in form.fields("subject") if name]
    check_seen(store, form, names)
    kind, _, chosen = form.field("deed").partition(" ")
    kinds: Mapping[str, ActKind] = {
        one: one for one in ("decide", "confirm", "decline", "complete", "reopen")
    }
    dispositions: Mapping[str, Disposition] = {one: one for one in DISPOSITIONS}
    if kind not in kinds or (kind == "decide" and chosen not in dispositions):
        raise DispositionRefused(Complaint("form", "it does not say what to do", "Choose it from the list"))
    disposition = dispositions.get(chosen) if kind == "decide" else None
    deed = WantedAct(kinds[kind], by, form.field("reason"), disposition, form.field("evidence"))
    # As many acts as the person saw, for each subject is as they saw it.
    seen = {name: len(store.ask("questions/acts_of_subject", subject=name)) for name in names}
    entries = act_on_all(store, seen, deed)
    return message(
        Did.DECIDED, subjects=tuple(entries), deed=form.field("deed"), entries=tuple(entries.values())
    )


def _hold(store: Store, by: Person, form: Caller) -> Message:
    # Holding is never refused because something else happened: it keeps wire back.
    start, end = (metres(form, name) for name in ("from", "to_place"))
    if (start is None) != (end is None):
        raise ReelproofError(
            Complaint("hold", "one end of the stretch is missing", "Give both ends, or neither for the whole")
        )
    span = None if start is None or end is None else (start, end)
    number = put_hold(store, form.field("subject"), by, form.field("reason"), span)
    return message(Did.HELD, number=number, subject=form.field("subject"))


def _lift(store: Store, by: Person, form: Caller) -> Message:
    subject, number = form.field("subject"), form.field("number")
    check_seen(store, form, [subject])
    if not (number.isdecimal() and number.isascii() and len(number) < 17):
        raise DispositionRefused(Complaint(subject, "it does not say which hold", "Choose one of the page"))
    entry = lift_hold(store, subject, int(number), by, form.field("reason"))
    return message(Did.LIFTED, number=int(number), subject=subject, entry=entry)


def _ship(store: Store, by: Person, form: Caller) -> Message:
    items = [one for one in form.fields("item") if one]
    check_seen(store, form, items)
    override = None
    if form.field("override"):
        override = Override(by.role, by.person, form.field("reason"))
    try:
        shipment = Shipment(
            id=form.field("shipment"), to=form.field("to"), contents=tuple(items), at=datetime.now(UTC)
        )
    except ValidationError as fault:
        raise SheetError(
            [
                Complaint(
                    f"shipment: {one['loc'][0] if one['loc'] else 'contents'}",
                    f"'{one['input']}' cannot stand there",
                    "Give its number, where it goes, and what is in it",
                )
                for one in fault.errors()
            ]
        ) from None
    done = put_shipping_on_file(store, ShippingList(shipments=(shipment,)), by.role, override, by.person)
    if not done.items:
        return message(Did.KNOWN)
    return message(Did.SHIPPED, items=done.items, shipment=shipment.id, place=shipment.to)


def _sample(store: Store, by: Person, form: Caller) -> Message:
    complaints: list[Complaint] = []
    row = dict.fromkeys(SAMPLE_COLUMNS, "")
    quantity, unit = form.field("quantity"), form.field("value_unit")
    place = form.field("place").replace(",", "")
    row |= {"reel": form.field("subject"), "quantity": quantity, "instrument": form.field("instrument")}
    row |= {f"at_{form.field('unit')}": place} if form.field("unit") in ("m", "ft") else {}
    if unit in ("mm", "mil", "pct"):
        row |= {f"value_{unit}": form.field("value"), f"sd_{unit}": form.field("sd")}
    taken = sample_of("sample", row, complaints)
    if complaints or taken is None:
        raise SheetError(complaints or [Complaint("sample", "it is not whole", "Fill it in")])
    done = hand_in(store, [taken], compare_samples(store, (taken,), REACH_M), by.role, by.person)
    return message(Did.SAMPLED, samples=done.kept) if done.kept else message(Did.KNOWN)


ACTS: Mapping[str, Callable[[Store, Person, Caller], Message]] = {
    "decide": _decide,
    "hold": _hold,
    "lift": _lift,
    "ship": _ship,
    "sample": _sample,
    **FURTHER_ACTS,
}

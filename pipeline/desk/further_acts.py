"""Acts of the review site besides deciding, holding and shipping: comments, owners, evidence, cutting and rewinding."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from pipeline.acts.attaching import attach, plain_name
from pipeline.acts.following_up import accept_plan, assign, comment_on, run_behind
from pipeline.acts.shipping import put_shipping_on_file
from pipeline.desk.seen import check_seen
from pipeline.errors import Complaint, ReelproofError, SheetError
from pipeline.messages import Code, Message, message
from pipeline.nonconformance.disposition import Person
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.shipping_list import CutLength, Rewound, ShippingList

if TYPE_CHECKING:
    from pipeline.desk.door import Caller
    from pipeline.store.database import Store

MOST_LENGTHS = 100


class DidBesides(Code):
    """What a person is told that they did besides deciding."""

    COMMENTED = "did/commented"
    ASSIGNED = "did/assigned"
    ATTACHED = "did/attached"
    PLAN_ACCEPTED = "did/plan accepted"
    CUT = "did/cut"


def _comment(store: Store, by: Person, form: Caller) -> Message:
    subject = form.field("subject")
    entry = comment_on(store, subject, by, form.field("reason"), form.field("mention"))
    return message(DidBesides.COMMENTED, subject=subject, entry=entry)


def _assign(store: Store, by: Person, form: Caller) -> Message:
    subject = form.field("subject")
    to = Person(form.field("to_role"), form.field("to_person"))
    due = _instant(store, subject, form.field("due"))
    entry = assign(store, subject, by, form.field("reason"), to, due, _whole(form.field("owner_entry")))
    return message(DidBesides.ASSIGNED, subject=subject, to=str(to), entry=entry)


def _instant(store: Store, subject: str, text: str) -> datetime | None:
    """A day and time on the plant's clocks, as a browser sends it; None for none."""
    if not text:
        return None
    try:
        zone = ZoneInfo(plant_sheet_of(store, run_behind(store, subject))[0].zone)
        return datetime.fromisoformat(text).replace(tzinfo=zone)
    except ValueError:
        raise ReelproofError(
            Complaint("due", f"'{text[:40]}' is no day and time", "Give it like 2026-03-05T10:00")
        ) from None


def _attach(store: Store, by: Person, form: Caller) -> Message:
    subject = form.field("subject")
    if form.file is None:
        raise ReelproofError(Complaint("file", "none was sent", "Choose a photo or a PDF"))
    entry = attach(store, subject, by, form.field("reason"), form.file)
    return message(DidBesides.ATTACHED, subject=subject, name=plain_name(form.file.name), entry=entry)


def _accept(store: Store, by: Person, form: Caller) -> Message:
    subject = form.field("subject")
    entry = accept_plan(store, subject, by, form.field("reason"), form.field("plan"))
    return message(DidBesides.PLAN_ACCEPTED, subject=subject, entry=entry)


def _cut(store: Store, by: Person, form: Caller) -> Message:
    """What was cut: the rows of the form that have a number."""
    subject, unit = form.field("subject"), form.field("unit")
    check_seen(store, form, [subject])
    told = []
    for number in range(1, MOST_LENGTHS + 1):
        name = form.field(f"length-{number}")
        if name:
            told.append(
                {
                    "reel": subject,
                    "length": name,
                    f"from_{unit}": form.field(f"from-{number}").replace(",", ""),
                    f"to_{unit}": form.field(f"to-{number}").replace(",", ""),
                    "use": form.field(f"use-{number}"),
                    "at": datetime.now(UTC),
                }
            )
    return _shipping(store, by, {"cuts": told})


def _rewind(store: Store, by: Person, form: Caller) -> Message:
    source, unit, take = form.field("source"), form.field("unit"), form.field("take").replace(",", "")
    check_seen(store, form, [source])
    row: dict[str, Any] = {
        "source": source,
        "onto": form.field("onto"),
        "use": form.field("use"),
        "at": datetime.now(UTC),
    }
    row |= {f"take_{unit}": take} if take else {}
    return _shipping(store, by, {"rewinds": [row]})


def _shipping(store: Store, by: Person, told: Mapping[str, list[dict[str, Any]]]) -> Message:
    """Put what was cut or rewound on file by the command's own rules."""
    try:
        # A form sends figures as text.
        cuts = tuple(CutLength.model_validate(one, strict=False) for one in told.get("cuts", ()))
        rewinds = tuple(Rewound.model_validate(one, strict=False) for one in told.get("rewinds", ()))
    except ValidationError as fault:
        raise SheetError(
            [
                Complaint(
                    f"{'.'.join(str(part) for part in one['loc']) or 'length'}",
                    str(one.get("ctx", {}).get("error", one["msg"])),
                    "Give its number, and its places as figures like 1,200 from the outer end",
                )
                for one in fault.errors()
            ]
        ) from None
    if not cuts and not rewinds:
        raise ReelproofError(
            Complaint("form", "no length has a number", "Give each length that was cut its number")
        )
    done = put_shipping_on_file(store, ShippingList(cuts=cuts, rewinds=rewinds), by.role, None, by.person)
    return message(DidBesides.CUT, lengths=(*done.cuts, *done.rewound, *done.known))


def _whole(text: str) -> int | None:
    return int(text) if text.isdecimal() and text.isascii() and len(text) < 17 else None


FURTHER_ACTS: Mapping[str, Callable[[Store, Person, Caller], Message]] = {
    "comment": _comment,
    "assign": _assign,
    "attach": _attach,
    "accept": _accept,
    "cut": _cut,
    "rewind": _rewind,
}

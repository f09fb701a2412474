"""Follow up a finding, reel or lot without deciding: comment, give it to somebody, accept its cutting plan.

Each is an entry of the journal with role, person and reason; it is taken back only by a further one. Nothing of it
changes how wire stands.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict
from datetime import MAXYEAR, MINYEAR, UTC, datetime
from typing import TYPE_CHECKING, Any, get_args

from pipeline.acts.deciding import subject_on_file
from pipeline.acts.holding import holds_on
from pipeline.errors import Complaint
from pipeline.found import Noted
from pipeline.messages import said
from pipeline.nonconformance.disposition import (
    DecidedMeanwhile,
    Disposition,
    DispositionRefused,
    Person,
    check_open_power,
)
from pipeline.record.cutting_on_file import ReelPlan, plan_for_reel
from pipeline.record.entry_kinds import ASSIGNED, COMMENT, EVIDENCE, PLAN_ACCEPTED
from pipeline.record.journal_on_file import entry_of, note
from pipeline.record.plant_sheet_on_file import plant_sheet_of, roles_of_plant

if TYPE_CHECKING:
    from pipeline.lots.journal import Entry
    from pipeline.sheets.plant_sheet import PlantSheet
    from pipeline.store.database import Store

LONGEST_COMMENT = 4000
LONGEST_MARK = 60


def run_behind(store: Store, subject: str) -> str:
    """The run of a finding, reel or cut length, or the newest that used a lot.

    Raises:
        NotFoundError: there is none of that number; the nearest are named.
    """
    if store.ask("questions/loads_of_lot", lot=subject) and not store.ask("questions/reel", reel_id=subject):
        return holds_on(store, subject).run_id
    return subject_on_file(store, subject).run_id


def check_role(store: Store, subject: str, by: Person, reason: str) -> PlantSheet:
    """The plant sheet behind a subject, if a role it names acts, with words.

    Raises:
        NotFoundError: there is no such subject.
        DispositionRefused: the sheet names no such role, or words are missing or too long.
    """
    run_id = run_behind(store, subject)
    roles = roles_of_plant(store)
    if by.role not in roles:
        raise DispositionRefused(
            Complaint(
                subject,
                f"the plant's sheet names no role '{by.role}'",
                f"It names {', '.join(roles) or 'none'}",
            )
        )
    if not reason.strip() or len(reason) > LONGEST_COMMENT:
        raise DispositionRefused(
            Complaint(
                subject, "the words are missing or too long", f"Give up to {LONGEST_COMMENT:,} characters"
            )
        )
    return plant_sheet_of(store, run_id)[0]


def newest_of_kind(store: Store, kind: str, subject: str) -> int:
    """Number of the newest entry of a kind about a subject; 0 for none."""
    rows = store.ask("questions/entries_of_subject", subject=subject)
    return max((row["entry_no"] for row in rows if row["kind"] == kind), default=0)


def added_to(store: Store, subject: str) -> tuple[Entry, ...]:
    """Every comment, owner, evidence and accepted plan of a finding, reel or lot, oldest first.

    Raises:
        NotFoundError: there is none of that number; the nearest are named.
    """
    run_behind(store, subject)
    kinds = (ASSIGNED, COMMENT, EVIDENCE, PLAN_ACCEPTED)
    rows = store.ask("questions/entries_of_subject", subject=subject)
    return tuple(entry_of(row) for row in rows if row["kind"] in kinds)


def put_once(store: Store, kind: str, subject: str, record: dict[str, Any]) -> int:
    """Note an entry inside the caller's transaction; where the newest of its kind says the same, that one's number."""
    rows = [row for row in store.ask("questions/entries_of_subject", subject=subject) if row["kind"] == kind]
    if rows and entry_of(rows[-1]).content == record:
        return int(
            rows[-1]["entry_no"]
        )  # the command was killed after it had put it on file, and given again
    return note(store, kind, subject, record)


def comment_on(store: Store, subject: str, by: Person, text: str, mention: str = "") -> int:
    """Put a comment on file; its journal entry.

    Args:
        store: the store, open to write.
        subject: a finding, reel, cut length or lot.
        by: who.
        text: what they say.
        mention: a role of the plant's sheet that it is for; "" for none.

    Raises:
        NotFoundError: there is no such subject.
        DispositionRefused: the role is none of the plant's, the text is missing, or nobody has the role it is for.
    """
    with store.transaction():
        check_role(store, subject, by, text)
        roles = roles_of_plant(store)
        if mention and mention not in roles:
            raise DispositionRefused(
                Complaint(
                    subject,
                    f"the comment is for '{mention}', which is no role here",
                    f"Roles: {', '.join(roles)}",
                )
            )
        told = said(
            Noted.COMMENTED,
            subject=subject,
            by=str(by),
            text=text.strip(),
            **({"to": mention} if mention else {}),
        )
        record = {"said": told, **by.kept, "person": by.person, "reason": text.strip(), "mention": mention}
        return put_once(store, COMMENT, subject, record)


def assign(
    store: Store,
    finding: str,
    by: Person,
    reason: str,
    to: Person,
    due: datetime | None = None,
    seen: int | None = None,
) -> int:
    """Give a finding to a role or person, with the time to its decision; the journal entry.

    Args:
        store: the store, open to write.
        finding: the finding.
        by: who gives it.
        reason: why.
        to: to whom; without a mark to anybody of the role.
        due: by when, with its zone; None for the time by its severity.
        seen: the newest such entry that they had seen; None for whichever is on file.

    Raises:
        NotFoundError: there is no such finding.
        DecidedMeanwhile: somebody gave it to somebody since.
        DispositionRefused: it is no finding, the role may not, or its time or person is none.
    """
    with store.transaction():
        plant = check_role(store, finding, by, reason)
        subject = subject_on_file(store, finding)
        if subject.about != "finding":
            raise DispositionRefused(
                Complaint(finding, "it is no finding", "Give findings to somebody, one by one")
            )
        if to.role not in roles_of_plant(store):
            raise DispositionRefused(
                Complaint(finding, f"'{to.role}' is no role of the plant's sheet", "Choose one that it names")
            )
        deciding = {role for one in get_args(Disposition) for role in plant.may_decide.get(one, ())}
        deciding |= {one.owner for one in plant.response.due.values()}
        if by.role not in deciding:
            raise DispositionRefused(
                Complaint(
                    finding,
                    f"the role '{by.role}' neither decides nor owns findings by the plant's sheet",
                    f"Ask {' or '.join(sorted(deciding))}",
                )
            )
        if due is not None and due.utcoffset() is None:
            raise DispositionRefused(
                Complaint(finding, "the time has no zone", "Write it like 2026-03-05T10:00-06:00")
            )
        if due is not None and not MINYEAR < due.year < MAXYEAR:  # no clock of the plant could show it
            raise DispositionRefused(
                Complaint(finding, f"the year {due.year} is no time to decide by", "Give the time it is due")
            )
        if len(to.person) > LONGEST_MARK or not to.person.isprintable():
            raise DispositionRefused(
                Complaint(
                    finding,
                    "the mark of the person it goes to is too long or cannot be printed",
                    f"Give the plant's mark, of up to {LONGEST_MARK} characters",
                )
            )
        newest = newest_of_kind(store, ASSIGNED, finding)
        if seen is not None and seen != newest:
            raise DecidedMeanwhile(
                Complaint(
                    finding,
                    "somebody gave it to somebody meanwhile",
                    f"Read journal entry {newest}, and decide anew",
                )
            )
        due_utc = (
            "" if due is None else due.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="seconds")
        )
        more = {"due": due_utc.replace("T", " ")} if due_utc else {}
        told = said(
            Noted.ASSIGNED, subject=finding, by=str(by), to=str(to), reason=reason.rstrip("."), **more
        )
        record = {
            "said": told, **by.kept, "person": by.person, "reason": reason,
            "to_role": to.role, "to_person": to.person, "due_utc": due_utc,
        }  # fmt: skip
        return put_once(store, ASSIGNED, finding, record)


def plan_sha256(planned: ReelPlan) -> str:
    """A digest of the pieces of a plan, so that it is known whether it is still the one that was seen."""
    pieces = [asdict(one) for one in planned.plan.pieces]
    return hashlib.sha256(json.dumps(pieces, sort_keys=True).encode()).hexdigest()


def accept_plan(store: Store, reel: str, by: Person, reason: str, seen: str = "") -> int:
    """Accept the cutting plan of a reel as it is now, for the rewinder; the journal entry that keeps its steps.

    Args:
        store: the store, open to write.
        reel: the reel.
        by: who.
        reason: why.
        seen: digest of the plan that they had seen (`plan_sha256`); "" for whichever it is now.

    Raises:
        NotFoundError: there is no such reel.
        MethodRefusal: there is nothing to plan.
        DecidedMeanwhile: the plan is another one now.
        DispositionRefused: the plant's sheet does not let the role cut.
    """
    with store.transaction():
        plant = check_role(store, reel, by, reason)
        check_open_power(reel, "ship", by, plant.may_decide.get("ship", ()), "ship or cut wire")
        planned = plan_for_reel(store, reel)
        digest = plan_sha256(planned)
        if seen and seen != digest:
            raise DecidedMeanwhile(
                Complaint(
                    reel,
                    "its cutting plan is another one now",
                    "Look at the plan again, and accept it if you agree",
                )
            )
        value = f"{planned.plan.value:,.2f} {planned.currency}".rstrip()
        told = said(
            Noted.PLAN_ACCEPTED,
            reel=reel,
            by=str(by),
            steps=len(planned.steps),
            value=value,
            reason=reason.rstrip("."),
        )
        record = {
            "said": told, **by.kept, "person": by.person, "reason": reason, "plan_sha256": digest,
            "steps": [one.sentence for one in planned.steps],
        }  # fmt: skip
        return put_once(store, PLAN_ACCEPTED, reel, record)

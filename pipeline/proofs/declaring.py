"""Declare: a declaration of conformity for lots, shipments, reels or lengths, where the evidence carries it.

The program drafts and refuses; a named person signs. What was drafted is in the journal with the hash of its
text, and a number is given once.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, fields
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from pipeline.errors import Complaint
from pipeline.found import Noted
from pipeline.lots.declaration import Declaration, DeclarationRefused, ToDeclare, draft_declaration
from pipeline.lots.journal import Entry, anchor_of
from pipeline.messages import said
from pipeline.record.issuer_sheet import IssuerSheet
from pipeline.record.journal_on_file import journal_of, note
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.wire_named import PieceOnFile, evidence_of, piece_on_file, pieces_of, verdict_on
from pipeline.sheets.plant_limits import sets_not_known
from pipeline.store.said_columns import rule_of
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.store.database import Store

HEADINGS = {
    "number": "Declaration of conformity, number",
    "issuer": "Issuer",
    "object": "Object of the declaration",
    "statement": "Statement",
    "documents": "Documents",
    "requirements": "Requirements judged in line",
    "additional": "Additional information",
    "limitations": "Limitations",
    "place_and_date": "Place and date of issue",
    "signatory": "Signed for the issuer",
}


@dataclass(frozen=True, slots=True)
class Declared:
    """A declaration that was drafted.

    Args:
        declaration: its parts.
        wire: the reels and cut lengths it is about.
        runs: the runs they were made in.
        text_sha256: hash of its text, as the journal keeps it.
        entry_no: its journal entry, 0 where it was only looked at.
    """

    declaration: Declaration
    wire: tuple[str, ...]
    runs: tuple[str, ...]
    text_sha256: str
    entry_no: int


def declare(
    store: Store,
    names: Sequence[str],
    sheet: IssuerSheet,
    *,
    number: str = "",
    role: str = "",
    keep: bool = True,
    now: datetime | None = None,
) -> Declared:
    """Draft a declaration of conformity, and keep it in the journal.

    Args:
        store: the store, open to write where it is kept.
        names: lots, shipments, reels or cut lengths.
        sheet: who declares, to which documents, on which tests.
        number: its number; the next free one of the year where left out.
        role: role of whoever drafts it.
        keep: False to look only whether the evidence carries it.
        now: the instant, UTC; the clock's where it is left out.

    Raises:
        NotFoundError: a name is not on file.
        DeclarationRefused: with everything that is missing or in the way.
    """
    at_utc = now or datetime.now(UTC)
    on_file = tuple(piece_on_file(store, piece) for piece in pieces_of(store, names))
    wire = tuple(one.piece.name for one in on_file)
    runs = tuple(sorted({one.reel["run_id"] for one in on_file}))
    entries, day = journal_of(store), _day(store, on_file, at_utc)
    if keep and entries and entries[-1].kind == "declaration" and entries[-1].content.get("role") == role:
        # Killed after it was kept, and given again: nothing came in between, so it is the same declaration.
        last = entries[-1]
        with suppress(DeclarationRefused):
            again = _drafted(store, names, on_file, sheet, entries[:-1], number, day)
            if (again.number, _digest(again)) == (last.subject, last.content.get("text_sha256")):
                return Declared(again, wire, runs, _digest(again), last.entry_no)
    declaration = _drafted(store, names, on_file, sheet, entries, number, day)
    entry_no = _note(store, declaration, wire, role) if keep else 0
    return Declared(declaration, wire, runs, _digest(declaration), entry_no)


def _drafted(
    store: Store,
    names: Sequence[str],
    on_file: Sequence[PieceOnFile],
    sheet: IssuerSheet,
    entries: Sequence[Entry],
    number: str,
    day: date,
) -> Declaration:
    given = {entry.subject for entry in entries if entry.kind == "declaration"}
    chosen = number or _next_number(given, day)
    complaints = [
        *_number_complaints(chosen, given),
        *_wire_complaints(chosen, on_file, sheet, _own_sets(store, on_file)),
    ]
    needed = _needed(on_file, sheet)
    sets = _sets(sheet)
    try:
        declaration = draft_declaration(
            ToDeclare(
                number=chosen,
                issuer=sheet.who,
                product=_product(on_file),
                lot=", ".join(names),
                reels=tuple(evidence_of(one, sets, needed, _tested_findings(sheet)) for one in on_file),
                documents=sheet.declared_to,
                requirements=needed,
                on=day,
                decision_rules=_decision_rules(on_file, sets, needed),
                tests=sheet.results,
                anchor=anchor_of(entries),
            )
        )
    except DeclarationRefused as fault:
        raise DeclarationRefused([*complaints, *fault.complaints]) from None
    if complaints:
        raise DeclarationRefused(complaints)
    return declaration


def _digest(declaration: Declaration) -> str:
    return hashlib.sha256(declaration_text(declaration).encode()).hexdigest()


def declaration_text(declaration: Declaration) -> str:
    """The declaration as plain text, part by part; its hash is what the journal keeps."""
    lines = []
    for part in fields(declaration):
        value = getattr(declaration, part.name)
        lines.append(f"{HEADINGS[part.name]}:")
        lines += [f"  {one}" for one in ((value,) if isinstance(value, str) else value)]
    return "\n".join(lines) + "\n"


def _note(store: Store, declaration: Declaration, wire: tuple[str, ...], role: str) -> int:
    record = {
        "said": said(Noted.DECLARED, number=declaration.number, object=declaration.object),
        "role": role,
        "wire": list(wire),
        "text_sha256": _digest(declaration),
        "declaration": json.loads(json.dumps(asdict(declaration))),
    }
    with store.transaction():
        return note(store, "declaration", declaration.number, record)


def _day(store: Store, on_file: Sequence[PieceOnFile], at_utc: datetime) -> date:
    """The plant's day."""
    if not on_file:
        return at_utc.date()
    return at_utc.astimezone(ZoneInfo(plant_sheet_of(store, on_file[0].reel["run_id"])[0].zone)).date()


def _next_number(given: set[str], day: date) -> str:
    number = 1
    while f"{day:%Y}-{number:04d}" in given:
        number += 1
    return f"{day:%Y}-{number:04d}"


def _number_complaints(number: str, given: set[str]) -> list[Complaint]:
    if number not in given:
        return []
    return [
        Complaint(
            f"declaration {number}", "this number was given before", "Give another; a number is given once"
        )
    ]


def _product(on_file: Sequence[PieceOnFile]) -> str:
    """The product in the words of its marking, "" for none."""
    labels = {_label(one) for one in on_file}
    return labels.pop() if len(labels) == 1 else " and ".join(sorted(labels))


def _label(one: PieceOnFile) -> str:
    row = one.reel
    parts = (row["construction"], row["size"], row["conductor"], row["metal"], row["colour"])
    return " ".join(part for part in parts if part)


def _sets(sheet: IssuerSheet) -> tuple[str, ...]:
    return tuple(name for one in sheet.documents for name in one.sets)


def _own_sets(store: Store, on_file: Sequence[PieceOnFile]) -> tuple[str, ...]:
    """The requirement sets of the limits that the plant enters or that the wire was judged by."""
    runs = dict.fromkeys(one.reel["run_id"] for one in on_file)
    entered = [limit.requirement_set for run_id in runs for limit in plant_sheet_of(store, run_id)[0].limits]
    judged = [row["requirement_set"] for one in on_file for row in one.requirements]
    return tuple(name for name in dict.fromkeys((*entered, *judged)) if name != "*")


def _wire_complaints(
    number: str, on_file: Sequence[PieceOnFile], sheet: IssuerSheet, own_sets: Sequence[str]
) -> list[Complaint]:
    """One product a declaration, and documents that are known and that the wire was judged by."""
    complaints = []
    labels = sorted({_label(one) for one in on_file})
    if len(labels) > 1:
        complaints.append(
            Complaint(
                f"declaration {number}",
                f"the wire is of {len(labels)} products: {'; '.join(labels)}",
                "Declare each product by itself",
            )
        )
    complaints += [found for one in on_file for found in _decided_otherwise(number, one, sheet)]
    complaints += [
        fault
        for one in sheet.documents
        for fault in sets_not_known(
            f"issuer's sheet, requirement_sets of {one.name}", one.requirement_sets, own_sets
        )
    ]
    judged = {row["requirement_set"] for one in on_file for row in one.requirements} - {"*"}
    complaints += [
        Complaint(
            f"declaration {number}",
            f"no requirement of {one.name} was judged on this wire",
            f"The requirement sets on file for it are {', '.join(sorted(judged)) or 'none'}; name them in "
            "'requirement_sets'",
        )
        for one in sheet.documents
        if on_file and not set(one.sets) & judged
    ]
    return complaints


def _tested_findings(sheet: IssuerSheet) -> frozenset[str]:
    """Findings that a conforming test, made since they were decided, speaks of."""
    return frozenset(test.finding for test in sheet.tests if test.finding and test.conforms)


def _decided_otherwise(number: str, one: PieceOnFile, sheet: IssuerSheet) -> list[Complaint]:
    """Findings on a piece that were closed in a way that asks for more than the line's evidence."""
    complaints = []
    for name, state in one.states.items():
        if state.standing != "closed":
            continue
        where = f"declaration {number}, reel {one.piece.name}"
        if state.disposition == "regrade":
            complaints.append(
                Complaint(
                    where,
                    f"finding {name} was closed by a regrade, so this wire is of another grade",
                    "Leave it out, or declare it to the documents of its new grade",
                )
            )
        elif state.disposition in ("rework", "repair") and name not in _tested_findings(sheet):
            complaints.append(
                Complaint(
                    where,
                    f"finding {name} was closed by {state.disposition}, and the line has not seen the wire since",
                    f'Enter the test made after it, with finding = "{name}"',
                )
            )
        elif state.disposition == "scrap":
            complaints.append(
                Complaint(
                    where,
                    f"finding {name} was closed by scrap and its wire is still on this piece by what is on file",
                    "Tell the cuts with 'reelproof ship', and declare the lengths",
                )
            )
    return complaints


def _needed(on_file: Sequence[PieceOnFile], sheet: IssuerSheet) -> tuple[str, ...]:
    """Requirements that every piece must have been judged by: those of the documents that no test stands for."""
    allowed = {*_sets(sheet), "*"}
    asked = dict.fromkeys(
        row["requirement"] for one in on_file for row in one.requirements if row["requirement_set"] in allowed
    )
    return tuple(
        requirement for requirement in asked if not all(_tested(one, requirement, sheet) for one in on_file)
    )


def _tested(one: PieceOnFile, requirement: str, sheet: IssuerSheet) -> bool:
    """Whether a test the plant entered stands for a requirement, on a piece where the line cannot judge it."""
    if verdict_on(one, requirement, _sets(sheet)) != "not judged":
        return False
    names = {one.piece.name, one.piece.reel_id}
    wanted = {row["requirement_set"] for row in one.requirements if row["requirement"] == requirement}
    of_document = {document.name: set(document.sets) for document in sheet.documents}
    return any(
        test.requirement == requirement
        and test.conforms
        and (not test.wire or names & set(test.wire))
        and ("*" in wanted or wanted & of_document.get(test.document, set()))
        for test in sheet.tests
    )


def _decision_rules(
    on_file: Sequence[PieceOnFile], sets: Sequence[str], needed: Sequence[str]
) -> tuple[str, ...]:
    return tuple(
        dict.fromkeys(
            f"{row['requirement']}: {plain(rule)}"
            for one in on_file
            for row in one.requirements
            if row["requirement"] in needed and row["requirement_set"] in sets and (rule := rule_of(row))
        )
    )

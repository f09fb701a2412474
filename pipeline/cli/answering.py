"""Commands that answer others for the wire: contain, declare."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.plant_units import InUnits
from pipeline.cli.showing import JSON, STORE, print_alarms, print_json, print_table, tell_of_wait
from pipeline.cli.typed import metres_of, moment_of, told_or_refused
from pipeline.errors import Complaint, ReelproofError
from pipeline.length.reel_places import COUNTED
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.proofs.declaring import Declared
    from pipeline.record.touched_wire import Contained, Question
    from pipeline.store.database import Store


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(contain)
    app.command()(declare)


def contain(
    kind: str = typer.Argument(
        metavar="KIND", help="lot, gauge, limit, software, element, run, reel, length or window."
    ),
    name: str = typer.Argument("", metavar="ID", help="Which one; nothing for a window."),
    start: str | None = typer.Option(
        None, "--from", help="From when on it is suspect; for run, reel and length from where, as 1,200ft."
    ),
    end: str | None = typer.Option(None, "--to", help="Up to when, or up to where."),
    from_core: bool = typer.Option(
        False, "--from-core", help="Places of a reel or length count from its core end instead."
    ),
    residence: float = typer.Option(
        60.0, "--residence", min=0.0, help="Mean residence of the melt from hopper to die [s]."
    ),
    role: str = typer.Option(
        "", "--role", help="Your role; with --reason the question is put into the journal."
    ),
    reason: str = typer.Option("", "--reason", help="Why you ask."),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """List every reel and shipped length a suspect touches. In house first, then not known, then shipped.

    Example: reelproof contain lot PVC-7741 --store store

    Example: reelproof contain gauge L1-WG --from 2026-03-01 --role "quality engineer" --reason "drifted"
    """
    from pipeline.acts.containing import note_containment
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.record.touched_wire import contained
    from pipeline.store.database import open_to_read, open_to_write

    with open_to_read(store) as opened:
        asked = _question(opened, kind, name, start, end, residence)
        answer = contained(opened, _from_core(opened, asked) if from_core else asked)
        shown = InUnits(unit_of_plant(opened))
    number = ""
    if role.strip() or reason.strip():
        told_or_refused(f"containment of {kind} {name}".rstrip(), role, reason)
        with open_to_write(store, on_wait=tell_of_wait) as opened:
            number = note_containment(opened, answer, role, reason)
    print_json(_contained_as_json(answer, number)) if as_json else _print_contained(answer, number, shown)
    return 0


def _question(
    store: Store, kind: str, name: str, start: str | None, end: str | None, residence: float
) -> Question:
    import math

    from pipeline.record.touched_wire import OF_WIRE, Question

    if kind in OF_WIRE:
        low = -math.inf if start is None else metres_of(start, "--from")
        high = math.inf if end is None else metres_of(end, "--to")
        if high < low:
            raise ReelproofError(
                Complaint("--to", f"'{end}' lies before '{start}'", "Give the start before the end")
            )
        return Question(kind, name, span=(low, high), residence_s=residence)
    from pipeline.record.plant_sheet_on_file import plant_zone

    zone = plant_zone(store)
    return Question(
        kind,
        name,
        moment_of(start, zone, "--from") if start else None,
        moment_of(end, zone, "--to") if end else None,
        residence_s=residence,
    )


def _from_core(store: Store, asked: Question) -> Question:
    """The question with its places, which were counted from the core end, from the outer end.

    Raises:
        ReelproofError: it is about no reel or length, or no place was given.
    """
    from dataclasses import replace

    from pipeline.lots.genealogy import WHOLE
    from pipeline.record.from_core import span_from_core

    if asked.kind not in ("reel", "length"):
        raise ReelproofError(
            Complaint(
                "--from-core",
                f"a {asked.kind} has no core end",
                "Give it for a reel or a length, or leave it out",
            )
        )
    if asked.span == WHOLE:
        raise ReelproofError(
            Complaint("--from-core", "no place was given", "Give --from or --to, or leave it out")
        )
    return replace(asked, span=span_from_core(store, asked.name, asked.span))


def _contained_as_json(answer: Contained, number: str) -> dict[str, object]:
    return {
        "suspect": answer.question.told,
        "containment_id": number,
        "in_house_m": answer.in_house_m,
        "not_known_m": answer.not_known_m,
        "shipped_m": answer.gone_m,
        "touched": [
            {
                "length_id": one.length_id,
                "kind": one.kind,
                "reel_id": one.reel_id,
                "run_id": one.run_id,
                "length_m": one.length_m,
                "spans_from_outer_end_m": [list(span) for span in one.spans],
                "where": one.where,
                "state": one.state,
                "in_house_m": one.in_house_m,
                "standing": one.standing,
                "path": list(one.path),
            }
            for one in answer.touched
        ],
        "runs": list(answer.runs),
        "shipments": dict(answer.shipments),
        "notes": list(answer.notes),
        "alarms": list(answer.alarms),
    }


def _print_contained(answer: Contained, number: str, shown: InUnits) -> None:
    print_alarms(answer.alarms, shown.unit)
    unknown = f" {shown.length(answer.not_known_m)} not known," if answer.not_known_m else ""
    print(
        f"{shown.sentence(answer.question.told)}: "
        f"{counted(len(answer.touched), 'reel or cut length', 'reels and cut lengths')} touched, "
        f"{shown.length(answer.in_house_m)} in house,{unknown} {shown.length(answer.gone_m)} shipped."
    )
    print_table(
        (
            "Length",
            "Run",
            f"From {shown.unit}",
            f"To {shown.unit}",
            f"Of {shown.unit}",
            "Where",
            "Standing",
            "How it is reached",
        ),
        [
            (
                one.length_id,
                one.run_id,
                shown.figure(low),
                shown.figure(high),
                shown.figure(one.length_m),
                one.where,
                one.standing,
                " > ".join(one.path),
            )
            for one in answer.touched
            for low, high in one.spans
        ],
    )
    for shipment, to_place in answer.shipments.items():
        print(f"Shipment {shipment} went to {to_place}.")
    for note in answer.notes:
        print(shown.sentence(note))
    print(f"{COUNTED} Holding and recalling are a person's decision.")
    if number:
        print(f"Put into the journal as {number}.")


def declare(
    names: list[str] = typer.Argument(metavar="LOT|REEL", help="Lots, shipments, reels or cut lengths."),
    issuer: Path = typer.Option(
        ..., "--issuer", help="The issuer's sheet: who declares, to which documents."
    ),
    number: str = typer.Option("", "--number", help="Its number; the next free one of the year by default."),
    role: str = typer.Option("", "--role", help="Your role in the plant; needed unless --check is given."),
    check: bool = typer.Option(False, "--check", help="Only say whether the evidence carries it."),
    pdf: Path | None = typer.Option(None, "--pdf", help="Write it as this PDF as well."),
    epcis: Path | None = typer.Option(
        None, "--epcis", help="Write the wire's events as this EPCIS 2.0 file as well."
    ),
    store: Path = STORE,
    as_json: bool = JSON,
) -> int:
    """Draft a declaration of conformity, or say what it lacks. It follows ISO/IEC 17050-1; a person signs
    it.

    The issuer's sheet is TOML: [issuer] with name, address, place, signatory and function; a [[documents]] with
    name and edition for each document; a [[tests]] with document, test, result, conforms, report, on and, where
    the line cannot judge it, requirement, for each test the plant made; [naming] with base for --epcis.

    Example: reelproof declare L2-0511-01 L2-0511-02 --issuer issuer.toml --role "quality manager"
    """
    import json
    from dataclasses import asdict

    from pipeline.proofs.declaring import declaration_text
    from pipeline.proofs.declaring import declare as drafted
    from pipeline.proofs.shared_events import events_of_wire
    from pipeline.record.issuer_sheet import read_issuer_sheet
    from pipeline.store.database import open_to_read, open_to_write

    sheet = read_issuer_sheet(issuer)
    _check_free(pdf, epcis)
    if not check and not role.strip():
        raise ReelproofError(
            Complaint("declare", "the role of the person who drafts it is missing", "Give --role, or --check")
        )
    with open_to_read(store) as opened:
        events = events_of_wire(opened, names, sheet) if epcis is not None else None
        if check:
            done = drafted(opened, names, sheet, number=number, keep=False)
    if not check:
        with open_to_write(store, on_wait=tell_of_wait) as opened:
            done = drafted(opened, names, sheet, number=number, role=role)
    if pdf is not None:
        with open_to_read(store) as opened:
            pdf.write_bytes(_declaration_pdf(opened, done, role))
    if epcis is not None:
        epcis.write_text(json.dumps(events, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    if as_json:
        print_json(
            {
                "declaration": asdict(done.declaration),
                "wire": list(done.wire),
                "text_sha256": done.text_sha256,
                "journal_entry": done.entry_no or None,
            }
        )
        return 0
    print(declaration_text(done.declaration), end="")
    print(
        f"\nSHA-256 of this text: {done.text_sha256}"
        + (f", journal entry {done.entry_no}." if done.entry_no else "")
    )
    print("A draft until the person named has signed it.")
    return 0


def _check_free(*paths: Path | None) -> None:
    taken = [path for path in paths if path is not None and path.exists()]
    if taken:
        raise ReelproofError(
            Complaint(str(path), "there is a file of that name already", "Name another file, or move it")
            for path in taken
        )


def _declaration_pdf(store: Store, done: Declared, role: str) -> bytes:
    from datetime import UTC, datetime

    from dashboards.fillers.plant import plant_of
    from dashboards.fillers.rows import stamp_of
    from dashboards.fillers.run_book import run_books
    from pipeline.lots.journal import anchor_of
    from pipeline.record.journal_on_file import journal_of
    from pipeline.reports.declaration import declaration_pdf
    from pipeline.reports.typesetting import Printing

    books = run_books(store)
    stamp = stamp_of([book for book in books if book.run_id in done.runs])
    return declaration_pdf(
        done.declaration,
        plant_of(store, books),
        stamp,
        Printing(role or "reelproof", datetime.now(UTC), journal_root=str(anchor_of(journal_of(store)))),
    )

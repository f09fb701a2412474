"""The record of the lot page: the runs and reels a material lot went into, and what happened in order."""

from __future__ import annotations

import json
import tomllib

from dashboards.fillers.decisions import disposition_rows
from dashboards.fillers.rows import finding_row, product_row, reel_row, stamp_of
from dashboards.fillers.run_book import Row, RunBook, aware
from dashboards.page_notes import PageNote
from dashboards.records import (
    CalibrationRow,
    DispositionRow,
    Edge,
    Evidence,
    JudgementEdition,
    LotEvent,
    LotHistory,
    Node,
    Plant,
)
from pipeline.lots.journal import told_of_record
from pipeline.messages import message
from pipeline.store.said_columns import told_of
from pipeline.words import material_name


def lots_of(books: list[RunBook]) -> dict[str, list[RunBook]]:
    """The runs of each lot, by lot number."""
    found: dict[str, list[RunBook]] = {}
    for book in books:
        for lot in {row["lot"] for row in book.materials}:
            found.setdefault(lot, []).append(book)
    return dict(sorted(found.items()))


def _holds(book: RunBook, lot: str, reel: Row) -> bool:
    """Whether a reel holds wire made with the lot: their stretches of the counter meet."""
    for row in book.materials:
        if row["lot"] != lot:
            continue
        start = row["from_m"] if row["from_m"] is not None else float("-inf")
        end = row["to_m"] if row["to_m"] is not None else float("inf")
        if start < reel.get("to_counter_m", float("inf")) and end > reel.get("from_counter_m", 0.0):
            return True
    return False


def lot_history(plant: Plant, lot: str, books: list[RunBook]) -> LotHistory:
    """Everything the lot page shows."""
    materials = sorted(
        {material_name(row["material"]) for book in books for row in book.materials if row["lot"] == lot}
    )
    held = [(book, row) for book in books for row in book.reels if _holds(book, lot, row)]
    ids = {row["reel_id"] for _, row in held}
    findings = tuple(
        finding_row(book, row) for book in books for row in book.findings if row["reel_id"] in ids
    )
    nodes = [Node(lot, "material lot", lot, ", ".join(materials))]
    edges: list[Edge] = []
    for book in books:
        nodes.append(Node(book.run_id, "run", book.run_id, product_row(book).label))
        edges.extend(
            Edge(lot, book.run_id, row["from_m"], row["to_m"]) for row in book.materials if row["lot"] == lot
        )
    for book, row in held:
        nodes.append(Node(row["reel_id"], "reel", row["reel_id"], book.standings[row["reel_id"]].code))
        edges.append(Edge(book.run_id, row["reel_id"], row.get("from_m"), row.get("to_m")))
    where_next = [one for book in books for one in _where_next(book, ids)]
    nodes += dict.fromkeys(node for node, _ in where_next)
    edges += [edge for _, edge in where_next]
    subjects = [*sorted(ids), *(one.finding_id for one in findings)]
    subjects += [node.node_id for node in nodes if node.kind == "shipment"]
    unknown = sum(row["wall_unmonitored_m"] for _, row in held)
    return LotHistory(
        plant=plant,
        lot_id=lot,
        title=f"{' and '.join(materials).capitalize()} lot {lot}",
        nodes=tuple(nodes),
        edges=tuple(edges),
        reels=tuple(reel_row(book, row, only_wall_at_any_point=True) for book, row in held),
        events=tuple(sorted((*_events(books, ids), *_told(books, subjects)), key=lambda event: event.at)),
        findings=findings,
        dispositions=_dispositions(books, subjects),
        calibrations=_calibrations(books),
        editions=_editions(books),
        covered_m=sum(row["length_m"] for _, row in held) - unknown,
        unmonitored_m=unknown,
        stamp=stamp_of(books, ids),
    )


def _where_next(book: RunBook, reels: set[str]) -> list[tuple[Node, Edge]]:
    """Cut lengths and shipments that wire of the lot went into."""
    found = []
    for row in book.cuts:
        if row["reel_id"] in reels:
            edge = Edge(row["reel_id"], row["length_id"], row["from_outer_m"], row["to_outer_m"])
            if row["source_id"] not in ("", row["reel_id"]):
                edge = Edge(row["source_id"], row["length_id"])
            found.append((Node(row["length_id"], "cut length", row["length_id"], row["use"]), edge))
            if row["shipment"]:
                node = Node(row["shipment"], "shipment", row["shipment"], row["to_place"])
                found.append((node, Edge(row["length_id"], row["shipment"])))
    found += [
        (
            Node(row["shipment"], "shipment", row["shipment"], row["to_place"]),
            Edge(row["item"], row["shipment"]),
        )
        for row in book.reels_shipped
        if row["item"] in reels
    ]
    return found


def _dispositions(books: list[RunBook], subjects: list[str]) -> tuple[DispositionRow, ...]:
    """Every decision on the lot's reels and findings, oldest first."""
    rows = [row for book in books for subject in subjects for row in disposition_rows(book, subject)]
    return tuple(sorted(rows, key=lambda row: int(row.journal_entry)))


def _told(books: list[RunBook], subjects: list[str]) -> list[LotEvent]:
    """Decisions, cuts and shipments of the lot's reels, as the journal keeps them."""
    events = []
    for subject in subjects:
        for row in books[0].store.ask("questions/entries_of_subject", subject=subject):
            record = json.loads(row["record"])["record"]
            events.append(
                LotEvent(
                    aware(row["at_utc"]),
                    row["kind"],
                    told_of_record(record) or "",
                    record.get("role", ""),
                    node_id=subject,
                    digest=row["chain_sha256"],
                )
            )
    return events


def _events(books: list[RunBook], reels: set[str]) -> tuple[LotEvent, ...]:
    events = []
    for book in books:
        head = book.head
        events.append(
            LotEvent(
                aware(head["started_utc"]),
                "extruded",
                f"Run {book.run_id} started on line {head['line']}, {head['shift']}.",
                head["operator_role"],
                node_id=book.run_id,
            )
        )
        events.append(
            LotEvent(aware(head["ended_utc"]), "run ended", f"Run {book.run_id} ended.", node_id=book.run_id)
        )
        events.extend(
            LotEvent(
                aware(row["at_utc"]),
                row["kind"],
                f"Run {book.run_id}: {row['kind']} put on file as journal entry {row['entry_no']}.",
                node_id=book.run_id,
                digest=row["chain_sha256"],
            )
            for row in book.store.ask("questions/entries_of_subject", subject=book.run_id)
        )
        if book.is_judged:
            events.extend(
                LotEvent(
                    aware(head["assessed_utc"]),
                    "finding",
                    message(
                        PageNote.FINDING_ON_REEL,
                        finding=row["finding_id"],
                        reel=row["reel_id"],
                        told=told_of(row),
                    ),
                    evidence=Evidence(finding_id=row["finding_id"]),
                    node_id=row["reel_id"],
                )
                for row in book.findings
                if row["reel_id"] in reels
            )
    return tuple(sorted(events, key=lambda event: event.at))


def _calibrations(books: list[RunBook]) -> tuple[CalibrationRow, ...]:
    rows: dict[str, CalibrationRow] = {}
    for book in books:
        sheet = book.shelf.sheet(book.head["line_sheet_sha256"])
        if not sheet:
            continue
        day = book.head["shift_date"]
        for one in tomllib.loads(sheet)["line"]["instruments"]:
            due = one.get("calibration_due")
            known = rows.get(one["id"])
            in_date = None if due is None else day <= due and (known is None or known.in_date is not False)
            rows[one["id"]] = CalibrationRow(
                one["id"], one["kind"], str(one.get("calibrated") or ""), str(due or ""), in_date
            )
    return tuple(rows.values())


def _editions(books: list[RunBook]) -> tuple[JudgementEdition, ...]:
    return tuple(
        JudgementEdition(
            str(row["assessment_id"]),
            aware(row["assessed_utc"]),
            row["plant_sheet_sha256"][:12],
            f"reelproof {row['software']}",
            f"Run {book.run_id}: {row['outcome']}",
            row["assessment_id"] == book.head["assessment_id"],
        )
        for book in books
        for row in book.store.ask("questions/assessments_of_run", run_id=book.run_id)
    )

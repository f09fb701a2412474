"""Print: a shift, a finding, a lot or a morning sheet as a PDF, from the same record its page shows.

A finding on paper: what was found, how sure it is, what was decided, and the lines of the log behind it.

The morning sheet on paper: one sheet for a day, a week or a month.

The history of a lot on paper: family, reels, everything that happened in order, and what it was judged on.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, cast, get_args

from dashboards.fillers.finding import finding_review
from dashboards.fillers.lot import lot_history, lots_of
from dashboards.fillers.morning import days_of, morning_days, morning_sheet
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.fillers.shift import shift_review, shifts_of
from dashboards.records.morning import Period
from pipeline.errors import Complaint, NotFoundError
from pipeline.lots.journal import anchor_of
from pipeline.record.journal_on_file import journal_of, newest_signed
from pipeline.record.not_found import not_on_file

if TYPE_CHECKING:
    from dashboards.fillers.run_book import RunBook
    from dashboards.records import Plant
    from dashboards.records.morning import MorningSheet
    from pipeline.lots.journal import Anchor
    from pipeline.store.database import Store
from typing import Any

from dashboards.pages.morning import (
    MOST_CAUSES,
    MOST_DECISIONS,
    MOST_OPEN,
    amount_of,
    bars,
    sheet_id,
    sheet_title,
)
from dashboards.records import Edge, Evidence, FindingReview, FindingRow, LotHistory
from dashboards.records.morning import MorningSheet
from dashboards.rendering import day
from dashboards.site import record_sha256
from dashboards.table_cells import limit_source
from pipeline.reports.shift_summary import reel_data
from pipeline.reports.typesetting import Printing, Wording, shared_data, typeset
from pipeline.words import counted


def _edges(record: LotHistory, wording: Wording) -> list[dict[str, str]]:
    named = {node.node_id: f"{node.kind} {node.label}" for node in record.nodes}

    def over(edge: Edge) -> str:
        return "all of it" if edge.from_m is None else wording.stretch(edge.from_m, edge.to_m)

    return [
        {
            "from": named.get(edge.from_node, edge.from_node),
            "to": named.get(edge.to_node, edge.to_node),
            "over": over(edge),
        }
        for edge in record.edges
    ]


def lot_history_pdf(record: LotHistory, printing: Printing) -> bytes:
    """The history of a lot as a PDF.

    Args:
        record: what it holds, the same as the page's.
        printing: who prints it, when, by which revision of the form.
    """
    wording = Wording(record.plant)
    held = {True: "in date", False: "out of date", None: "not known"}
    data = {
        **shared_data(record.plant, record.stamp, record_sha256(record), printing, "lot history"),
        "title": record.title,
        "question": "Where did this lot come from and go, and what is on file about it?",
        "subtitle": f"Lot {record.lot_id}",
        "totals": [
            ["Reels", str(len(record.reels))],
            ["With trustworthy evidence", wording.quantity(record.covered_m, "length")],
            ["Without", wording.quantity(record.unmonitored_m, "length")],
            ["Findings", str(len(record.findings))],
        ],
        "edges": _edges(record, wording),
        "reels": [reel_data(reel, wording) for reel in record.reels],
        "events": [
            {
                "at": wording.moment(one.at),
                "kind": one.kind,
                "sentence": wording.sentence(one.sentence),
                "role": one.role,
                "digest": one.digest[:16],
            }
            for one in record.events
        ],
        "findings": [
            {
                "id": one.finding_id,
                "status": one.status,
                "where": f"run {one.run_id}, {', '.join(one.reel_ids)}, {wording.on_reel(one)}",
                "sentence": wording.sentence(one.sentence),
            }
            for one in record.findings
        ],
        "dispositions": [wording.disposition(one) for one in record.dispositions],
        "editions": [
            [
                f"{one.assessment_id}{' (current)' if one.is_current else ''}",
                wording.moment(one.assessed_at),
                f"revision {one.revision}",
                one.program,
                one.outcome,
            ]
            for one in record.editions
        ],
        "calibrations": [
            [
                one.instrument_id,
                one.kind,
                one.calibrated or "not known",
                one.due or "not known",
                held[one.in_date],
            ]
            for one in record.calibrations
        ],
        "manifest": [list(one) for one in record.manifest],
    }
    return typeset("lot.typ", data, printing.at)


GROUPS = (
    ("released", "Released"),
    ("releasable", "Releasable"),
    ("held", "Held"),
    ("no conclusion", "No conclusion"),
    ("shipped", "Shipped"),
    ("gone", "Scrapped or cut"),
)


def _money(cost: float | None, currency: str) -> str:
    return "no price on file" if cost is None else f"{cost:,.0f}\u00a0{currency}"


def _open_row(one: FindingRow, record: MorningSheet, wording: Wording) -> list[str]:
    days = (record.as_of - one.opened_at).total_seconds() / 86400.0 if one.opened_at else None
    due = record.plant.due_at(one.severity, one.opened_at)
    return [
        one.finding_id,
        one.severity,
        ", ".join(one.reel_ids) or "on no reel",
        one.requirement or one.rule.replace("-", " "),
        record.plant.owner_of(one.severity) or "none named",
        wording.moment(due) if due else "\u2013",
        "not known" if days is None else "under 1 day" if days < 1.0 else counted(round(days), "day"),
    ]


def morning_pdf(record: MorningSheet, printing: Printing) -> bytes:
    """The sheet as a PDF of one page.

    Args:
        record: what it holds, the same as the page's.
        printing: who prints it, when, by which revision of the form.
    """
    wording = Wording(record.plant)
    sums: list[list[str]] = [["Made", wording.quantity(record.made.length_m, "length")]]
    for name, label in GROUPS:
        one = amount_of(record, name)
        sums.append([f"{label}, {counted(one.reels, 'reel')}", wording.quantity(one.length_m, "length")])
    scrap = f"{wording.quantity(record.scrap_m, 'length')}, {_money(record.scrap_cost, record.currency)}"
    data: dict[str, Any] = {
        **shared_data(record.plant, record.stamp, record_sha256(record), printing, "morning sheet"),
        "title": sheet_title(record),
        "question": "What was made, what is held, and what is open?",
        "subtitle": f"As of {wording.moment(record.as_of)}. Costs are of insulation compound only.",
        "sheet": sheet_id(record),
        "sums": sums,
        "scrap": scrap,
        "causes": [
            [
                wording.sentence(one.cause),
                str(one.findings),
                wording.quantity(one.length_m, "length"),
                _money(one.cost, record.currency),
            ]
            for one in record.causes[:MOST_CAUSES]
        ],
        "open_count": len(record.open_findings),
        "open": [_open_row(one, record, wording) for one in record.open_findings[:MOST_OPEN]],
        "bars": [list(heights) for _, *heights in bars(record.trend)],
        "days": [f"{record.trend[0].day}", f"{record.trend[-1].day}"],
        "most": wording.quantity(max(one.made_m for one in record.trend), "length"),
        "since": day(record.from_day),
        "decisions": [
            f"{one.finding_id or one.reel_id}: {one.decision} by {one.role}, {wording.moment(one.decided_at)}"
            for one in record.decisions[:MOST_DECISIONS]
        ],
        "more_decisions": max(len(record.decisions) - MOST_DECISIONS, 0),
    }
    return typeset("morning.typ", data, printing.at)


def _evidence(one: Evidence, wording: Wording) -> dict[str, str]:
    return {
        "place": wording.quantity(one.at_m, "place"),
        "instrument": one.instrument_id,
        "row": "" if one.row is None else str(one.row),
        "log": one.file + ("" if one.line is None else f":{one.line}"),
        "sha256": one.file_sha256,
    }


def nonconformance_report_pdf(
    record: FindingReview, printing: Printing, second_person: bool = False
) -> bytes:
    """The nonconformance report of one finding as a PDF.

    Args:
        record: what it holds, the same as the page's.
        printing: who prints it, when, by which revision of the form.
        second_person: whether the plant's rule asks a second person to sign.
    """
    wording, one = Wording(record.plant), record.finding
    kind = "diameter" if "diameter" in one.requirement else ""
    facts = [
        ["Requirement", one.requirement or one.rule.replace("-", " ")],
        [
            "Limit",
            f"{wording.limit(one.limit)}, {limit_source(one.limit)}" if one.limit else "none on file",
        ],
        ["Worst reading", wording.extreme(one.worst, one.limit, kind)],
        ["Where on the reel", wording.on_reel(one)],
        ["Where on the run", wording.stretch(one.from_m, one.to_m)],
        ["Run, line, product", ", ".join((one.run_id, one.line_id, record.product.label))],
        ["Reels", ", ".join(one.reel_ids) or "on no reel"],
        ["Seen by", ", ".join(one.instruments) or "not known"],
        ["Likely cause", wording.sentence(one.cause) or "not known"],
        ["Material lots", ", ".join(f"{lot.material} {lot.lot_id}" for lot in record.lots) or "not known"],
        [
            "Opened, closed",
            f"{wording.moment(one.opened_at)}, {wording.moment(one.closed_at) if one.closed_at else 'not closed'}",
        ],
        ["Uncertainty", " ".join(wording.sentence(one) for one in record.how_sure) or "not told"],
    ]
    listed = record.evidence or ((one.worst.evidence,) if one.worst else ())
    data = {
        **shared_data(record.plant, record.stamp, record_sha256(record), printing, "nonconformance report"),
        "title": f"Nonconformance {one.finding_id}",
        "question": "What was found, how sure is it, and what was decided?",
        "subtitle": "",
        "status": one.status,
        "severity": one.severity,
        "sentence": wording.sentence(one.sentence),
        "facts": facts,
        "answers": [wording.answer(answer) for answer in record.answers],
        "proposal": wording.sentence(one.proposal),
        "repair_guide": [wording.sentence(text) for text in record.repair_guide],
        "dispositions": [wording.disposition(act) for act in record.dispositions],
        "evidence": [_evidence(each, wording) for each in listed],
        "signatures": ["Quality engineer", "Second person"] if second_person else ["Quality engineer"],
    }
    return typeset("nonconformance.typ", data, printing.at)


KINDS = ("shift", "finding", "lot", *get_args(Period))


def printed(store: Store, kind: str, wanted: str, by: str, at: datetime) -> bytes:
    """The printed record of one shift, finding or lot, or the sheet of a day, a week or a month.

    Args:
        store: the store, open to read.
        kind: one of `KINDS`.
        wanted: id of the shift (as in its page's name), finding or lot, or a production day.
        by: role of who prints.
        at: when; the same record at the same time is the same bytes.

    Raises:
        NotFoundError: there is no such record; the nearest are named.
    """
    from pipeline.reports.shift_summary import shift_summary_pdf
    from pipeline.reports.typesetting import Printing

    books = run_books(store)
    plant = plant_of(store, books)
    journal = journal_of(store)
    printing = Printing(by, at, journal_root=str(anchor_of(journal)), signed_root=newest_signed(journal))
    if kind == "shift":
        shifts = dict(shifts_of(books))
        if wanted not in shifts:
            raise not_on_file("shift", wanted, list(shifts))
        shown = run_books(store, [book.head for book in shifts[wanted]])
        return shift_summary_pdf(shift_review(plant, wanted, shown), printing)
    if kind in get_args(Period):
        return morning_pdf(_sheet(plant, books, cast("Period", kind), wanted, at), printing)
    if kind == "lot":
        lots = lots_of(books)
        if wanted not in lots:
            raise not_on_file("lot", wanted, list(lots))
        return lot_history_pdf(lot_history(plant, wanted, lots[wanted]), printing)
    if kind == "finding":
        found = {row["finding_id"]: (book, row) for book in books for row in book.findings}
        if wanted not in found:
            raise not_on_file("finding", wanted, list(found))
        book, row = found[wanted]
        return nonconformance_report_pdf(finding_review(plant, book, row, books), printing)
    raise NotFoundError(
        Complaint(kind, "this kind of record is not printed", f"It may be {', '.join(KINDS)} or tag")
    )


def _sheet(plant: Plant, books: list[RunBook], kind: Period, wanted: str, at: datetime) -> MorningSheet:
    """The sheet of a day, of the week that it ends, or of its month."""
    try:
        day = date.fromisoformat(wanted)
    except ValueError:
        raise NotFoundError(
            Complaint(wanted, "this is no date", "Write the production day as 2026-03-03")
        ) from None
    first, last = days_of(kind, day)
    days = morning_days(books)
    if not any(first <= one <= last for one in days):
        raise not_on_file("production day", wanted, [one.isoformat() for one in days])
    return morning_sheet(plant, books, kind, day, at)


def printed_history(store: Store, lot: str, by: str, at: datetime, anchor: Anchor) -> bytes:
    """A lot's history as its pack holds it.

    Args:
        store: the store, open to read.
        lot: a lot on file.
        by: role of who exports it.
        at: when.
        anchor: the journal as it stands.
    """
    from pipeline.reports.typesetting import Printing

    books = run_books(store)
    record = lot_history(plant_of(store, books), lot, lots_of(books)[lot])
    return lot_history_pdf(record, Printing(by or "reelproof", at, journal_root=str(anchor)))

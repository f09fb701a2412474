"""Print: a shift, a finding, a lot or a morning sheet as a PDF, from the same record its page shows."""

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
    from pipeline.reports.lot_history import lot_history_pdf
    from pipeline.reports.morning_report import morning_pdf
    from pipeline.reports.nonconformance_report import nonconformance_report_pdf
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
        Complaint(kind, "this kind of record is not printed", f"It may be {', '.join(KINDS)}")
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
    from pipeline.reports.lot_history import lot_history_pdf
    from pipeline.reports.typesetting import Printing

    books = run_books(store)
    record = lot_history(plant_of(store, books), lot, lots_of(books)[lot])
    return lot_history_pdf(record, Printing(by or "reelproof", at, journal_root=str(anchor)))

"""The record of the index page: every shift, run, reel and lot on file, newest first."""

from __future__ import annotations

from dashboards.fillers.rows import product_row, stamp_of
from dashboards.fillers.run_book import RunBook
from dashboards.fillers.shift import shift_name
from dashboards.fillers.standings import alarms_of
from dashboards.records import GATE_OF, LotEntry, PageEntry, Plant, ReelEntry, RunEntry, ShiftEntry, SiteIndex
from dashboards.records.site_pages import FindingEntry


def site_index(
    plant: Plant,
    shifts: list[tuple[str, list[RunBook]]],
    lots: dict[str, list[RunBook]],
    pages: tuple[PageEntry, ...],
) -> SiteIndex:
    """Everything the index page shows."""
    books = [book for _, group in shifts for book in group]
    reels = [
        ReelEntry(
            row["reel_id"],
            book.run_id,
            product_row(book).label,
            book.head["shift_date"],
            book.standings[row["reel_id"]].code,
            row["length_m"],
            tuple(sorted({one["lot"] for one in book.materials})),
            book.standings[row["reel_id"]].headline,
        )
        for book in books
        for row in book.reels
    ]
    return SiteIndex(
        plant=plant,
        shifts=tuple(_shift(shift_id, group) for shift_id, group in reversed(shifts)),
        runs=tuple(
            RunEntry(
                book.run_id,
                book.head["line"],
                product_row(book).label,
                book.head["shift_date"],
                book.shift_id,
                book.head["made_m"] or 0.0,
            )
            for book in reversed(books)
        ),
        reels=tuple(reversed(reels)),
        lots=tuple(_lot(lot, group) for lot, group in lots.items()),
        pages=pages,
        left_held=alarms_of(books),
        findings=tuple(one for book in reversed(books) for one in _findings(book)),
        stamp=stamp_of(books),
    )


def _findings(book: RunBook) -> list[FindingEntry]:
    still_open = {row["finding_id"] for row in book.open_findings}
    return [
        FindingEntry(
            row["finding_id"],
            "open" if row["finding_id"] in still_open else "closed",
            row["requirement"] or row["rule"].replace("-", " "),
            row["cause"] or "",
            row["reel_id"] or "",
            row["severity"],
        )
        for row in book.findings
    ]


def _shift(shift_id: str, books: list[RunBook]) -> ShiftEntry:
    gates = [GATE_OF[one.code] for book in books for one in book.standings.values()]
    return ShiftEntry(
        shift_id,
        shift_name(books[0].head["shift"]),
        books[0].head["shift_date"],
        tuple(sorted({book.head["line"] for book in books})),
        gates.count("releasable"),
        gates.count("held"),
        gates.count("no conclusion"),
        sum(len(book.open_findings) for book in books),
        gates.count("released"),
        gates.count("gone"),
        gates.count("left"),
    )


def _lot(lot: str, books: list[RunBook]) -> LotEntry:
    materials = sorted({row["material"] for book in books for row in book.materials if row["lot"] == lot})
    return LotEntry(
        lot,
        ", ".join(materials),
        sum(len(book.reels) for book in books),
        min(book.head["shift_date"] for book in books),
    )

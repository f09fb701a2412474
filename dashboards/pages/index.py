"""The index: every shift, and a search over runs, reels, lots, products and dates.

The record of the index page: every shift, run, reel and lot on file, newest first.
"""

from __future__ import annotations

import hashlib
import json

from dashboards.addresses import PageKind, address
from dashboards.fillers.rows import product_row, stamp_of
from dashboards.fillers.run_book import RunBook
from dashboards.fillers.shift import shift_name
from dashboards.records import GATE_OF, LotEntry, PageEntry, Plant, ReelEntry, RunEntry, ShiftEntry, SiteIndex
from dashboards.records.site_pages import FindingEntry, LengthEntry, ShipmentEntry
from dashboards.rendering import day as day_in_words
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile, write_if_changed
from pipeline.words import counted, material_name


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
        findings=tuple(one for book in reversed(books) for one in _findings(book)),
        lengths=tuple(
            LengthEntry(one.length_id, one.reel_id, one.use, one.code)
            for book in reversed(books)
            for now in book.standings.values()
            for one in now.lengths
        ),
        shipments=tuple(
            ShipmentEntry(
                one.shipment, one.item, now.reel_id, one.to_place, one.at_utc.date() if one.at_utc else None
            )
            for book in reversed(books)
            for now in book.standings.values()
            for one in now.left
        ),
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
    materials = sorted(
        {material_name(row["material"]) for book in books for row in book.materials if row["lot"] == lot}
    )
    return LotEntry(
        lot,
        ", ".join(materials),
        sum(len(book.reels) for book in books),
        min(book.head["shift_date"] for book in books),
    )


SHIFTS_LISTED = 200


def search_entries(record: SiteIndex, site: Site) -> list[list[str]]:
    """What the search looks through: kind, label, note, address, further words."""

    def at(kind: PageKind, record_id: str) -> str:
        return address(kind, record_id) if site.links_to(kind, record_id) else ""

    found = [
        [
            "shift",
            one.shift,
            f"{one.day}, {', '.join(one.lines)}",
            at("shift", one.shift_id),
            f"{one.shift_id} {day_in_words(one.day)}",
        ]
        for one in record.shifts
    ]
    found += [
        [
            "run",
            one.run_id,
            f"{one.day}, {one.line_id}, {one.product}",
            at("run", one.run_id),
            f"{one.shift_id} {day_in_words(one.day)}",
        ]
        for one in record.runs
    ]
    found += [
        [
            "reel",
            one.reel_id,
            f"{one.standing}, {one.day}, {one.product}",
            at("reel", one.reel_id),
            " ".join((one.run_id, *one.lot_ids, day_in_words(one.day))),
        ]
        for one in record.reels
    ]
    found += [
        [
            "lot",
            one.lot_id,
            f"{one.material}, {counted(one.reels, 'reel')}",
            at("lot", one.lot_id),
            str(one.first_day or ""),
        ]
        for one in record.lots
    ]
    found += [
        [
            "finding",
            one.finding_id,
            ", ".join(part for part in (one.status, one.severity, one.requirement, one.cause) if part),
            at("finding", one.finding_id),
            # Whoever is to decide on it finds it by the role.
            f"{one.reel_id} {record.plant.owner_of(one.severity) if one.status == 'open' else ''}",
        ]
        for one in record.findings
    ]
    found += [
        [
            "length",
            one.length_id,
            f"{one.use}, {one.standing}, cut from {one.reel_id}",
            at("reel", one.reel_id),
            "",
        ]
        for one in record.lengths
    ]
    found += [
        [
            "shipment",
            one.shipment,
            f"{one.item} to {one.to_place}{f', {one.day}' if one.day else ''}",
            at("reel", one.reel_id),
            f"shipped {one.reel_id} {day_in_words(one.day) if one.day else ''}",
        ]
        for one in record.shipments
    ]
    return found + [["role", role, contact, "", "call"] for role, contact in record.plant.call]


def write_index_page(record: SiteIndex, site: Site) -> tuple[WrittenFile, WrittenFile]:
    """Writes the index and the script file its search looks through.

    Args:
        record: what it lists, newest first.
        site: where.
    """
    listed = json.dumps(search_entries(record, site), separators=(",", ":"), ensure_ascii=True)
    script = f"window.reelproofIndex={listed};\n".encode()
    data = write_if_changed(site, "data/index.js", script)
    mark = hashlib.sha256(script).hexdigest()[:8]
    page = write_page(site, "index", "", "index.html.j2", record, shown=SHIFTS_LISTED, data_mark=mark)
    return page, data

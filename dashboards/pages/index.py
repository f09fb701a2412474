"""The index: every shift, and a search over runs, reels, lots, products and dates."""

from __future__ import annotations

import hashlib
import json

from dashboards.addresses import PageKind, address
from dashboards.records import SiteIndex
from dashboards.rendering import day as day_in_words
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile, write_if_changed
from pipeline.words import counted

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
        ["run", one.run_id, f"{one.day}, {one.line_id}, {one.product}", at("run", one.run_id), one.shift_id]
        for one in record.runs
    ]
    found += [
        [
            "reel",
            one.reel_id,
            f"{one.standing}, {one.day}, {one.product}",
            at("reel", one.reel_id),
            " ".join((one.run_id, *one.lot_ids)),
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
            one.reel_id,
        ]
        for one in record.findings
    ]
    return found


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

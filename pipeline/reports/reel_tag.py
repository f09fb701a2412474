"""A reel's tag on paper: what it is, how it stood when it was printed, and a code that leads to how it stands now.

The code is a QR Code (ISO/IEC 18004) of the reel's address on the review site; where the plant has a GS1 company
prefix it is a GS1 Digital Link with the reel as an individual asset (application identifier 8004, from memory).
"""

from __future__ import annotations

import io
from datetime import datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import segno

from dashboards.fillers.plant import plant_of
from dashboards.fillers.rows import product_row
from dashboards.fillers.run_book import run_books
from pipeline.errors import Complaint, ReelproofError
from pipeline.record.not_found import reel_not_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.tags import note_tag, tags_of
from pipeline.reports.typesetting import Wording, typeset

if TYPE_CHECKING:
    from pipeline.sheets.plant_tags import Tags
    from pipeline.store.database import Store

# The most that application identifier 8004 holds (GS1 General Specifications, from memory).
LONGEST_ASSET = 30
# Modules of quiet zone that a reader needs around the code (ISO/IEC 18004, from memory).
QUIET = 4
CAUTION = (
    "A tag releases nothing. Scan it, or open the reel's page, for how the reel stands now. Qualified persons "
    "decide by the adopted standard, the local code and the plant's rules."
)


def address_of_tag(tags: Tags, reel_id: str, number: int) -> str:
    """What the code of a tag says.

    Args:
        tags: the plant's part of it.
        reel_id: the reel.
        number: the tag.
    """
    asset = f"{tags.gs1_prefix or ''}{reel_id}"
    if tags.gs1_prefix is None or len(asset) > LONGEST_ASSET:
        return f"{tags.address}/tag/{quote(reel_id, safe='')}/{number}"
    return f"{tags.address}/8004/{quote(asset, safe='')}?tag={number}"


def code_as_svg(text: str) -> str:
    """A QR Code of a text as an SVG picture; a quarter of it may be soiled (level Q)."""
    drawn = io.BytesIO()
    segno.make_qr(text, error="q", boost_error=False).save(drawn, kind="svg", border=QUIET, xmldecl=False)
    return drawn.getvalue().decode().strip()


def printed_tag(store: Store, reel_id: str, by: str, at: datetime) -> bytes:
    """The tag of a reel as a PDF; that it is printed is put in the journal.

    Args:
        store: the store, open to write.
        reel_id: the reel.
        by: role of who prints it.
        at: when.

    Raises:
        NotFoundError: there is no such reel.
        ReelproofError: the plant's sheet gives no address of a site.
    """
    found = store.ask("questions/reel", reel_id=reel_id)
    if not found:
        raise reel_not_on_file(store, reel_id)
    heads = [one for one in store.ask("questions/current_runs") if one["run_id"] == found[0]["run_id"]]
    (book,) = run_books(store, heads)
    tags = plant_sheet_of(store, book.run_id)[0].tags
    if tags.address is None:
        raise ReelproofError(
            Complaint(
                f"tag of {reel_id}",
                "the plant's sheet does not say where the review site is",
                'Enter under [tags] its address, as address = "https://review.example", and judge by that sheet',
            )
        )
    now = book.standings[reel_id]
    before = tags_of(store, reel_id)
    number = note_tag(store, now, by)
    wording = Wording(plant_of(store, [book]))
    text = address_of_tag(tags, reel_id, number)
    reprint = ""
    if before:
        last = before[-1]
        reprint = (
            f"Reprint {len(before)}. Tag {last.number} of {wording.moment(last.at_utc)} said: {last.code}."
        )
    data: dict[str, Any] = {
        "plant": wording.plant.name,
        "is_demo": wording.plant.is_demo,
        "reel": reel_id,
        "product": product_row(book).label,
        "length": wording.quantity(found[0]["length_m"], "length"),
        "lengths": [
            f"{one.length_id}: {wording.stretch(one.from_outer_m, one.to_outer_m)}" for one in now.lengths
        ],
        "standing": now.code,
        "headline": wording.sentence(now.headline),
        "alarms": [wording.sentence(one) for one in now.alarms],
        "made": f"{book.head['shift_date']}, run {book.run_id}, line {book.head['line']}",
        "printed": f"Tag {number}, printed {wording.moment(at)} by {by}",
        "reprint": reprint,
        "caution": CAUTION,
        "code": code_as_svg(text),
        "address": text,
    }
    return typeset("tag.typ", data, at)

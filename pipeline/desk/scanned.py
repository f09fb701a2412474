"""A tag that somebody scanned: its reel's page, unless the tag does not say any more how the reel stands.

Addresses are those of `pipeline.reports.reel_tag`; a tag that this store did not print leads nowhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.responses import RedirectResponse, Response

from dashboards.addresses import address
from pipeline.desk.asked import Desk, told_page
from pipeline.record.standing import standing_of
from pipeline.record.tags import Tag, tag_numbered, tags_of
from pipeline.reports.typesetting import Wording

if TYPE_CHECKING:
    from starlette.requests import Request

    from dashboards.records import Plant
    from pipeline.store.database import Store


def tag_scanned(store: Store, number: str, ends: str) -> Tag | None:
    """The tag of a number on an address that ends with its reel; None where none was printed so.

    Args:
        store: the store, open to read.
        number: as the address has it.
        ends: the part of the address that names the reel.
    """
    if not (number.isascii() and number.isdecimal() and len(number) < 17):
        return None
    tag = tag_numbered(store, int(number))
    # Before a reel's number only a company prefix may stand, of digits alone.
    if tag is None or not ends.endswith(tag.reel_id):
        return None
    before = ends[: len(ends) - len(tag.reel_id)]
    return tag if not before or (before.isascii() and before.isdecimal()) else None


def no_longer_true(store: Store, tag: Tag, plant: Plant) -> tuple[str, ...]:
    """What a tag says that is not so any more, a sentence each; none where it still tells how the reel stands.

    Args:
        store: the store, open to read.
        tag: the tag.
        plant: the plant.

    Raises:
        NotFoundError: no judgement stands behind the reel now.
    """
    now, moment = standing_of(store, tag.reel_id), Wording(plant).moment
    told = []
    if now.code != tag.code:
        told.append(
            f"Tag {tag.number} of {moment(tag.at_utc)} says that reel {tag.reel_id} is {tag.code}. It is now: "
            f"{now.code}."
        )
    newer = [one for one in tags_of(store, tag.reel_id) if one.number > tag.number]
    if newer:
        told.append(
            f"A newer tag of it was printed: {newer[-1].number}, on {moment(newer[-1].at_utc)}. Take this one off."
        )
    return tuple(told)


def scan(desk: Desk, request: Request) -> Response:
    """The reel of a tag that was scanned, or a page that says what is not so any more."""
    number = request.path_params.get("number") or request.query_params.get("tag", "")
    with desk.shelf.reading() as (plan, store):
        tag = tag_scanned(store, str(number), str(request.path_params["reel"]))
        if tag is None:
            told = ["No such tag was printed here. Hold the reel back, and ask who put the tag on it."]
            return told_page(desk, request, 404, "Unknown tag", told)
        page = f"/{address('reel', tag.reel_id)}"
        changed = no_longer_true(store, tag, plan.contents.plant)
    if not changed:
        return RedirectResponse(page, 303)
    return told_page(desk, request, 200, "This tag is out of date", list(changed), page)

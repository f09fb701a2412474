"""What persons added to a finding, reel or lot, what one may add, and the cutting plan of a reel with its forms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.responses import FileResponse, HTMLResponse, Response

from dashboards.desk_pages import EveryPage, desk_page
from dashboards.records import Stamp
from pipeline.acts.following_up import added_to, newest_of_kind, plan_sha256
from pipeline.desk.asked import Desk, session_of, signed_in, told_page
from pipeline.desk.offers import NOT_SHIPPED, newest_entry, offer_on, sight_of
from pipeline.desk.start_page import alarms_on
from pipeline.errors import MethodRefusal, NotFoundError
from pipeline.length.reel_places import in_unit
from pipeline.record.attached import MEDIA_TYPES, Attached, attached, evidence_path
from pipeline.record.cutting_on_file import ReelPlan, plan_for_reel
from pipeline.record.entry_kinds import ASSIGNED, EVIDENCE, PLAN_ACCEPTED
from pipeline.record.plant_sheet_on_file import roles_of_plant
from pipeline.record.standing import standing_of

if TYPE_CHECKING:
    from starlette.requests import Request

    from pipeline.lots.journal import Entry
    from pipeline.store.database import Store

_USE_OF = {"sale": "package", "remnant": "stock", "scrap": "scrap"}


@dataclass(frozen=True, slots=True)
class FollowOffer:
    """What a page shows and offers besides deciding.

    Args:
        added: what persons added, oldest first.
        files: the file of each entry that is evidence, by its number.
        roles: roles of the plant's sheet; to anybody else nothing is offered.
        owner_entry: the newest entry that gave the finding to somebody; 0 for none.
    """

    added: tuple[Entry, ...]
    files: dict[int, Attached]
    roles: tuple[str, ...]
    owner_entry: int


def follow_offer(store: Store, name: str) -> FollowOffer:
    """What persons added to a finding, reel or lot, and may add.

    Args:
        store: the store, open to read.
        name: its id.
    """
    added = added_to(store, name)
    files = (
        {one.entry_no: one for one in attached(store)} if any(one.kind == EVIDENCE for one in added) else {}
    )
    owner = newest_of_kind(store, ASSIGNED, name)
    return FollowOffer(added, files, roles_of_plant(store), owner)


def evidence(desk: Desk, request: Request) -> Response:
    """A file that was attached: pictures as they are, anything else to be saved."""
    wanted = str(request.path_params["sha256"])
    with desk.shelf.reading() as (_, store):
        found = next((one for one in attached(store) if one.sha256 == wanted), None)
    path = None if found is None else evidence_path(desk.store, found.sha256)
    if found is None or path is None or not path.is_file():
        return told_page(desk, request, 404, "Not found", ["There is no such file."])
    is_picture = found.kind != "pdf"
    return FileResponse(
        path,
        media_type=MEDIA_TYPES[found.kind],
        filename=found.name,
        content_disposition_type="inline" if is_picture else "attachment",
    )


@dataclass(frozen=True, slots=True)
class PieceShown:
    """A piece of a plan as the form that tells what was cut begins with it; places in the plant's unit."""

    number: int
    use: str
    start: str
    end: str
    name: str


def cutting(desk: Desk, request: Request) -> Response:
    """The cutting plan of a reel, to be accepted and printed for the rewinder, and what was cut of it and rewound."""
    reel, session = str(request.path_params["reel"]), session_of(request)
    with desk.shelf.reading() as (_, store):
        now = standing_of(store, reel)
        offer = offer_on(store, "reel", reel, session.role)
        planned: ReelPlan | None = None
        refused: tuple[str, ...] = ()
        try:
            planned = plan_for_reel(store, reel)
        except (MethodRefusal, NotFoundError) as fault:  # nothing may be kept of it, or nothing is left
            refused = tuple(str(one) for one in fault.complaints)
        accepted = [one for one in follow_offer(store, reel).added if one.kind == PLAN_ACCEPTED]
        sources = [one.length_id for one in now.lengths if one.left is None and one.use not in NOT_SHIPPED]
        sources = sources or ([] if now.lengths else [reel])
        text = desk_page(
            "desk_cutting.html.j2",
            desk.board.plant,
            signed_in(desk, request),
            EveryPage(),
            Stamp(left_held=alarms_on(desk)),
            reel=reel,
            now=now,
            offer=offer,
            planned=planned,
            plan_sha256="" if planned is None else plan_sha256(planned),
            pieces=_pieces(reel, planned),
            refused=refused,
            accepted=accepted[-1:],
            sources=[(name, sight_of(store, name)) for name in sources],
            entry_no=newest_entry(store),
        )
    return HTMLResponse(text)


def _pieces(reel: str, planned: ReelPlan | None) -> list[PieceShown]:
    if planned is None:
        return []
    unit = planned.plan.unit
    return [
        PieceShown(
            number,
            _USE_OF[one.kind],
            f"{in_unit(one.from_m, unit):.1f}",
            f"{in_unit(one.to_m, unit):.1f}",
            f"{reel}-{chr(64 + number)}" if number <= 26 else "",
        )
        for number, one in enumerate(planned.plan.pieces, 1)
    ]

"""The shift page: what may leave, what may not, and what comes first."""

from __future__ import annotations

from dashboards.records import LimitRow, ReelRow, RunRow, ShiftReview
from dashboards.rendering import write_page
from dashboards.site import Site, Written

POINT = "minimum wall at any point"


def kinds_on_maps(run: RunRow) -> tuple[str, ...]:
    """The kinds of stretch marked on the run's reel maps, for their legend."""
    return tuple(sorted({one.kind for reel in run.reels for one in reel.intervals}))


def point_limit(reel: ReelRow) -> LimitRow | None:
    """The limit the thinnest wall stands beside: the strictest on file for this reel, None where there is none."""
    limits = [one.limit for one in reel.judgements if one.requirement == POINT and one.limit is not None]
    return max(limits, key=lambda limit: limit.value, default=None)


def write_shift_page(record: ShiftReview, site: Site) -> Written:
    """Writes the shift page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "shift",
        record.shift_id,
        "shift.html.j2",
        record,
        kinds_on=[kinds_on_maps(run) for run in record.runs],
        point_limit=point_limit,
    )

"""The centring page of a run: the offset as a path, its mean with an interval, and what it would take to act."""

from __future__ import annotations

from dashboards.figures.centre_path import centre_path, left_out, offset_along
from dashboards.records import CentringReview
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def write_centring_page(record: CentringReview, site: Site) -> WrittenFile:
    """Writes the centring page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "centring",
        record.run_id,
        "centring.html.j2",
        record,
        plots=True,
        path=centre_path(record),
        left_out=left_out(record),
        along=offset_along(record),
    )

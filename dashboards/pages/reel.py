"""The reel page: may it leave, what is where on it, and where it would be cut."""

from __future__ import annotations

from dashboards.figures.along import along_figure
from dashboards.pages.shift import point_limit
from dashboards.records import ReelReview
from dashboards.rendering import write_page
from dashboards.site import Site, Written


def write_reel_page(record: ReelReview, site: Site) -> Written:
    """Writes the reel page.

    Args:
        record: what it shows.
        site: where.
    """
    length_m = record.reel.to_m - record.reel.from_m
    figures = [
        (f"along-{number}", roll_up, along_figure(roll_up, record.limits, length_m))
        for number, roll_up in enumerate(record.roll_ups)
    ]
    return write_page(
        site,
        "reel",
        record.reel.reel_id,
        "reel.html.j2",
        record,
        plots=bool(figures),
        figures=figures,
        point_limit=point_limit(record.reel),
        kinds=sorted({one.kind for one in record.reel.intervals}),
    )

"""The reel page: may it leave, what is where on it, and where it would be cut."""

from __future__ import annotations

from dashboards.figures.along import along_figure, is_band, own_limits
from dashboards.pages.run_summary import requirements_of, results_by_topic, unanswered
from dashboards.pages.shift import point_limit
from dashboards.records import ReelReview, RollUp
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def _drawn(roll_up: RollUp, record: ReelReview) -> str:
    """What the figure of a quantity shows, as its caption ends."""
    drawn = (
        "band from lowest to highest reading, line the mean"
        if is_band(roll_up)
        else "one line, a figure a step"
    )
    return drawn + ("; limits dashed" if own_limits(roll_up, record.limits) else "")


def write_reel_page(record: ReelReview, site: Site) -> WrittenFile:
    """Writes the reel page.

    Args:
        record: what it shows.
        site: where.
    """
    length_m = record.reel.to_m - record.reel.from_m
    figures = [
        (f"along-{number}", roll_up, along_figure(roll_up, record.limits, length_m), _drawn(roll_up, record))
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
        requirements=requirements_of(record.answers, (record.reel,)),
        topics=results_by_topic(record.answers),
        unanswered=unanswered(record.answers),
        point_limit=point_limit(record.reel),
        kinds=sorted({one.kind for one in record.reel.intervals}),
    )

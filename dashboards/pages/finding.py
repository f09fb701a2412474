"""The page of one finding: what was found, how sure it is, the way back to the log, and what may be done."""

from __future__ import annotations

from dashboards.figures.section import section_drawing
from dashboards.figures.window import window_figure
from dashboards.records import FindingReview
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def write_finding_page(record: FindingReview, site: Site) -> WrittenFile:
    """Writes the page of a finding.

    Args:
        record: what it shows.
        site: where.
    """
    figure = window_figure(record)
    return write_page(
        site,
        "finding",
        record.finding.finding_id,
        "finding.html.j2",
        record,
        plots=figure is not None,
        figure=figure,
        section=section_drawing(record.section) if record.section is not None else None,
    )

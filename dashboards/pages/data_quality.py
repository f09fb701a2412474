"""The data quality page: what can be trusted, what was set aside, and what was never seen."""

from __future__ import annotations

from dashboards.records import DataQualityReview
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def write_data_quality_page(record: DataQualityReview, site: Site) -> WrittenFile:
    """Writes the data quality page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(site, "data quality", "", "data_quality.html.j2", record)

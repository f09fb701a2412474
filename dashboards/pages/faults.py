"""The faults page: rates with intervals, maps along the length, repeats and the roll they fit."""

from __future__ import annotations

from dashboards.figures.dots import shared_scale
from dashboards.records import FaultReview
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def write_faults_page(record: FaultReview, site: Site) -> WrittenFile:
    """Writes the faults page.

    Args:
        record: what it shows.
        site: where.
    """
    scale = shared_scale([row.rate for row in record.rates], from_zero=True)
    rates = list(zip(record.rates, scale.dots, strict=True))
    return write_page(site, "faults", "", "faults.html.j2", record, rates=rates, scale=scale)

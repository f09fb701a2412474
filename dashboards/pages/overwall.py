"""The overwall page: compound above what the requirements need, what holds the wall up, mass and money."""

from __future__ import annotations

from dashboards.records import OverwallReview
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def write_overwall_page(record: OverwallReview, site: Site) -> WrittenFile:
    """Writes the overwall page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(site, "overwall", "", "overwall.html.j2", record)

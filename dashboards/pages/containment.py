"""The containment page: every length a suspect touches, what is still in house first."""

from __future__ import annotations

from dashboards.records import Containment
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def write_containment_page(record: Containment, site: Site) -> WrittenFile:
    """Writes the containment page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(site, "containment", record.containment_id, "containment.html.j2", record)

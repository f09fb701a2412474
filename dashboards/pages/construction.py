"""The construction comparison: two wires to one scale, property by property, each value with its source."""

from __future__ import annotations

from dashboards.records import ConstructionComparison, ConstructionRow
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile


def grouped_rows(record: ConstructionComparison) -> list[tuple[str, list[ConstructionRow]]]:
    """Rows under their headings, in the order of their first row."""
    names = dict.fromkeys(row.group for row in record.rows)
    return [(name, [row for row in record.rows if row.group == name]) for name in names]


def write_construction_page(record: ConstructionComparison, site: Site) -> WrittenFile:
    """Writes the construction comparison.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "construction",
        record.comparison_id,
        "construction.html.j2",
        record,
        groups=grouped_rows(record),
        biggest=max((*record.left_radii_mm, *record.right_radii_mm), default=1.0),
    )

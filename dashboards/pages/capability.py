"""The capability page: line by product with intervals and trends, the normal figure beside the extremes."""

from __future__ import annotations

from dashboards.figures.dots import Dot, Scale, TrendLine, shared_scale, trend_line
from dashboards.records import CapabilityCell, CapabilityMatrix
from dashboards.rendering import write_page
from dashboards.site import Site, Written

Row = tuple[CapabilityCell, Dot | None, TrendLine]


def grouped_cells(record: CapabilityMatrix) -> list[tuple[str, Scale, list[Row]]]:
    """Cells by requirement, each group on one scale, with the trend of each."""
    groups = []
    for requirement in dict.fromkeys(cell.requirement for cell in record.cells):
        cells = [cell for cell in record.cells if cell.requirement == requirement]
        target = next((cell.target for cell in cells if cell.target is not None), None)
        scale = shared_scale([cell.answer for cell in cells], target)
        rows = [
            (cell, dot, trend_line([point.answer for point in cell.trend], cell.target))
            for cell, dot in zip(cells, scale.dots, strict=True)
        ]
        groups.append((requirement, scale, rows))
    return groups


def write_capability_page(record: CapabilityMatrix, site: Site) -> Written:
    """Writes the capability page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(site, "capability", "", "capability.html.j2", record, groups=grouped_cells(record))

"""The capability page: line by product with intervals and trends, the normal figure beside the extremes."""

from __future__ import annotations

from dataclasses import dataclass

from dashboards.figures.dots import Dot, Scale, TrendLine, shared_scale, trend_lines
from dashboards.records import CapabilityCell, CapabilityMatrix
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.results import Result

Row = tuple[CapabilityCell, Dot | None, TrendLine]


@dataclass(frozen=True, slots=True)
class Group:
    """One requirement: its cells on one scale, their trends on another.

    Args:
        requirement: the requirement.
        scale: scale of the indices.
        trend_scale: scale of the trends.
        rows: a cell with its place on the scale and its trend.
        has_risk: whether any cell says how likely a reel has a point beyond the limit.
    """

    requirement: str
    scale: Scale
    trend_scale: Scale
    rows: tuple[Row, ...]
    has_risk: bool


@dataclass(frozen=True, slots=True)
class Overview:
    """The matrix at the top: a row a line and product, in each column the cell nearest its limit."""

    requirements: tuple[str, ...]
    rows: tuple[tuple[str, str, tuple[CapabilityCell | None, ...]], ...]


def grouped_cells(record: CapabilityMatrix) -> list[Group]:
    """Cells by requirement, each group on one scale, with the trend of each."""
    groups = []
    for requirement in dict.fromkeys(cell.requirement for cell in record.cells):
        cells = [cell for cell in record.cells if cell.requirement == requirement]
        target = next((cell.target for cell in cells if cell.target is not None), None)
        scale = shared_scale([cell.answer for cell in cells], target)
        trend_scale, trends = trend_lines([[point.answer for point in cell.trend] for cell in cells], target)
        groups.append(
            Group(
                requirement,
                scale,
                trend_scale,
                tuple(zip(cells, scale.dots, trends, strict=True)),
                any(cell.below_limit_extremes is not None for cell in cells),
            )
        )
    return groups


def _nearest(cells: list[CapabilityCell]) -> CapabilityCell | None:
    """Of several limits of one requirement the cell with the lowest index; a refusal only where all are."""
    return min(
        cells,
        key=lambda cell: cell.answer.estimate if isinstance(cell.answer, Result) else float("inf"),
        default=None,
    )


def overview_of(record: CapabilityMatrix) -> Overview:
    """The matrix of lines and products against requirements."""
    requirements = tuple(dict.fromkeys(cell.requirement for cell in record.cells))
    keys = tuple(dict.fromkeys((cell.line_id, cell.product) for cell in record.cells))
    of: dict[tuple[str, str, str], list[CapabilityCell]] = {}
    for cell in record.cells:
        of.setdefault((cell.line_id, cell.product, cell.requirement), []).append(cell)
    return Overview(
        requirements,
        tuple(
            (line, product, tuple(_nearest(of.get((line, product, name), [])) for name in requirements))
            for line, product in keys
        ),
    )


def write_capability_page(record: CapabilityMatrix, site: Site) -> WrittenFile:
    """Writes the capability page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "capability",
        "",
        "capability.html.j2",
        record,
        groups=grouped_cells(record),
        overview=overview_of(record),
    )

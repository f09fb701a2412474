"""The capability page: line by product with intervals and trends, the normal figure beside the extremes.

The record of the capability page: each line and product against each limit, with interval and trend.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboards.figures.dots import Dot, Scale, TrendLine, shared_scale, trend_lines
from dashboards.fillers.rows import product_row, stamp_of
from dashboards.fillers.run_book import Row, RunBook, aware, run_results
from dashboards.records import CapabilityCell, CapabilityMatrix, CapabilityPoint, Plant
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.products.limits import limit_on_file
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.record.reels_of_line import HELD_AGAINST
from pipeline.results import Refused, Result
from pipeline.statistics.against_record import Observed, against_record
from pipeline.store.answer_columns import answer_of

# Quantities of a look over the line, and of a run, that stand beside the index of a requirement.
OF_REELS = (
    Quantity.WITHIN_REEL_INDEX,
    Quantity.REEL_TOLERANCE_LIMIT,
    Quantity.SHARE_OF_BAD_REELS,
    Quantity.BLOCK_REEL_MINIMUM_RISK,
)
OF_READINGS = (Quantity.QUANTILE_INDEX, Quantity.REDRAWN_INDEX, Quantity.SPECIMEN_MARGIN)
OF_THE_TAIL = (Quantity.EXTREMAL_INDEX, Quantity.RETURN_LEVEL)
# Topics of a run that are asked for at all.
OF_RUNS = (
    "capability",
    "minimum by normal theory",
    "minimum of a reel",
    "shape of the readings",
    "tail of the wall",
)


def capability_matrix(plant: Plant, books: list[RunBook]) -> CapabilityMatrix:
    """Everything the capability page shows of the runs in `books` that were judged."""
    judged = [book for book in books if book.is_judged and book.head["outcome"] == "judged"]
    grouped: dict[tuple[str, str], list[RunBook]] = {}
    for book in judged:
        grouped.setdefault((book.head["line"], product_row(book).label), []).append(book)
    days = [book.head["shift_date"] for book in judged]
    return CapabilityMatrix(
        plant=plant,
        title="Capability, everything on file",
        cells=tuple(
            cell
            for (line, product), group in sorted(grouped.items())
            for cell in _cells(line, product, group)
        ),
        from_day=min(days, default=None),
        to_day=max(days, default=None),
        stamp=stamp_of(books),
    )


def _cells(line: str, product: str, books: list[RunBook]) -> list[CapabilityCell]:
    cells: list[CapabilityCell] = []
    looked = _looked(books[-1])
    results, reels = _of_runs(books)
    ids = [book.head["assessment_id"] for book in books]
    failing = books[-1].store.ask("questions/reels_failing", assessments=ids)
    for row in books[-1].limits:
        if row["requirement"] not in HELD_AGAINST:
            continue
        limit = limit_on_file(row)
        record = _record(failing, row)
        cells.append(
            CapabilityCell(
                line_id=line,
                product=product,
                requirement=row["requirement"],
                limit=limit,
                answer=_over_reels(looked, row),
                below_limit_normal=_against(_newest(results, Quantity.NORMAL_REEL_MINIMUM_RISK, row), record),
                below_limit_extremes=_against(_newest(results, Quantity.REEL_MINIMUM_RISK, row), record),
                trend=tuple(
                    CapabilityPoint(book.run_id, aware(book.head["started_utc"]), answer)
                    for book, of_run in zip(books, results, strict=True)
                    if (answer := _of_run(of_run, row)) is not None
                ),
                reels=reels,
                beside=_beside(looked, results[-1], row),
                observed=record.told if record.reels else None,
            )
        )
    return cells


def _of_runs(books: list[RunBook]) -> tuple[list[list[Row]], int]:
    """What was worked of each run as a whole, in the order of the books, and how many reels they have."""
    ids = [book.head["assessment_id"] for book in books]
    counts = books[-1].store.ask("questions/reel_counts_of_assessments", assessments=ids)
    return run_results(books, OF_RUNS), sum(row["reels"] for row in counts)


def _record(failing: list[Row], limit: Row) -> Observed:
    """The reels on file of the line and product that fail a limit, of those judged by it."""
    for row in failing:
        if row["requirement"] == limit["requirement"] and abs(row["limit_value"] - limit["value"]) < 1e-9:
            return Observed(row["bad"], row["reels"])
    return Observed(0, 0)


def _against(answer: Result | Refused | None, record: Observed) -> Result | Refused | None:
    return None if answer is None else against_record(answer, record)


def _looked(book: RunBook) -> list[Row]:
    """What the newest look over the line says of the product that the run made."""
    head = book.head
    product = f"{head['size']} {head['conductor']} {head['metal']} {head['construction']}"
    return [
        row
        for look in book.store.ask("questions/line_reviews")
        if (look["line"], look["product"]) == (head["line"], product)
        for row in book.store.ask("questions/line_results", line_review_id=look["line_review_id"])
    ]


def _is(row: Row, quantity: Quantity, limit: Row) -> bool:
    """Whether a row answers for a quantity against a limit, at the value the limit has here."""
    if row["quantity"] != quantity or row["about"] != limit["limit_id"]:
        return False
    bound = answer_of(row).question.arguments.get("limit")
    return isinstance(bound, Measure) and math.isclose(bound.value, limit["value"], rel_tol=1e-9)


def _over_reels(looked: list[Row], limit: Row) -> Result | Refused:
    """The index with one value a reel as the unit: what differs from reel to reel is in it."""
    row = next((one for one in looked if _is(one, Quantity.PERFORMANCE_INDEX, limit)), None)
    if row is None:
        asked = asks(
            Quantity.PERFORMANCE_INDEX,
            limit["limit_id"],
            requirement=limit["requirement"],
            sense=limit["sense"],
            limit=Measure(limit["value"], limit["unit"]),
        )
        method = message(Method.INDEX_OF_REELS)
        return Refused(asked, method, message(Reason.LINE_NOT_REVIEWED), 0)
    return answer_of(row)


def _beside(looked: list[Row], newest: list[Row], limit: Row) -> tuple[Result | Refused, ...]:
    """What stands beside the index: of the line's reels first, then of the newest run's readings."""
    of_reels = [row for row in looked if any(_is(row, one, limit) for one in OF_REELS)]
    of_run = [
        row
        for row in newest
        if any(_is(row, one, limit) for one in OF_READINGS)
        or (_is_point(limit) and row["quantity"] in OF_THE_TAIL)
    ]
    return tuple(answer_of(row) for row in (*of_reels, *of_run))


def _is_point(limit: Row) -> bool:
    return bool(limit["requirement"] == "minimum wall at any point")


def _of_run(results: list[Row], limit: Row) -> Result | Refused | None:
    row = next((one for one in results if _is(one, Quantity.PERFORMANCE_INDEX, limit)), None)
    return answer_of(row) if row is not None else None


def _newest(results: list[list[Row]], quantity: Quantity, limit: Row) -> Result | Refused | None:
    """The newest run's answer for a quantity against a limit at any point; None for other limits."""
    if not _is_point(limit):
        return None
    for of_run in reversed(results):
        for row in of_run:
            if _is(row, quantity, limit):
                return answer_of(row)
    return None


MatrixRow = tuple[CapabilityCell, Dot | None, TrendLine]


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
    rows: tuple[MatrixRow, ...]
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

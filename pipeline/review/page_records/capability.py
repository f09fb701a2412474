"""The record of the capability page: each line and product against each limit, with interval and trend."""

from __future__ import annotations

import math

import numpy as np

from dashboards.records import CapabilityCell, CapabilityMatrix, CapabilityPoint, LimitRow, Plant
from pipeline.results import Refused, Result
from pipeline.review.page_records.rows import limit_row, product_row, stamp_of
from pipeline.review.page_records.run_book import Row, RunBook, answer_of, aware
from pipeline.statistics.capability import performance_index_one_sided

# Quantity of judged reels whose mean or extreme a requirement is about; one value a reel is the unit.
REEL_VALUE: dict[str, tuple[str, str]] = {
    "minimum average wall": ("mean_wall_mm", "mean"),
    "minimum wall at any point": ("thinnest_wall_mm", "low"),
    "concentricity": ("concentricity_pct", "low"),
    "overall diameter": ("diameter_mm", "mean"),
}


def capability_matrix(
    plant: Plant, books: list[RunBook], title: str = "Capability, everything on file"
) -> CapabilityMatrix:
    """Everything the capability page shows of the runs in `books` that were judged."""
    judged = [book for book in books if book.is_judged and book.head["outcome"] == "judged"]
    grouped: dict[tuple[str, str], list[RunBook]] = {}
    for book in judged:
        grouped.setdefault((book.head["line"], product_row(book).label), []).append(book)
    days = [book.head["shift_date"] for book in judged]
    return CapabilityMatrix(
        plant=plant,
        title=title,
        cells=tuple(
            cell
            for (line, product), group in sorted(grouped.items())
            for cell in _cells(line, product, group)
        ),
        from_day=min(days, default=None),
        to_day=max(days, default=None),
        stamp=stamp_of(judged),
    )


def _cells(line: str, product: str, books: list[RunBook]) -> list[CapabilityCell]:
    cells: list[CapabilityCell] = []
    for row in books[-1].limits:
        if row["requirement"] not in REEL_VALUE:
            continue
        limit = limit_row(row)
        values = _reel_values(books, row["requirement"])
        risk = _risk(books, row)
        cells.append(
            CapabilityCell(
                line_id=line,
                product=product,
                requirement=row["requirement"],
                limit=limit,
                answer=_over_reels(values, limit),
                below_limit_normal=_if_normal(risk),
                below_limit_extremes=risk,
                trend=tuple(
                    CapabilityPoint(book.run_id, aware(book.head["started_utc"]), answer)
                    for book in books
                    if (answer := _of_run(book, row)) is not None
                ),
                reels=int(values.size),
            )
        )
    return cells


def _reel_values(books: list[RunBook], requirement: str) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    quantity, figure = REEL_VALUE[requirement]
    found = [
        row[figure]
        for book in books
        for row in book.reel_summaries
        if row["quantity"] == quantity and row[figure] is not None
    ]
    return np.array(found, dtype=np.float64)


def _over_reels(values: np.ndarray[tuple[int], np.dtype[np.float64]], limit: LimitRow) -> Result | Refused:
    """The index with one value a reel as the unit: what differs from reel to reel is in it."""
    return performance_index_one_sided(values, limit.value, sense=limit.sense, unit_of_inference="reel")


def _of_run(book: RunBook, limit: Row) -> Result | Refused | None:
    wanted = f"How far does {limit['requirement']} stand from {limit['sense']} {limit['value']:.4g} {limit['unit']}?"
    row = next((one for one in book.results if one["scope"] == "run" and one["question"] == wanted), None)
    return answer_of(row) if row is not None else None


def _if_normal(risk: Result | Refused | None) -> Result | None:
    """What a normal distribution of independent readings would say to the question the extremes answered."""
    chance = (
        risk.details.get("normal_theory_chance_if_readings_independent") if isinstance(risk, Result) else None
    )
    if not isinstance(risk, Result) or chance is None:
        return None
    return Result(
        question=f"{risk.question} By a normal distribution",
        estimate=chance,
        low=math.nan,
        high=math.nan,
        confidence=risk.confidence,
        unit="",
        method="normal distribution of independent readings, shown for comparison only",
        n=risk.n,
        effective_n=None,
        known_m=risk.known_m,
        unit_of_inference="reel",
        warnings=("No reading is independent of its neighbour and no tail is known to be normal.",),
    )


def _risk(books: list[RunBook], limit: Row) -> Result | Refused | None:
    """The newest run's risk of a point under the limit, from the extremes of the dependent series."""
    if limit["requirement"] != "minimum wall at any point":
        return None
    for book in reversed(books):
        for row in book.results:
            if row["topic"] == "minimum of a reel" and f"under {limit['value']:.4g} " in row["question"]:
                return answer_of(row)
    return None

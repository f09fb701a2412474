"""The record of the reel page: a map of the reel with its findings, its roll-ups and the lots in it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from dashboards.records import LotRow, PanelLimit, Plant, ReelReview, RollUp
from pipeline.review.page_records.rows import (
    finding_row,
    limit_row,
    lot_rows,
    product_row,
    reel_row,
    stamp_of,
)
from pipeline.review.page_records.run import PANEL_OF
from pipeline.review.page_records.run_book import Row, RunBook
from pipeline.steps.measure import STRETCH_M

# Column with the mean of a stretch, its lowest and highest, the title and the unit.
ROLL_UPS: tuple[tuple[str, str, str, str, str, str], ...] = (
    (
        "mean_wall_mm",
        "mean_wall_mm",
        "mean_wall_low_mm",
        "mean_wall_high_mm",
        "Mean insulation wall",
        "mm",
    ),
    (
        "thinnest_wall_mm",
        "thinnest_wall_mm",
        "thinnest_wall_mm",
        "thinnest_wall_mm",
        "Thinnest insulation wall",
        "mm",
    ),
    ("diameter_mm", "diameter_mm", "diameter_low_mm", "diameter_high_mm", "Overall diameter, cold", "mm"),
    (
        "concentricity_pct",
        "concentricity_low_pct",
        "concentricity_low_pct",
        "concentricity_low_pct",
        "Lowest concentricity, thinnest/thickest",
        "%",
    ),
)


def reel_review(plant: Plant, book: RunBook, reel: Row) -> ReelReview:
    """Everything the reel page shows of one reel."""
    return ReelReview(
        plant=plant,
        reel=reel_row(book, reel),
        product=product_row(book),
        roll_ups=_roll_ups(book, reel),
        limits=tuple(
            PanelLimit(PANEL_OF[row["requirement"]], limit_row(row))
            for row in book.limits
            if row["requirement"] in PANEL_OF
        ),
        findings=tuple(finding_row(book, row) for row in book.findings if row["reel_id"] == reel["reel_id"]),
        answers=book.answers("reel", reel["reel_id"]),
        lots=_lots_of(book, reel),
        shift_id=book.shift_id,
        stamp=stamp_of([book]),
    )


def _lots_of(book: RunBook, reel: Row) -> tuple[LotRow, ...]:
    """Lots that served the reel's stretch of the counter."""
    start, end = reel.get("from_counter_m", 0.0), reel.get("to_counter_m", float("inf"))
    return tuple(
        lot
        for lot in lot_rows(book)
        if (lot.from_m is None or lot.from_m < end) and (lot.to_m is None or lot.to_m > start)
    )


def _roll_ups(book: RunBook, reel: Row) -> tuple[RollUp, ...]:
    inside = [row for row in book.stretches if row["to_m"] > reel["from_m"] and row["from_m"] < reel["to_m"]]
    if not inside:
        return ()

    def column(name: str) -> NDArray[np.float64]:
        return np.array([row[name] if row[name] is not None else np.nan for row in inside])

    from_m = np.array([row["from_m"] - reel["from_m"] for row in inside])
    made = []
    for name, mean, low, high, title, unit in ROLL_UPS:
        if np.isfinite(column(mean)).any():
            made.append(RollUp(name, title, unit, from_m, STRETCH_M, column(low), column(mean), column(high)))
    return tuple(made)

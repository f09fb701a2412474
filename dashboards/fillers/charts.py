"""The record of the charts page: the newest look over each product of a line, as it was put on file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from dashboards.fillers.rows import stamp_of
from dashboards.fillers.run_book import Row, RunBook
from dashboards.records import ChartPhase, ChartSignal, ControlChart, LineCharts, Plant, ProductCharts
from pipeline.results import Refused
from pipeline.store.answer_columns import answer_of, assumptions_of, said_of, warnings_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.store.database import Store


def lines_of(books: list[RunBook]) -> dict[str, list[RunBook]]:
    """The judged runs of each line."""
    lines: dict[str, list[RunBook]] = {}
    for book in books:
        if book.is_judged and book.head["outcome"] == "judged":
            lines.setdefault(str(book.head["line"]), []).append(book)
    return lines


def line_charts_of(store: Store, plant: Plant, line: str, books: list[RunBook]) -> LineCharts:
    """Everything the charts page of one line shows.

    Args:
        store: the store, open to read.
        plant: the plant.
        line: the line.
        books: its judged runs.
    """
    looks = [row for row in store.ask("questions/line_reviews") if row["line"] == line]
    return LineCharts(plant, line, tuple(_product(store, look) for look in looks), stamp_of(books))


def _product(store: Store, look: Row) -> ProductCharts:
    key = {"line_review_id": look["line_review_id"]}
    heads = store.ask("questions/line_charts", **key)
    points: dict[int, list[Row]] = {}
    for row in store.ask("questions/line_points", **key):
        points.setdefault(row["chart_no"], []).append(row)
    results = store.ask("questions/line_results", **key)
    families = dict.fromkeys((row["charted"], row["family"]) for row in heads)
    return ProductCharts(
        product=look["product"],
        reels=look["reels"],
        budget=heads[0]["budget"] if heads else "",
        charts=tuple(
            _chart([row for row in heads if (row["charted"], row["family"]) == one], points)
            for one in families
        ),
        refused=tuple(
            answer
            for row in results
            if row["topic"] == "charts" and isinstance(answer := answer_of(row), Refused)
        ),
        spread=tuple(answer_of(row) for row in results if row["topic"] == "components of variance"),
    )


def _chart(heads: list[Row], points: dict[int, list[Row]]) -> ControlChart:
    return ControlChart(
        charted=heads[0]["charted"],
        family=heads[0]["family"],
        unit=heads[0]["unit"],
        unit_of_inference=heads[0]["unit_of_inference"],
        phases=tuple(_phase(row, points.get(row["chart_no"], [])) for row in heads),
        signals=tuple(
            _signal(row, points[head["chart_no"]], head["phase"])
            for head in heads
            for row in points.get(head["chart_no"], [])
            if row["rule"]
        ),
    )


def _squared(text: str) -> str:
    """A name as a page prints it: what is on file keeps to plain letters."""
    return text.replace("^2", "\u00b2")


def _figures(points: list[Row], name: str) -> NDArray[np.float64]:
    return np.array([np.nan if row[name] is None else row[name] for row in points], dtype=np.float64)


def _phase(head: Row, points: list[Row]) -> ChartPhase:
    return ChartPhase(
        phase=head["phase"],
        method=said_of(head["method"]),
        run_ids=tuple(row["run_id"] for row in points),
        reel_ids=tuple(row["reel_id"] for row in points),
        value=_figures(points, "value"),
        centre=_figures(points, "centre"),
        lower=_figures(points, "lower_limit"),
        upper=_figures(points, "upper_limit"),
        arl0=head["arl0"],
        assumptions=assumptions_of(head["assumptions"]),
        warnings=warnings_of(head["warnings"]),
    )


def _signal(row: Row, points: list[Row], phase: str) -> ChartSignal:
    above = row["upper_limit"] is not None and row["value"] >= row["upper_limit"]
    return ChartSignal(
        item=row["item"],
        run_id=row["run_id"],
        reel_id=row["reel_id"],
        at_m=row["at_m"],
        value=row["value"],
        limit=row["upper_limit"] if above or row["lower_limit"] is None else row["lower_limit"],
        rule=_squared(row["rule"]),
        since_reel_id=points[row["since_item"]]["reel_id"],
        phase=phase,
    )

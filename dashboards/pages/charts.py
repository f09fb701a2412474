"""The charts page of a line: is the process steady, and what signalled?

The record of the charts page: the newest look over each product of a line, as it was put on file.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dashboards.figures.control_chart import control_chart_figure
from dashboards.fillers.rows import stamp_of
from dashboards.fillers.run_book import Row, RunBook
from dashboards.records import ChartPhase, ChartSignal, ControlChart, LineCharts, Plant, ProductCharts
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.messages import Said
from pipeline.results import Refused
from pipeline.steps.charted import ChartFamily
from pipeline.store.answer_columns import answer_of, assumptions_of, said_of, warnings_of
from pipeline.store.said_columns import told_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.store.database import Store


def lines_of(books: list[RunBook]) -> dict[str, list[RunBook]]:
    """The runs of each line of which any was judged."""
    lines: dict[str, list[RunBook]] = {
        str(book.head["line"]): [] for book in books if book.is_judged and book.head["outcome"] == "judged"
    }
    for book in books:
        if book.head["line"] in lines:
            lines[book.head["line"]].append(book)
    return lines


def line_charts_of(store: Store, plant: Plant, line: str, books: list[RunBook]) -> LineCharts:
    """Everything the charts page of one line shows.

    Args:
        store: the store, open to read.
        plant: the plant.
        line: the line.
        books: its runs.
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
        budget=told_of(heads[0], written="budget") if heads else "",
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
            if row["since_item"] is not None
        ),
    )


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
        rule=told_of(row, written="rule"),
        since_reel_id=points[row["since_item"]]["reel_id"],
        phase=phase,
    )


# Warnings that this many charts of a product carry are told once, above the charts (chosen here).
SHARED_BY = 3
# Charts with a signal that stand open; the others are one click away.
OPEN_CHARTS = 4
# The computed points between false alarms are those of limits that have run in; what the narrower limits of the
# first points do to them is simulated in tests/statistics/test_chart_false_alarms.py.
CAPTION_OF = {
    ChartFamily.EWMA: (
        "The first points have narrower limits. The false-alarm figure is for settled limits, so a false "
        "alarm comes a little sooner (simulated: after 95 points where 100 are given; no difference at "
        "thousands)."
    ),
    ChartFamily.T2: (
        "T\u00b2 is the distance of a reel from the usual mean wall and eccentricity, in units of their own"
        " scatter. Near 0 a reel is like the others. Over the limit it differs as a whole, even where "
        "neither value alone does. The signal names the larger part."
    ),
    ChartFamily.T2_BY_ORDER: (
        "T\u00b2 is the distance of a reel from the usual wall, in units of its own scatter. The wall is "
        "split into mean wall, eccentricity, ovality and finer shapes, each against its own limit. Drawn is"
        " the largest of them as a share of its limit, so the limit is 1. The signal names it: eccentricity"
        " points to the centering of the tooling, mean wall to output or line speed. Conformity to a "
        "standard\u2019s limit is on the reel\u2019s page."
    ),
    ChartFamily.MEWMA: (
        "A moving average of the same distance as T\u00b2. It finds a small shift that stays; T\u00b2 finds"
        " a single reel far off."
    ),
}


@dataclass(frozen=True, slots=True)
class PhaseWarning:
    """A warning of a chart and the phases it is of."""

    phases: tuple[str, ...]
    told: Said

    @property
    def heading(self) -> str:
        """The phases in words."""
        return f"{'Phases' if len(self.phases) > 1 else 'Phase'} {' and '.join(self.phases)}: "


@dataclass(frozen=True, slots=True)
class SharedWarning:
    """A warning that several charts carry, told once, and the numbers of the charts."""

    warning: PhaseWarning
    charts: tuple[int, ...]


def phase_warnings(chart: ControlChart) -> tuple[PhaseWarning, ...]:
    """A chart's warnings, each once with the phases it is of."""
    phases: dict[Said, list[str]] = {}
    for phase in chart.phases:
        for one in phase.warnings:
            phases.setdefault(one, []).append(phase.phase)
    return tuple(PhaseWarning(tuple(those), told) for told, those in phases.items())


def shared_warnings(charts: Sequence[ControlChart]) -> tuple[SharedWarning, ...]:
    """Warnings of a product's charts that `SHARED_BY` or more of them carry."""
    numbers: dict[PhaseWarning, list[int]] = {}
    for number, chart in enumerate(charts, 1):
        for one in phase_warnings(chart):
            numbers.setdefault(one, []).append(number)
    return tuple(
        SharedWarning(one, tuple(those)) for one, those in numbers.items() if len(those) >= SHARED_BY
    )


def phases_with(chart: ControlChart, arl0: float | None) -> str:
    """The phases of a chart with one average run length, in words."""
    those = [one.phase for one in chart.phases if one.arl0 == arl0]
    return f"{'Phases' if len(those) > 1 else 'Phase'} {' and '.join(those)}"


def signalling(product: ProductCharts) -> tuple[ControlChart, ...]:
    """The charts of a product with a signal."""
    return tuple(one for one in product.charts if one.told)


def in_order(product: ProductCharts) -> tuple[int, ...]:
    """Numbers of a product's charts, from 1: those with a signal first."""
    return tuple(
        sorted(range(1, len(product.charts) + 1), key=lambda number: not product.charts[number - 1].told)
    )


def write_charts_page(record: LineCharts, site: Site) -> WrittenFile:
    """Writes the charts page of a line.

    Args:
        record: what it shows.
        site: where.
    """
    figures = [[control_chart_figure(chart) for chart in product.charts] for product in record.products]
    return write_page(
        site,
        "charts",
        record.line_id,
        "charts.html.j2",
        record,
        plots=True,
        figures=figures,
        shared=[shared_warnings(product.charts) for product in record.products],
        phase_warnings=phase_warnings,
        phases_with=phases_with,
        signalling=signalling,
        in_order=in_order,
        open_charts=OPEN_CHARTS,
        caption_of=CAPTION_OF,
    )

"""The charts page of a line: is the process steady, and what signalled?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboards.figures.control_chart import control_chart_figure
from dashboards.records import ControlChart, LineCharts
from dashboards.rendering import write_page
from dashboards.site import Site, Written

# Warnings that this many charts of a product carry are told once, above the charts (chosen here).
SHARED_BY = 3
# The computed points between false alarms are those of limits that have run in; what the narrower limits of the
# first points do to them is simulated in tests/statistics/test_chart_false_alarms.py.
CAPTION_OF = {
    "EWMA chart": "The limits of the first points are narrower, and the figure told is of limits that have run in: as "
    "drawn a false alarm comes a little sooner (simulated: 95 points where 100 are told; hardly sooner where "
    "thousands are)."
}


@dataclass(frozen=True, slots=True)
class SharedWarning:
    """A warning that several charts carry, told once: its words with the phases, and the numbers of the charts."""

    words: str
    charts: tuple[int, ...]


def phase_warnings(chart: ControlChart) -> tuple[str, ...]:
    """A chart's warnings, each once with the phases it is of."""
    phases: dict[str, list[str]] = {}
    for phase in chart.phases:
        for one in phase.warnings:
            phases.setdefault(one, []).append(phase.phase)
    return tuple(
        f"{'Phases' if len(those) > 1 else 'Phase'} {' and '.join(those)}: {words}"
        for words, those in phases.items()
    )


def shared_warnings(charts: Sequence[ControlChart]) -> tuple[SharedWarning, ...]:
    """Warnings of a product's charts that `SHARED_BY` or more of them carry."""
    numbers: dict[str, list[int]] = {}
    for number, chart in enumerate(charts, 1):
        for words in phase_warnings(chart):
            numbers.setdefault(words, []).append(number)
    return tuple(
        SharedWarning(words, tuple(those)) for words, those in numbers.items() if len(those) >= SHARED_BY
    )


def write_charts_page(record: LineCharts, site: Site) -> Written:
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
        caption_of=CAPTION_OF,
    )

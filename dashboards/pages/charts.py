"""The charts page of a line: is the process steady, and what signalled?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dashboards.figures.control_chart import control_chart_figure
from dashboards.records import ControlChart, LineCharts, ProductCharts
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.messages import Said
from pipeline.steps.charted import ChartFamily

# Warnings that this many charts of a product carry are told once, above the charts (chosen here).
SHARED_BY = 3
# Charts with a signal that stand open; the others are one click away.
OPEN_CHARTS = 4
# The computed points between false alarms are those of limits that have run in; what the narrower limits of the
# first points do to them is simulated in tests/statistics/test_chart_false_alarms.py.
CAPTION_OF = {
    ChartFamily.EWMA: (
        "The limits of the first points are narrower, and the figure told is of limits that have run in: as drawn a "
        "false alarm comes a little sooner (simulated: 95 points where 100 are told; hardly sooner where thousands "
        "are)."
    ),
    ChartFamily.T2: (
        "T\u00b2 is one figure for how far mean wall and offset together lie from what the first reels usually had, "
        "in units of their own scatter: near 0 a reel is like the others. Over the limit it is unlike them as a "
        "whole, even where neither value alone is; the signal says which of the two makes most of it."
    ),
    ChartFamily.T2_BY_ORDER: (
        "T\u00b2 is how far a reel lies from what the first reels usually had, in units of their own scatter. What "
        "the wall sensors read is split into mean wall, eccentricity, ovality and finer shapes, each held against "
        "its own limit; drawn is the one that comes farthest, as a share of its limit, so the limit is 1. Over it "
        "the wall of that reel is shaped unlike the others, and the signal says how: eccentricity points to the "
        "centring of the tooling, mean wall to output or line speed. Whether the wall keeps a standard\u2019s limit "
        "is told on the reel\u2019s page."
    ),
    ChartFamily.MEWMA: (
        "A moving average of the same distance as T\u00b2: it finds a small shift that stays, where T\u00b2 finds a "
        "single reel far off."
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
        signalling=signalling,
        in_order=in_order,
        open_charts=OPEN_CHARTS,
        caption_of=CAPTION_OF,
    )

"""Records of the charts page: control charts of one line, phase by phase, with the reel behind every point."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dashboards.records.every_page import Answer, Plant, Stamp
from pipeline.messages import Message, Said
from pipeline.results import Assumption


@dataclass(frozen=True, slots=True)
class ChartSignal:
    """A point that calls for a look.

    Args:
        item: number of the point in its phase, from 0.
        run_id: run of the reel that made it.
        reel_id: that reel.
        at_m: place of the reading on the wire [m]; None where the point is no one reading's.
        value: what was plotted.
        limit: limit it went beyond.
        rule: rule by which it signalled.
        since_reel_id: first reel that took part.
        phase: 'I' or 'II'.
    """

    item: int
    run_id: str
    reel_id: str
    at_m: float | None
    value: float
    limit: float
    rule: Message
    since_reel_id: str
    phase: str


@dataclass(frozen=True, slots=True)
class ChartPhase:
    """The points of one phase, with limits of their own.

    Args:
        phase: 'I' while the limits come from these points, 'II' while they are fixed beforehand.
        method: the chart by its standard name.
        run_ids: run of each point.
        reel_ids: reel of each point.
        value: what is plotted; not-a-number where a reel has no value.
        centre: centre line at each point.
        lower: lower limit; not-a-number where there is none.
        upper: upper limit; likewise.
        arl0: points from one false alarm to the next on average; None if not computed.
        assumptions: what the chart assumes and whether it held.
        warnings: sentences a reader must see beside it.
    """

    phase: str
    method: Said
    run_ids: tuple[str, ...]
    reel_ids: tuple[str, ...]
    value: NDArray[np.float64]
    centre: NDArray[np.float64]
    lower: NDArray[np.float64]
    upper: NDArray[np.float64]
    arl0: float | None
    assumptions: tuple[Assumption, ...] = ()
    warnings: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True)
class ControlChart:
    """One kind of chart of one value, its phases in order.

    Args:
        charted: what is charted, a code.
        family: kind of chart, a code.
        unit: unit of what is plotted.
        unit_of_inference: what one point is about.
        phases: phase I, then phase II where there are later reels.
        signals: points that call for a look, in order.
    """

    charted: str
    family: str
    unit: str
    unit_of_inference: str
    phases: tuple[ChartPhase, ...]
    signals: tuple[ChartSignal, ...] = ()

    @property
    def told(self) -> tuple[ChartSignal, ...]:
        """The first signal of each reel: a sum that stays beyond its limit is listed once a reel."""
        first: dict[tuple[str, str], ChartSignal] = {}
        for one in self.signals:
            first.setdefault((one.phase, one.reel_id), one)
        return tuple(first.values())


@dataclass(frozen=True, slots=True)
class ProductCharts:
    """Charts of one product on the line.

    Args:
        product: its name.
        reels: reels looked at.
        budget: the alarm budget.
        charts: its charts.
        refused: charts that could not be made, with the reason.
        spread: where the spread comes from.
    """

    product: str
    reels: int
    budget: Said
    charts: tuple[ControlChart, ...]
    refused: tuple[Answer, ...] = ()
    spread: tuple[Answer, ...] = ()


@dataclass(frozen=True, slots=True)
class LineCharts:
    """Everything the charts page of a line shows."""

    plant: Plant
    line_id: str
    products: tuple[ProductCharts, ...]
    stamp: Stamp = field(default_factory=Stamp)

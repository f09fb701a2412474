"""A control chart: points in the order reels were made, each phase with its own centre and limits."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from dashboards.figures.sheet import Figure, axis, figures_of
from dashboards.records import ChartPhase, ControlChart
from pipeline.steps.charted import Charted, ChartFamily
from pipeline.wording.say import named

# Kind of quantity of a chart's unit; a difference and a sum of millimetres convert like a wall.
KIND_OF_UNIT = {"mm": "wall", "m": "length", "1/km": "per length"}

# Names of reels along the axis; more would run into each other on half a page.
MOST_NAMES = 12


def _steps(x: list[float], values: Any, digits: int) -> tuple[list[float], list[float | None]]:
    """A line that is level over each point's place."""
    wide = [end for one in x for end in (one - 0.5, one + 0.5)]
    return wide, figures_of(np.repeat(values, 2), digits)


def _limit(x: list[float], values: Any, name: str, dash: str, colour: str, digits: int) -> dict[str, Any]:
    wide, level = _steps(x, values, digits)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": wide,
        "y": level,
        "name": name,
        "tip": name,
        "connectgaps": False,
        "showlegend": False,
        "line": {"width": 1.4, "dash": dash},
        "paint": {"line.color": colour},
    }


def _phase(phase: ChartPhase, start: int, digits: int) -> list[dict[str, Any]]:
    x = [float(start + number + 1) for number in range(len(phase.reel_ids))]
    lines = [
        _limit(x, values, f"{name}, phase {phase.phase}", dash, colour, digits)
        for values, name, dash, colour in (
            (phase.lower, "lower limit", "6px,3px", "--limit"),
            (phase.upper, "upper limit", "6px,3px", "--limit"),
            (phase.centre, "centre line", "dot", "--muted"),
        )
        if np.isfinite(values).any()
    ]
    points = {
        "type": "scatter",
        "mode": "lines+markers",
        "x": x,
        "y": figures_of(phase.value, digits),
        "name": f"phase {phase.phase}",
        "text": list(phase.reel_ids),
        "tip": f"phase {phase.phase}",
        "connectgaps": False,
        "showlegend": False,
        "line": {"width": 1.1},
        "marker": {"size": 6, "symbol": "circle-open" if phase.phase == "I" else "circle"},
        "paint": {"line.color": "--t2", "marker.color": "--t2"},
    }
    return [*lines, points]


def _signals(chart: ControlChart, starts: dict[str, int], digits: int) -> dict[str, Any] | None:
    if not chart.signals:
        return None
    return {
        "type": "scatter",
        "mode": "markers",
        "x": [float(starts[one.phase] + one.item + 1) for one in chart.signals],
        "y": [round(one.value, digits) for one in chart.signals],
        "name": "signal",
        "tip": "signal",
        "showlegend": False,
        "marker": {"size": 13, "symbol": "diamond-open", "line": {"width": 2.2}},
        "paint": {"marker.color": "--held", "marker.line.color": "--held"},
    }


def _between(start: int) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """The line between the phases, and the words on either side of it."""
    shape = {
        "type": "line",
        "xref": "x",
        "x0": start + 0.5,
        "x1": start + 0.5,
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "line": {"width": 1.2, "dash": "dot"},
        "paint": {"line.color": "--line-strong"},
    }
    words = [
        {
            "xref": "x",
            "x": start + 0.5,
            "xshift": shift,
            "xanchor": anchor,
            "yref": "paper",
            "y": 1.0,
            "yanchor": "bottom",
            "text": text,
            "showarrow": False,
            "font": {"size": 11.5},
            "paint": {"font.color": "--muted"},
        }
        for text, anchor, shift in (
            ("phase I", "right", -6),
            ("phase II", "left", 6),
        )
    ]
    return shape, words


def control_chart_figure(chart: ControlChart) -> Figure:
    """The figure of one chart with its phases side by side.

    Args:
        chart: the chart, one phase at least.
    """
    ends = [
        float(one)
        for phase in chart.phases
        for values in (phase.value, phase.lower, phase.upper, phase.centre)
        for one in values
        if math.isfinite(one)
    ]
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    room = 0.10 * (high - low) or 0.01
    digits = max(0, min(8, 4 - math.floor(math.log10(max(high - low, 1e-9)))))
    data: list[dict[str, Any]] = []
    starts: dict[str, int] = {}
    total = 0
    shapes: list[dict[str, Any]] = []
    notes: list[dict[str, Any]] = []
    for phase in chart.phases:
        starts[phase.phase] = total
        if total:
            shape, notes = _between(total)
            shapes = [shape]
        data += _phase(phase, total, digits)
        total += len(phase.reel_ids)
    signals = _signals(chart, starts, digits)
    if signals:
        data.append(signals)
    along = "Fault, in the order it came" if chart.unit_of_inference == "event" else "Reel, in the order made"
    return {
        "data": data,
        "layout": {
            "height": 285,
            "margin": {"l": 78, "r": 14, "t": 26, "b": 82},
            "xaxis": {"range": [0.4, total + 0.6], "autorange": False, **_reel_names(chart)},
            "yaxis": {"range": [low - room, high + room], "fixedrange": True, "nticks": 6},
            "shapes": shapes,
            "annotations": notes,
            "showlegend": False,
        },
        "axes": {
            "x": axis("count", along),
            "y": axis(KIND_OF_UNIT.get(chart.unit, "number"), _short(chart)),
        },
    }


def _reel_names(chart: ControlChart) -> dict[str, Any]:
    """Ticks with the names of reels, as many as can be read side by side, each name once."""
    names = [name for phase in chart.phases for name in phase.reel_ids]
    step = -(-len(names) // MOST_NAMES) or 1
    shown = [
        (number + 1, name)
        for number, name in enumerate(names)
        if number % step == 0 and (number == 0 or name != names[max(number - step, 0)])
    ]
    return {
        "tickvals": [number for number, _ in shown],
        "ticktext": [name for _, name in shown],
        "tickangle": -35,
    }


def _short(chart: ControlChart) -> str:
    """What the vertical axis shows."""
    shown: dict[str, str] = {
        ChartFamily.EWMA: "Moving average",
        ChartFamily.CUSUM: "Cumulative sum",
        ChartFamily.RESIDUAL: "Error of the forecast",
        ChartFamily.T2: "T\u00b2, no unit",
        ChartFamily.T2_BY_ORDER: "T\u00b2 over its limit, no unit",
        ChartFamily.MEWMA: "Distance, no unit",
        ChartFamily.GAP_CUSUM: "Cumulative sum",
        ChartFamily.U: "Faults",
        ChartFamily.LANEY: "Faults",
        ChartFamily.GEOMETRIC: "Good reels between",
        ChartFamily.SPREAD: "Standard deviation",
    }
    if chart.family in shown:
        return shown[chart.family]
    if chart.charted in (Charted.WALL_SPREAD, Charted.STRETCH_SPREAD):
        return "Standard deviation"
    words = named(chart.charted)
    return words[:1].upper() + words[1:]

"""What panels of readings along the wire have in common: their order, heights, colours, limits and ranges."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from dashboards.figures.sheet import Figure, axis, kind_of_panel
from dashboards.records import PanelLimit, Trace

PANEL_TITLES = {
    "wall": "Wall",
    "diameter": "Diameter",
    "eccentricity": "Eccentricity",
    "shape": "Shape",
    "speed": "Speed",
    "extruder": "Extruder",
    "spark": "Spark test",
}
PANEL_PX = {"wall": 260, "diameter": 170, "eccentricity": 150}
OTHER_PX, GAP_PX, TOP_PX, BOTTOM_PX = 120, 26, 8, 52
COLOURS = ("--t2", "--t1", "--t3", "--t4", "--t5")
DASHES = ("solid", "solid", "dot", "dash", "dashdot")
# The thinnest wall and the eccentricity are the same story and wear the same colour.
OWN_COLOUR = {"thinnest_wall_mm": "--t1", "eccentricity_mm": "--t1", "mean_wall_mm": "--t2"}


def colours_of(traces: Sequence[Trace]) -> dict[str, str]:
    """A colour for each trace of one panel, by name: its own where it has one, else the next that is free."""
    own = {trace.name: OWN_COLOUR[trace.name] for trace in traces if trace.name in OWN_COLOUR}
    free = [colour for colour in COLOURS if colour not in own.values()] or list(COLOURS)
    rest = [trace.name for trace in traces if trace.name not in own]
    return own | {name: free[k % len(free)] for k, name in enumerate(rest)}


def panels_of(traces: Sequence[Trace]) -> list[str]:
    """Panels that have a trace, in the order of the page."""
    return [name for name in PANEL_TITLES if any(trace.panel == name for trace in traces)]


def domains(heights: Sequence[int]) -> tuple[list[tuple[float, float]], int]:
    """(from, to) of each panel as shares of the drawing, top panel first, and the drawing's height [px]."""
    inner = sum(heights) + GAP_PX * (len(heights) - 1)
    top, found = 1.0, []
    for height in heights:
        found.append((max(round(top - height / inner, 5), 0.0), round(top, 5)))
        top -= (height + GAP_PX) / inner
    return found, inner + TOP_PX + BOTTOM_PX


def y_range(traces: Sequence[Trace], limits: Sequence[PanelLimit]) -> list[float] | None:
    """Lowest and highest of a panel's readings and limits, with a little room."""
    ends = [
        float(end(trace.values))
        for trace in traces
        if not np.isnan(trace.values).all()
        for end in (np.nanmin, np.nanmax)
    ]
    ends += [one.limit.value for one in limits]
    if not ends:
        return None
    low, high = min(ends), max(ends)
    room = 0.08 * (high - low) or max(abs(high) * 0.05, 1e-3)
    return [low - room, high + room]


def limit_shapes(
    limits: Sequence[PanelLimit], y_axis: str
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """A panel's limits: a dashed line each, and its words at the right-hand end."""
    shapes, notes = [], []
    for one in limits:
        value = one.limit.value
        shapes.append(
            {
                "type": "line",
                "xref": "paper",
                "x0": 0,
                "x1": 1,
                "yref": y_axis,
                "y0": value,
                "y1": value,
                "line": {"width": 1.6, "dash": "6px,3px"},
                "paint": {"line.color": "--limit"},
            }
        )
        short = one.limit.requirement.removeprefix("minimum ").removeprefix("overall ")
        notes.append(
            {
                "xref": "paper",
                "x": 1,
                "xanchor": "right",
                "yref": y_axis,
                "y": value,
                "yanchor": "bottom" if one.limit.sense == "at most" else "top",
                "yshift": 2 if one.limit.sense == "at most" else -2,
                "text": f"{short} {one.limit.sense} {one.limit.value_of_record} {one.limit.unit_of_record}",
                "showarrow": False,
                "font": {"size": 11.5},
                "paint": {"font.color": "--ink", "bgcolor": "--card"},
            }
        )
    return shapes, notes


def add_panel(
    figure: Figure,
    name: str,
    y_axis: str,
    span: tuple[float, float],
    traces: Sequence[Trace],
    limits: Sequence[PanelLimit],
) -> None:
    """Puts a panel's axis, limits and legend into a figure that is being made.

    Args:
        figure: the figure, changed in place.
        name: panel.
        y_axis: its axis, ``y``, ``y2``, ...
        span: where it stands, from and to as shares of the drawing.
        traces: its traces, one at least.
        limits: its limits.
    """
    lines, notes = limit_shapes(limits, y_axis)
    layout = figure["layout"]
    layout["shapes"] += lines
    layout["annotations"] += notes
    figure["axes"][y_axis] = axis(kind_of_panel(name, traces[0].unit), PANEL_TITLES[name])
    layout[f"yaxis{y_axis[1:]}"] = {
        "domain": list(span),
        "fixedrange": True,
        "range": y_range(traces, limits),
        "nticks": 6 if name == "wall" else 4,
    }
    layout[f"legend{y_axis[1:]}"] = {
        "x": 0,
        "y": span[1],
        "xanchor": "left",
        "yanchor": "bottom",
        "orientation": "h",
    }

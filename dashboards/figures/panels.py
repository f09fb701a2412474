"""What panels of readings along the wire have in common: their order, heights, colours, limits and ranges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from dashboards.figures.sheet import Figure, axis, kind_of_panel
from dashboards.records import PanelLimit, Trace
from dashboards.table_cells import limit_in
from pipeline.products.limits import Limit
from pipeline.wording.kinds import System
from pipeline.wording.say import SYSTEMS

PANEL_TITLES = {
    "wall": "Wall",
    "diameter": "Diameter",
    "conductor": "Conductor",
    "eccentricity": "Eccentricity",
    "shape": "Shape",
    "speed": "Speed",
    "extruder": "Extruder",
    "spark": "Spark test",
}
PANEL_PX = {"wall": 260, "diameter": 170, "eccentricity": 150}
OTHER_PX, GAP_PX, TOP_PX, BOTTOM_PX = 120, 26, 8, 52
LABEL_PX = 17  # height of a limit's words
# Units of record that a reader may not have chosen; a percentage of another figure stands as it is.
LENGTH_UNITS = frozenset({"mm", "mil"})
COLOURS = ("--t2", "--t1", "--t3", "--t4", "--t5")
DASHES = ("solid", "solid", "dot", "dash", "dashdot")
# What an axis is called that has one line only, short enough for a low panel; a legend would say it again.
ONE_LINE = {"concentricity_pct": "Concentricity", "diameter_mm": "Diameter", "conductor_mm": "Conductor"}
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


def ends_of(traces: Sequence[Trace]) -> list[float]:
    """Lowest and highest reading of each trace that has one."""
    return [
        float(end(trace.values))
        for trace in traces
        if not np.isnan(trace.values).all()
        for end in (np.nanmin, np.nanmax)
    ]


def y_range(ends: Sequence[float], limits: Sequence[PanelLimit], height_px: float) -> list[float] | None:
    """Lowest and highest of a panel's readings and limits, with room for the words of a limit at the edge.

    Args:
        ends: lowest and highest readings.
        limits: limits of the panel.
        height_px: height of the panel [px].
    """
    every = [*ends, *(one.limit.value for one in limits)]
    if not every:
        return None
    low, high = min(every), max(every)
    room = 0.08 * (high - low) or max(abs(high) * 0.05, 1e-3)
    low, high = low - room, high + room
    share = LABEL_PX / height_px
    for value in (one.limit.value for one in limits if one.limit.sense == "at least"):
        low = min(low, (value - share * high) / (1.0 - share))
    for value in (one.limit.value for one in limits if one.limit.sense == "at most"):
        high = max(high, (value - share * low) / (1.0 - share))
    return [low, high]


def _line(value: float, y_axis: str) -> dict[str, Any]:
    return {
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


def _words(group: Sequence[Limit], system: System) -> tuple[str, str]:
    """What limits of one requirement say in the reader's units, in full and for a narrow drawing."""
    name = group[0].requirement.removeprefix("minimum ").removeprefix("overall ")
    sign = "\u2265" if group[0].sense == "at least" else "\u2264"
    full, brief = [], []
    for one in group:
        shown = limit_in(one, system) if one.unit_of_record in LENGTH_UNITS else ""
        recorded = f"{one.as_recorded} {one.unit_of_record}"
        full.append(f"{shown} ({recorded})" if shown else recorded)
        brief.append(shown or f"{one.as_recorded} {one.unit_of_record.split()[0]}")
    return (
        f"{name} {group[0].sense} {' and '.join(dict.fromkeys(full))}",
        f"{name.removeprefix('wall at ').removesuffix(' wall')} {sign} {' and '.join(dict.fromkeys(brief))}",
    )


def limit_shapes(
    limits: Sequence[PanelLimit], y_axis: str, px_per_unit: float
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """A panel's limits: a dashed line each, and its words at the right-hand end, no two of them on each other.

    Lines of one requirement that lie within a label's height share their words. A label that would lie on the one
    before it moves on by what is missing.

    Args:
        limits: limits of the panel.
        y_axis: its axis, ``y``, ``y2``, ...
        px_per_unit: height of one unit of the panel [px].
    """
    notes = []
    for sense, side in (("at least", -1.0), ("at most", 1.0)):
        groups: list[list[Limit]] = []
        # Away from the readings: from the highest lower limit down, from the lowest upper limit up.
        for one in sorted((o.limit for o in limits if o.limit.sense == sense), key=lambda o: side * o.value):
            near = [g for g in groups if g[-1].requirement == one.requirement]
            if near and abs(one.value - near[-1][-1].value) * px_per_unit < LABEL_PX:
                near[-1].append(one)
            else:
                groups.append([one])
        end = -math.inf
        for group in groups:
            own = side * group[-1].value * px_per_unit
            start = max(own, end)
            end = start + LABEL_PX
            (us, brief_us), (si, brief_si) = (_words(group, system) for system in SYSTEMS)
            notes.append(
                {
                    "xref": "paper",
                    "x": 1,
                    "xanchor": "right",
                    "yref": y_axis,
                    "y": group[-1].value,
                    "yanchor": "bottom" if side > 0 else "top",
                    "yshift": round(side * (2 + start - own), 1),
                    "text": us if us == si else {"us": us, "si": si},
                    "brief": brief_us if brief_us == brief_si else {"us": brief_us, "si": brief_si},
                    "showarrow": False,
                    "font": {"size": 11.5},
                    "paint": {"font.color": "--ink", "bgcolor": "--card"},
                }
            )
    return [_line(one.limit.value, y_axis) for one in limits], notes


def add_panel(
    figure: Figure,
    name: str,
    y_axis: str,
    span: tuple[float, float],
    height_px: int,
    traces: Sequence[Trace],
    limits: Sequence[PanelLimit],
) -> None:
    """Puts a panel's axis, limits and legend into a figure that is being made.

    Args:
        figure: the figure, changed in place.
        name: panel.
        y_axis: its axis, ``y``, ``y2``, ...
        span: where it stands, from and to as shares of the drawing.
        height_px: its height [px].
        traces: its traces, one at least.
        limits: its limits.
    """
    reach = y_range(ends_of(traces), limits, height_px)
    lines, notes = limit_shapes(limits, y_axis, height_px / (reach[1] - reach[0])) if reach else ([], [])
    layout = figure["layout"]
    layout["shapes"] += lines
    layout["annotations"] += notes
    title = PANEL_TITLES[name] if len(traces) > 1 else ONE_LINE.get(traces[0].name, traces[0].title)
    figure["axes"][y_axis] = axis(kind_of_panel(name, traces[0].unit), title)
    layout[f"yaxis{y_axis[1:]}"] = {
        "domain": list(span),
        "fixedrange": True,
        "range": reach,
        "nticks": 6 if name == "wall" else 4,
    }
    layout[f"legend{y_axis[1:]}"] = {
        "x": 0,
        "y": span[1],
        "xanchor": "left",
        "yanchor": "bottom",
        "orientation": "h",
    }

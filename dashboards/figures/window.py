"""The evidence window of a finding: every reading around it, limits, and where it starts and ends."""

from __future__ import annotations

from typing import Any

from dashboards.decimation import extremes_kept
from dashboards.figures.panels import (
    BOTTOM_PX,
    DASHES,
    TOP_PX,
    add_panel,
    colours_of,
    domains,
    panels_of,
)
from dashboards.figures.sheet import Figure, axis, figures_of
from dashboards.records import FaultMark, FindingReview, Trace

PANEL_PX = 210
READINGS_AT_MOST = 2_000
DOTS_AT_MOST = 400
FAULTS_AT_MOST = 100
FAULT_SIGNS = {"spark fault": "\u00d7"}


def _extent(from_m: float, to_m: float) -> dict[str, Any]:
    """The finding's stretch, shaded over every panel."""
    return {
        "type": "rect",
        "layer": "below",
        "xref": "x",
        "x0": from_m,
        "x1": to_m,
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "line": {"width": 1, "dash": "dot"},
        "paint": {"fillcolor": "--shade", "line.color": "--held"},
    }


def _fault(fault: FaultMark) -> tuple[dict[str, Any], dict[str, Any]]:
    """A spark fault or flaw: a line through every panel, and its mark above them."""
    line = {
        "type": "line",
        "xref": "x",
        "x0": fault.at_m,
        "x1": fault.at_m,
        "yref": "paper",
        "y0": 0,
        "y1": 1,
        "line": {"width": 1.2, "dash": "dash"},
        "paint": {"line.color": "--held"},
    }
    mark = {
        "xref": "x",
        "x": fault.at_m,
        "yref": "paper",
        "y": 1.0,
        "yanchor": "bottom",
        "text": FAULT_SIGNS.get(fault.kind, "\u25c6"),
        "showarrow": False,
        "font": {"size": 15},
        "paint": {"font.color": "--held"},
    }
    return line, mark


def _line(trace: Trace, number: int, y_axis: str, colour: str, legend: bool) -> dict[str, Any]:
    """One trace of the window; single readings get a dot each while there is room for them."""
    kept = extremes_kept(trace.at_m, trace.values, READINGS_AT_MOST)
    return {
        "type": "scatter",
        "mode": "lines+markers" if kept.size <= DOTS_AT_MOST else "lines",
        "name": trace.title,
        "tip": trace.title,
        "x": figures_of(trace.at_m[kept], 3),
        "y": figures_of(trace.values[kept], 5),
        "yaxis": y_axis,
        "legend": f"legend{y_axis[1:]}",
        "showlegend": legend,
        "line": {"width": 1.3, "dash": DASHES[number % len(DASHES)]},
        "marker": {"size": 4},
        "paint": {"line.color": colour, "marker.color": colour},
    }


def window_figure(record: FindingReview) -> Figure | None:
    """The finding's figure; None where no reading of the window is on file.

    Args:
        record: the finding.
    """
    traces = [one for one in record.window if one.at_m.size]
    if not traces:
        return None
    panels = panels_of(traces)
    spans, height = domains([PANEL_PX] * len(panels))
    ends = [float(end) for one in traces for end in (one.at_m[0], one.at_m[-1])]
    bottom = "y" if len(panels) == 1 else f"y{len(panels)}"
    layout: dict[str, Any] = {
        "height": height,
        "margin": {"l": 78, "r": 14, "t": TOP_PX + (14 if record.faults else 0), "b": BOTTOM_PX},
    }
    layout["xaxis"] = {"range": [min(ends), max(ends)], "autorange": False, "anchor": bottom}
    figure: Figure = {"data": [], "layout": layout, "axes": {"x": axis("place", "Position on the wire")}}
    finding = record.finding
    layout["shapes"], layout["annotations"] = [], []
    if finding.from_m is not None and finding.to_m is not None:
        layout["shapes"].append(_extent(finding.from_m, finding.to_m))
    for fault in record.faults[:FAULTS_AT_MOST]:
        line, mark = _fault(fault)
        layout["shapes"].append(line)
        layout["annotations"].append(mark)
    for number, name in enumerate(panels):
        y_axis = "y" if number == 0 else f"y{number + 1}"
        own = [one for one in traces if one.panel == name]
        colours = colours_of(own)
        limits = [one for one in record.limits if one.panel == name]
        add_panel(figure, name, y_axis, spans[number], PANEL_PX, own, limits)
        figure["data"] += [
            _line(one, k, y_axis, colours[one.name], len(own) > 1) for k, one in enumerate(own)
        ]
    return figure

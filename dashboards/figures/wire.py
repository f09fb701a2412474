"""The wire from start to end: a lane of reels, phases and marks, and under it every channel against its limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from dashboards.decimation import extremes_kept
from dashboards.figures.sheet import Figure, axis, figures_of, kind_of_panel
from dashboards.records import FaultMark, FindingRow, Interval, PanelLimit, Phase, ReelRow, RunReview, Trace
from dashboards.tiles import OVERVIEW_BUCKETS

PANEL_TITLES = {
    "wall": "Wall",
    "diameter": "Diameter",
    "eccentricity": "Eccentricity",
    "shape": "Shape",
    "speed": "Line speed",
    "extruder": "Extruder",
    "spark": "Spark test",
}
PANEL_PX = {"wall": 260, "diameter": 170, "eccentricity": 150}
LANE_PX, OTHER_PX, GAP_PX, TOP_PX, BOTTOM_PX = 118, 120, 26, 8, 52
COLOURS = ("--t2", "--t1", "--t3", "--t4", "--t5")
DASHES = ("solid", "solid", "dot", "dash", "dashdot")
# The thinnest wall and the eccentricity are the same story and wear the same colour.
OWN_COLOUR = {"thinnest_wall_mm": "--t1", "eccentricity_mm": "--t1", "mean_wall_mm": "--t2"}
PHASE_PATTERNS = ("/", "x", ".", "\\", "+", "-")


def panels_of(traces: Sequence[Trace]) -> list[str]:
    """Panels that have a trace, in the order of the page."""
    return [name for name in PANEL_TITLES if any(trace.panel == name for trace in traces)]


def heights_px(panels: Sequence[str]) -> list[int]:
    """Height of the lane and of each panel [px]."""
    return [LANE_PX, *(PANEL_PX.get(name, OTHER_PX) for name in panels)]


def domains(heights: Sequence[int]) -> tuple[list[tuple[float, float]], int]:
    """(from, to) of each panel as shares of the drawing, top panel first, and the drawing's height [px]."""
    inner = sum(heights) + GAP_PX * (len(heights) - 1)
    top, found = 1.0, []
    for height in heights:
        found.append((max(round(top - height / inner, 5), 0.0), round(top, 5)))
        top -= (height + GAP_PX) / inner
    return found, inner + TOP_PX + BOTTOM_PX


def line_trace(trace: Trace, number: int, y_axis: str) -> dict[str, Any]:
    """A trace as the page opens with it: the lowest and the highest reading of each stretch, in their places."""
    kept = extremes_kept(trace.at_m, trace.values, OVERVIEW_BUCKETS)
    return {
        "type": "scatter",
        "mode": "lines",
        "name": trace.title,
        "tip": trace.title,
        "x": figures_of(trace.at_m[kept], 3),
        "y": figures_of(trace.values[kept], 5),
        "yaxis": y_axis,
        "legend": f"legend{y_axis[1:]}",
        "connectgaps": False,
        "line": {"width": 1.15, "dash": DASHES[number % len(DASHES)]},
        "paint": {"line.color": OWN_COLOUR.get(trace.name, COLOURS[number % len(COLOURS)])},
    }


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


def _bars(starts: list[float], ends: list[float], row: int, **more: Any) -> dict[str, Any]:
    return {
        "type": "bar",
        "orientation": "h",
        "base": [round(one, 3) for one in starts],
        "x": [round(b - a, 3) for a, b in zip(starts, ends, strict=True)],
        "y": [row] * len(starts),
        "width": 0.78,
        "showlegend": False,
        **more,
    }


def reel_bars(reels: Sequence[ReelRow]) -> dict[str, Any]:
    """The reels in the lane, each with its number."""
    marks = {"held": "held", "releasable": "releasable", "no conclusion": "no conclusion"}
    fills = {"held": "--held-bg", "releasable": "--ok-bg", "no conclusion": "--nc-bg"}
    return _bars(
        [reel.from_m for reel in reels],
        [reel.to_m for reel in reels],
        2,
        text=[f"{reel.reel_id}: {marks[reel.standing]}" for reel in reels],
        textposition="inside",
        insidetextanchor="middle",
        textangle=0,
        constraintext="none",
        cliponaxis=True,
        tips=[f"Reel {reel.reel_id}: {marks[reel.standing]}" for reel in reels],
        marker={"line": {"width": 1}},
        paint={"marker.line.color": "--line-strong", "insidetextfont.color": "--ink"},
        paints={"marker.color": [fills[reel.standing] for reel in reels]},
    )


def phase_bars(phases: Sequence[Phase]) -> dict[str, Any]:
    """The phases of the line in the lane: steady plain, every other kind with a hatch of its own."""
    kinds = sorted({phase.name for phase in phases if not phase.is_steady})
    pattern = {name: PHASE_PATTERNS[i % len(PHASE_PATTERNS)] for i, name in enumerate(kinds)}
    return _bars(
        [phase.from_m for phase in phases],
        [phase.to_m for phase in phases],
        1,
        text=[phase.name for phase in phases],
        textposition="inside",
        insidetextanchor="middle",
        textangle=0,
        tips=[f"Line: {phase.name}" for phase in phases],
        marker={
            "line": {"width": 1},
            "pattern": {
                "shape": [pattern.get(phase.name, "") for phase in phases],
                "size": 6,
                "solidity": 0.25,
            },
        },
        paint={
            "marker.line.color": "--line-strong",
            "marker.pattern.fgcolor": "--muted",
            "insidetextfont.color": "--muted",
        },
        paints={"marker.color": ["--card" if phase.is_steady else "--sunk" for phase in phases]},
    )


def finding_bars(findings: Sequence[FindingRow]) -> dict[str, Any]:
    """The stretch of each finding, in the lane of marks under its triangle."""
    placed = [
        (one, one.from_m, one.to_m) for one in findings if one.from_m is not None and one.to_m is not None
    ]
    return _bars(
        [from_m for _, from_m, _ in placed],
        [to_m for _, _, to_m in placed],
        0,
        tips=[f"{one.finding_id} ({one.status}): {one.sentence}" for one, _, _ in placed],
        marker={"line": {"width": 1}, "pattern": {"shape": "/", "size": 6, "solidity": 0.35}},
        paint={
            "marker.line.color": "--held",
            "marker.pattern.fgcolor": "--held",
            "marker.color": "--held-bg",
        },
    )


def gap_bars(gaps: Sequence[Interval]) -> dict[str, Any]:
    """Stretches without a trustworthy reading, in the lane of marks."""
    return _bars(
        [gap.from_m for gap in gaps],
        [gap.to_m for gap in gaps],
        0,
        tips=[f"{gap.kind}: {gap.label}" if gap.label else gap.kind for gap in gaps],
        marker={"line": {"width": 1}, "pattern": {"shape": "|", "size": 5, "solidity": 0.3}},
        paint={"marker.line.color": "--nc", "marker.pattern.fgcolor": "--nc", "marker.color": "--nc-bg"},
    )


def _middle(finding: FindingRow) -> float:
    if finding.worst is not None:
        return finding.worst.at_m
    return (finding.from_m or 0.0) if finding.to_m is None else ((finding.from_m or 0.0) + finding.to_m) / 2


def finding_marks(findings: Sequence[FindingRow]) -> dict[str, Any]:
    """Findings as triangles: full while open, hollow once closed."""
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "finding",
        "x": [round(_middle(one), 3) for one in findings],
        "y": [0.22] * len(findings),
        "tips": [f"{one.finding_id} ({one.status}): {one.sentence}" for one in findings],
        "marker": {
            "size": 13,
            "symbol": ["triangle-down" if one.status == "open" else "triangle-down-open" for one in findings],
            "line": {"width": 1},
        },
        "paint": {"marker.color": "--held", "marker.line.color": "--card"},
        "showlegend": False,
    }


def fault_marks(faults: Sequence[FaultMark]) -> dict[str, Any]:
    """Spark faults as crosses, surface flaws as diamonds."""
    return {
        "type": "scatter",
        "mode": "markers",
        "name": "fault",
        "x": [round(one.at_m, 3) for one in faults],
        "y": [-0.25] * len(faults),
        "tips": [f"{one.kind} {one.event}{': ' + one.label if one.label else ''}" for one in faults],
        "marker": {
            "size": 9,
            "symbol": ["x" if one.kind == "spark fault" else "diamond" for one in faults],
        },
        "paint": {"marker.color": "--ink"},
        "showlegend": False,
    }


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
                "text": f"{short} {one.limit.sense} {one.limit.value_of_record} {one.limit.unit_of_record}",
                "showarrow": False,
                "font": {"size": 11.5},
                "paint": {"font.color": "--ink", "bgcolor": "--card"},
            }
        )
    return shapes, notes


def shading(phases: Sequence[Phase], gaps: Sequence[Interval]) -> list[dict[str, Any]]:
    """Unsteady wire and stretches without a reading, shaded over every panel."""
    found = []
    for from_m, to_m in [(p.from_m, p.to_m) for p in phases if not p.is_steady] + [
        (g.from_m, g.to_m) for g in gaps
    ]:
        found.append(
            {
                "type": "rect",
                "layer": "below",
                "xref": "x",
                "x0": round(from_m, 3),
                "x1": round(to_m, 3),
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "line": {"width": 0},
                "paint": {"fillcolor": "--shade"},
            }
        )
    return found


def wire_figure(record: RunReview) -> Figure:
    """The run's figure; traces come first, in the order of the record, then the lane.

    Args:
        record: the run.
    """
    panels = panels_of(record.traces)
    spans, height = domains(heights_px(panels))
    end_m = max([record.run.made_m, *(float(one.at_m[-1]) for one in record.traces if one.at_m.size)])
    axes: dict[str, Any] = {"x": axis("place", "Position on the wire")}
    layout: dict[str, Any] = {
        "height": height,
        "margin": {"l": 78, "r": 14, "t": TOP_PX, "b": BOTTOM_PX},
        "barmode": "overlay",
        "dragmode": "zoom",
        "xaxis": {"range": [0, end_m], "anchor": f"y{len(panels) + 1}", "autorange": False},
        "yaxis": {
            "domain": spans[0],
            "range": [-0.6, 2.6],
            "fixedrange": True,
            "tickvals": [2, 1, 0],
            "ticktext": ["Reels", "Line", "Marks"],
            "showgrid": False,
        },
    }
    data: list[dict[str, Any]] = []
    shapes = shading(record.phases, record.gaps)
    notes: list[dict[str, Any]] = []
    place = {name: f"y{i + 2}" for i, name in enumerate(panels)}
    for name in panels:
        own = [trace for trace in record.traces if trace.panel == name]
        limits = [one for one in record.limits if one.panel == name]
        lines, words = limit_shapes(limits, place[name])
        shapes, notes = shapes + lines, notes + words
        axes[place[name]] = axis(kind_of_panel(name, own[0].unit), PANEL_TITLES[name])
        span = spans[panels.index(name) + 1]
        layout[f"yaxis{place[name][1:]}"] = {
            "domain": span,
            "fixedrange": True,
            "range": y_range(own, limits),
            "nticks": 6 if name == "wall" else 4,
        }
        layout[f"legend{place[name][1:]}"] = {
            "x": 0,
            "y": span[1],
            "xanchor": "left",
            "yanchor": "bottom",
            "orientation": "h",
        }
    count: dict[str, int] = {}
    for trace in record.traces:
        number = count.get(trace.panel, 0)
        count[trace.panel] = number + 1
        data.append(line_trace(trace, number, place[trace.panel]))
    lane = [
        reel_bars(record.run.reels),
        phase_bars(record.phases),
        gap_bars(record.gaps),
        finding_bars(record.findings),
    ]
    lane += [finding_marks(record.findings), fault_marks(record.faults)]
    data += [one for one in lane if one["x"]]
    layout.update(shapes=shapes, annotations=notes)
    return {"data": data, "layout": layout, "axes": axes, "end": math.ceil(end_m)}

"""The wire from start to end: a lane of reels, phases and marks, and under it every channel against its limits."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from dashboards.decimation import extremes_kept
from dashboards.figures.panels import (
    BOTTOM_PX,
    DASHES,
    OTHER_PX,
    PANEL_PX,
    TOP_PX,
    add_panel,
    colours_of,
    domains,
    panels_of,
)
from dashboards.figures.sheet import Figure, axis, figures_of
from dashboards.records import GATE_OF, FaultMark, FindingRow, Interval, Phase, ReelRow, RunReview, Trace
from dashboards.tiles import OVERVIEW_BUCKETS
from pipeline.length.intervals import merged
from pipeline.wording.say import plain

LANE_PX = 138
MANY_GAPS = 100
PHASE_PATTERNS = ("/", "x", ".", "\\", "+", "-")


def heights_px(panels: Sequence[str]) -> list[int]:
    """Height of the lane and of each panel [px]."""
    return [LANE_PX, *(PANEL_PX.get(name, OTHER_PX) for name in panels)]


def line_trace(trace: Trace, number: int, y_axis: str, colour: str, legend: bool = True) -> dict[str, Any]:
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
        "showlegend": legend,
        "connectgaps": False,
        "line": {"width": 1.15, "dash": DASHES[number % len(DASHES)]},
        "paint": {"line.color": colour},
    }


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
    fills = {
        "left": "--held-bg",
        "held": "--held-bg",
        "releasable": "--ok-bg",
        "released": "--ok-bg",
        "no conclusion": "--nc-bg",
        "gone": "--nc-bg",
    }
    return _bars(
        [reel.from_m for reel in reels],
        [reel.to_m for reel in reels],
        3,
        text=[f"{reel.reel_id}: {reel.standing}" for reel in reels],
        textposition="inside",
        insidetextanchor="middle",
        textangle=0,
        constraintext="none",
        cliponaxis=True,
        tips=[f"Reel {reel.reel_id}: {reel.standing}" for reel in reels],
        marker={"line": {"width": 1}},
        paint={"marker.line.color": "--line-strong", "insidetextfont.color": "--ink"},
        paints={"marker.color": [fills[GATE_OF[reel.standing]] for reel in reels]},
    )


def phase_bars(phases: Sequence[Phase]) -> dict[str, Any]:
    """The phases of the line in the lane: steady plain, every other kind with a hatch of its own."""
    kinds = sorted({phase.name for phase in phases if not phase.is_steady})
    pattern = {name: PHASE_PATTERNS[i % len(PHASE_PATTERNS)] for i, name in enumerate(kinds)}
    return _bars(
        [phase.from_m for phase in phases],
        [phase.to_m for phase in phases],
        2,
        text=[phase.name.lower() for phase in phases],
        textposition="inside",
        insidetextanchor="middle",
        textangle=0,
        tips=[f"Line: {phase.name.lower()}" for phase in phases],
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
    """The stretch of each finding, in the lane of findings under its triangle."""
    placed = [
        (one, one.from_m, one.to_m) for one in findings if one.from_m is not None and one.to_m is not None
    ]
    return _bars(
        [from_m for _, from_m, _ in placed],
        [to_m for _, _, to_m in placed],
        1,
        tips=[f"{one.finding_id} ({one.status}): {plain(one.sentence)}" for one, _, _ in placed],
        marker={"line": {"width": 1}, "pattern": {"shape": "/", "size": 6, "solidity": 0.35}},
        paint={
            "marker.line.color": "--held",
            "marker.pattern.fgcolor": "--held",
            "marker.color": "--held-bg",
        },
    )


def gap_bars(gaps: Sequence[Interval]) -> dict[str, Any]:
    """Stretches without a trustworthy reading, in the lane of findings."""
    return _bars(
        [gap.from_m for gap in gaps],
        [gap.to_m for gap in gaps],
        1,
        tips=[f"{gap.kind}: {plain(gap.label)}" if gap.label else gap.kind for gap in gaps],
        # The outlines of hundreds of short gaps would run into one dark block.
        marker={
            "line": {"width": 1 if len(gaps) < MANY_GAPS else 0},
            "pattern": {"shape": "|", "size": 5, "solidity": 0.3},
        },
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
        "y": [1.0] * len(findings),
        "tips": [f"{one.finding_id} ({one.status}): {plain(one.sentence)}" for one in findings],
        "marker": {
            "size": 12,
            "opacity": 0.85,
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
        "y": [0.0] * len(faults),
        "tips": [f"{one.kind} {one.event}{': ' + one.label if one.label else ''}" for one in faults],
        "marker": {
            "size": 8,
            "opacity": 0.75,
            "symbol": ["x-thin-open" if one.kind == "spark fault" else "diamond" for one in faults],
        },
        "paint": {"marker.color": "--ink"},
        "showlegend": False,
    }


def shading(phases: Sequence[Phase], gaps: Sequence[Interval]) -> list[dict[str, Any]]:
    """Unsteady wire and stretches without a reading, shaded over every panel; once where they overlap."""
    found = []
    wire = [(p.from_m, p.to_m) for p in phases if not p.is_steady] + [(g.from_m, g.to_m) for g in gaps]
    for from_m, to_m in merged(np.array(wire).reshape(-1, 2)).tolist():
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


def lane(record: RunReview) -> list[dict[str, Any]]:
    """Traces of the lane: reels, phases, stretches, findings and faults, as far as there are any."""
    every = [
        reel_bars(record.run.reels),
        phase_bars(record.phases),
        gap_bars(record.gaps),
        finding_bars(record.findings),
        finding_marks(record.findings),
        fault_marks(record.faults),
    ]
    return [one for one in every if one["x"]]


def lane_axis(span: tuple[float, float]) -> dict[str, Any]:
    """The lane's own axis, which has words instead of figures."""
    return {
        "domain": list(span),
        "range": [-0.55, 3.5],
        "fixedrange": True,
        "tickvals": [3, 2, 1, 0],
        "ticktext": ["Reels", "Line", "Findings", "Faults"],
        "showgrid": False,
    }


def wire_figure(record: RunReview) -> Figure:
    """The run's figure; traces come first, in the order of the record, then the lane.

    Args:
        record: the run.
    """
    panels = panels_of(record.traces)
    heights = heights_px(panels)
    spans, height = domains(heights)
    end_m = max([record.run.made_m, *(float(one.at_m[-1]) for one in record.traces if one.at_m.size)])
    layout: dict[str, Any] = {
        "height": height,
        "margin": {"l": 78, "r": 14, "t": TOP_PX, "b": BOTTOM_PX},
        "barmode": "overlay",
        "dragmode": "zoom",
        "xaxis": {"range": [0, end_m], "anchor": f"y{len(panels) + 1}", "autorange": False},
        "yaxis": lane_axis(spans[0]),
        "shapes": shading(record.phases, record.gaps),
        "annotations": [],
    }
    figure: Figure = {"data": [], "layout": layout, "axes": {"x": axis("place", "Position on the wire")}}
    colours: dict[str, str] = {}
    for number, name in enumerate(panels):
        own = [trace for trace in record.traces if trace.panel == name]
        limits = [one for one in record.limits if one.panel == name]
        add_panel(figure, name, f"y{number + 2}", spans[number + 1], heights[number + 1], own, limits)
        colours |= colours_of(own)
    count: Counter[str] = Counter()
    for trace in record.traces:
        y_axis = f"y{panels.index(trace.panel) + 2}"
        several = sum(one.panel == trace.panel for one in record.traces) > 1
        figure["data"].append(line_trace(trace, count[trace.panel], y_axis, colours[trace.name], several))
        count[trace.panel] += 1
    figure["data"] += lane(record)
    figure["end"] = math.ceil(end_m)
    return figure

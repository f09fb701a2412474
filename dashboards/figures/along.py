"""A quantity along a reel in equal steps: lowest to highest as a band, the mean as a line, limits dashed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from dashboards.figures.panels import limit_shapes, y_range
from dashboards.figures.sheet import Figure, axis, figures_of, kind_of_panel
from dashboards.records import PanelLimit, RollUp

HEIGHT_PX, TOP_PX, BOTTOM_PX = 230, 10, 48
# Quantity -> words in the requirement of a limit that is about it; a panel's other limits are not.
ABOUT = {"mean_wall_mm": "average", "thinnest_wall_mm": "any point"}
# Axis titles shorter than the quantity's, where that would not fit the axis.
SHORT = {
    "mean_wall_mm": "Mean wall",
    "thinnest_wall_mm": "Thinnest wall",
    "diameter_mm": "Diameter",
    "concentricity_pct": "Lowest concentricity",
}
PANEL_OF = {
    "mean_wall_mm": "wall",
    "thinnest_wall_mm": "wall",
    "diameter_mm": "diameter",
    "eccentricity_mm": "eccentricity",
    "concentricity_pct": "shape",
}


def _stairs(roll_up: RollUp, values: Any) -> tuple[list[float | None], list[float | None]]:
    """Positions and figures of a line that is level over each step."""
    x = np.repeat(roll_up.from_m, 2)
    x[1::2] += roll_up.step_m
    return figures_of(x, 3), figures_of(np.repeat(values, 2), 5)


def _band(roll_up: RollUp) -> list[dict[str, Any]]:
    shared = {
        "type": "scatter",
        "mode": "lines",
        "connectgaps": False,
        "showlegend": False,
        "line": {"width": 0.8},
    }
    x, low = _stairs(roll_up, roll_up.low)
    _, high = _stairs(roll_up, roll_up.high)
    _, mean = _stairs(roll_up, roll_up.mean)
    return [
        {
            **shared,
            "x": x,
            "y": low,
            "tip": f"{roll_up.title}, lowest of the step",
            "paint": {"line.color": "--t1"},
        },
        {
            **shared,
            "x": x,
            "y": high,
            "fill": "tonexty",
            "tip": f"{roll_up.title}, highest of the step",
            "paint": {"line.color": "--t1", "fillcolor": "--band"},
        },
        {
            **shared,
            "x": x,
            "y": mean,
            "line": {"width": 1.6},
            "tip": f"{roll_up.title}, mean of the step",
            "paint": {"line.color": "--t2"},
        },
    ]


def is_band(roll_up: RollUp) -> bool:
    """Whether lowest and highest differ from what stands between them: otherwise one line is all there is."""
    return not (
        np.array_equal(roll_up.low, roll_up.mean, True) and np.array_equal(roll_up.high, roll_up.mean, True)
    )


def own_limits(roll_up: RollUp, limits: Sequence[PanelLimit]) -> list[PanelLimit]:
    """The limits that are about a quantity; those of another panel are left out."""
    panel = PANEL_OF.get(roll_up.name, "")
    about = ABOUT.get(roll_up.name, "")
    return [one for one in limits if one.panel == panel and about in one.limit.requirement]


def along_figure(roll_up: RollUp, limits: Sequence[PanelLimit], length_m: float) -> Figure:
    """The figure of one roll-up.

    Args:
        roll_up: the quantity.
        limits: limits of the reel; those of another panel are left out.
        length_m: length of the reel [m].
    """
    panel = PANEL_OF.get(roll_up.name, "")
    own = own_limits(roll_up, limits)
    known = [v for v in (*roll_up.low.tolist(), *roll_up.high.tolist()) if np.isfinite(v)]
    inner_px = HEIGHT_PX - TOP_PX - BOTTOM_PX
    reach = y_range(known, own, inner_px) or [0.0, 1.0]
    shapes, notes = limit_shapes(own, "y", inner_px / (reach[1] - reach[0]))
    return {
        "data": _band(roll_up),
        "layout": {
            "height": HEIGHT_PX,
            "margin": {"l": 78, "r": 14, "t": TOP_PX, "b": BOTTOM_PX},
            "xaxis": {"range": [0, length_m], "autorange": False},
            "yaxis": {"range": reach, "fixedrange": True, "nticks": 6},
            "shapes": shapes,
            "annotations": notes,
            "showlegend": False,
        },
        "axes": {
            "x": axis("place", "Place from the outer end of the reel"),
            "y": axis(kind_of_panel(panel, roll_up.unit), SHORT.get(roll_up.name, roll_up.title)),
        },
    }

"""The centre's path over a run: the offset of the conductor as a vector, each stretch a point, in order."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboards.figures.sheet import Figure, axis, figures_of
from dashboards.records import CentringReview
from pipeline.results import Refused


def _ring(radius_mm: float, dash: str, colour: str, name: str) -> dict[str, Any]:
    """A circle of a constant offset."""
    angles = list(range(0, 361, 4))
    return {
        "type": "scatterpolar",
        "mode": "lines",
        "r": [radius_mm] * len(angles),
        "theta": angles,
        "name": name,
        "line": {"width": 1.6, "dash": dash},
        "paint": {"line.color": colour},
        "tips": [name] * len(angles),
    }


def steady_stretches(record: CentringReview) -> NDArray[np.bool_]:
    """Stretches with an offset that were made at steady speed; every stretch with one where none was steady."""
    known = np.isfinite(np.hypot(record.ecc_cos_mm, record.ecc_sin_mm))
    if record.steady is None or not (known & record.steady).any():
        return known
    return known & record.steady


def left_out(record: CentringReview) -> tuple[int, float]:
    """How many stretches the polar figure leaves out, and the largest offset among them [mm]."""
    size = np.hypot(record.ecc_cos_mm, record.ecc_sin_mm)
    out = np.isfinite(size) & ~steady_stretches(record)
    return int(out.sum()), float(size[out].max()) if out.any() else 0.0


def centre_path(record: CentringReview) -> Figure:
    """The polar figure: direction of the thin side round the circle, offset outward, dots growing with length.

    Stretches not made at steady speed are left out, because start-up would set the scale; the page says how
    many, and the figure along the wire holds them.

    Args:
        record: the run's centring.
    """
    size = np.hypot(record.ecc_cos_mm, record.ecc_sin_mm)
    # The first harmonic is a1 cos + b1 sin of the wall; the thin side lies opposite to it.
    from_sensor = np.degrees(np.arctan2(-record.ecc_sin_mm, -record.ecc_cos_mm))
    angle = np.mod(record.first_angle_deg + from_sensor, 360.0)
    known = steady_stretches(record)
    n = int(known.sum())
    data: list[dict[str, Any]] = [
        {
            "type": "scatterpolar",
            "mode": "lines+markers",
            "name": "sections at steady speed, in order",
            "r": figures_of(size[known], 5),
            "theta": figures_of(angle[known], 2),
            "line": {"width": 0.9},
            "marker": {"size": [round(4 + 5 * k / max(n - 1, 1), 1) for k in range(n)]},
            "paint": {"line.color": "--line-strong", "marker.color": "--t2"},
        }
    ]
    if n:
        for index, symbol, name in ((0, "circle-open", "start"), (n - 1, "square", "end")):
            data.append(
                {
                    "type": "scatterpolar",
                    "mode": "markers",
                    "name": name,
                    "r": [float(size[known][index])],
                    "theta": [float(angle[known][index])],
                    "marker": {"size": 13, "symbol": symbol, "line": {"width": 2}},
                    "paint": {"marker.color": "--ink", "marker.line.color": "--ink"},
                }
            )
    if not isinstance(record.size, Refused):
        data.append(
            {
                "type": "scatterpolar",
                "mode": "markers",
                "name": "mean of the run",
                "r": [record.size.estimate],
                "theta": [record.angle_deg],
                "marker": {"size": 17, "symbol": "cross", "line": {"width": 1}},
                "paint": {"marker.color": "--t1", "marker.line.color": "--card"},
            }
        )
    if record.dead_zone_mm is not None:
        data.append(_ring(record.dead_zone_mm, "dot", "--muted", "inside: within noise, do not adjust"))
    if record.binding_mm is not None:
        data.append(_ring(record.binding_mm, "dash", "--held", "outside: centering saves compound"))
    largest = max(
        [float(size[known].max()) if n else 0.0, record.binding_mm or 0.0, record.dead_zone_mm or 0.0, 1e-3]
    )
    return {
        "data": data,
        "layout": {
            "height": 560,
            "margin": {"l": 50, "r": 50, "t": 30, "b": 90},
            "polar": {
                "radialaxis": {"range": [0, 1.12 * largest], "angle": 67.5, "tickangle": 0, "nticks": 5},
                "angularaxis": {"direction": "clockwise", "rotation": 90, "dtick": 45, "ticksuffix": "°"},
            },
            "legend": {"x": 0.5, "y": -0.1, "xanchor": "center", "yanchor": "top", "orientation": "h"},
        },
        "axes": {"r": axis("wall", "Eccentricity")},
    }


def offset_along(record: CentringReview) -> Figure:
    """The same offset along the wire, scaled to what was made at steady speed: start-up may run off the top.

    Args:
        record: the run's centring.
    """
    size = np.hypot(record.ecc_cos_mm, record.ecc_sin_mm)
    steady = steady_stretches(record)
    top = float(size[steady].max()) if steady.any() else 1e-3
    ends = [float(record.at_m[0]), float(record.at_m[-1])] if record.at_m.size else [0.0, 1.0]
    return {
        "data": [
            {
                "type": "scatter",
                "mode": "lines+markers",
                "name": "eccentricity",
                "tip": "Eccentricity",
                "x": figures_of(record.at_m, 2),
                "y": figures_of(size, 5),
                "line": {"width": 1.5},
                "marker": {
                    "size": 5,
                    "symbol": ["circle" if one else "circle-open" for one in steady],
                },
                "paint": {"line.color": "--t1", "marker.color": "--t1"},
                "showlegend": False,
            }
        ],
        "layout": {
            "height": 220,
            "margin": {"l": 78, "r": 14, "t": 10, "b": 50},
            "xaxis": {"range": ends},
            "yaxis": {"range": [0, 1.15 * max(top, record.binding_mm or 0.0)], "nticks": 5},
            "shapes": [
                {
                    "type": "line",
                    "xref": "paper",
                    "x0": 0,
                    "x1": 1,
                    "yref": "y",
                    "y0": level,
                    "y1": level,
                    "line": {"width": 1.5, "dash": dash},
                    "paint": {"line.color": colour},
                }
                for level, dash, colour in (
                    (record.dead_zone_mm, "dot", "--muted"),
                    (record.binding_mm, "6px,3px", "--held"),
                )
                if level is not None
            ],
        },
        "axes": {"x": axis("place", "Position on the wire"), "y": axis("wall", "Eccentricity")},
    }

"""The wire's cross-section to scale: conductor, insulation, where the wall is thin, and what each sensor read."""

from __future__ import annotations

import math
from dataclasses import dataclass

from dashboards.records import SectionProfile

SIZE, MARGIN = 320.0, 46.0


@dataclass(frozen=True, slots=True)
class Spoke:
    """A sensor's line across the wall on the drawing, with its label's place and its reading."""

    x0: float
    y0: float
    x1: float
    y1: float
    label_x: float
    label_y: float
    angle_deg: float
    wall_mm: float | None


@dataclass(frozen=True, slots=True)
class SectionDrawing:
    """Where the parts of the cross-section stand on a drawing of `SIZE` units.

    Args:
        outer: radius of the outside.
        core: radius of the conductor.
        core_x: middle of the conductor.
        core_y: middle of the conductor.
        limit: radius at which the wall would equal the limit all round the conductor; None without a limit.
        thin_x: end of the pointer to the thin side.
        thin_y: end of the pointer to the thin side.
        spokes: sensors.
    """

    outer: float
    core: float
    core_x: float
    core_y: float
    limit: float | None
    thin_x: float
    thin_y: float
    spokes: tuple[Spoke, ...]


def _direction(angle_deg: float) -> tuple[float, float]:
    """Unit vector on the drawing: 0 degrees at twelve o'clock, clockwise."""
    turn = math.radians(angle_deg)
    return math.sin(turn), -math.cos(turn)


def section_drawing(profile: SectionProfile) -> SectionDrawing:
    """The drawing of a cross-section, true to scale.

    Args:
        profile: what was measured there.
    """
    radius_mm = profile.conductor_mm / 2 + profile.mean_wall_mm
    scale = (SIZE / 2 - MARGIN) / radius_mm
    thin_x, thin_y = _direction(profile.thin_angle_deg)
    offset = profile.eccentricity_mm * scale
    middle = SIZE / 2
    core_x, core_y = middle + thin_x * offset, middle + thin_y * offset
    outer, core = radius_mm * scale, profile.conductor_mm / 2 * scale
    spokes = []
    for angle, wall in zip(profile.sensor_angles_deg.tolist(), profile.sensor_walls_mm.tolist(), strict=True):
        x, y = _direction(angle)
        inner = outer - (0.0 if math.isnan(wall) else wall * scale)
        spokes.append(
            Spoke(
                round(middle + x * inner, 2),
                round(middle + y * inner, 2),
                round(middle + x * outer, 2),
                round(middle + y * outer, 2),
                round(middle + x * (outer + 24), 2),
                round(middle + y * (outer + 15) + 4, 2),
                angle,
                None if math.isnan(wall) else wall,
            )
        )
    limit = None if profile.limit_mm is None else round(core + profile.limit_mm * scale, 2)
    return SectionDrawing(
        round(outer, 2),
        round(core, 2),
        round(core_x, 2),
        round(core_y, 2),
        limit,
        round(middle + thin_x * (outer + 5), 2),
        round(middle + thin_y * (outer + 5), 2),
        tuple(spokes),
    )

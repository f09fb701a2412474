"""How much plastic is on the wire, in area and in mass per length?

How much wire of the run was scrap, in metres and in kilograms of plastic?
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.length.reels import LooseWire

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Scrap:
    """A stretch of wire on no reel.

    Args:
        from_m: first metre [m].
        to_m: last metre [m].
        what: where it lies, as in `LooseWire`.
        length_m: length [m].
        insulation_kg: insulation on it [kg]; None where the density is not known.
        wall_known_m: length of it whose wall was read [m]; the rest is reckoned with the run's mean wall.
    """

    from_m: float
    to_m: float
    what: str
    length_m: float
    insulation_kg: float | None
    wall_known_m: float


def scrap_of_run(
    loose: tuple[LooseWire, ...],
    at_m: Floats,
    mean_wall_mm: Floats,
    conductor_mm: float,
    density_g_cm3: float | None,
    step_m: float,
) -> tuple[Scrap, ...]:
    """Length and insulation of each stretch of loose wire.

    m = rho A L with A from the mean wall read on that wire, or the run's where none was read.

    Args:
        loose: wire of the run on no reel.
        at_m: places of the wall readings [m].
        mean_wall_mm: mean wall [mm]; NaN where there is none.
        conductor_mm: diameter of the conductor [mm].
        density_g_cm3: density of the insulation [g/cm3]; None where the plant gives none.
        step_m: wire between two readings at the usual speed [m].

    Returns:
        One entry a stretch. Covering and conductor are not in the kilograms.
    """
    known = np.isfinite(mean_wall_mm)
    usual = float(np.median(mean_wall_mm[known])) if bool(known.any()) else float("nan")
    found = []
    for one in loose:
        inside = known & (at_m >= one.from_m) & (at_m < one.to_m)
        length = one.to_m - one.from_m
        read = float(mean_wall_mm[inside].mean()) if bool(inside.any()) else usual
        known_m = min(length, float(np.unique(np.floor(at_m[inside] / step_m)).size) * step_m)
        share = known_m / length if length > 0 else 0.0
        wall = share * read + (1.0 - share) * usual
        kg = None
        if density_g_cm3 is not None and np.isfinite(wall):
            kg = mass_kg_km(insulation_area_mm2(wall, conductor_mm), density_g_cm3) * length / 1000.0
        found.append(Scrap(one.from_m, one.to_m, one.what, length, kg, known_m))
    return tuple(found)


def insulation_area_mm2(mean_wall_mm: float, conductor_mm: float, valleys_mm2: float = 0.0) -> float:
    """Area of the insulation's section: pi t (d + t) plus what fills the strand's valleys [mm2].

    Args:
        mean_wall_mm: t, mean wall [mm].
        conductor_mm: d, diameter of the conductor, over the strand's circle [mm].
        valleys_mm2: area under the circle that plastic fills [mm2]; 0 for solid wire.
    """
    radius = conductor_mm / 2.0
    return wall_area_mm2(radius + mean_wall_mm, radius) + valleys_mm2


def wall_area_mm2(outer_radius_mm: float, conductor_radius_mm: float) -> float:
    """Area between the circles: pi (R^2 - r^2) [mm2], whatever the offset.

    An offset adds no plastic by itself; it costs because the mean wall must rise to keep the thin side legal.

    Args:
        outer_radius_mm: R, radius of the outside [mm].
        conductor_radius_mm: r, radius of the conductor [mm].
    """
    return float(np.pi * (outer_radius_mm**2 - conductor_radius_mm**2))


def mass_kg_km(area_mm2: float, density_g_cm3: float) -> float:
    """Mass per length: density times area [kg/km].

    Args:
        area_mm2: area of the section [mm2].
        density_g_cm3: density [g/cm3].
    """
    return area_mm2 * density_g_cm3


def mass_per_um_g_km(mean_wall_mm: float, conductor_mm: float, density_g_cm3: float) -> float:
    """Mass that one more micrometre of wall takes: 2 pi rho (r + t) dt [g/km per um].

    Args:
        mean_wall_mm: t, mean wall [mm].
        conductor_mm: d = 2r, diameter of the conductor [mm].
        density_g_cm3: density [g/cm3].
    """
    return 2.0 * np.pi * density_g_cm3 * (conductor_mm / 2.0 + mean_wall_mm)

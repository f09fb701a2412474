"""How much plastic is on the wire, in area and in mass per length?"""

from __future__ import annotations

import numpy as np


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

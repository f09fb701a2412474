"""How much plastic is on the wire, in area and in mass per length?"""

from __future__ import annotations

import numpy as np

from pipeline.wall.eccentric_circles import wall_area_mm2


def insulation_area_mm2(mean_wall_mm: float, conductor_mm: float, valleys_mm2: float = 0.0) -> float:
    """Area of the insulation's section: pi t (d + t) plus what fills the strand's valleys [mm2].

    Args:
        mean_wall_mm: t, mean wall [mm].
        conductor_mm: d, diameter of the conductor, over the strand's circle [mm].
        valleys_mm2: area under the circle that plastic fills [mm2]; 0 for solid wire.
    """
    radius = conductor_mm / 2.0
    return wall_area_mm2(radius + mean_wall_mm, radius) + valleys_mm2


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


def area_from_flow_mm2(mass_flow_kg_h: float, density_g_cm3: float, speed_m_s: float) -> float:
    """Area of a layer from what its extruder delivers: A = m / (3.6 rho v) [mm2].

    Args:
        mass_flow_kg_h: mass flow [kg/h].
        density_g_cm3: rho, density [g/cm3].
        speed_m_s: v, line speed [m/s].
    """
    return mass_flow_kg_h / (3.6 * density_g_cm3 * speed_m_s)


def strand_valleys_mm2(outer_wires: int, wire_mm: float, pitch_radius_mm: float) -> float:
    """Area under the circumscribed circle between the outer wires of a concentric strand [mm2].

    A = m [pi R^2/m - r_p^2 sin(pi/m) cos(pi/m) - (d/2)^2 (pi/2 + pi/m)], R = r_p + d/2.

    Args:
        outer_wires: m, wires in the outer layer.
        wire_mm: d, diameter of a wire [mm].
        pitch_radius_mm: r_p, radius of the circle through their centres [mm].

    Returns:
        The area; for compressed or compact strand it is far less and must be fitted from mass.

    Source:
        Derived.
    """
    share = np.pi / outer_wires
    outside = pitch_radius_mm + wire_mm / 2.0
    return float(
        outer_wires
        * (
            np.pi * outside**2 / outer_wires
            - pitch_radius_mm**2 * np.sin(share) * np.cos(share)
            - (wire_mm / 2.0) ** 2 * (np.pi / 2.0 + share)
        )
    )

"""What exactly is the wall between two circles that do not share a centre?

The outside has radius R and centre O, the conductor radius r and centre C, e from O towards the thin side.
Four things are called "the wall at an angle"; all agree that the thinnest is R - r - e and the thickest
R - r + e. The first-harmonic model is wrong by at most e^2/2r, far below a gauge's noise: lobes and noise are
the problem, not the model (derived; checked by ray casting in the tests).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]


def wall_seen_from_conductor_mm(
    outer_radius_mm: float, conductor_radius_mm: float, offset_mm: float, angle_rad: Floats
) -> Floats:
    """Wall along rays from the conductor's centre: t = -e cos a + sqrt(R^2 - e^2 sin^2 a) - r [mm].

    Args:
        outer_radius_mm: R, radius of the outside [mm].
        conductor_radius_mm: r, radius of the conductor [mm].
        offset_mm: e, offset of the conductor's centre towards the thin side [mm].
        angle_rad: a, angle from the thin side [rad].
    """
    e = offset_mm
    wall: Floats = (
        -e * np.cos(angle_rad)
        + np.sqrt(outer_radius_mm**2 - (e * np.sin(angle_rad)) ** 2)
        - conductor_radius_mm
    )
    return wall


def wall_seen_from_outside_centre_mm(
    outer_radius_mm: float, conductor_radius_mm: float, offset_mm: float, angle_rad: Floats
) -> Floats:
    """Wall along rays from the outside's centre: t = R - e cos a - sqrt(r^2 - e^2 sin^2 a) [mm]; needs e < r.

    Args:
        outer_radius_mm: R, radius of the outside [mm].
        conductor_radius_mm: r, radius of the conductor [mm].
        offset_mm: e, offset of the conductor's centre towards the thin side [mm].
        angle_rad: a, angle from the thin side [rad].
    """
    e = offset_mm
    wall: Floats = (
        outer_radius_mm
        - e * np.cos(angle_rad)
        - np.sqrt(conductor_radius_mm**2 - (e * np.sin(angle_rad)) ** 2)
    )
    return wall


def shortest_wall_from_conductor_mm(
    outer_radius_mm: float, conductor_radius_mm: float, offset_mm: float, angle_rad: Floats
) -> Floats:
    """Shortest wall from a point of the conductor: t = R - sqrt(r^2 + e^2 + 2 r e cos a) [mm].

    Args:
        outer_radius_mm: R, radius of the outside [mm].
        conductor_radius_mm: r, radius of the conductor [mm].
        offset_mm: e, offset of the conductor's centre towards the thin side [mm].
        angle_rad: a, angle of the conductor point from the thin side [rad].
    """
    r, e = conductor_radius_mm, offset_mm
    wall: Floats = outer_radius_mm - np.sqrt(r**2 + e**2 + 2.0 * r * e * np.cos(angle_rad))
    return wall


def shortest_wall_from_outside_mm(
    outer_radius_mm: float, conductor_radius_mm: float, offset_mm: float, angle_rad: Floats
) -> Floats:
    """Shortest wall from a point of the outside: t = sqrt(R^2 + e^2 - 2 R e cos a) - r [mm].

    Args:
        outer_radius_mm: R, radius of the outside [mm].
        conductor_radius_mm: r, radius of the conductor [mm].
        offset_mm: e, offset of the conductor's centre towards the thin side [mm].
        angle_rad: a, angle of the outside point from the thin side [rad].
    """
    R, e = outer_radius_mm, offset_mm
    wall: Floats = np.sqrt(R**2 + e**2 - 2.0 * R * e * np.cos(angle_rad)) - conductor_radius_mm
    return wall


def first_harmonic_error_mm(outer_radius_mm: float, conductor_radius_mm: float, offset_mm: float) -> float:
    """Largest error of mean - e cos a against any of the four exact walls [mm], to second order: e^2 / 2r.

    Args:
        outer_radius_mm: R, radius of the outside [mm].
        conductor_radius_mm: r, radius of the conductor [mm].
        offset_mm: e, offset of the centres [mm].

    Returns:
        The larger of e^2/2R and e^2/2r; 2.2 um for a 14 AWG solid conductor 60 um off centre.
    """
    return offset_mm**2 / (2.0 * min(outer_radius_mm, conductor_radius_mm))


def mean_wall_seen_from_conductor_mm(
    outer_radius_mm: float, conductor_radius_mm: float, offset_mm: float
) -> float:
    """Mean over all angles of the wall seen from the conductor's centre: (2R/pi) E(m) - r, m = (e/R)^2 [mm].

    E is the complete elliptic integral of the second kind; to second order R - r - e^2/4R. Exact.

    Args:
        outer_radius_mm: R, radius of the outside [mm].
        conductor_radius_mm: r, radius of the conductor [mm].
        offset_mm: e, offset of the centres [mm].
    """
    m = (offset_mm / outer_radius_mm) ** 2
    return float(2.0 * outer_radius_mm / np.pi * special.ellipe(m) - conductor_radius_mm)


def wall_area_mm2(outer_radius_mm: float, conductor_radius_mm: float) -> float:
    """Area between the circles: pi (R^2 - r^2) [mm2], whatever the offset.

    An offset adds no plastic by itself; it costs because the mean wall must rise to keep the thin side legal.

    Args:
        outer_radius_mm: R, radius of the outside [mm].
        conductor_radius_mm: r, radius of the conductor [mm].
    """
    return float(np.pi * (outer_radius_mm**2 - conductor_radius_mm**2))

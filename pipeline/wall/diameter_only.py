"""What does a line know that measures diameter only?

Its mean wall, with the conductor's diameter. Not where the wall is thin: a diameter does not change when the
conductor sits off centre. A minimum wall from such a line is refused, except that a mean wall at or under the
limit is a certain failure.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.results import Refused

Floats = NDArray[np.float64]


def mean_wall_from_diameter_mm(
    diameter_mm: float, conductor_mm: float, diameter_sd_mm: float, conductor_sd_mm: float
) -> tuple[float, float] | Refused:
    """Mean wall and its standard uncertainty: (D - d)/2, u^2 = (u_D^2 + u_d^2)/4 [mm].

    Args:
        diameter_mm: D, overall diameter, mean of the axes [mm].
        conductor_mm: d, diameter of the conductor [mm].
        diameter_sd_mm: standard uncertainty of D [mm].
        conductor_sd_mm: standard uncertainty of d [mm].

    Returns:
        The two, or a refusal where the conductor's diameter is not known.
    """
    if not np.isfinite(conductor_mm) or conductor_mm <= 0:
        return Refused(
            "mean wall",
            "half the difference of diameters",
            "The diameter of the conductor is not known: name the conductor in the run sheet, or fit a "
            "conductor gauge before the crosshead.",
            0,
        )
    wall = 0.5 * (diameter_mm - conductor_mm)
    return wall, 0.5 * float(np.hypot(diameter_sd_mm, conductor_sd_mm))


def minimum_wall_verdict(
    mean_wall_mm: float, mean_sd_mm: float, limit_mm: float
) -> Literal["fails"] | Refused:
    """The verdict on a minimum wall at any point that a diameter allows: a certain failure, or none.

    Args:
        mean_wall_mm: mean wall from the diameter [mm].
        mean_sd_mm: its standard uncertainty [mm].
        limit_mm: minimum wall at any point [mm].

    Returns:
        'fails' where the mean wall itself is at or under the limit by more than its uncertainty (one-sided
        95 %); otherwise the refusal. It never passes.
    """
    if mean_wall_mm + 1.645 * mean_sd_mm <= limit_mm:
        return "fails"
    return Refused(
        "minimum wall at any point",
        "diameter and conductor only",
        "This line measures the diameter only, which stays the same however far the conductor sits off "
        "centre: the thinnest wall cannot be known. Fit a wall gauge, or judge cut samples.",
        0,
    )


def axis_difference_mm(ovality_mm: float, angle_deg: float) -> float:
    """Difference of two axes at 90 degrees for an oval R + rho cos 2(theta - beta): 4 rho cos 2 beta [mm].

    An oval at 45 degrees to both axes shows none of itself.

    Args:
        ovality_mm: rho, second harmonic of the radius [mm]; greatest less least diameter is 4 rho.
        angle_deg: beta, its direction from the first axis [deg].
    """
    return float(4.0 * ovality_mm * np.cos(2.0 * np.radians(angle_deg)))


def oval_from_axes(diameters_mm: Floats, angles_deg: Floats) -> tuple[float, float, float] | Refused:
    """Mean diameter, greatest less least diameter, and direction of the greatest, from three axes or more.

    Least squares of D0 + p cos 2a + q sin 2a. Lobes of odd number have the same diameter everywhere and are
    seen by no gauge of two points.

    Args:
        diameters_mm: diameter on each axis [mm].
        angles_deg: angle of each axis [deg].

    Returns:
        Mean diameter [mm], difference [mm] and direction [deg], or a refusal with fewer than three axes.
    """
    angles = np.radians(angles_deg)
    columns = np.stack([np.ones_like(angles), np.cos(2 * angles), np.sin(2 * angles)], axis=1)
    if diameters_mm.size < 3 or np.linalg.matrix_rank(columns, tol=1e-6) < 3:
        return Refused(
            "ovality",
            "second harmonic of the diameter",
            "Two fixed axes miss an oval at 45 degrees to them: three axes at different angles, or a gauge "
            "that turns, recover it.",
            int(diameters_mm.size),
        )
    mean, p, q = np.linalg.lstsq(columns, diameters_mm, rcond=None)[0]
    return float(mean), float(2.0 * np.hypot(p, q)), float(np.degrees(np.arctan2(q, p)) / 2.0 % 180.0)

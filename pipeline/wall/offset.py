"""How far off centre is the conductor over a stretch, when every reading carries noise?

A single section's offset is a length and so never reads zero: noise alone reads sg sqrt(pi/N). Averages are
therefore taken of the vector, never of the length and never of a percent concentricity, which is bent by the
same noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MeanOffset:
    """Offset of the conductor's centre over a stretch.

    Args:
        cos_mm: first harmonic, cosine part [mm].
        sin_mm: first harmonic, sine part [mm].
        size_mm: its length [mm].
        thin_angle_deg: direction of the thin side from the first sensor [deg].
        wandering_mm: root mean square distance of single sections from the mean, noise taken off [mm].
        n: sections used.
    """

    cos_mm: float
    sin_mm: float
    size_mm: float
    thin_angle_deg: float
    wandering_mm: float
    n: int


def mean_offset(cos_mm: Floats, sin_mm: Floats, noise_mm: float, sensors: int) -> MeanOffset | None:
    """The mean offset vector of a stretch.

    Args:
        cos_mm: first harmonics of sections, cosine part [mm]; NaN where there is none.
        sin_mm: the same, sine part [mm].
        noise_mm: sg, standard deviation of one sensor's noise [mm].
        sensors: N, equally spaced sensors.

    Returns:
        The mean offset, or None without a section.
    """
    known = np.isfinite(cos_mm) & np.isfinite(sin_mm)
    n = int(known.sum())
    if n == 0:
        return None
    a, b = float(cos_mm[known].mean()), float(sin_mm[known].mean())
    size = float(np.hypot(a, b))
    around = ((cos_mm[known] - a) ** 2).mean() + ((sin_mm[known] - b) ** 2).mean()
    wandering = float(np.sqrt(max(float(around) - 4.0 * noise_mm**2 / sensors, 0.0)))
    angle = float(np.degrees(np.arctan2(-b, -a)) % 360.0)
    return MeanOffset(a, b, size, angle, wandering, n)


def order_seen_as(order: int, sensors: int) -> int:
    """Order as which a lobe of order `order` appears to `sensors` equally spaced sensors.

    Three lobes pass for an offset on four sensors, one for one; seven and nine lobes do on eight.

    Args:
        order: number of lobes around the section.
        sensors: N, equally spaced sensors.
    """
    folded = order % sensors
    return min(folded, sensors - folded)


def lowest_sensor_overstates_by_mm(offset_mm: float, sensors: int) -> float:
    """Most by which the lowest sensor reads above the thinnest wall: e (1 - cos(pi/N)) [mm], without noise.

    0.293 e with four sensors, 0.076 e with eight.

    Args:
        offset_mm: e, offset of the centre [mm].
        sensors: N, equally spaced sensors.
    """
    return float(offset_mm * (1.0 - np.cos(np.pi / sensors)))

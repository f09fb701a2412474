"""One section by itself, from what `sensor_set` tells of its sensors: it carries the worked examples of a section."""

from dataclasses import dataclass

import numpy as np

from pipeline.wall.harmonics import Floats, design, sensor_set


@dataclass(frozen=True, slots=True)
class Section:
    """The wall around one section.

    Args:
        mean_wall_mm: mean wall [mm].
        ecc_cos_mm: first harmonic, cosine part [mm].
        ecc_sin_mm: first harmonic, sine part [mm].
        oval_cos_mm: second harmonic, cosine part [mm]; 0 where it was not fitted.
        oval_sin_mm: second harmonic, sine part [mm].
        thinnest_wall_mm: thinnest wall around the section, between sensors too [mm].
        thinnest_at_deg: its direction from the first sensor [deg].
        thickest_wall_mm: thickest wall around the section [mm].
        sensors_used: sensors that gave a reading.
        mean_factor: standard error of the mean per standard error of one reading.
        thinnest_factor: the same for the thinnest wall; sqrt(3/N) with all sensors.
    """

    mean_wall_mm: float
    ecc_cos_mm: float
    ecc_sin_mm: float
    oval_cos_mm: float
    oval_sin_mm: float
    thinnest_wall_mm: float
    thinnest_at_deg: float
    thickest_wall_mm: float
    sensors_used: int
    mean_factor: float
    thinnest_factor: float

    @property
    def eccentricity_mm(self) -> float:
        """Offset of the conductor from the centre of the outside [mm]."""
        return float(np.hypot(self.ecc_cos_mm, self.ecc_sin_mm))

    @property
    def thin_angle_deg(self) -> float:
        """Direction of the thin side by the first harmonic, from the first sensor [deg]."""
        return float(np.degrees(np.arctan2(-self.ecc_sin_mm, -self.ecc_cos_mm)) % 360.0)

    @property
    def ovality_mm(self) -> float:
        """Size of the second harmonic [mm]."""
        return float(np.hypot(self.oval_cos_mm, self.oval_sin_mm))


def section(walls_mm: Floats, orders: int = 1) -> Section | None:
    """The wall around one section from its sensors' readings.

    Args:
        walls_mm: readings of the sensors in order of angle [mm]; NaN for a sensor that gave none.
        orders: harmonics fitted, 1 or 2. With 2 the thinnest wall is sought on a grid of 0.1 degree.

    Returns:
        The section, or None where the working sensors cannot determine it.

    Source:
        Derived. SE(thinnest) = sg sqrt(3/N), SE(direction) = sg sqrt(2/N)/e [rad] for e well above noise.
        Lobes of order 3 and 5 pass for an offset on four sensors, 7 and 9 on eight.
    """
    sensors = walls_mm.size
    live = sum(1 << bit for bit in range(sensors) if np.isfinite(walls_mm[bit]))
    known = sensor_set(sensors, live, orders)
    if not known.measured:
        return None
    parts = known.solve @ np.nan_to_num(walls_mm)
    grid = np.radians(np.arange(0.0, 360.0, 0.1)) if orders > 1 else np.zeros(0)
    e = float(np.hypot(parts[1], parts[2]))
    if orders > 1:
        profile = design(grid, orders) @ parts
        at = int(np.argmin(profile))
        low, high, angle = float(profile[at]), float(profile.max()), float(np.degrees(grid[at]))
    else:
        low, high = float(parts[0]) - e, float(parts[0]) + e
        angle = float(np.degrees(np.arctan2(-parts[2], -parts[1])) % 360.0)
    return Section(
        float(parts[0]),
        float(parts[1]),
        float(parts[2]),
        float(parts[3]) if orders > 1 else 0.0,
        float(parts[4]) if orders > 1 else 0.0,
        low,
        angle,
        high,
        known.used,
        known.mean_factor,
        known.thinnest_factor,
    )

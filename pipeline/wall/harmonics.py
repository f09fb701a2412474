"""How does the wall go round the section? Mean, offset of the centre and ovality from N wall sensors.

With the conductor's centre e from the centre of the outside towards the thin side, the wall seen at angle
theta is t = mean - e cos(theta - thin side), to within e^2/2r. The
harmonics are fitted by least squares, so a missing sensor costs precision and nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# A section is measured if leaving sensors out at most doubles its standard error over sg sqrt(3/3).
WORST_FACTOR = 2.0


@dataclass(frozen=True, slots=True)
class SensorSet:
    """What a set of working sensors can tell.

    Args:
        solve: (harmonics x sensors) matrix that turns the readings into a0, a1, b1[, a2, b2]; columns of
            sensors left out are zero.
        mean_factor: standard error of the mean wall per standard error of one reading.
        thinnest_factor: the same for the thinnest wall, at the worst direction of the thin side; sqrt(3/N)
            for N equally spaced sensors and one harmonic, sqrt(5/N) with two.
        used: number of sensors used.
        measured: whether mean and offset are determined well enough to be used.
    """

    solve: Floats
    mean_factor: float
    thinnest_factor: float
    used: int
    measured: bool


def sensor_angles_rad(sensors: int) -> Floats:
    """Angles of `sensors` equally spaced wall sensors [rad], counted from the first."""
    return 2.0 * np.pi * np.arange(sensors) / sensors


def design(angles_rad: Floats, orders: int) -> Floats:
    """Columns 1, cos, sin[, cos 2, sin 2] at `angles_rad` [rad] up to harmonic `orders`."""
    columns = [np.ones_like(angles_rad)]
    for order in range(1, orders + 1):
        columns += [np.cos(order * angles_rad), np.sin(order * angles_rad)]
    return np.stack(columns, axis=1)


@lru_cache(maxsize=4096)
def sensor_set(sensors: int, live: int, orders: int = 1) -> SensorSet:
    """What the working ones among `sensors` equally spaced wall sensors can tell.

    Least squares of a0 + a1 cos + b1 sin [+ a2 cos 2 + b2 sin 2] on the working sensors. With all of them
    a0 = mean(t), a_j = (2/N) sum t cos(j theta), b_j = (2/N) sum t sin(j theta).

    Args:
        sensors: number of sensors of the gauge, 1 to 16.
        live: bits of the working sensors, the first sensor lowest.
        orders: harmonics fitted, 1 or 2; 2 needs at least five working sensors.

    Returns:
        The solution and its standard errors for independent sensor noise. Fewer than three sensors, or three
        crowded on one side, determine nothing.

    Source:
        Derived (ordinary least squares). For the full set: NIST/SEMATECH e-Handbook 2.3.4.4, after
        C.P. Reeve, NBSIR 79-1758 (1979).
    """
    working = np.array([bool(live >> bit & 1) for bit in range(sensors)])
    used = int(working.sum())
    parts = 1 + 2 * orders
    solve = np.zeros((parts, sensors))
    if used < parts:
        return SensorSet(solve, np.inf, np.inf, used, False)
    columns = design(sensor_angles_rad(sensors)[working], orders)
    normal = columns.T @ columns
    if np.linalg.cond(normal) > 1e6:
        return SensorSet(solve, np.inf, np.inf, used, False)
    inverse = np.linalg.inv(normal)
    solve[:, working] = inverse @ columns.T
    direction = design(np.linspace(0.0, 2.0 * np.pi, 73), orders)
    spread = np.einsum("ij,jk,ik->i", direction, inverse, direction)
    worst = float(np.sqrt(spread.max()))
    return SensorSet(solve, float(np.sqrt(inverse[0, 0])), worst, used, worst <= WORST_FACTOR)


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

    No page asks for it: a run is measured as a whole; this is one section, and carries the worked examples.
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

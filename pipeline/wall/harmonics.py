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

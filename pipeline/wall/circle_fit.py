"""Which circle runs through these points? Outlines of a cut slice, for its centre offset and walls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from pipeline.results import Refused

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FittedCircle:
    """A circle through points.

    Args:
        x_mm: centre, first coordinate [mm].
        y_mm: centre, second coordinate [mm].
        radius_mm: radius [mm].
        residual_sd_mm: root mean square distance of the points from it, three degrees of freedom spent [mm].
    """

    x_mm: float
    y_mm: float
    radius_mm: float
    residual_sd_mm: float


def _no_circle(points: int) -> Refused:
    return Refused(
        "circle through points",
        "least squares",
        "A circle needs at least three points that do not lie on one line.",
        points,
    )


def circle_by_linear_fit(x_mm: Floats, y_mm: Floats) -> FittedCircle | Refused:
    """Circle by linear least squares of x^2 + y^2 = 2 a x + 2 b y + c; R^2 = c + a^2 + b^2.

    Quick and direct; on a short arc it draws the radius small.

    Args:
        x_mm: first coordinates [mm].
        y_mm: second coordinates [mm].

    Source:
        I.D. Coope, Circle fitting by linear and nonlinear least squares, J. Optim. Theory Appl. 76 (1993)
        381-388.
    """
    columns = np.stack([2.0 * x_mm, 2.0 * y_mm, np.ones_like(x_mm)], axis=1)
    if x_mm.size < 3 or np.linalg.matrix_rank(columns) < 3:
        return _no_circle(int(x_mm.size))
    a, b, c = np.linalg.lstsq(columns, x_mm**2 + y_mm**2, rcond=None)[0]
    return _with_residuals(x_mm, y_mm, float(a), float(b), float(np.sqrt(c + a * a + b * b)))


def circle_by_distance(x_mm: Floats, y_mm: Floats) -> FittedCircle | Refused:
    """Circle with the least sum of squared distances from the points (orthogonal, nonlinear).

    Args:
        x_mm: first coordinates [mm].
        y_mm: second coordinates [mm].

    Source:
        I.D. Coope (1993), as above; solved by scipy.optimize.least_squares.
    """
    start = circle_by_linear_fit(x_mm, y_mm)
    if isinstance(start, Refused):
        return start

    def distances(circle: Floats) -> Floats:
        away: Floats = np.hypot(x_mm - circle[0], y_mm - circle[1]) - circle[2]
        return away

    first = np.array([start.x_mm, start.y_mm, start.radius_mm])
    solved = optimize.least_squares(distances, first, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    return _with_residuals(x_mm, y_mm, float(solved.x[0]), float(solved.x[1]), float(solved.x[2]))


def _with_residuals(x_mm: Floats, y_mm: Floats, x: float, y: float, radius: float) -> FittedCircle:
    away = np.hypot(x_mm - x, y_mm - y) - radius
    spare = x_mm.size - 3
    sd = float(np.sqrt((away**2).sum() / spare)) if spare > 0 else float("nan")
    return FittedCircle(x, y, radius, sd)


def roundness(angles_rad: Floats, radii_mm: Floats) -> tuple[float, float, float, Floats]:
    """Radius, centre and departures of a trace taken at even angles: the first harmonic (limacon).

    R = mean r, a = (2/N) sum r cos, b = (2/N) sum r sin, P = r - R - a cos - b sin.

    Args:
        angles_rad: angles, even all round [rad].
        radii_mm: distances from the turning centre [mm].

    Returns:
        R [mm], a [mm], b [mm] and the departures from round [mm].

    Source:
        NIST/SEMATECH e-Handbook 2.3.4.4, Roundness; C.P. Reeve, NBSIR 79-1758 (1979).
    """
    radius = float(radii_mm.mean())
    a = float(2.0 * (radii_mm * np.cos(angles_rad)).mean())
    b = float(2.0 * (radii_mm * np.sin(angles_rad)).mean())
    return radius, a, b, radii_mm - radius - a * np.cos(angles_rad) - b * np.sin(angles_rad)

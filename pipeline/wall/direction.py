"""Where round the wire is the thin side, and does it stay there? Statistics of directions.

Angles are averaged as unit vectors, so that 359 and 1 degree make 0. An even spread round means the thin side
wanders freely, and no setting of the die would mend it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MeanDirection:
    """Mean of directions.

    Args:
        angle_deg: mean direction [deg].
        resultant: length of the mean unit vector, 0 for directions all round to 1 for one direction.
        n: directions, counted with their frequencies.
    """

    angle_deg: float
    resultant: float
    n: float


def mean_direction(
    angles_deg: Floats, counts: Floats | None = None, group_width_deg: float = 0.0
) -> MeanDirection | None:
    """Mean direction and resultant length of angles, or of groups of angles.

    C = sum f cos a / n, S = sum f sin a / n, r = c hypot(C, S); c = (d/2)/sin(d/2) for groups of width d.

    Args:
        angles_deg: angles, or middles of groups [deg]; NaN left out.
        counts: number in each group; None for single angles.
        group_width_deg: width of the groups whose correction is wanted [deg]; 0 for none.

    Returns:
        The mean, or None without an angle.

    Source:
        J.H. Zar, Biostatistical Analysis, 5th ed. (2010), sections 26.3 and 26.5.
    """
    weight = np.ones(angles_deg.size) if counts is None else counts
    known = np.isfinite(angles_deg) & (weight > 0)
    n = float(weight[known].sum())
    if n == 0:
        return None
    angle = np.radians(angles_deg[known])
    c = float((weight[known] * np.cos(angle)).sum() / n)
    s = float((weight[known] * np.sin(angle)).sum() / n)
    half = np.radians(group_width_deg) / 2.0
    correction = float(half / np.sin(half)) if half > 0 else 1.0
    return MeanDirection(float(np.degrees(np.arctan2(s, c)) % 360.0), correction * float(np.hypot(c, s)), n)

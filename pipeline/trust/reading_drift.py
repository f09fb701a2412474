"""Does one gauge drift against the others within a run? What wall and diameters leave over, stretch against stretch.

A bias that lasts the whole run hides in what calibration leaves; a change within the run does not. Which gauge drifts
cannot be told from one relation, so nothing is concluded where it has moved. Two gauges that drift alike are not seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.messages import Measure, message
from pipeline.trust.redundancy import AgreementStretch
from pipeline.warned import Agrees

# What calibration leaves may move within a run by this share (chosen here), a conductor nobody reads by this of itself.
MOVES, CONDUCTOR_MOVES = 0.4, 0.003
# Standard deviations of a movement that is no chance, and those at which nine in ten are found.
BEYOND = 4.57
POWER = 1.2816
FEWEST_STRETCHES = 3


def movement_sd_mm(sd: Sequence[float], conductor_mm: float, conductor_read: bool) -> float:
    """Standard deviation of a stretch's left-over wall (D - d)/2 - t about the run's [mm], all gauges at rest.

    Args:
        sd: standard uncertainties of wall, diameter and conductor [mm].
        conductor_mm: diameter of the conductor [mm].
        conductor_read: whether a gauge read it along the run.
    """
    wall, diameter, conductor = sd[:3]
    lasting = float(np.sqrt(diameter**2 + (conductor**2 if conductor_read else 0.0) + 4.0 * wall**2)) / 2.0
    unread = 0.0 if conductor_read else CONDUCTOR_MOVES * conductor_mm / 2.0
    return float(np.hypot(MOVES * lasting, unread))


def least_drift_mm(
    stretches: Sequence[AgreementStretch], sd_mm: float, bias_mm: float, made_m: tuple[float, float]
) -> float:
    """Smallest even drift over a run found nine times in ten [mm of wall].

    Of a drift that grows evenly from nothing to d, a stretch has the part of the run before its middle. It is found
    where one has moved far enough from the middle one, or is off by a bias that shows (derived). Infinite where no
    stretch compared the two.

    Args:
        stretches: the run's stretches.
        sd_mm: standard deviation of what a stretch leaves over, all gauges at rest (`movement_sd_mm`) [mm].
        bias_mm: smallest bias of the wall that one stretch shows nine times in ten [mm].
        made_m: first and last metre of wire made [m].
    """
    middle = [(one.from_m + one.to_m) / 2.0 for one in stretches if np.isfinite(one.left_mm)]
    length = made_m[1] - made_m[0]
    if not middle or length <= 0.0:
        return float("inf")
    part = np.clip((np.array(middle) - made_m[0]) / length, 0.0, 1.0)
    least = bias_mm / max(float(part.max()), 1e-9)
    if part.size >= FEWEST_STRETCHES:
        moved = float(np.abs(part - np.median(part)).max())
        least = min(least, (BEYOND + POWER) * sd_mm / moved)
    return least


def with_drifts(stretches: Sequence[AgreementStretch], sd_mm: float) -> tuple[AgreementStretch, ...]:
    """The stretches; one whose left-over wall moved away from the run's usual concludes nothing.

    Args:
        stretches: the run's stretches, each with what wall and diameters leave over.
        sd_mm: standard deviation of that with all gauges at rest (`movement_sd_mm`) [mm].
    """
    left = np.array([one.left_mm for one in stretches], dtype=np.float64)
    known = np.isfinite(left)
    if int(known.sum()) < FEWEST_STRETCHES or sd_mm <= 0.0:
        return tuple(stretches)
    away = left - float(np.median(left[known]))
    return tuple(
        _drifted(one, moved) if np.isfinite(moved) and abs(moved) > BEYOND * sd_mm else one
        for one, moved in zip(stretches, away.tolist(), strict=True)
    )


def _drifted(stretch: AgreementStretch, moved_mm: float) -> AgreementStretch:
    if stretch.agreement.state == "red":
        return stretch
    told = message(Agrees.DRIFTS, more=Measure(moved_mm, "mm"))
    return replace(stretch, agreement=replace(stretch.agreement, state="red", told=told))

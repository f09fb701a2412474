"""How fast the line runs and where its counter stands at each reading: ramps, dips, stops, restarts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.simulator.randomness import Wander, WanderSource

PhaseName = Literal["start-up", "ramp", "steady", "dip", "slow-down", "stop", "restart"]
_WOBBLE = (Wander(0.001, 2.0),)  # relative; invented


@dataclass(frozen=True, slots=True)
class Leg:
    """One stretch of the speed plan: from the speed before to `to_m_s`, in `seconds`."""

    phase: PhaseName
    seconds: float
    to_m_s: float


@dataclass(frozen=True, slots=True)
class SpeedPlan:
    """The line's speed as planned: straight legs one after another, from standstill."""

    legs: tuple[Leg, ...]

    @property
    def times_s(self) -> NDArray[np.float64]:
        """Instants between the legs [s], from 0."""
        return np.concatenate([[0.0], np.cumsum([leg.seconds for leg in self.legs])])

    @property
    def speeds_m_s(self) -> NDArray[np.float64]:
        """Speed at those instants [m/s]."""
        return np.array([0.0, *(leg.to_m_s for leg in self.legs)])

    @property
    def length_m(self) -> float:
        """Length the plan makes [m], without wobble."""
        speeds = self.speeds_m_s
        return float(np.sum(0.5 * (speeds[1:] + speeds[:-1]) * np.diff(self.times_s)))


@dataclass(frozen=True, slots=True)
class Motion:
    """Some successive readings' instants.

    Args:
        first_row: number of the first of them in the run.
        t_s: instant from the start of the log [s].
        v_m_s: true speed [m/s].
        x_m: where an ideal counter of this line stands [m], resets and slips left out.
        front_m: greatest `x_m` so far [m]: wire made.
    """

    first_row: int
    t_s: NDArray[np.float64]
    v_m_s: NDArray[np.float64]
    x_m: NDArray[np.float64]
    front_m: NDArray[np.float64]


class LineDrive:
    """The line in motion, piece by piece.

    Args:
        plan: the planned speed.
        interval_s: time between readings [s].
        scale: metres on the counter per metre of wire.
        seed: seed of the run.
        run_id: the run's id.
    """

    def __init__(self, plan: SpeedPlan, interval_s: float, scale: float, seed: int, run_id: str) -> None:
        self._plan = plan
        self._interval_s = interval_s
        self._scale = scale
        self._wobble = WanderSource(_WOBBLE, interval_s, seed, run_id, "speed")
        self._row = 0
        self._v_m_s = 0.0
        self._x_m = 0.0
        self._front_m = 0.0
        self.rows = int(np.floor(plan.times_s[-1] / interval_s + 1e-9)) + 1

    def take(self, count: int) -> Motion:
        """The next `count` readings' instants."""
        t_s = np.arange(self._row, self._row + count, dtype=np.float64) * self._interval_s
        planned = np.interp(t_s, self._plan.times_s, self._plan.speeds_m_s)
        v_m_s = planned * (1.0 + self._wobble.take(count))
        before = np.concatenate([[self._v_m_s if self._row else v_m_s[0]], v_m_s[:-1]])
        steps = 0.5 * (before + v_m_s) * self._interval_s * self._scale
        if self._row == 0:
            steps[0] = 0.0
        x_m = np.cumsum(np.concatenate([[self._x_m], steps]))[1:]
        front_m = np.maximum.accumulate(np.maximum(x_m, self._front_m))
        first_row = self._row
        self._row += count
        self._v_m_s, self._x_m, self._front_m = float(v_m_s[-1]), float(x_m[-1]), float(front_m[-1])
        return Motion(first_row, t_s, v_m_s, x_m, front_m)


def plain_plan(
    speed_m_s: float,
    length_m: float,
    ramp_s: float,
    dips: tuple[tuple[float, float, float], ...] = (),
    stops: tuple[tuple[float, float], ...] = (),
) -> SpeedPlan:
    """A run of `length_m` [m] at `speed_m_s` [m/s], ramps included.

    Args:
        speed_m_s: set speed [m/s].
        length_m: length to make [m].
        ramp_s: time from standstill to set speed, and back [s].
        dips: (metre it begins, share of the set speed, seconds it lasts) of each slow stretch.
        stops: (metre the slow-down begins, seconds the line stands) of each stop.
    """
    made_m = 0.5 * speed_m_s * ramp_s
    legs = [Leg("start-up", ramp_s, speed_m_s)]
    breaks = sorted([(at, share, last) for at, share, last in dips] + [(at, 0.0, last) for at, last in stops])
    for at_m, share, last_s in breaks:
        legs.append(Leg("steady", (at_m - made_m) / speed_m_s, speed_m_s))
        low = share * speed_m_s
        change_s = max(2.0, (1.0 - share) * ramp_s)
        names: tuple[PhaseName, PhaseName, PhaseName] = (
            ("dip", "dip", "dip") if share else ("slow-down", "stop", "restart")
        )
        legs += [Leg(names[0], change_s, low), Leg(names[1], last_s, low), Leg(names[2], change_s, speed_m_s)]
        made_m = at_m + (speed_m_s + low) * change_s + low * last_s
    end_m = length_m - 0.5 * speed_m_s * ramp_s
    legs.append(Leg("steady", max(1.0, (end_m - made_m) / speed_m_s), speed_m_s))
    legs += [Leg("slow-down", ramp_s, 0.0), Leg("stop", 5.0, 0.0)]
    return SpeedPlan(tuple(legs))

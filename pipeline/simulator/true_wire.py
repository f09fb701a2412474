"""The true wire: conductor, insulation, covering and shrinkage as functions of the metre of wire.

The wall around the section is t(theta) = mean + c1 cos + s1 sin + c2 cos 2 theta + s2 sin 2 theta, theta from
the first wall sensor. The eccentric circle's own terms beyond the first harmonic, e^2/(2R), are about a
micrometre and left out.

Values along the wire on an even grid, made piece by piece, and their mean over the window of a reading.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.simulator.randomness import WanderSource
from pipeline.simulator.scenario import Offset, RunScenario
from pipeline.simulator.speed import Motion
from pipeline.simulator.troubles import (
    BoltTurn,
    CentreDrift,
    ColdStart,
    ScrewStep,
    StopMark,
    ThinAllRound,
    ThinOneSide,
)

_POINT_M = 1e-4  # below this a window is a point: a mean over it would only lose digits


class Ribbon:
    """Named fields at s = (first + k) x step; old metres are let go when no instrument can see them again.

    Args:
        names: names of the fields, in the order of the rows given to `extend`.
        first: number of the first node, so that nodes are the same however the wire is cut into pieces.
        step_m: spacing of the nodes [m].
    """

    def __init__(self, names: tuple[str, ...], first: int, step_m: float) -> None:
        self.names = names
        self.step_m = step_m
        self._first = first
        self._values: NDArray[np.float64] = np.empty((len(names), 0))
        self._sums: NDArray[np.float64] = np.empty((len(names), 0))

    @property
    def next_node(self) -> int:
        """Number of the first node not made yet."""
        return self._first + int(self._values.shape[1])

    def nodes_to(self, to_m: float) -> NDArray[np.float64]:
        """Positions [m] of the nodes still to be made up to `to_m` [m]."""
        last = int(np.floor(to_m / self.step_m))
        nodes: NDArray[np.float64] = np.arange(self.next_node, last + 1, dtype=np.float64)
        return nodes * self.step_m

    def extend(self, values: NDArray[np.float64]) -> None:
        """Add `values` (fields x nodes) after the last node."""
        self._values = np.concatenate([self._values, values], axis=1)
        middles = 0.5 * (self._values[:, 1:] + self._values[:, :-1]) * self.step_m
        self._sums = np.zeros_like(self._values)
        np.cumsum(middles, axis=1, out=self._sums[:, 1:])

    def let_go(self, before_m: float) -> None:
        """Forget the nodes before `before_m` [m]."""
        count = int(np.floor(before_m / self.step_m)) - self._first
        if count > 0:
            self._values = self._values[:, count:]
            self._sums = self._sums[:, count:]
            self._first += count

    def _at(self, table: NDArray[np.float64], s_m: NDArray[np.float64]) -> NDArray[np.float64]:
        place = np.clip(s_m / self.step_m - self._first, 0.0, table.shape[1] - 1.000001)
        left = place.astype(np.int64)
        part = place - left
        lower: NDArray[np.float64] = table[:, left]
        return lower + part * (table[:, left + 1] - lower)

    def seen(self, from_m: NDArray[np.float64], to_m: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
        """Mean of each field over the windows `from_m` to `to_m` [m]; the value itself at a point."""
        width = to_m - from_m
        wide = width > _POINT_M
        mean = self._at(self._values, 0.5 * (from_m + to_m))
        if wide.any():
            area = self._at(self._sums, to_m[wide]) - self._at(self._sums, from_m[wide])
            mean[:, wide] = area / width[wide]
        return dict(zip(self.names, mean, strict=True))


COAT = ("mean_mm", "c1_mm", "s1_mm", "c2_mm", "s2_mm", "covering_mm", "k1_mm", "k2_mm", "density_ratio")
_LEADER_M = 160.0  # wire before the first metre, on which the instruments start
_AHEAD_M = 12.0  # bare conductor before the die that its gauge already sees
_ANGLES = np.deg2rad(np.arange(0.0, 360.0, 4.0))
_AROUND = np.stack([np.cos(_ANGLES), np.sin(_ANGLES), np.cos(2 * _ANGLES), np.sin(2 * _ANGLES)])


@dataclass(frozen=True, slots=True)
class MadeWire:
    """A piece of true wire as it was made.

    Args:
        s_m: metre of wire of each node.
        mean_mm: mean insulation wall.
        thinnest_mm: thinnest insulation wall around the section.
        thickest_mm: thickest insulation wall around the section.
        covering_mm: mean wall of the covering.
        thinnest_covering_mm: thinnest wall of the covering around the section.
        diameter_mm: overall diameter, mean of the axes.
        c1_mm, s1_mm: first harmonic of the insulation wall.
    """

    s_m: NDArray[np.float64]
    mean_mm: NDArray[np.float64]
    thinnest_mm: NDArray[np.float64]
    thickest_mm: NDArray[np.float64]
    covering_mm: NDArray[np.float64]
    thinnest_covering_mm: NDArray[np.float64]
    diameter_mm: NDArray[np.float64]
    c1_mm: NDArray[np.float64]
    s1_mm: NDArray[np.float64]


def bump(s_m: NDArray[np.float64], from_m: float, length_m: float) -> NDArray[np.float64]:
    """A smooth hump of height 1 from `from_m` over `length_m` [m]; each end a raised cosine of a fifth."""
    place = (s_m - from_m) / length_m
    edge = np.clip(np.minimum(place, 1.0 - place) / 0.2, 0.0, 1.0)
    height: NDArray[np.float64] = 0.5 - 0.5 * np.cos(np.pi * edge)
    return height


def extreme_walls_mm(
    coat: dict[str, NDArray[np.float64]],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Thinnest and thickest insulation wall [mm] around each section of `coat`, on a grid of 4 degrees."""
    harmonics = np.stack([coat["c1_mm"], coat["s1_mm"], coat["c2_mm"], coat["s2_mm"]], axis=1)
    around = harmonics @ _AROUND
    return coat["mean_mm"] + np.min(around, axis=1), coat["mean_mm"] + np.max(around, axis=1)


class TrueWire:
    """The wire of one run, made as the line runs; each cause has its own random stream.

    Args:
        scenario: the run.
        seed: seed of the run.
    """

    def __init__(self, scenario: RunScenario, seed: int) -> None:
        self._scenario = scenario
        wire = scenario.wire
        step = wire.step_m
        first = -int(np.ceil(_LEADER_M / step))
        self.coat = Ribbon(COAT, first, step)
        self.conductor = Ribbon(("conductor_mm",), first, step)
        covering = wire.covering
        run = scenario.run_id
        self._sources = {
            name: WanderSource(wanders, step, seed, run, name)
            for name, wanders in {
                "mean_mm": wire.wall_wanders,
                "c1_mm": wire.centre.wanders,
                "s1_mm": wire.centre.wanders,
                "c2_mm": wire.oval.wanders,
                "s2_mm": wire.oval.wanders,
                "covering_mm": covering.wanders if covering else (),
                "k1_mm": covering.offset.wanders if covering else (),
                "k2_mm": covering.offset.wanders if covering else (),
                "density_ratio": wire.density_wanders,
            }.items()
        }
        self._copper = WanderSource(wire.conductor_wanders, step, seed, run, "conductor_mm")
        self._before = (0.0, 0.0)  # front and instant of the last reading of the piece before
        self._stops: list[float] = []
        self._stop_times = _stop_times(scenario)
        capstan = next((one for one in scenario.line.elements if one.kind == "capstan"), None)
        self._capstan_m = capstan.circumference_m if capstan else None

    def make(self, motion: Motion) -> MadeWire:
        """Make the wire that the line makes during `motion`, and return it."""
        keep_m = float(motion.x_m.min()) - _LEADER_M
        ahead = self.conductor.nodes_to(float(motion.front_m[-1]) + _AHEAD_M)
        copper = self._scenario.wire.conductor_mm + self._copper.take(ahead.size)
        self.conductor.extend(copper[np.newaxis, :])
        s_m = self.coat.nodes_to(float(motion.front_m[-1]))
        t_s = self._instants(s_m, motion)
        coat = self._sound(s_m, t_s)
        self._spoil(coat, s_m)
        self.coat.extend(np.stack([coat[name] for name in COAT]))
        thinnest, thickest = extreme_walls_mm(coat)
        copper = self.conductor.seen(s_m, s_m)["conductor_mm"]
        self.coat.let_go(keep_m)
        self.conductor.let_go(keep_m)
        return MadeWire(
            s_m,
            coat["mean_mm"],
            thinnest,
            thickest,
            coat["covering_mm"],
            coat["covering_mm"] - np.hypot(coat["k1_mm"], coat["k2_mm"]),
            copper + 2.0 * (coat["mean_mm"] + coat["covering_mm"]),
            coat["c1_mm"],
            coat["s1_mm"],
        )

    def _instants(self, s_m: NDArray[np.float64], motion: Motion) -> NDArray[np.float64]:
        """When each metre was at the die [s], before the run at set speed; notes where the line stopped."""
        fronts = np.concatenate([[self._before[0]], motion.front_m])
        times = np.concatenate([[self._before[1]], motion.t_s])
        fresh = np.concatenate([[True], np.diff(fronts) > 0.0])
        for begins_s in self._stop_times:
            if self._before[1] < begins_s <= motion.t_s[-1]:
                self._stops.append(float(np.interp(begins_s, times, fronts)))
        self._before = (float(motion.front_m[-1]), float(motion.t_s[-1]))
        t_s = np.interp(s_m, fronts[fresh], times[fresh])
        return np.where(s_m < 0.0, s_m / self._scenario.wire.speed_m_s, t_s)

    def _sound(self, s_m: NDArray[np.float64], t_s: NDArray[np.float64]) -> dict[str, NDArray[np.float64]]:
        """The wire without troubles, start-up included."""
        wire = self._scenario.wire
        coat = {name: self._sources[name].take(s_m.size) for name in COAT}
        coat["mean_mm"] += wire.wall_mm + wire.screw_mm * np.sin(2 * np.pi * t_s / wire.screw_period_s)
        if self._capstan_m:
            coat["mean_mm"] += wire.capstan_mm * np.sin(2 * np.pi * s_m / self._capstan_m)
        settling = np.exp(-np.maximum(s_m, 0.0) / wire.start_up.settle_m)
        coat["mean_mm"] += wire.start_up.thick_mm * settling
        _thin_towards(coat, wire.centre, np.ones(s_m.size))
        _thin_towards(coat, Offset(wire.start_up.offset_mm, wire.start_up.angle_deg), settling)
        turn = np.deg2rad(2.0 * wire.oval.angle_deg)
        coat["c2_mm"] -= wire.oval.size_mm * np.cos(turn)
        coat["s2_mm"] -= wire.oval.size_mm * np.sin(turn)
        if wire.covering:
            coat["covering_mm"] += wire.covering.mean_mm
            _thin_towards(coat, wire.covering.offset, np.ones(s_m.size), ("k1_mm", "k2_mm"))
        coat["density_ratio"] += wire.density_ratio
        return coat

    def _spoil(self, coat: dict[str, NDArray[np.float64]], s_m: NDArray[np.float64]) -> None:
        """Put the troubles of the run on the wire."""
        for one in self._scenario.troubles:
            if isinstance(one, ThinAllRound):
                coat["mean_mm"] -= one.depth_mm * bump(s_m, one.at_m, one.length_m)
            elif isinstance(one, ThinOneSide):
                _thin_towards(coat, Offset(one.depth_mm, one.angle_deg), bump(s_m, one.at_m, one.length_m))
            elif isinstance(one, CentreDrift):
                share = np.clip((s_m - one.from_m) / (one.to_m - one.from_m), 0.0, 1.0)
                _thin_towards(coat, Offset(one.size_mm, one.angle_deg), share)
            elif isinstance(one, StopMark):
                for stop_m in self._stops:
                    coat["mean_mm"] -= one.depth_mm * bump(s_m, stop_m, one.length_m)
            elif isinstance(one, ColdStart) and one.stop <= len(self._stops):
                since_m = s_m - self._stops[one.stop - 1]
                left = np.where(since_m < 0.0, 0.0, np.exp(-np.maximum(since_m, 0.0) / one.settle_m))
                coat["mean_mm"] += one.thick_mm * left
                _thin_towards(coat, Offset(one.offset_mm, one.angle_deg), left)
            elif isinstance(one, BoltTurn):
                _turn_bolt(coat, one, self._scenario, s_m)
            elif isinstance(one, ScrewStep):
                coat["mean_mm"] += _more_plastic(coat["mean_mm"], one, self._scenario.wire.conductor_mm, s_m)

    @property
    def stops_m(self) -> tuple[float, ...]:
        """Metre of wire that was at the die at each stop so far."""
        return tuple(self._stops)


def _turn_bolt(
    coat: dict[str, NDArray[np.float64]], turned: BoltTurn, scenario: RunScenario, s_m: NDArray[np.float64]
) -> None:
    """The die moves away from a bolt that pushes it, and the wall thins on the bolt's side."""
    bolt = next(one for one in scenario.line.bolts if one.id == turned.bolt)
    gauge = scenario.line.instrument("wall gauge")
    pushes = (bolt.sense == "in pushes away") == (bolt.moves == "die")
    size_mm = turned.um_per_turn * turned.turns / 1000.0 * (1.0 if pushes else -1.0)
    share = 1.0 - np.exp(-np.maximum(s_m - turned.at_m, 0.0) / turned.settle_m)
    from_sensor = bolt.angle_deg - (gauge.first_angle_deg if gauge else 0.0)
    _thin_towards(coat, Offset(size_mm, from_sensor), share)


def _more_plastic(
    mean_mm: NDArray[np.float64], step: ScrewStep, conductor_mm: float, s_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    """By how much the wall grows when the plastic's area grows: sqrt(r^2 + t (2 r + t)(1 + share)) - r - t [mm]."""
    r_mm = 0.5 * conductor_mm
    up, down = (np.clip((s_m - at - step.late_m) / 2.0 + 0.5, 0.0, 1.0) for at in (step.from_m, step.to_m))
    area = mean_mm * (2.0 * r_mm + mean_mm) * (1.0 + step.share * (up - down))
    grown: NDArray[np.float64] = np.sqrt(r_mm**2 + area) - r_mm - mean_mm
    return grown


def _stop_times(scenario: RunScenario) -> tuple[float, ...]:
    """Instants at which the line comes to rest and later restarts [s]."""
    times = scenario.speed.times_s
    legs = scenario.speed.legs
    return tuple(
        float(times[number])
        for number, leg in enumerate(legs)
        if leg.phase == "stop" and number + 1 < len(legs)
    )


def _thin_towards(
    coat: dict[str, NDArray[np.float64]],
    offset: Offset,
    share: NDArray[np.float64],
    names: tuple[str, str] = ("c1_mm", "s1_mm"),
) -> None:
    angle = np.deg2rad(offset.angle_deg)
    coat[names[0]] -= offset.size_mm * share * np.cos(angle)
    coat[names[1]] -= offset.size_mm * share * np.sin(angle)

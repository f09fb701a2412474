"""When the spark tester counts and the vision system reports: each fault as it passes, on the run's clock."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.simulator.logger_faults import RawCounter
from pipeline.simulator.randomness import stream
from pipeline.simulator.scenario import RunScenario
from pipeline.simulator.speed import Motion
from pipeline.simulator.troubles import SparkFaults, SurfaceFlaws

_STRIKE_M = 0.02  # mean way into the electrode before the arc strikes (invented)


@dataclass(frozen=True, slots=True)
class Event:
    """One line of an event list.

    Args:
        kind: 'spark fault' or 'surface flaw'.
        wire_m: true place on the wire [m].
        at_t_s: instant of the count [s].
        counter_m: what the length counter showed then [m].
        spark_kv: test voltage [kV].
        flaw_size_mm: size of the flaw [mm].
        flaw_class: class of the flaw.
    """

    kind: str
    wire_m: float
    at_t_s: float
    counter_m: float
    spark_kv: float | None
    flaw_size_mm: float | None
    flaw_class: str | None


@dataclass(frozen=True, slots=True)
class _Passing:
    """An event that happens when the wire made reaches `front_m`."""

    front_m: float
    event: Event


class Passings:
    """The events of a run in the order in which they happen, told as the line runs.

    Args:
        scenario: the run.
        seed: seed of the run.
    """

    def __init__(self, scenario: RunScenario, seed: int) -> None:
        self._counter = RawCounter(scenario)
        draw = stream(seed, scenario.run_id, "events")
        ahead = _spark_passings(scenario, draw) + _flaw_passings(scenario)
        self._ahead = sorted(ahead, key=lambda one: one.front_m)
        self._fronts = np.array([one.front_m for one in self._ahead])
        self._told = 0
        self._before = (0.0, 0.0)

    def during(self, motion: Motion) -> list[Event]:
        """The events that happen during `motion`."""
        fronts = np.concatenate([[self._before[0]], motion.front_m])
        times = np.concatenate([[self._before[1]], motion.t_s])
        fresh = np.concatenate([[True], np.diff(fronts) > 0.0])
        self._before = (float(motion.front_m[-1]), float(motion.t_s[-1]))
        end = int(np.searchsorted(self._fronts, motion.front_m[-1], side="right"))
        reached = self._fronts[self._told : end]
        at_t_s = np.interp(reached, fronts[fresh], times[fresh])
        shown = self._counter.shown_m(reached)
        events = [
            _stamped(one.event, float(t), float(m))
            for one, t, m in zip(self._ahead[self._told : end], at_t_s, shown, strict=True)
        ]
        self._told = end
        return events


def _stamped(event: Event, at_t_s: float, counter_m: float) -> Event:
    return Event(
        event.kind,
        event.wire_m,
        at_t_s,
        counter_m,
        event.spark_kv,
        event.flaw_size_mm,
        event.flaw_class,
    )


def _spark_passings(scenario: RunScenario, draw: np.random.Generator) -> list[_Passing]:
    """Each fault's counts: the arc strikes near the electrode's entry, and again while it is inside."""
    tester = scenario.line.instrument("spark tester")
    station_m = scenario.station_m("spark tester")
    if tester is None or station_m is None:
        return []
    entry_m = (station_m - 0.5 * tester.window_m) * scenario.encoder_scale
    dead_m = tester.dead_time_s * scenario.wire.speed_m_s
    passings = []
    for trouble in (one for one in scenario.troubles if isinstance(one, SparkFaults)):
        for wire_m in trouble.at_m:
            into_m = np.cumsum(draw.exponential(_STRIKE_M, trouble.counts))
            into_m += np.arange(trouble.counts) * max(dead_m, 0.2 * tester.window_m)
            for way_m in into_m[into_m < tester.window_m]:
                kv = scenario.wire.spark_kv + 0.02 * float(draw.standard_normal())
                event = Event("spark fault", wire_m, 0.0, 0.0, kv, None, None)
                passings.append(_Passing(wire_m + entry_m + float(way_m), event))
    return passings


def _flaw_passings(scenario: RunScenario) -> list[_Passing]:
    station_m = scenario.station_m("surface vision")
    if station_m is None:
        return []
    return [
        _Passing(
            at_m + station_m * scenario.encoder_scale,
            Event("surface flaw", at_m, 0.0, 0.0, None, size_mm, flaw_class),
        )
        for trouble in scenario.troubles
        if isinstance(trouble, SurfaceFlaws)
        for at_m, size_mm, flaw_class in zip(trouble.at_m, trouble.size_mm, trouble.flaw_class, strict=True)
    ]


def counts_so_far(events: list[Event], t_s: NDArray[np.float64], before: int) -> NDArray[np.float64]:
    """The tester's running count at `t_s` [s], `before` counts having been made earlier."""
    at = np.sort([one.at_t_s for one in events if one.kind == "spark fault"])
    return before + np.searchsorted(at, t_s, side="right").astype(np.float64)

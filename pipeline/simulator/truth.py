"""What is where on the wire of a simulated run: troubles, wire beyond a limit, faults, reels, rows."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.simulator.scenario import RunScenario
from pipeline.simulator.sensor_events import Event
from pipeline.simulator.speed import Motion
from pipeline.simulator.true_wire import MadeWire

STATEMENT = (
    "Invented truth of a simulated run. Agreement with it proves the program consistent with itself and says "
    "nothing about real wire. Positions are metres of wire by the line's own counter, counted through resets."
)
MERGE_M = 2.0  # stretches beyond a limit that lie closer are told as one


@dataclass(frozen=True, slots=True)
class TrueStretch:
    """True wire beyond a limit.

    Args:
        requirement: the requirement it does not meet.
        from_m, to_m: where it is on the wire [m].
        limit: the limit [mm, or % for concentricity].
        worst: the worst value [same].
        worst_at_m: where that is [m].
    """

    requirement: str
    from_m: float
    to_m: float
    limit: float
    worst: float
    worst_at_m: float


@dataclass(frozen=True, slots=True)
class TrueReel:
    """A reel's wire and the worst of it: lowest mean wall and thinnest wall of the insulation, and where."""

    id: str
    from_m: float
    to_m: float
    lowest_mean_mm: float
    lowest_mean_at_m: float
    thinnest_mm: float
    thinnest_at_m: float


@dataclass(frozen=True, slots=True)
class Truth:
    """The truth of one run.

    Args:
        run_id: the run.
        seed: seed it was made from.
        made_m: counter at the end of the run [m].
        rows: readings logged.
        encoder_scale: metres on the counter per metre of wire.
        stations_m: true distance of each instrument from the die [m], by kind.
        phases: what the line was doing while the wire from .. to [m] was at the die.
        stops_m: metre at the die at each stop.
        reels: each reel's wire.
        beyond_limit: wire that does not meet a requirement, whether on a reel or not.
        troubles: each trouble as it was planned.
        events: every count and flaw, with its place on the wire.
        rows_written: rows of each log file, header not counted.
    """

    run_id: str
    seed: int
    made_m: float
    rows: int
    encoder_scale: float
    stations_m: dict[str, float]
    phases: tuple[tuple[str, float, float], ...]
    stops_m: tuple[float, ...]
    reels: tuple[TrueReel, ...]
    beyond_limit: tuple[TrueStretch, ...]
    troubles: tuple[dict[str, Any], ...]
    events: tuple[Event, ...]
    rows_written: dict[str, int]

    def faults_m(self) -> NDArray[np.float64]:
        """Places of the true spark faults [m], each once."""
        return np.unique([one.wire_m for one in self.events if one.kind == "spark fault"])


def write_truth(truth: Truth, path: Path) -> None:
    """Write `truth` to `path` as JSON, rounded to 0.1 mm of wire and 0.1 um of wall."""
    content = {"statement": STATEMENT, **_rounded(asdict(truth))}
    path.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 4)
    if isinstance(value, dict):
        return {key: _rounded(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(one) for one in value]
    return value


class TruthKeeper:
    """Gathers the truth while the line runs.

    Args:
        scenario: the run.
        seed: seed of the run.
    """

    def __init__(self, scenario: RunScenario, seed: int) -> None:
        self._scenario = scenario
        self._seed = seed
        station_m = scenario.line.take_up_station_m * scenario.encoder_scale
        self._reels = [(one.id, one.from_m - station_m, one.to_m - station_m) for one in scenario.reels]
        self._changes_m = np.unique([end for _, from_m, to_m in self._reels for end in (from_m, to_m)])
        self._worst = {one.id: [np.inf, 0.0, np.inf, 0.0] for one in scenario.reels}
        self._stretches: dict[tuple[str, bool], list[TrueStretch]] = {}
        self._boundaries: list[float] = [0.0]
        self._before = (0.0, 0.0)
        self._events: list[Event] = []
        self._rows = 0

    def see(self, motion: Motion, made: MadeWire, events: list[Event]) -> None:
        """Take in what happened during `motion`."""
        fronts = np.concatenate([[self._before[0]], motion.front_m])
        times = np.concatenate([[self._before[1]], motion.t_s])
        for at_s in self._scenario.speed.times_s[1:]:
            if self._before[1] < at_s <= motion.t_s[-1] + 1e-9:
                self._boundaries.append(float(np.interp(at_s, times, fronts)))
        self._before = (float(motion.front_m[-1]), float(motion.t_s[-1]))
        self._events += events
        self._rows += motion.t_s.size
        if made.s_m.size:
            limits = self._scenario.wire.limits
            round_pct = 100.0 * made.thinnest_mm / made.thickest_mm
            self._gather("minimum average wall", made.s_m, made.mean_mm, limits.average_mm)
            self._gather("minimum wall at any point", made.s_m, made.thinnest_mm, limits.point_mm)
            self._gather("concentricity", made.s_m, round_pct, limits.concentricity_pct)
            self._gather("overall diameter", made.s_m, made.diameter_mm, limits.diameter_least_mm)
            greatest = limits.diameter_greatest_mm
            self._gather("overall diameter", made.s_m, made.diameter_mm, greatest, at_most=True)
            self._worst_of_reels(made)

    def _gather(
        self,
        requirement: str,
        s_m: NDArray[np.float64],
        values: NDArray[np.float64],
        limit: float,
        at_most: bool = False,
    ) -> None:
        """Note where `values` are below `limit`, or above it where it is a greatest value."""
        sign = -1.0 if at_most else 1.0
        beyond = (sign * values < sign * limit) & (s_m >= 0.0)
        reel = np.searchsorted(self._changes_m, s_m, side="right")
        # A stretch also ends where its reel does, so that each reel has its own worst.
        label = np.concatenate([[-1], np.where(beyond, reel, -1), [-1]])
        edges = np.flatnonzero(np.diff(label))
        starts = edges[label[edges + 1] >= 0]
        ends = edges[label[edges] >= 0] - 1
        told = self._stretches.setdefault((requirement, at_most), [])
        for start, end in zip(starts, ends, strict=True):
            worst = start + int(np.argmin(sign * values[start : end + 1]))
            new = TrueStretch(
                requirement,
                float(s_m[start]),
                float(s_m[end]),
                limit,
                float(values[worst]),
                float(s_m[worst]),
            )
            near = bool(told) and new.from_m - told[-1].to_m <= MERGE_M
            if near and reel[start] == np.searchsorted(self._changes_m, told[-1].to_m, side="right"):
                before = told.pop()
                extreme = min(before, new, key=lambda one: sign * one.worst)
                new = TrueStretch(
                    requirement, before.from_m, new.to_m, limit, extreme.worst, extreme.worst_at_m
                )
            told.append(new)

    def _worst_of_reels(self, made: MadeWire) -> None:
        for reel, from_m, to_m in self._reels:
            low = int(np.searchsorted(made.s_m, from_m))
            high = int(np.searchsorted(made.s_m, to_m, side="right"))
            if high <= low:
                continue
            worst = self._worst[reel]
            for place, wall_mm in ((0, made.mean_mm), (2, made.thinnest_mm)):
                least = low + int(np.argmin(wall_mm[low:high]))
                if wall_mm[least] < worst[place]:
                    worst[place], worst[place + 1] = float(wall_mm[least]), float(made.s_m[least])

    def truth(self, stops_m: tuple[float, ...], rows_written: dict[str, int]) -> Truth:
        """All that was gathered."""
        scenario = self._scenario
        names = [leg.phase for leg in scenario.speed.legs]
        ends = [*self._boundaries[1:], self._before[0]][: len(names)]
        starts = self._boundaries[: len(ends)]
        stations: dict[str, float] = {
            one.kind: scenario.stations_m.get(one.id, one.station_m) for one in scenario.line.instruments
        }
        return Truth(
            run_id=scenario.run_id,
            seed=self._seed,
            made_m=self._before[0],
            rows=self._rows,
            encoder_scale=scenario.encoder_scale,
            stations_m=stations,
            phases=tuple(zip(names, starts, ends, strict=False)),
            stops_m=stops_m,
            reels=tuple(
                TrueReel(reel, from_m, to_m, *self._worst[reel]) for reel, from_m, to_m in self._reels
            ),
            beyond_limit=tuple(one for told in self._stretches.values() for one in told),
            troubles=tuple({"kind": type(one).__name__, **asdict(one)} for one in scenario.troubles),
            events=tuple(self._events),
            rows_written=rows_written,
        )

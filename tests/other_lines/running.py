"""A run of another line: its speed over time, what each instrument read, and what is true of each reel."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from math import exp

import numpy as np
from numpy.typing import NDArray

from tests.other_lines.lines import OtherLine, Ring
from tests.other_lines.noise import slow
from tests.other_lines.products import Made
from tests.other_lines.wire import ANGLES, Defect, Wire, made_wire, smoothed, with_defects

Floats = NDArray[np.float64]

# Stretches of wire shorter than two readings may pass between them, so truth is told of the mean over two readings.
READINGS_SEEN = 2.0


@dataclass(frozen=True)
class ReelMade:
    """A reel: its ends on the take-up's counter and on the wire [m]."""

    id: str
    from_counter_m: float
    to_counter_m: float
    from_m: float
    to_m: float

    @property
    def length_m(self) -> float:
        return self.to_m - self.from_m


@dataclass(frozen=True)
class ReelTruth:
    """What is true of one reel: its lowest and highest figures [mm, %], faults and flaws."""

    average_mm: float
    point_mm: float
    concentricity_pct: float
    least_diameter_mm: float
    greatest_diameter_mm: float
    covering_mm: float
    least_conductor_mm: float
    pinholes: int
    greatest_flaw_mm: float
    fewest_cycles: float


@dataclass(frozen=True)
class MadeRun:
    """A run as its logger would write it, in our units, with the truth beside it.

    Args:
        seconds: time of each row from the first.
        columns: channel -> a value a row.
        faults: spark faults as seconds.
        flaws: surface flaws as seconds and size [mm].
        reels: the reels.
        truth: reel -> what is true of it.
    """

    line: OtherLine
    made: Made
    wire: Wire
    seconds: Floats
    front_m: Floats
    columns: Mapping[str, Floats]
    faults: Floats
    flaws: tuple[tuple[float, float], ...]
    reels: tuple[ReelMade, ...]
    truth: Mapping[str, ReelTruth] = field(default_factory=dict)


@dataclass(frozen=True)
class Plan:
    """What a run is to be: length of each reel, how many, stops and steps of speed, defects and its chance.

    `defects` are told by the reel they lie on: (reel number, place along it [m], what).
    """

    reels: int = 2
    reel_m: float = 160.0
    stops_m: tuple[float, ...] = ()
    speed_steps: tuple[tuple[float, float], ...] = ()
    defects: tuple[tuple[int, Defect], ...] = ()
    seed: int = 0
    tested_kv: float | None = None
    settle_m: float | None = None


def run_of(
    line: OtherLine, made: Made, plan: Plan, change: Callable[[Wire, Floats], Wire] | None = None
) -> MadeRun:
    """A run of `plan` on a line.

    Args:
        line: the line.
        made: what it makes.
        plan: what the run is to be.
        change: what else becomes of the wire, from the time at which each of its places was at the die [s].
    """
    rng = np.random.default_rng((plan.seed, sum(map(ord, line.id + made.construction + made.size))))
    settle = plan.settle_m or max(90.0, 38.0 * line.speed_m_s if line.speed_m_s > 5 else 90.0)
    first = line.take_up_m + settle
    length = first + plan.reels * plan.reel_m + 0.4 * line.speed_m_s * 20.0 + 10.0
    seconds, front = _ride(line, plan, length, rng)
    extent = line.speed_m_s * line.interval_s
    grid = extent / 3.0
    places = np.arange(int(np.ceil(front[-1] / grid)) + 2) * grid
    when = np.interp(places, front, seconds)
    wire = made_wire(line, made, length, when, grid, rng)
    reels = tuple(
        ReelMade(
            f"{line.id}-{plan.seed}-{number + 1}",
            line.counter_start_m + first + number * plan.reel_m,
            line.counter_start_m + first + (number + 1) * plan.reel_m,
            first + number * plan.reel_m - line.take_up_m,
            first + (number + 1) * plan.reel_m - line.take_up_m,
        )
        for number in range(plan.reels)
    )
    wire = with_defects(wire, [_on_wire(one, reels[number]) for number, one in plan.defects])
    if change is not None:
        wire = change(wire, when)
    columns = _read(line, wire, seconds, front, grid, plan, rng)
    faults = np.array(
        [float(np.interp(at + line.spark.station_m, front, seconds)) for at in sorted(wire.pinholes_m)]
    )
    flaws = tuple(
        (float(np.interp(at + line.spark.station_m + 0.5, front, seconds)), size) for at, size in wire.flaws
    )
    columns["spark_counts"] = np.searchsorted(faults, seconds, side="right").astype(np.float64)
    cycles = _cycles(line, seconds, front, columns["spark_kv"], places)
    truth = truth_of(line, wire, reels, grid, cycles)
    return MadeRun(line, made, wire, seconds, front, columns, faults, flaws, reels, truth)


def _on_wire(one: Defect, reel: ReelMade) -> Defect:
    return Defect(one.kind, one.at_m + reel.from_m, one.length_m, one.size, one.angle)


def _ride(line: OtherLine, plan: Plan, length_m: float, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Time of each row [s] and the wire made by then [m]: start, hold, steps, stops and end."""
    dt = line.interval_s / 4.0
    usual = line.speed_m_s
    rise = 0.4 * 20.0  # seconds of a ramp
    n = int((length_m / usual + 3.0 * rise + 45.0 * len(plan.stops_m) + 40.0) / dt * 1.6)
    # Plain floats: one step after another, arrays of one value take many times as long.
    speed: list[float] = []
    made = 0.0
    asked = usual
    stops = sorted(plan.stops_m)
    steps = sorted(plan.speed_steps)
    since, standing, now = 0.0, 0.0, 0.0
    for flutter in (1.0 + 0.003 * slow(rng, n, 8.0 / dt)).tolist():
        if standing > 0.0:
            standing -= dt
            now = 0.0
            since = 0.0
        elif stops and made >= stops[0]:
            now = max(now - usual * dt / 3.0, 0.0)
            if now == 0.0:
                stops.pop(0)
                standing = 22.0
        elif made >= length_m:
            now = max(now - usual * dt / 4.0, 0.0)
            if now == 0.0:
                break
        else:
            while steps and made >= steps[0][0]:
                asked = usual * steps.pop(0)[1]
            since += dt
            share = min(since / rise, 1.0)
            if line.ramp == "smooth":
                share = share * share * (3.0 - 2.0 * share)
            elif line.ramp == "exponential":
                share = 1.0 - exp(-4.0 * since / rise)
            now += min(max(asked * share - now, -asked * dt / 4.0), asked * dt)
        speed.append(now * flutter)
        made += speed[-1] * dt
    front = np.concatenate(([0.0], np.cumsum(np.array(speed)) * dt))
    rows = np.arange(0, front.size, 4)
    return rows * dt, front[rows]


def _mean_along(values: Floats, grid_m: float, at_m: Floats, extent_m: Floats) -> Floats:
    """Mean of a quantity on the grid over an extent about places [m]."""
    summed = np.concatenate(([0.0], np.cumsum(values) * grid_m))
    edges = np.arange(summed.size) * grid_m - grid_m / 2.0
    half = np.maximum(extent_m, grid_m) / 2.0
    high = np.interp(at_m + half, edges, summed)
    low = np.interp(at_m - half, edges, summed)
    return np.asarray((high - low) / (2.0 * half), dtype=np.float64)


def _stepped(values: Floats, step: float) -> Floats:
    return np.round(values / step) * step


def _read(
    line: OtherLine,
    wire: Wire,
    seconds: Floats,
    front: Floats,
    grid: float,
    plan: Plan,
    rng: np.random.Generator,
) -> dict[str, Floats]:
    """Every channel of the run; wire from before the run reads as its first place does."""
    n = seconds.size
    speed = np.gradient(front, seconds)
    extent = speed * line.interval_s
    slipped = front - line.slip_m * (front > 0.6 * front[-1])
    columns = {
        "counter_m": _stepped(slipped + line.counter_start_m, line.counter_step_m),
        "line_speed_m_s": np.maximum(
            speed + 0.002 * line.speed_m_s * rng.standard_normal(n) * (speed > 0.01), 0.0
        ),
    }

    def read(along: Callable[[], Floats], station: float) -> Floats:
        # Before its wire comes a gauge sees the leader, which is taken to be as the run's first metre.
        return _mean_along(along(), grid, np.maximum(front - station, 1.0 + extent), extent)

    if line.conductor is not None:
        gauge = line.conductor
        clean = read(lambda: wire.conductor_mm, gauge.station_m)
        columns["conductor_mm"] = _stepped(clean + gauge.u_mm * gauge.law(rng, n), gauge.step_mm)
    if line.hot is not None:
        gauge = line.hot
        cold = read(lambda: wire.diameter(0.3), gauge.station_m)
        bare = read(lambda: wire.conductor_mm, gauge.station_m)
        hot = np.sqrt(bare**2 + (cold**2 - bare**2) * 1.09)
        columns["hot_diameter_mm"] = _stepped(hot + gauge.u_mm * gauge.law(rng, n), gauge.step_mm)
    if line.ring is not None:
        for number, angle in enumerate(sensor_angles(line.ring), start=1):
            whole = wire.total if line.ring.both else wire.insulation
            clean = read(lambda angle=angle, whole=whole: whole(angle), line.ring.station_m)  # type: ignore[misc]
            noisy = clean + line.ring.u_mm * line.ring.law(rng, n)
            columns[f"wall_{number}_mm"] = _stepped(noisy, line.ring.step_mm)
    for axis, angle in list(zip("xy", (0.0, np.pi / 2.0), strict=True))[: line.cold.axes]:
        clean = read(lambda angle=angle: wire.diameter(angle), line.cold.station_m)  # type: ignore[misc]
        noisy = clean + line.cold.u_mm * line.cold.law(rng, n)
        columns[f"diameter_{axis}_mm"] = _stepped(noisy, line.cold.step_mm)
    kv = plan.tested_kv if plan.tested_kv is not None else line.spark.kv
    columns["spark_kv"] = np.round(kv + 0.02 * rng.standard_normal(n), 2)
    if line.melt:
        columns["screw_speed_rpm"] = np.round(60.0 * speed / line.speed_m_s + 0.1 * rng.standard_normal(n), 2)
        columns["melt_temperature_c"] = np.round(178.0 + slow(rng, n, 60.0 / line.interval_s), 1)
        columns["melt_pressure_bar"] = np.round(
            120.0 * np.sqrt(np.maximum(speed, 0.0) / line.speed_m_s) + 5.0 + rng.standard_normal(n), 1
        )
    return columns


def sensor_angles(ring: Ring) -> Floats:
    """Angles of the sensors [rad]."""
    return np.asarray(np.radians(ring.first_deg) + np.arange(ring.sensors) * 2.0 * np.pi / ring.sensors)


def _cycles(line: OtherLine, seconds: Floats, front: Floats, kv: Floats, places: Floats) -> Floats:
    """Cycles (seconds at a direct voltage) of the test at each place of the wire."""
    on = np.concatenate(([0.0], np.cumsum(np.diff(seconds) * (kv[1:] > 0.5 * line.spark.kv))))
    strictly = front + np.arange(front.size) * 1e-9
    half = line.spark.electrode_m / 2.0
    leave = np.interp(places + line.spark.station_m + half, strictly, on)
    enter = np.interp(places + line.spark.station_m - half, strictly, on)
    return np.asarray((leave - enter) * (line.spark.hz or 1.0), dtype=np.float64)


def truth_of(
    line: OtherLine, wire: Wire, reels: Sequence[ReelMade], grid: float, cycles: Floats
) -> dict[str, ReelTruth]:
    """What is true of each reel, over lengths that the line's gauges can tell."""
    places = max(1, round(READINGS_SEEN * line.speed_m_s * line.interval_s / grid))
    walls = np.stack([smoothed(wire.insulation(angle), places) for angle in ANGLES])
    covers = np.stack([smoothed(wire.covering(angle), places) for angle in ANGLES])
    across = np.stack(
        [smoothed(wire.diameter(angle), places) for angle in (0.0, np.pi / 2.0)][: line.cold.axes]
    )
    mean, thin, thick = walls.mean(axis=0), walls.min(axis=0), walls.max(axis=0)
    diameter = across.mean(axis=0)
    bare = smoothed(wire.conductor_mm, places)
    found = {}
    for reel in reels:
        here = (wire.at_m >= reel.from_m) & (wire.at_m < reel.to_m)
        found[reel.id] = ReelTruth(
            average_mm=float(mean[here].min()),
            point_mm=float(thin[here].min()),
            concentricity_pct=float((100.0 * thin[here] / thick[here]).min()),
            least_diameter_mm=float(diameter[here].min()),
            greatest_diameter_mm=float(diameter[here].max()),
            covering_mm=float(covers.min(axis=0)[here].min()),
            least_conductor_mm=float(bare[here].min()),
            pinholes=sum(reel.from_m <= at < reel.to_m for at in wire.pinholes_m),
            greatest_flaw_mm=max((s for at, s in wire.flaws if reel.from_m <= at < reel.to_m), default=0.0),
            fewest_cycles=float(cycles[: wire.at_m.size][here].min()),
        )
    return found

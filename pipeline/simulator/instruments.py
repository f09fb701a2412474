"""What each instrument reads: at its own instant, the wire that stands at its own place on the line.

An instrument at `d` metres from the die sees s = x(t) - d, averaged over the metres that pass in one reading
interval, the stamp in its middle, and over its own window; then its noise and its resolution.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.sheets.line_sheet import Instrument
from pipeline.simulator.logger_faults import LoggerFaults, RawCounter
from pipeline.simulator.randomness import Wander, WanderSource, stream
from pipeline.simulator.scenario import RunScenario
from pipeline.simulator.speed import Motion, SpeedPlan
from pipeline.simulator.troubles import ColdStart, ScrewStep
from pipeline.simulator.true_wire import TrueWire

Readings = dict[str, NDArray[np.float64]]
Seen = dict[str, NDArray[np.float64]]

# How the machine's own readings move; invented.
_SPEED_NOISE_REL = 0.0005
_SCREW_NOISE_RPM = 0.12
_MELT = (Wander(0.5, 200.0), Wander(0.15, 0.2))
_PRESSURE_REL = (Wander(0.006, 30.0), Wander(0.004, 0.3))
_KV_NOISE = 0.02
_WARMS_S = 100.0  # a chilled melt is warm again to 63 % after this [s]


def cold_diameter_mm(copper: Seen, coat: Seen, angle_deg: float) -> NDArray[np.float64]:
    """Overall diameter [mm] on the axis at `angle_deg`; odd harmonics of the wall cancel in it.

    D(theta) = d + t(theta) + t(theta + 180) = d + 2 (mean + covering) + 2 (c2 cos 2 theta + s2 sin 2 theta).
    """
    twice = np.deg2rad(2.0 * angle_deg)
    oval = coat["c2_mm"] * np.cos(twice) + coat["s2_mm"] * np.sin(twice)
    diameter: NDArray[np.float64] = copper["conductor_mm"] + 2.0 * (
        coat["mean_mm"] + coat["covering_mm"] + oval
    )
    return diameter


def hot_diameter_mm(copper: Seen, coat: Seen) -> NDArray[np.float64]:
    """Diameter while hot [mm]: the plastic's area grows by the density ratio q, the conductor keeps its own.

    R_hot = sqrt(r^2 + (R_cold^2 - r^2) / q); conservation of mass while the wire is gripped (derived).
    """
    r_mm = 0.5 * copper["conductor_mm"]
    cold_mm = r_mm + coat["mean_mm"] + coat["covering_mm"]
    hot: NDArray[np.float64] = 2.0 * np.sqrt(r_mm**2 + (cold_mm**2 - r_mm**2) / coat["density_ratio"])
    return hot


def wall_mm(coat: Seen, angle_deg: float, sees_covering: bool) -> NDArray[np.float64]:
    """Wall [mm] before a sensor at `angle_deg` from the first, of the insulation or of both layers."""
    angle = np.deg2rad(angle_deg)
    first, second = coat["c1_mm"], coat["s1_mm"]
    mean = coat["mean_mm"]
    if sees_covering:
        first, second = first + coat["k1_mm"], second + coat["k2_mm"]
        mean = mean + coat["covering_mm"]
    wall: NDArray[np.float64] = (
        mean
        + first * np.cos(angle)
        + second * np.sin(angle)
        + coat["c2_mm"] * np.cos(2 * angle)
        + coat["s2_mm"] * np.sin(2 * angle)
    )
    return wall


class Instruments:
    """All instruments of one line, read piece by piece; each has its own random stream.

    Args:
        scenario: the run.
        seed: seed of the run.
    """

    def __init__(self, scenario: RunScenario, seed: int) -> None:
        self._scenario = scenario
        run, step = scenario.run_id, scenario.interval_s
        self._noise = {one.id: stream(seed, run, "noise", one.id) for one in scenario.line.instruments}
        self._speed_noise = stream(seed, run, "noise", "speed")
        self._melt = WanderSource(_MELT, step, seed, run, "melt")
        self._pressure = WanderSource(_PRESSURE_REL, step, seed, run, "pressure")
        self._counter = RawCounter(scenario)
        self._faults = LoggerFaults(scenario)

    def read(self, motion: Motion, wire: TrueWire) -> Readings:
        """What the logger writes of `motion`, by channel, metric; NaN where an instrument gave nothing."""
        readings: Readings = {"counter_m": self._counter.read(motion)}
        noise = self._speed_noise.standard_normal(motion.t_s.size)
        readings["line_speed_m_s"] = motion.v_m_s * (1.0 + _SPEED_NOISE_REL * noise)
        for instrument in self._scenario.line.instruments:
            readings |= self._one(instrument, motion, wire)
        return readings

    def _one(self, instrument: Instrument, motion: Motion, wire: TrueWire) -> Readings:
        """The channels of one instrument."""
        noise = self._noise[instrument.id]
        if instrument.kind == "melt sensors":
            return self._machine(motion, noise)
        if instrument.kind == "spark tester":
            kv = self._scenario.wire.spark_kv + _KV_NOISE * noise.standard_normal(motion.t_s.size)
            return {"spark_kv": kv}
        if instrument.kind in {"encoder", "surface vision"}:
            return {}
        station_m = self._scenario.stations_m.get(instrument.id, instrument.station_m)
        station_m *= self._scenario.encoder_scale
        faced = self._faced(instrument, _window(instrument, motion, station_m), wire)
        names = list(faced)
        shape = (motion.t_s.size, len(names))
        read = np.stack([faced[name] for name in names], axis=1)
        read += instrument.uncertainty_mm * noise.standard_normal(shape)
        if instrument.resolution_mm > 0:
            read = np.round(read / instrument.resolution_mm) * instrument.resolution_mm
        readings = {name: read[:, place] for place, name in enumerate(names)}
        return self._faults.applied(instrument.id, readings, motion.x_m - station_m)

    def _faced(
        self, instrument: Instrument, window: tuple[NDArray[np.float64], NDArray[np.float64]], wire: TrueWire
    ) -> Seen:
        """What stands before the instrument's channels, without noise."""
        copper = wire.conductor.seen(*window)
        if instrument.kind == "conductor gauge":
            return copper
        coat = wire.coat.seen(*window)
        if instrument.kind == "hot diameter gauge":
            return {"hot_diameter_mm": hot_diameter_mm(copper, coat)}
        if instrument.kind == "cold diameter gauge":
            return {
                "diameter_x_mm": cold_diameter_mm(copper, coat, 0.0),
                "diameter_y_mm": cold_diameter_mm(copper, coat, 90.0),
            }
        sensors = instrument.sensors or 1
        both = instrument.sees == "insulation and covering"
        return {
            f"wall_{number + 1}_mm": wall_mm(coat, 360.0 * number / sensors, both)
            for number in range(sensors)
        }

    def _machine(self, motion: Motion, noise: np.random.Generator) -> Readings:
        """Screw, melt temperature and pressure: the screw follows the line's speed."""
        model = self._scenario.wire
        share = motion.v_m_s / model.speed_m_s
        count = motion.t_s.size
        jitter = _SCREW_NOISE_RPM * noise.standard_normal((count, 2))
        flow = np.maximum(share, 0.0)
        screw = flow * _screw_share(self._scenario, motion.front_m)
        melt_c = model.melt_c + self._melt.take(count)
        for one in self._scenario.troubles:
            if isinstance(one, ColdStart):
                melt_c -= one.colder_c * _colder_share(self._scenario.speed, one.stop, motion.t_s)
        readings = {
            "screw_speed_rpm": np.maximum(model.screw_rpm * screw + jitter[:, 0] * (flow > 0), 0.0),
            "melt_temperature_c": melt_c,
            # Pressure over a die grows with flow to the power law's exponent, here 0.4 (invented).
            "melt_pressure_bar": model.melt_bar
            * (0.15 + 0.85 * screw**0.4)
            * (1.0 + self._pressure.take(count)),
        }
        if model.covering:
            readings["covering_screw_speed_rpm"] = np.maximum(
                model.covering_screw_rpm * flow + jitter[:, 1] * (flow > 0), 0.0
            )
        return readings


def _screw_share(scenario: RunScenario, front_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much faster the screw turns than the line's speed asks for."""
    faster = np.ones(front_m.size)
    for one in scenario.troubles:
        if isinstance(one, ScrewStep):
            faster[(front_m >= one.from_m) & (front_m < one.to_m)] += one.share
    return faster


def _colder_share(plan: SpeedPlan, stop: int, t_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much of a stop's chill the melt has: it grows while the line stands and goes when it runs."""
    number = [place for place, leg in enumerate(plan.legs) if leg.phase == "stop"][stop - 1]
    from_s, to_s = plan.times_s[number], plan.times_s[number + 1]
    grown = np.clip((t_s - from_s) / (to_s - from_s), 0.0, 1.0)
    share: NDArray[np.float64] = grown * np.exp(-np.maximum(t_s - to_s, 0.0) / _WARMS_S)
    return share


def _window(
    instrument: Instrument, motion: Motion, station_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ends of the wire one reading averages over [m]; a standing wire is a point."""
    half_m = 0.5 * (np.abs(motion.v_m_s) * instrument.interval_s + instrument.window_m)
    middle = motion.x_m - station_m
    return middle - half_m, middle + half_m

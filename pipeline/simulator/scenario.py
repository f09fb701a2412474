"""What a simulated run is made from: the wire's model, the plan of the run and its troubles, all as data."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Lot
from pipeline.simulator.randomness import Wander
from pipeline.simulator.speed import SpeedPlan
from pipeline.simulator.troubles import Trouble

LogStyle = Literal["us local", "metric utc"]


@dataclass(frozen=True, slots=True)
class Offset:
    """Offset of one circle's centre from another: a mean size and direction, and wandering of both axes.

    Args:
        size_mm: mean size [mm].
        angle_deg: direction of the thin side [deg], from the first wall sensor.
        wanders: wandering of each axis [mm, m].
    """

    size_mm: float
    angle_deg: float
    wanders: tuple[Wander, ...] = ()


@dataclass(frozen=True, slots=True)
class CoveringModel:
    """The covering over the insulation.

    Args:
        mean_mm: mean wall [mm].
        wanders: wandering of its mean [mm, m].
        offset: its own offset from the insulation's circle.
        stated_uncertainty_mm: what the run sheet says of the mean's standard uncertainty [mm].
        stated_offset_mm: what the run sheet says of the largest offset seen in cut samples [mm].
    """

    mean_mm: float
    wanders: tuple[Wander, ...]
    offset: Offset
    stated_uncertainty_mm: float
    stated_offset_mm: float


@dataclass(frozen=True, slots=True)
class StartUp:
    """The wire made first: too thick and off centre, settling as exp(-s / settle_m).

    Args:
        thick_mm: excess of the mean wall at the first metre [mm].
        offset_mm: extra offset of the centre at the first metre [mm].
        angle_deg: direction of its thin side [deg].
        settle_m: length in which both fall to 37 % [m].
    """

    thick_mm: float
    offset_mm: float
    angle_deg: float
    settle_m: float


@dataclass(frozen=True, slots=True)
class TrueLimits:
    """The limits against which the truth is told.

    Args:
        average_mm: minimum average wall [mm].
        point_mm: minimum wall at any point [mm].
        concentricity_pct: least 100 x thinnest / thickest wall [%].
        diameter_least_mm: least overall diameter [mm].
        diameter_greatest_mm: greatest overall diameter [mm].
    """

    average_mm: float
    point_mm: float
    concentricity_pct: float
    diameter_least_mm: float
    diameter_greatest_mm: float


@dataclass(frozen=True, slots=True)
class WireModel:
    """A product as this invented line makes it.

    Args:
        construction: type letters as the run sheet gives them.
        size: conductor size.
        conductor: how the conductor is made.
        colour: colour.
        conductor_mm: mean diameter of the conductor, over the strand's circle [mm].
        conductor_wanders: its wandering [mm, m].
        wall_mm: mean insulation wall aimed at [mm].
        wall_wanders: its wandering [mm, m].
        screw_period_s: period of the screw's mark at set speed [s]; locked to time.
        screw_mm: amplitude of the screw's mark [mm].
        capstan_mm: amplitude of the capstan's mark [mm]; locked to length by the line's own capstan.
        centre: offset of the conductor in the insulation.
        oval: second harmonic of the wall: size, direction and wandering.
        covering: covering over the insulation, None where there is none.
        density_ratio: hot over cold density of the plastic, area kept apart from it.
        density_wanders: its wandering [1, m].
        start_up: the first metres.
        speed_m_s: set speed [m/s].
        ramp_s: time from standstill to set speed [s].
        step_m: grid on which the wire is made [m].
        screw_rpm: screw speed at set speed [rpm].
        covering_screw_rpm: the covering's screw speed at set speed [rpm].
        melt_c: melt temperature [deg C].
        melt_bar: melt pressure at set speed [bar].
        spark_kv: spark-test voltage set [kV].
        limits: limits against which the truth is told.
    """

    construction: str
    size: str
    conductor: Literal["solid", "concentric", "compressed", "compact"]
    colour: str
    conductor_mm: float
    conductor_wanders: tuple[Wander, ...]
    wall_mm: float
    wall_wanders: tuple[Wander, ...]
    screw_period_s: float
    screw_mm: float
    capstan_mm: float
    centre: Offset
    oval: Offset
    covering: CoveringModel | None
    density_ratio: float
    density_wanders: tuple[Wander, ...]
    start_up: StartUp
    speed_m_s: float
    ramp_s: float
    step_m: float
    screw_rpm: float
    covering_screw_rpm: float
    melt_c: float
    melt_bar: float
    spark_kv: float
    limits: TrueLimits

    @property
    def name(self) -> str:
        """The product's whole name."""
        return f"{self.construction} {self.size} {self.conductor} copper"


@dataclass(frozen=True, slots=True)
class PlannedReel:
    """A reel: its id, and the counter at the take-up changes before and after it [m]."""

    id: str
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True)
class RunScenario:
    """One run to simulate.

    Args:
        run_id: the run's id.
        line: the line, as its sheet describes it.
        wire: what it makes.
        start: instant of the first reading, with its zone.
        shift: name of the shift.
        speed: planned speed.
        reels: take-up reels, on the line's counter.
        troubles: what goes wrong.
        lots: material lots.
        style: how the plant's logger writes.
        zone: zone of local log times.
        interval_s: time between readings [s].
        encoder_scale: metres on the counter per metre of wire.
        stations_m: true distance from the die [m] of instruments, by id, where the line sheet is wrong.
        log_parts: number of files in sequence the readings are written to.
        note: the run sheet's note.
        trial: whether the run sheet calls it a trial of settings, its wall control off.
    """

    run_id: str
    line: LineSheet
    wire: WireModel
    start: datetime
    shift: str
    speed: SpeedPlan
    reels: tuple[PlannedReel, ...]
    troubles: tuple[Trouble, ...] = ()
    lots: tuple[Lot, ...] = ()
    style: LogStyle = "us local"
    zone: str = "America/Chicago"
    interval_s: float = 0.1
    encoder_scale: float = 1.0003
    stations_m: Mapping[str, float] = field(default_factory=dict)
    log_parts: int = 1
    note: str = ""
    trial: bool = False

    def station_m(self, kind: str) -> float | None:
        """True distance from the die [m] of the line's first instrument of that kind, None without one."""
        instrument = self.line.instrument(kind)
        if instrument is None:
            return None
        return self.stations_m.get(instrument.id, instrument.station_m)

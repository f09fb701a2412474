"""What each instrument saw of the wire, and from when it had settled.

When had the wire settled, by its own readings? Start-up that outlasts the speed's own settling is told apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.flags import ALL, CONTRADICTED
from pipeline.length import intervals
from pipeline.length.known_length import known_wire
from pipeline.length.log_gaps import spacing_s
from pipeline.length.placement import Placement
from pipeline.length.settling import SettlingTrace, held_speeds, phases_with_settling, settled
from pipeline.length.spark_exposure import SparkExposure, spark_exposure
from pipeline.length.steady_state import DEFAULT_RULE
from pipeline.length.steady_wire import read_first, steady_readings
from pipeline.messages import Message, Place, message
from pipeline.possible import possible_readings
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.sheets.plant_rules import SparkTest
from pipeline.sheets.run_sheet import Covering
from pipeline.steps.agreement import (
    lone_rows,
)
from pipeline.steps.evidence import Seen
from pipeline.steps.frozen_ring import (
    half_diameter,
)
from pipeline.steps.instrument_channels import carrying, channels_of
from pipeline.trust.uncertainty import Uncertainty
from pipeline.wall.two_layers import insulation_between
from pipeline.warned import Warned


def settled_placement(
    placement: Placement, traces: Sequence[SettlingTrace]
) -> tuple[Placement, tuple[Message, ...]]:
    """The placement with wire that had not settled by its own readings taken out of the steady wire.

    Args:
        placement: the run's placement, phases by speed.
        traces: wall, centre and diameter along the wire.

    Returns:
        The placement with its phases, and what to say of each stretch that settled later than the speed tells.
    """
    told = []
    for reached, rule, to in held_speeds(placement.phases):
        begins = settled(traces, reached, to)
        if begins is not None and begins > rule:
            told.append(message(Warned.SETTLED_LATE, steady=Place(reached), settled=Place(begins)))
    return replace(placement, phases=phases_with_settling(placement, traces)), tuple(told)


Floats = NDArray[np.float64]


Mask = NDArray[np.bool_]


# Wire that no reading speaks for begins where neighbouring readings stand further apart than this many
# reading intervals at the greatest speed; one reading left out is bridged by its neighbours (chosen here).
HOLE_INTERVALS = 2.5


DIAMETER_NAMES = ("diameter_mm", "ovality_mm")


UNIT_OF = {
    "mean_wall_mm": "mm",
    "thinnest_wall_mm": "mm",
    "eccentricity_mm": "mm",
    "concentricity_pct": "%",
    "conductor_mm": "mm",
    "hot_diameter_mm": "mm",
    "diameter_mm": "mm",
    "ovality_mm": "mm",
    "spark_kv": "kV",
}


# A reading of one axis or sensor that the others deny is left out by itself: they read that wire.
_SPOILS = [flag.code for flag in ALL if flag.masks_conformity and flag is not CONTRADICTED]


def fewest_used(frame: pl.DataFrame) -> int | None:
    """Fewest wall sensors a section was solved from; None without a section."""
    used = frame.filter(pl.col("thinnest_wall_mm").is_not_null())["sensors_used"].min()
    return int(used) if isinstance(used, int) and used > 0 else None


def lone_side(sight: Sight, diameter: Seen | None) -> Mask:
    """Readings of the wall gauge with a sensor out and no usable diameter on the same wire."""
    gauge = sight.line.instrument("wall gauge")
    if gauge is None:
        return np.zeros(sight.frame.height, dtype=np.bool_)
    return lone_rows(sight.frame, gauge, sight.placement, diameter)


def half_diameter_mm(
    frame: pl.DataFrame, placement: Placement, line: LineSheet, read: Floats | None
) -> Floats:
    """Half the diameter less the conductor on the wire of each wall reading [mm]; NaN where none was read."""
    gauge, before = line.instrument("wall gauge"), line.instrument("conductor gauge")
    if gauge is None:
        return np.full(frame.height, np.nan)
    along = None
    if before is not None and read is not None:
        along = (placement.at_m - before.station_m, read)
    return half_diameter(frame, gauge, placement, along)


@dataclass(frozen=True)
class Sight:
    """What is needed to see one quantity along the wire."""

    readings: pl.DataFrame
    flagged: pl.DataFrame
    placement: Placement
    line: LineSheet
    frame: pl.DataFrame
    row: NDArray[np.int64]
    earlier: dict[str, list[tuple[Placement, Seen]]] = field(default_factory=dict)

    @cached_property
    def speed(self) -> Floats:
        """Line speed at each reading [m/s]."""
        return self.placement.readings["speed_m_s"].to_numpy()

    @cached_property
    def usual_speed(self) -> float:
        """Median speed of the running line [m/s], 0 where it never ran."""
        running = self.speed[self.speed > DEFAULT_RULE.stop_m_s]
        return float(np.median(running)) if running.size else 0.0

    @cached_property
    def moving(self) -> Mask:
        """True where wire went forward that had not been read before."""
        return read_first(self.placement)

    def like(self, instrument: Instrument, fit: Mask) -> tuple[Placement, Seen] | None:
        """What was seen earlier with the same fit readings of an instrument; its quantities mostly share them."""
        seen = self.earlier.get(instrument.id, ())
        return next((one for one in reversed(seen) if np.array_equal(one[1].fit, fit)), None)

    def known_to(self, instrument: Instrument, fit: Mask, channels: tuple[str, ...]) -> Floats:
        """Wire an instrument knows by its fit readings [m]: none across rows further apart than the log's own."""
        rows = carrying(self.readings, channels)
        log_s = spacing_s(self.placement.seconds[rows])
        return known_wire(
            self.placement.at_m[rows] - instrument.station_m,
            self.speed[rows],
            fit[rows],
            min(instrument.interval_s, log_s) if log_s > 0.0 else instrument.interval_s,
            instrument.window_m,
            self.placement.resolution_m,
        )


def settled_row(sight: Sight, walls: bool) -> tuple[Sight, tuple[Message, ...]]:
    """The gauges' own word on when the wire had settled, taken into the phases.

    Args:
        sight: what is needed to see the wire.
        walls: whether the wall is known; the diameter has its say in any case.
    """
    gauge, cold = sight.line.instrument("wall gauge"), sight.line.instrument("cold diameter gauge")
    traces = []
    if walls and gauge is not None:
        wall = _seen("mean_wall_mm", gauge, sight, channels_of(gauge), 0.0)
        for name in ("mean_wall_mm", "ecc_cos_mm", "ecc_sin_mm"):
            values = sight.frame[name].cast(pl.Float64).to_numpy()
            values = np.where(wall.fit_for_statistics, values, np.nan)
            traces.append(SettlingTrace(wall.at_m, values, centre=name != "mean_wall_mm"))
    if cold is not None:
        over = _seen("diameter_mm", cold, sight, channels_of(cold), 0.0)
        traces.append(SettlingTrace(over.at_m, np.where(over.fit_for_statistics, over.value, np.nan)))
    placement, told = settled_placement(sight.placement, traces)
    return replace(sight, placement=placement), told


def walls_seen(
    sight: Sight,
    covering: Covering | None,
    known: Mapping[str, Uncertainty],
    conductor: tuple[float, float],
    lone: Mask,
) -> Iterator[tuple[str, Seen]]:
    """What is seen of the wall; a line without a wall gauge sees the mean only, by its diameter."""
    gauge, cold = sight.line.instrument("wall gauge"), sight.line.instrument("cold diameter gauge")
    if gauge is not None and gauge.sensors is not None:
        bounds = insulation_between(sight.frame, gauge, covering)
        for name, uncertainty in _wall_uncertainty(sight.line, sight.frame, known).items():
            low, high = (
                None if one is None else possible_readings(name, one)
                for one in bounds.get(name, (None, None))
            )
            seen = _seen(name, gauge, sight, channels_of(gauge), uncertainty, lone)
            yield name, replace(seen, low=low, high=high)
    elif cold is not None:
        u = float(np.hypot(known["mean_wall_mm"].total_mm, conductor[1] / 2.0))
        yield "mean_wall_mm", _seen("mean_wall_mm", cold, sight, channels_of(cold), u)


def diameters_seen(sight: Sight, known: Mapping[str, Uncertainty]) -> Iterator[tuple[str, Seen]]:
    """What is seen of the diameter."""
    cold = sight.line.instrument("cold diameter gauge")
    if cold is not None:
        for name in DIAMETER_NAMES:
            u = known["diameter_mm"].total_mm if name == "diameter_mm" else cold.uncertainty_mm * 2**0.5
            yield name, _seen(name, cold, sight, channels_of(cold), float(u))


def conductor_seen(sight: Sight) -> dict[str, Seen]:
    """What is seen of the bare conductor, on the wire that it became."""
    found = _logged_seen(sight, "conductor gauge", "conductor_mm")
    return {} if found is None else {"conductor_mm": found}


def hot_seen(sight: Sight) -> Seen | None:
    """What is seen of the hot diameter; None without a gauge. No limit is about it."""
    return _logged_seen(sight, "hot diameter gauge", "hot_diameter_mm")


def _logged_seen(sight: Sight, kind: str, name: str) -> Seen | None:
    gauge = sight.line.instrument(kind)
    if gauge is None or name not in sight.readings.columns:
        return None
    return _seen(name, gauge, replace(sight, frame=sight.readings), (name,), gauge.uncertainty_mm)


def spark_seen(sight: Sight, asked: SparkTest) -> tuple[dict[str, Seen], SparkExposure | Refused | None]:
    """What is seen of the spark test, and how long each metre was stressed; untested where that cannot be known."""
    tester = sight.line.instrument("spark tester")
    if tester is None or "spark_kv" not in sight.readings.columns:
        return {}, None
    at = pl.Series("spark_at_m", sight.placement.at_m - tester.station_m)
    kv = sight.readings.select("row", at, "spark_kv")
    spark = _seen("spark_kv", tester, replace(sight, frame=kv), ("spark_kv",), 0.0)
    # Wire that stands in the electrode is under test as long as the voltage is on.
    standing = (sight.speed <= DEFAULT_RULE.stop_m_s) & ~_spoilt(sight, ("spark_kv",))
    on = np.where(spark.fit | standing, sight.readings["spark_kv"].cast(pl.Float64).to_numpy(), np.nan)
    exposure = spark_exposure(
        sight.placement,
        sight.line,
        on,
        None,
        asked.cycles_asked,
        asked.dwell_asked_s,
        carrying(sight.readings, ("spark_kv",)),
    )
    tested = intervals.NONE if isinstance(exposure, Refused) else exposure.tested
    return {"spark_kv": replace(spark, known=tested)}, exposure


def _wall_uncertainty(
    line: LineSheet, frame: pl.DataFrame, known: Mapping[str, Uncertainty]
) -> dict[str, float]:
    """Standard uncertainty of one section's mean, thinnest wall, offset [mm] and concentricity [%].

    The walls' from `measured_uncertainty`; the offset's s sqrt(2/N); the concentricity's 200 u(offset) / mean wall
    (derived). The covering's own offset is a bound and in none of them: see `insulation_between`.
    """
    gauge = line.instrument("wall gauge")
    n = gauge.sensors or 1 if gauge is not None else 1
    s = gauge.uncertainty_mm if gauge is not None else 0.0
    mean = frame["mean_wall_mm"].median()
    typical = float(mean) if isinstance(mean, float) and mean > 0 else 1.0
    u_offset = float(s * np.sqrt(2.0 / n))
    return {
        "mean_wall_mm": known["mean_wall_mm"].total_mm,
        "thinnest_wall_mm": known["thinnest_wall_mm"].total_mm,
        "eccentricity_mm": u_offset,
        "concentricity_pct": 200.0 * u_offset / typical,
    }


def _seen(
    name: str,
    instrument: Instrument,
    sight: Sight,
    channels: tuple[str, ...],
    uncertainty: float,
    unfit: Mask | None = None,
) -> Seen:
    placement, frame = sight.placement, sight.frame
    at_m = placement.at_m - instrument.station_m
    value = frame[name].cast(pl.Float64).to_numpy()
    fit = np.isfinite(value) & np.isfinite(at_m) & sight.moving
    fit &= ~_spoilt(sight, channels)
    if unfit is not None:
        fit &= ~unfit
    fastest = float(np.nanmax(sight.speed)) if sight.speed.size else 0.0
    # A coarse counter stands still between its steps, and neighbours seem further apart than they are.
    step = placement.resolution_m
    placed, like = sight.like(instrument, fit) or (None, None)
    seen = Seen(
        name=name,
        unit=UNIT_OF[name],
        instrument=instrument,
        row=sight.row,
        at_m=at_m if like is None else like.at_m,
        value=value,
        fit=fit if like is None else like.fit,
        fit_for_statistics=fit,
        steady=like.steady
        if like is not None and placed is placement
        else steady_readings(placement, at_m, sight.line),
        uncertainty=uncertainty,
        extent_m=instrument.window_m + instrument.interval_s * sight.usual_speed,
        hole_m=HOLE_INTERVALS * instrument.interval_s * fastest + instrument.window_m + step,
        known=sight.known_to(instrument, fit, channels) if like is None else like.known,
        like=like,
    )
    sight.earlier.setdefault(instrument.id, []).append((placement, seen))
    return seen


def _spoilt(sight: Sight, channels: tuple[str, ...]) -> Mask:
    """True for rows with a flag that spoils the reading; one flagged sensor of several does not spoil the section.

    Sections are solved from the sensors that remain, so a masked sensor is already left out there.
    """
    marked = np.zeros(sight.row.size, dtype=np.bool_)
    flagged = sight.flagged.filter(pl.col("channel").is_in(channels) & pl.col("flag").is_in(_SPOILS))
    if len(channels) <= 2 and flagged.height:
        marked[np.searchsorted(sight.row, flagged["row"].unique().to_numpy())] = True
    return marked

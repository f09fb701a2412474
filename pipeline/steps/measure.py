"""Step three: what the readings say of the wall and diameter, and where they say nothing."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
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
from pipeline.length.spark_exposure import SparkExposure, spark_exposure
from pipeline.length.steady_state import DEFAULT_RULE
from pipeline.length.steady_wire import read_first, steady_readings
from pipeline.messages import Measure, Message, as_message, message
from pipeline.quantity import Asked
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import Instrument, LineSheet, MassBalance
from pipeline.sheets.plant_sheet import SparkTest
from pipeline.sheets.run_sheet import Covering
from pipeline.steps.agreement import (
    agreement_of_run,
    conductor_of,
    conductor_read,
    conductor_told,
    lone_rows,
    lone_told,
)
from pipeline.steps.could_show import contradictions_told, could_show, gauge_noise, noise_mm
from pipeline.steps.evidence import Seen
from pipeline.steps.frozen_ring import (
    frozen_rows,
    frozen_told,
    half_diameter,
    quiet_flags,
    quiet_told,
    silent_flags,
    silent_told,
)
from pipeline.steps.instrument_channels import carrying, channels_of, instruments_that_read
from pipeline.steps.place import Placed
from pipeline.steps.ring_checks import check_ring
from pipeline.steps.settle import settled_placement
from pipeline.trust.contradicted import SpikeDecision, contradicted_flags, decide_spikes
from pipeline.trust.lone_axis import denied_flags, lone_axes
from pipeline.trust.redundancy import AgreementStretch, no_conclusion
from pipeline.trust.uncertainty import Uncertainty, measured_uncertainty
from pipeline.wall.lobes import few_sensors_told, few_sensors_unknown
from pipeline.wall.sections import measure_walls
from pipeline.wall.two_layers import insulation_between, insulation_unknown
from pipeline.warned import Warned

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

STRETCH_M = 25.0
# Wire that no reading speaks for begins where neighbouring readings stand further apart than this many
# reading intervals at the greatest speed; one reading left out is bridged by its neighbours (chosen here).
HOLE_INTERVALS = 2.5

WALL_NAMES = ("mean_wall_mm", "thinnest_wall_mm", "eccentricity_mm", "concentricity_pct")
# Columns of the kept frame that say which readings count, and the quantity each is of.
COUNTED = {"wall_counts": "mean_wall_mm", "diameter_counts": "diameter_mm"}
DIAMETER_NAMES = ("diameter_mm", "ovality_mm")
UNIT_OF = {
    "mean_wall_mm": "mm",
    "thinnest_wall_mm": "mm",
    "eccentricity_mm": "mm",
    "concentricity_pct": "%",
    "conductor_mm": "mm",
    "diameter_mm": "mm",
    "ovality_mm": "mm",
    "spark_kv": "kV",
}
# A reading of one axis or sensor that the others deny is left out by itself: they read that wire.
_SPOILS = [flag.code for flag in ALL if flag.masks_conformity and flag is not CONTRADICTED]


@dataclass(frozen=True)
class Measured:
    """A run measured.

    Args:
        frame: one row a reading (columns.MEASURED).
        seen: each quantity along the wire as its instrument saw it; a quantity the line does not measure is
            absent.
        phases: phases at the die along the wire, by speed and by when the wall had settled.
        agreement: how wall, diameter and conductor agree, stretch by stretch.
        spikes: what the other instruments say of each spike of a wall sensor.
        noise: what the line's stops told of each gauge's own scatter, by kind of gauge.
        uncertainty: standard uncertainty of one reading by column, noise and the rest apart.
        refused: why a quantity cannot be told although a gauge reads, by column.
        warnings: what a reader must see.
        spark: how long the spark test stressed each metre, or why that cannot be known; None without a voltage.
        read: the instruments that gave readings.
        contradictions: what the run's data contradict in themselves.
        could_show: the smallest bias and drift that this run could have shown, and what it could not.
    """

    frame: pl.DataFrame
    seen: Mapping[str, Seen]
    phases: pl.DataFrame
    agreement: tuple[AgreementStretch, ...] = ()
    spikes: tuple[SpikeDecision, ...] = ()
    noise: Mapping[str, Result | Refused] = field(default_factory=dict)
    uncertainty: Mapping[str, Uncertainty] = field(default_factory=dict)
    refused: Mapping[str, Refused] = field(default_factory=dict)
    warnings: tuple[Message, ...] = ()
    spark: SparkExposure | Refused | None = None
    read: tuple[Instrument, ...] = ()
    contradictions: tuple[Message, ...] = ()
    could_show: tuple[Message, ...] = ()

    @cached_property
    def _red(self) -> tuple[AgreementStretch, ...]:
        return tuple(one for one in self.agreement if one.agreement.state == "red")

    @cached_property
    def contradicted(self) -> Floats:
        """Wire on which the instruments contradict each other: nothing is concluded of its wall or diameter [m]."""
        red = [(one.from_m, one.to_m) for one in self._red]
        return intervals.merged(np.array(red, dtype=np.float64).reshape(-1, 2))

    def disagreement_m(self, from_m: float, to_m: float) -> float:
        """Length between `from_m` and `to_m` [m] over which the instruments contradict each other."""
        return intervals.length_m(intervals.within(self.contradicted, from_m, to_m))

    def no_conclusion(self, question: Asked, from_m: float, to_m: float) -> Refused | None:
        """The refusal of `question` for wire with a contradiction from `from_m` to `to_m` [m]; None without one."""
        told = (no_conclusion(question, one) for one in self._red if one.from_m < to_m and one.to_m > from_m)
        return next((one for one in told if one is not None), None)

    def recorded(self) -> pl.DataFrame:
        """The frame as it is kept, with the readings that count in statistics: tuning takes these."""
        nothing = np.zeros(self.frame.height, dtype=np.bool_)
        counted = {}
        for column, name in COUNTED.items():
            seen = self.seen.get(name)
            counted[column] = nothing if seen is None else seen.steady & seen.fit_for_statistics
        return self.frame.with_columns(pl.Series(name, mask) for name, mask in counted.items())

    @cached_property
    def wall(self) -> Seen | None:
        """The thinnest wall, which stands for the wall gauge's coverage."""
        return self.seen.get("thinnest_wall_mm")

    @cached_property
    def diameter(self) -> Seen | None:
        """The cold diameter, which stands for the diameter gauge's coverage."""
        return self.seen.get("diameter_mm")


def measure_run(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placed: Placed,
    line: LineSheet,
    covering: Covering | None,
    conductor_mm: float,
    covered: bool = False,
    balance: MassBalance | None = None,
    spark_test: SparkTest | None = None,
) -> Measured:
    """Measure wall and diameter at every reading, and say which readings may judge and which may count.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placed: the run on the wire.
        line: the line sheet.
        covering: what is known of the covering, None for a single layer.
        conductor_mm: nominal conductor diameter [mm].
        covered: whether the product has a covering, known or not.
        balance: what a turn of the screw delivers, None where the plant has not weighed it.
        spark_test: what the plant asks of the spark test; its sheet's defaults where left out.
    """
    at_m = placed.events["at_m"].drop_nulls().to_numpy() if placed.events.height else None
    spikes = decide_spikes(readings, flagged, placed.placement, line, at_m)
    flagged = pl.concat([flagged, contradicted_flags(spikes)])
    alone = lone_axes(readings, flagged, placed.placement, line, at_m)
    flagged = pl.concat([flagged, denied_flags(alone, flagged)])
    quiet = quiet_flags(readings, flagged, placed.placement, line)
    flagged = pl.concat([flagged, quiet])
    silent = silent_flags(readings, flagged, placed.placement, line)
    flagged = pl.concat([flagged, silent])
    read = conductor_read(readings, flagged, line)
    frame = measure_walls(readings, flagged, placed.placement, line, covering, conductor_mm)
    half = _half_diameter(frame, placed.placement, line, read)
    still = silent_flags(readings, flagged, placed.placement, line, half)
    if still.height:
        silent, flagged = pl.concat([silent, still]), pl.concat([flagged, still])
    ring = check_ring(readings, flagged, placed.placement, line)
    flagged = pl.concat([flagged, ring.flags])
    if still.height or ring.flags.height:
        frame = measure_walls(readings, flagged, placed.placement, line, covering, conductor_mm)
    noise = gauge_noise(readings, flagged, placed.placement, line)
    uncertainty = measured_uncertainty(line, covering, noise_mm(noise, "wall gauge"), _fewest_used(frame))
    unknown = insulation_unknown(line, covering, covered)
    sight = _Sight(
        readings, flagged, placed.placement, line, frame, readings["row"].cast(pl.Int64).to_numpy()
    )
    told: tuple[Message, ...] = ()
    if unknown is None:
        sight, told = _settled(sight)
    conductor = conductor_of(read, line, conductor_mm)
    seen = dict(_diameters(sight, uncertainty))
    seen |= _conductor(sight)
    lone = _lone(sight, seen.get("diameter_mm"))
    frozen = frozen_rows(frame, placed.placement, half)
    if unknown is None:
        seen |= _walls(sight, covering, uncertainty, conductor, lone | frozen | ring.unsmooth)
    spark, exposure = _spark(sight, spark_test or SparkTest())
    seen |= spark
    known = {
        name: one for name, one in seen.items() if name not in ring.refused and np.isfinite(one.value).any()
    }
    refused = dict(ring.refused) if unknown is None else dict.fromkeys(WALL_NAMES, unknown)
    few = few_sensors_unknown(line)
    if few is not None:
        refused |= {name: few for name in ("thinnest_wall_mm", "concentricity_pct") if name not in refused}
    gauge = line.instrument("wall gauge")
    told_of_data = (
        *ring.told,
        *quiet_told(quiet),
        *contradictions_told(readings, flagged, placed, alone, line),
    )
    agreement = agreement_of_run(
        readings, sight.placement, line, known, uncertainty, conductor, covering, balance, read
    )
    shown = could_show(line, ring, agreement, uncertainty, conductor, read is not None)
    measured = Measured(
        frame,
        known,
        sight.placement.phases,
        agreement,
        spikes,
        noise,
        uncertainty,
        refused,
        (
            *told,
            *conductor_told(read, line, conductor_mm),
            *few_sensors_told(line, frame),
            *(lone_told(gauge, frame, lone) if gauge is not None else ()),
            *silent_told(silent, gauge),
            *(frozen_told(gauge, frozen) if gauge is not None else ()),
            *told_of_data,
            *shown,
            *((as_message(exposure.reason),) if isinstance(exposure, Refused) else ()),
        ),
        exposure,
        instruments_that_read(readings, line),
        told_of_data,
        shown,
    )
    return _without_contradicted(measured)


def _fewest_used(frame: pl.DataFrame) -> int | None:
    """Fewest wall sensors a section was solved from; None without a section."""
    used = frame.filter(pl.col("thinnest_wall_mm").is_not_null())["sensors_used"].min()
    return int(used) if isinstance(used, int) and used > 0 else None


def _lone(sight: _Sight, diameter: Seen | None) -> Mask:
    gauge = sight.line.instrument("wall gauge")
    if gauge is None:
        return np.zeros(sight.frame.height, dtype=np.bool_)
    return lone_rows(sight.frame, gauge, sight.placement, diameter)


def _half_diameter(frame: pl.DataFrame, placement: Placement, line: LineSheet, read: Floats | None) -> Floats:
    gauge, before = line.instrument("wall gauge"), line.instrument("conductor gauge")
    if gauge is None:
        return np.full(frame.height, np.nan)
    along = None
    if before is not None and read is not None:
        along = (placement.at_m - before.station_m, read)
    return half_diameter(frame, gauge, placement, along)


def _without_contradicted(measured: Measured) -> Measured:
    """Statistics leave out wire on which the instruments contradict each other, and a reader is told."""
    length = intervals.length_m(measured.contradicted)
    if length == 0.0:
        return measured
    told = message(Warned.CONTRADICTED_LEFT_OUT, length=Measure(length, "m"))
    return replace(
        measured,
        seen=without_wire(
            measured.seen,
            measured.contradicted,
            (*WALL_NAMES, *DIAMETER_NAMES),
            "of wire on which the instruments contradict each other",
        ),
        warnings=(*measured.warnings, told),
    )


def without_wire(
    seen: Mapping[str, Seen], wire: Floats, names: tuple[str, ...], cause: str
) -> dict[str, Seen]:
    """The quantities with some wire left out of statistics; its readings still judge the wire.

    Args:
        seen: each quantity along the wire.
        wire: merged stretches left out [m].
        names: quantities it is left out of.
        cause: what that wire is, as its readings are told.
    """
    return {
        name: replace(
            one,
            fit_for_statistics=one.fit_for_statistics & ~intervals.inside(wire, one.at_m),
            spared=(*one.spared, (cause, wire)),
        )
        if name in names
        else one
        for name, one in seen.items()
    }


@dataclass(frozen=True)
class _Sight:
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


def _settled(sight: _Sight) -> tuple[_Sight, tuple[Message, ...]]:
    """The wall gauge's own word on when the wire had settled, taken into the phases."""
    gauge = sight.line.instrument("wall gauge")
    if gauge is None:
        return sight, ()
    wall = _seen("mean_wall_mm", gauge, sight, channels_of(gauge), 0.0)
    values = np.where(wall.fit_for_statistics, wall.value, np.nan)
    placement, told = settled_placement(sight.placement, wall.at_m, values)
    return replace(sight, placement=placement), told


def _walls(
    sight: _Sight,
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
            low, high = bounds.get(name, (None, None))
            seen = _seen(name, gauge, sight, channels_of(gauge), uncertainty, lone)
            yield name, replace(seen, low=low, high=high)
    elif cold is not None:
        u = float(np.hypot(known["mean_wall_mm"].total_mm, conductor[1] / 2.0))
        yield "mean_wall_mm", _seen("mean_wall_mm", cold, sight, channels_of(cold), u)


def _diameters(sight: _Sight, known: Mapping[str, Uncertainty]) -> Iterator[tuple[str, Seen]]:
    """What is seen of the diameter."""
    cold = sight.line.instrument("cold diameter gauge")
    if cold is not None:
        for name in DIAMETER_NAMES:
            u = known["diameter_mm"].total_mm if name == "diameter_mm" else cold.uncertainty_mm * 2**0.5
            yield name, _seen(name, cold, sight, channels_of(cold), float(u))


def _conductor(sight: _Sight) -> dict[str, Seen]:
    """What is seen of the bare conductor, on the wire that it became."""
    gauge = sight.line.instrument("conductor gauge")
    if gauge is None or "conductor_mm" not in sight.readings.columns:
        return {}
    at = pl.Series("conductor_at_m", sight.placement.at_m - gauge.station_m)
    read = sight.readings.select("row", at, "conductor_mm")
    name = "conductor_mm"
    return {name: _seen(name, gauge, replace(sight, frame=read), (name,), gauge.uncertainty_mm)}


def _spark(sight: _Sight, asked: SparkTest) -> tuple[dict[str, Seen], SparkExposure | Refused | None]:
    """What is seen of the spark test, and how long each metre was stressed; untested where that cannot be known."""
    tester = sight.line.instrument("spark tester")
    if tester is None or "spark_kv" not in sight.readings.columns:
        return {}, None
    at = pl.Series("spark_at_m", sight.placement.at_m - tester.station_m)
    kv = sight.readings.select("row", at, "spark_kv")
    spark = _seen("spark_kv", tester, replace(sight, frame=kv), ("spark_kv",), 0.0)
    on = np.where(spark.fit, sight.readings["spark_kv"].cast(pl.Float64).to_numpy(), np.nan)
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
    sight: _Sight,
    channels: tuple[str, ...],
    uncertainty: float,
    unfit: Mask | None = None,
) -> Seen:
    placement, frame = sight.placement, sight.frame
    at_m = placement.at_m - instrument.station_m
    value = frame[name].cast(pl.Float64).to_numpy()
    fit = np.isfinite(value) & np.isfinite(at_m) & sight.moving
    on_these = sight.flagged.filter(pl.col("channel").is_in(channels))
    judging = _rows(on_these.filter(pl.col("flag").is_in(_SPOILS)), sight.row, single=len(channels) <= 2)
    fit &= ~judging
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


def _rows(flagged: pl.DataFrame, row: NDArray[np.generic], *, single: bool) -> Mask:
    """True for rows with a flag; with several sensors one flagged sensor alone does not spoil the section.

    Sections are solved from the sensors that remain, so a masked sensor is already left out there.
    """
    marked = np.zeros(row.size, dtype=np.bool_)
    if not single or flagged.height == 0:
        return marked
    marked[np.searchsorted(row, flagged["row"].unique().to_numpy())] = True
    return marked

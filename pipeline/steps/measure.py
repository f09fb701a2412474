"""Step three: what the readings say of the wall and diameter, and where they say nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import polars as pl

from pipeline.length import intervals
from pipeline.length.spark_exposure import SparkExposure
from pipeline.messages import Measure, Message, message
from pipeline.notes import Note
from pipeline.quantity import Asked
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import Instrument, LineSheet, MassBalance
from pipeline.sheets.plant_rules import SparkTest
from pipeline.sheets.run_sheet import Covering
from pipeline.steps.agreement import (
    agreement_of_run,
    conductor_along,
    conductor_of,
    conductor_read,
    conductor_told,
    lone_told,
)
from pipeline.steps.could_show import (
    contradictions_told,
    could_show,
    fault_clock_told,
    gauge_noise,
    noise_mm,
)
from pipeline.steps.evidence import Seen
from pipeline.steps.frozen_ring import (
    frozen_rows,
    frozen_told,
    made_flags,
    quiet_flags,
    quiet_told,
    silent_flags,
    silent_told,
    together_flags,
    together_told,
)
from pipeline.steps.instrument_channels import as_logged, instruments_that_read
from pipeline.steps.pieced_log import pieced_told
from pipeline.steps.place import Placed
from pipeline.steps.ring_checks import check_ring
from pipeline.steps.sight import (
    DIAMETER_NAMES,
    Floats,
    Sight,
    conductor_seen,
    diameters_seen,
    fewest_used,
    half_diameter_mm,
    hot_seen,
    lone_side,
    settled_row,
    spark_seen,
    walls_seen,
)
from pipeline.steps.under_covering import covering_moves
from pipeline.trust.contradicted import SpikeDecision, contradicted_flags, decide_spikes
from pipeline.trust.lone_axis import denied_flags, lone_axes
from pipeline.trust.redundancy import AgreementStretch, no_conclusion
from pipeline.trust.uncertainty import Uncertainty, measured_uncertainty
from pipeline.wall.lobes import few_sensors_told, few_sensors_unknown
from pipeline.wall.sections import measure_walls
from pipeline.wall.two_layers import insulation_unknown
from pipeline.warned import Warned

STRETCH_M = 25.0

WALL_NAMES = ("mean_wall_mm", "thinnest_wall_mm", "eccentricity_mm", "concentricity_pct")
# Columns of the kept frame that say which readings count, and the quantity each is of.
COUNTED = {"wall_counts": "mean_wall_mm", "diameter_counts": "diameter_mm"}


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
    line = as_logged(readings, line)
    at_m = placed.events["at_m"].drop_nulls().to_numpy() if placed.events.height else None
    spikes = decide_spikes(readings, flagged, placed.placement, line, at_m)
    flagged = pl.concat([flagged, contradicted_flags(spikes)])
    alone = lone_axes(readings, flagged, placed.placement, line, at_m)
    flagged = pl.concat([flagged, denied_flags(alone, flagged)])
    flagged = pl.concat([flagged, made_flags(readings, flagged, line)])
    quiet = quiet_flags(readings, flagged, placed.placement, line)
    flagged = pl.concat([flagged, quiet])
    apart = together_flags(readings, flagged, placed.placement, line)
    flagged = pl.concat([flagged, apart])
    silent = silent_flags(readings, flagged, placed.placement, line)
    flagged = pl.concat([flagged, silent])
    read = conductor_read(readings, flagged, line)
    frame = measure_walls(readings, flagged, placed.placement, line, covering, conductor_mm)
    half = half_diameter_mm(frame, placed.placement, line, read)
    still = silent_flags(readings, flagged, placed.placement, line, half)
    if still.height:
        silent, flagged = pl.concat([silent, still]), pl.concat([flagged, still])
    ring = check_ring(readings, flagged, placed.placement, line)
    flagged = pl.concat([flagged, ring.flags])
    if still.height or ring.flags.height:
        frame = measure_walls(readings, flagged, placed.placement, line, covering, conductor_mm)
    noise = gauge_noise(readings, flagged, placed.placement, line)
    uncertainty = measured_uncertainty(line, covering, noise_mm(noise, "wall gauge"), fewest_used(frame))
    unknown = insulation_unknown(line, covering, covered)
    sight = Sight(readings, flagged, placed.placement, line, frame, readings["row"].cast(pl.Int64).to_numpy())
    sight, told = settled_row(sight, unknown is None)
    conductor = conductor_of(read, line, conductor_mm)
    seen = dict(diameters_seen(sight, uncertainty))
    seen |= conductor_seen(sight)
    lone = lone_side(sight, seen.get("diameter_mm"))
    frozen = frozen_rows(frame, placed.placement, line, half, read is not None)
    pieced = pieced_told(readings, flagged, placed.placement)
    if unknown is None:
        unread = lone | frozen | ring.unsmooth | bool(pieced)
        seen |= walls_seen(sight, covering, uncertainty, conductor, unread)
    spark, exposure = spark_seen(sight, spark_test or SparkTest())
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
        *pieced,
        *ring.told,
        *quiet_told(quiet),
        *together_told(apart, gauge),
        *contradictions_told(readings, flagged, placed, alone, line),
    )
    agreement = agreement_of_run(
        readings, sight.placement, line, known, uncertainty, conductor, covering, balance, read
    )
    along = conductor_along(read, placed.placement, line, conductor[0], placed.placement.at_m)
    bare = (np.maximum.accumulate(placed.placement.at_m), along)
    moved, covering_shown = covering_moves(
        known.get("mean_wall_mm"), hot_seen(sight), known.get("diameter_mm"), bare, covering, line
    )
    made_m = (sight.placement.start_m, sight.placement.made_m)
    shown = could_show(line, ring, agreement, uncertainty, conductor, read is not None, balance, made_m)
    shown = (*placed.ends_unseen, *fault_clock_told(readings, line), *covering_shown, *shown)
    agreement = (*agreement, *moved)
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
            *((exposure.reason,) if isinstance(exposure, Refused) else ()),
        ),
        exposure,
        instruments_that_read(readings, line),
        told_of_data,
        shown,
    )
    return _without_contradicted(measured)


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
            Note.LEFT_CONTRADICTED,
        ),
        warnings=(*measured.warnings, told),
    )


def without_wire(
    seen: Mapping[str, Seen], wire: Floats, names: tuple[str, ...], cause: Note
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

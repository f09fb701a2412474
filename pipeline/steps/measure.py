"""Step three: what the readings say of the wall and diameter, and where they say nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.flags import ALL
from pipeline.length.known_length import known_wire
from pipeline.length.spark_exposure import spark_exposure
from pipeline.length.steady_state import DEFAULT_RULE, STEADY
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.sheets.run_sheet import Covering
from pipeline.steps.evidence import Seen
from pipeline.steps.place import Placed
from pipeline.trust.contradicted import SpikeDecision, contradicted_flags, decide_spikes
from pipeline.trust.redundancy import Stretch, agreement_by_stretch
from pipeline.trust.uncertainty import measured_uncertainty
from pipeline.wall.sections import measure_walls

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

STRETCH_M = 25.0
# Wire that no reading speaks for begins where neighbouring readings stand further apart than this many
# reading intervals at the greatest speed; one reading left out is bridged by its neighbours (chosen here).
HOLE_INTERVALS = 2.5
# Wire between die and trough that a stop spoils [m] where the line sheet has no hot diameter gauge.
HOT_ZONE_M = 3.0

WALL_NAMES = ("mean_wall_mm", "thinnest_wall_mm", "eccentricity_mm", "concentricity_pct")
DIAMETER_NAMES = ("diameter_mm", "ovality_mm")
UNIT_OF = {
    "mean_wall_mm": "mm",
    "thinnest_wall_mm": "mm",
    "eccentricity_mm": "mm",
    "concentricity_pct": "%",
    "diameter_mm": "mm",
    "ovality_mm": "mm",
    "spark_kv": "kV",
}
_JUDGING = [flag.code for flag in ALL if flag.masks_conformity]


@dataclass(frozen=True)
class Measured:
    """A run measured.

    Args:
        frame: one row a reading (columns.MEASURED).
        seen: each quantity along the wire as its instrument saw it; a quantity the line does not measure is
            absent.
        agreement: how wall, diameter and conductor agree, stretch by stretch.
        spikes: what the other instruments say of each spike of a wall sensor.
    """

    frame: pl.DataFrame
    seen: Mapping[str, Seen]
    agreement: tuple[Stretch, ...] = ()
    spikes: tuple[SpikeDecision, ...] = ()

    def disagreement_m(self, from_m: float, to_m: float) -> float:
        """Length between `from_m` and `to_m` [m] over which the instruments contradict each other."""
        return sum(
            max(0.0, min(one.to_m, to_m) - max(one.from_m, from_m))
            for one in self.agreement
            if one.agreement.state == "red"
        )

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
) -> Measured:
    """Measure wall and diameter at every reading, and say which readings may judge and which may count.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placed: the run on the wire.
        line: the line sheet.
        covering: what is known of the covering, None for a single layer.
        conductor_mm: nominal conductor diameter [mm].
    """
    at_m = placed.events["at_m"].drop_nulls().to_numpy() if placed.events.height else None
    spikes = decide_spikes(readings, flagged, placed.placement, line, at_m)
    flagged = pl.concat([flagged, contradicted_flags(spikes)])
    frame = measure_walls(readings, flagged, placed.placement, line, covering, conductor_mm)
    seen: dict[str, Seen] = {}
    gauge, cold = line.instrument("wall gauge"), line.instrument("cold diameter gauge")
    tester = line.instrument("spark tester")
    if gauge is not None and gauge.sensors is not None:
        channels = tuple(f"wall_{number}_mm" for number in range(1, gauge.sensors + 1))
        for name, uncertainty in _wall_uncertainty(line, covering, frame).items():
            seen[name] = _seen(name, gauge, frame, flagged, channels, placed, line, uncertainty)
    if cold is not None:
        for name in DIAMETER_NAMES:
            total = measured_uncertainty(line, covering)["diameter_mm"].total_mm
            u = total if name == "diameter_mm" else cold.uncertainty_mm * 2**0.5
            axes = ("diameter_x_mm", "diameter_y_mm")
            seen[name] = _seen(name, cold, frame, flagged, axes, placed, line, float(u))
    if tester is not None and "spark_kv" in readings.columns:
        kv = readings.select(
            "row", pl.Series("spark_at_m", placed.placement.at_m - tester.station_m), "spark_kv"
        )
        spark = _seen("spark_kv", tester, kv, flagged, ("spark_kv",), placed, line, 0.0)
        seen["spark_kv"] = replace(spark, known=_tested(spark, readings, placed, line))
    known = {name: one for name, one in seen.items() if np.isfinite(one.value).any()}
    return Measured(frame, known, _agreement(readings, known, line, covering, conductor_mm), spikes)


def _agreement(
    readings: pl.DataFrame,
    seen: Mapping[str, Seen],
    line: LineSheet,
    covering: Covering | None,
    conductor_mm: float,
) -> tuple[Stretch, ...]:
    """The wall gauge held against the diameter over the conductor, on the same wire, stretch by stretch."""
    wall, diameter = seen.get("mean_wall_mm"), seen.get("diameter_mm")
    if wall is None or diameter is None:
        return ()
    # The diameter has the covering in it whether the wall gauge saw it or not.
    deducted = 0.0 if covering is None else covering.mean_mm
    conductor, conductor_sd = conductor_mm, 0.01 * conductor_mm / np.sqrt(3.0)
    gauge = line.instrument("conductor gauge")
    if gauge is not None and "conductor_mm" in readings.columns:
        middle = readings["conductor_mm"].median()
        if isinstance(middle, float):
            conductor, conductor_sd = middle, gauge.uncertainty_mm
    lasting = measured_uncertainty(line, covering)
    return agreement_by_stretch(
        wall.at_m,
        np.where(wall.fit_for_statistics, wall.value + deducted, np.nan),
        diameter.at_m,
        np.where(diameter.fit_for_statistics, diameter.value, np.nan),
        conductor,
        (
            lasting["mean_wall_mm"].lasting_mm,
            lasting["diameter_mm"].lasting_mm,
            float(conductor_sd),
            1.0,  # no mass balance is on hand; its share is not used
        ),
    )


def _wall_uncertainty(line: LineSheet, covering: Covering | None, frame: pl.DataFrame) -> dict[str, float]:
    """Standard uncertainty of one section's mean, thinnest wall, offset [mm] and concentricity [%].

    The walls' from `measured_uncertainty`; the offset's s sqrt(2/N) with the bound on the covering's own offset
    as a rectangular distribution; the concentricity's 200 u(offset) / mean wall (derived).
    """
    gauge = line.instrument("wall gauge")
    known = measured_uncertainty(line, covering)
    n = gauge.sensors or 1 if gauge is not None else 1
    s = gauge.uncertainty_mm if gauge is not None else 0.0
    both = covering is not None and gauge is not None and gauge.sees == "insulation and covering"
    off = covering.offset_mm / np.sqrt(3.0) if covering is not None and both else 0.0
    mean = frame["mean_wall_mm"].median()
    typical = float(mean) if isinstance(mean, float) and mean > 0 else 1.0
    u_offset = float(np.hypot(s * np.sqrt(2.0 / n), off))
    return {
        "mean_wall_mm": known["mean_wall_mm"].total_mm,
        "thinnest_wall_mm": known["thinnest_wall_mm"].total_mm,
        "eccentricity_mm": u_offset,
        "concentricity_pct": 200.0 * u_offset / typical,
    }


def _seen(
    name: str,
    instrument: Instrument,
    frame: pl.DataFrame,
    flagged: pl.DataFrame,
    channels: tuple[str, ...],
    placed: Placed,
    line: LineSheet,
    uncertainty: float,
) -> Seen:
    placement = placed.placement
    at_m = placement.at_m - instrument.station_m
    value = frame[name].cast(pl.Float64).to_numpy()
    speed = placement.readings["speed_m_s"].to_numpy()
    row = frame["row"].to_numpy()
    # A reading of standing wire repeats a spot that is read before and after: it adds noise, not evidence.
    # Wire pulled back is read twice as well; the first reading of it counts.
    moving = (speed > DEFAULT_RULE.stop_m_s) & (placement.at_m >= placement.readings["front_m"].to_numpy())
    fit = np.isfinite(value) & np.isfinite(at_m) & moving
    on_these = flagged.filter(pl.col("channel").is_in(channels))
    judging = _rows(on_these.filter(pl.col("flag").is_in(_JUDGING)), row, single=len(channels) <= 2)
    counting = _rows(on_these, row, single=True)
    fit &= ~judging
    fastest = float(np.nanmax(speed)) if speed.size else 0.0
    hot = line.instrument("hot diameter gauge")
    zone = hot.station_m if hot is not None and hot.station_m > 0 else HOT_ZONE_M
    return Seen(
        name=name,
        unit=UNIT_OF[name],
        instrument=instrument,
        row=row.astype(np.int64),
        at_m=at_m,
        value=value,
        fit=fit,
        fit_for_statistics=fit & ~counting,
        steady=placement.phase_on_wire(at_m, zone) == STEADY,
        uncertainty=uncertainty,
        extent_m=instrument.window_m + instrument.interval_s * _usual(speed),
        hole_m=HOLE_INTERVALS * instrument.interval_s * fastest + instrument.window_m,
        known=known_wire(at_m, speed, fit, instrument.interval_s, instrument.window_m),
    )


def _tested(spark: Seen, readings: pl.DataFrame, placed: Placed, line: LineSheet) -> Floats:
    """Wire that had the test voltage for the cycles asked; where that cannot be told, wire with a voltage on record."""
    kv = np.where(spark.fit, readings["spark_kv"].cast(pl.Float64).to_numpy(), np.nan)
    exposure = spark_exposure(placed.placement, line, kv, None)
    return spark.known if isinstance(exposure, Refused) else exposure.tested


def _usual(speed: Floats) -> float:
    running = speed[speed > DEFAULT_RULE.stop_m_s]
    return float(np.median(running)) if running.size else 0.0


def _rows(flagged: pl.DataFrame, row: NDArray[np.generic], *, single: bool) -> Mask:
    """True for rows with a flag; with several sensors one flagged sensor alone does not spoil the section.

    Sections are solved from the sensors that remain, so a masked sensor is already left out there.
    """
    marked = np.zeros(row.size, dtype=np.bool_)
    if not single or flagged.height == 0:
        return marked
    marked[np.searchsorted(row, flagged["row"].unique().to_numpy())] = True
    return marked


def stretches(measured: Measured, made_m: float, start_m: float = 0.0) -> pl.DataFrame:
    """The wire of the run in stretches of equal length: what each held (table measured.stretch)."""
    count = max(1, int(np.ceil((made_m - start_m) / STRETCH_M)))
    base = pl.DataFrame(
        {
            "stretch": np.arange(count, dtype=np.int32),
            "from_m": start_m + STRETCH_M * np.arange(count),
            "to_m": np.minimum(start_m + STRETCH_M * (np.arange(count) + 1), made_m),
        }
    )
    wall = _rolled(
        measured.wall,
        measured.frame,
        start_m,
        [
            pl.len().cast(pl.Int32).alias("wall_readings"),
            pl.col("width").sum().alias("wall_known_m"),
            pl.col("mean_wall_mm").mean(),
            pl.col("mean_wall_mm").min().alias("mean_wall_low_mm"),
            pl.col("mean_wall_mm").max().alias("mean_wall_high_mm"),
            pl.col("thinnest_wall_mm").min(),
            pl.col("ecc_cos_mm").mean(),
            pl.col("ecc_sin_mm").mean(),
            pl.col("eccentricity_mm").max().alias("eccentricity_high_mm"),
            pl.col("concentricity_pct").min().alias("concentricity_low_pct"),
        ],
    )
    diameter = _rolled(
        measured.diameter,
        measured.frame,
        start_m,
        [
            pl.len().cast(pl.Int32).alias("diameter_readings"),
            pl.col("width").sum().alias("diameter_known_m"),
            pl.col("diameter_mm").mean(),
            pl.col("diameter_mm").min().alias("diameter_low_mm"),
            pl.col("diameter_mm").max().alias("diameter_high_mm"),
            pl.col("ovality_mm").max().alias("ovality_high_mm"),
        ],
    )
    for part in (wall, diameter):
        if part is not None:
            base = base.join(part, on="stretch", how="left", maintain_order="left")
    for name, kind in (
        ("wall_readings", pl.Int32),
        ("wall_known_m", pl.Float64),
        ("diameter_readings", pl.Int32),
        ("diameter_known_m", pl.Float64),
    ):
        if name not in base.columns:
            base = base.with_columns(pl.lit(0).cast(kind).alias(name))
    return base.with_columns(
        pl.col("wall_readings", "wall_known_m", "diameter_readings", "diameter_known_m").fill_null(0)
    )


def _rolled(
    seen: Seen | None, frame: pl.DataFrame, start_m: float, wanted: list[pl.Expr]
) -> pl.DataFrame | None:
    if seen is None:
        return None
    number = np.floor((np.nan_to_num(seen.at_m, nan=-1e9) - start_m) / STRETCH_M).astype(np.int32)
    return (
        frame.with_columns(pl.Series("stretch", number), pl.Series("width", seen.widths()))
        .filter(pl.Series(seen.fit))
        .group_by("stretch", maintain_order=True)
        .agg(wanted)
        .sort("stretch")
    )


def reel_summaries(measured: Measured, placed: Placed) -> pl.DataFrame:
    """Each quantity on each reel: number, mean, spread, extremes and known length (table measured.reel)."""
    rows = []
    for reel in placed.reels:
        for name, seen in measured.seen.items():
            here = seen.within(reel.from_m, reel.to_m)
            counted = here & seen.fit_for_statistics & seen.steady
            low = seen.worst(reel.from_m, reel.to_m, "at least")
            high = seen.worst(reel.from_m, reel.to_m, "at most")
            known = seen.known_m(reel.from_m, reel.to_m)
            values = seen.value[counted]
            rows.append(
                {
                    "reel_id": reel.id,
                    "quantity": name,
                    "unit": seen.unit,
                    "readings": int(here.sum()),
                    "steady_readings": int(counted.sum()),
                    "mean": float(values.mean()) if values.size else None,
                    "sd": float(values.std(ddof=1)) if values.size > 1 else None,
                    "low": low[0] if low else None,
                    "low_at_m": low[1] if low else None,
                    "high": high[0] if high else None,
                    "high_at_m": high[1] if high else None,
                    "known_m": known,
                    "unknown_m": reel.length_m - known,
                }
            )
    return pl.DataFrame(
        rows,
        schema={
            "reel_id": pl.String,
            "quantity": pl.String,
            "unit": pl.String,
            "readings": pl.Int64,
            "steady_readings": pl.Int64,
            "mean": pl.Float64,
            "sd": pl.Float64,
            "low": pl.Float64,
            "low_at_m": pl.Float64,
            "high": pl.Float64,
            "high_at_m": pl.Float64,
            "known_m": pl.Float64,
            "unknown_m": pl.Float64,
        },
    )

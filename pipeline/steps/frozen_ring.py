"""Which wall readings no longer come from the wire, though they move? Sensors gone quiet, and a ring that stands."""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.columns import WALL_CHANNELS
from pipeline.contradictions import Contradiction
from pipeline.flags import ALL, DUPLICATE, FILLED, NOT_TOGETHER, STUCK
from pipeline.length.placement import Placement
from pipeline.logs.row_checks.grid import logged_step
from pipeline.messages import Message, message
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.steps.evidence import Floats, Mask
from pipeline.steps.instrument_channels import CHANNELS
from pipeline.trust.computed import computed_readings
from pipeline.trust.frozen import (
    frozen_readings,
    quiet_readings,
    unfollowed_readings,
    wall_by_others,
    without_followed,
)
from pipeline.trust.held_together import held_together
from pipeline.trust.read_together import not_read_together
from pipeline.trust.reading_drift import MOVES, movement_sd_mm
from pipeline.warned import Warned

# Wire near a stop has swings of its own; readings under this share of the usual speed are left out (chosen here).
SLOW_SHARE = 0.5
# Sensors with which the others tell the wall at one well enough.
FEWEST_BESIDE = 5
_MASKING = [flag.code for flag in ALL if flag.masks_conformity]


def running_rows(placement: Placement) -> Mask:
    """True for rows of the line running at half its usual speed or more."""
    speed = placement.readings["speed_m_s"].to_numpy()
    moving = speed[speed > 0.0]
    usual = float(np.median(moving)) if moving.size else 0.0
    running: Mask = (speed > 0.0) & (speed >= SLOW_SHARE * usual)
    return running


def silent_flags(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
    half: Floats | None = None,
) -> pl.DataFrame:
    """Flags that take wall sensors which no longer read the wire out of every section (columns.FLAGGED).

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
        line: the line sheet.
        half: half the diameter less the conductor on the same wire [mm], to find sensors that stand while it moves;
            None for those that went quiet.
    """
    gauge = line.instrument("wall gauge")
    found = [pl.DataFrame(schema=flagged.schema)]
    if gauge is None:
        return found[0]
    running, row = running_rows(placement), readings["row"]
    written_twice = flagged.filter((pl.col("channel") == "time_utc") & (pl.col("flag") == DUPLICATE.code))
    twice = np.searchsorted(row.to_numpy(), written_twice["row"].to_numpy())
    beside = _beside(readings, flagged, gauge.sensors or 0) if half is not None else {}
    own_mm = MOVES * gauge.uncertainty_mm
    names = [name for name in WALL_CHANNELS[: gauge.sensors or 0] if name in readings.columns]
    walls = {name: np.where(running, readings[name].cast(pl.Float64).to_numpy(), np.nan) for name in names}
    for values in walls.values():
        values[twice] = np.nan
    held = held_together(np.column_stack(list(walls.values()))) if half is None and names else None
    for number, (name, values) in enumerate(walls.items()):
        quiet = quiet_readings(values) if half is None else frozen_readings(values, half, own_mm)
        if held is not None:
            quiet |= held[:, number]
        if name in beside:
            others = np.where(running, beside[name], np.nan)
            # The diameter moves with its conductor too; a sensor that moves with its neighbors reads the wire.
            quiet = without_followed(quiet, values, others)
            quiet |= frozen_readings(values, others, own_mm)
        if bool(quiet.any()):
            rows = row.filter(pl.Series(quiet))
            found.append(
                pl.DataFrame(
                    {"row": rows, "channel": [name] * rows.len(), "flag": [STUCK.code] * rows.len()},
                    schema_overrides=dict(flagged.schema),
                ).select(flagged.columns)
            )
    return pl.concat(found)


def together_flags(
    readings: pl.DataFrame, flagged: pl.DataFrame, placement: Placement, line: LineSheet
) -> pl.DataFrame:
    """Flags on readings of a ring whose sensors do not read together (columns.FLAGGED).

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
        line: the line sheet.
    """
    gauge = line.instrument("wall gauge")
    names = [name for name in WALL_CHANNELS[: (gauge and gauge.sensors) or 0] if name in readings.columns]
    if not names:
        return pl.DataFrame(schema=flagged.schema)
    walls = readings.select(pl.col(names).cast(pl.Float64)).to_numpy()
    apart = not_read_together(np.where(running_rows(placement)[:, None], walls, np.nan))
    rows = readings["row"].filter(pl.Series(apart))
    every = pl.DataFrame({"row": rows}).join(pl.DataFrame({"channel": names}), how="cross")
    return every.with_columns(pl.lit(NOT_TOGETHER.code).alias("flag")).select(
        pl.col(name).cast(kind) for name, kind in flagged.schema.items()
    )


def together_told(flags: pl.DataFrame, gauge: Instrument | None) -> tuple[Message, ...]:
    """What to say of a ring whose sensors do not read together."""
    if gauge is None or flags.height == 0:
        return ()
    return (message(Contradiction.RING_NOT_TOGETHER, instrument=gauge.id, rows=flags["row"].n_unique()),)


def quiet_flags(
    readings: pl.DataFrame, flagged: pl.DataFrame, placement: Placement, line: LineSheet
) -> pl.DataFrame:
    """Flags on readings of diameter gauges that have gone far quieter than they usually are (columns.FLAGGED).

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
        line: the line sheet.
    """
    running, row = running_rows(placement), readings["row"]
    found = [pl.DataFrame(schema=flagged.schema)]
    for kind in ("conductor gauge", "hot diameter gauge", "cold diameter gauge"):
        for name in CHANNELS[kind] if line.instrument(kind) is not None else ():
            if name not in readings.columns:
                continue
            values = np.where(running, readings[name].cast(pl.Float64).to_numpy(), np.nan)
            bad = flagged.filter((pl.col("channel") == name) & pl.col("flag").is_in(_MASKING))
            values[np.searchsorted(row.to_numpy(), bad["row"].to_numpy())] = np.nan
            rows = row.filter(pl.Series(quiet_readings(values)))
            found.append(
                pl.DataFrame(
                    {"row": rows, "channel": [name] * rows.len(), "flag": [STUCK.code] * rows.len()},
                    schema_overrides=dict(flagged.schema),
                ).select(flagged.columns)
            )
    return pl.concat(found)


def made_flags(readings: pl.DataFrame, flagged: pl.DataFrame, line: LineSheet) -> pl.DataFrame:
    """Flags on wall sensors whose figures are made of the other sensors' (columns.FLAGGED).

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        line: the line sheet.
    """
    gauge = line.instrument("wall gauge")
    names = [
        name for name in WALL_CHANNELS[: (gauge.sensors or 0) if gauge else 0] if name in readings.columns
    ]
    if not names:
        return flagged.clear()
    walls = readings.select(pl.col(names).cast(pl.Float64)).to_numpy()
    steps = np.array([logged_step(one[np.isfinite(one)]) for one in walls.T])
    row, made = readings["row"], computed_readings(walls, steps)
    found = [
        pl.DataFrame({"row": row.filter(pl.Series(one))}).with_columns(
            pl.lit(name).alias("channel"), pl.lit(FILLED.code).cast(flagged.schema["flag"]).alias("flag")
        )
        for name, one in zip(names, made.T, strict=True)
        if bool(one.any())
    ]
    return pl.concat([flagged.clear(), *(one.select(flagged.columns) for one in found)])


def quiet_told(flags: pl.DataFrame) -> tuple[Message, ...]:
    """What to say of diameter gauges gone quiet, channel by channel."""
    counted = flags.group_by("channel").len().sort("channel")
    return tuple(
        message(Contradiction.GAUGE_QUIET, channel=name, rows=rows) for name, rows in counted.iter_rows()
    )


def _beside(readings: pl.DataFrame, flagged: pl.DataFrame, sensors: int) -> dict[str, Floats]:
    """What the other sensors make of the wall at each; nothing with fewer than five or one not logged."""
    names = [name for name in WALL_CHANNELS[:sensors] if name in readings.columns]
    if sensors < FEWEST_BESIDE or len(names) < sensors:
        return {}
    walls = readings.select(pl.col(names).cast(pl.Float64)).to_numpy().copy()
    bad = flagged.filter(pl.col("channel").is_in(names) & pl.col("flag").is_in(_MASKING))
    at = np.searchsorted(readings["row"].to_numpy(), bad["row"].to_numpy())
    walls[at, [names.index(one) for one in bad["channel"].to_list()]] = np.nan
    told = wall_by_others(walls)
    return {name: told[:, place] for place, name in enumerate(names)}


def silent_told(flags: pl.DataFrame, gauge: Instrument | None) -> tuple[Message, ...]:
    """What to say of sensors that no longer read the wire."""
    if gauge is None or flags.height == 0:
        return ()
    named = " and ".join(sorted(one.split("_")[1] for one in flags["channel"].unique().to_list()))
    rows = flags["row"].n_unique()
    return (message(Warned.SENSOR_SILENT, instrument=gauge.id, sensors=named, n=rows),)


def half_diameter(
    frame: pl.DataFrame, gauge: Instrument, placement: Placement, conductor: tuple[Floats, Floats] | None
) -> Floats:
    """Half the diameter less the conductor on the wire of each wall reading [mm]; NaN where no diameter was read.

    Args:
        frame: the run measured (columns.MEASURED).
        gauge: the wall gauge.
        placement: the run on the wire.
        conductor: places on the wire and diameters of the conductor [m, mm]; None where nothing read it.
    """
    at_m = frame["diameter_at_m"].cast(pl.Float64).to_numpy()
    across = frame["diameter_mm"].cast(pl.Float64).to_numpy()
    known = np.flatnonzero(np.isfinite(at_m) & np.isfinite(across))
    if known.size == 0:
        return np.full(frame.height, np.nan)
    known = known[np.argsort(at_m[known], kind="stable")]
    at_m, across = at_m[known], across[known]
    if conductor is not None:
        read = np.flatnonzero(np.isfinite(conductor[0]) & np.isfinite(conductor[1]))
        if read.size:
            read = read[np.argsort(conductor[0][read], kind="stable")]
            across = across - np.interp(at_m, conductor[0][read], conductor[1][read])
    half: Floats = np.interp(placement.at_m - gauge.station_m, at_m, across / 2.0)
    return half


def frozen_rows(
    frame: pl.DataFrame, placement: Placement, line: LineSheet, half: Floats, conductor_read: bool
) -> Mask:
    """Readings of a ring whose mean stands while the diameter moves on.

    Args:
        frame: the run measured (columns.MEASURED).
        placement: the run on the wire.
        line: the line sheet.
        half: half the diameter less the conductor on the same wire (`half_diameter`) [mm].
        conductor_read: whether a gauge read the conductor; without one the diameter may move by it.
    """
    wall = np.where(running_rows(placement), frame["mean_wall_mm"].cast(pl.Float64).to_numpy(), np.nan)
    cold, conductor = line.instrument("cold diameter gauge"), line.instrument("conductor gauge")
    read = conductor is not None and conductor_read
    sd = (0.0, cold.uncertainty_mm if cold else 0.0, conductor.uncertainty_mm if conductor and read else 0.0)
    own_mm = movement_sd_mm(sd, 0.0, True)
    frozen = frozen_readings(wall, half, own_mm)
    if cold is not None and read:
        frozen |= unfollowed_readings(wall, half, own_mm)
    return frozen


def frozen_told(gauge: Instrument, frozen: Mask) -> tuple[Message, ...]:
    """What to say of a ring that stands."""
    if not bool(frozen.any()):
        return ()
    return (message(Warned.RING_STANDS, instrument=gauge.id, n=int(frozen.sum())),)

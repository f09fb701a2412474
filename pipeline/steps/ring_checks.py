"""What do the wall sensors say of each other? Their order, and sensors that read off the wall their neighbors make."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.columns import WALL_CHANNELS
from pipeline.contradictions import Contradiction
from pipeline.flags import ALL, DENIED
from pipeline.length.placement import Placement
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.sheets.line_sheet import LineSheet
from pipeline.steps.evidence import Floats, Mask
from pipeline.steps.frozen_ring import running_rows
from pipeline.trust.ring_shape import RingShape, ring_shape, rows_together

Rows = NDArray[np.generic]
_MASKING = [flag.code for flag in ALL if flag.masks_conformity]
# What an order of the sensors has a part in; the mean wall is the same in any.
BY_ORDER = ("thinnest_wall_mm", "eccentricity_mm", "concentricity_pct")


@dataclass(frozen=True)
class RingChecked:
    """What the sensors of a ring say of each other.

    Args:
        flags: sensors that are not used for it (columns.FLAGGED).
        unsmooth: rows whose wall is not used.
        refused: quantities that the order of the sensors leaves unknown.
        told: what a reader must see.
        shape: what was found; None without a ring.
        together_m: wire of which a reading is as good as the mean [m]; 0 where each reading stands for itself.
    """

    flags: pl.DataFrame
    unsmooth: Mask
    refused: dict[str, Refused] = field(default_factory=dict)
    told: tuple[Message, ...] = ()
    shape: RingShape | None = None
    together_m: float = 0.0


def check_ring(
    readings: pl.DataFrame, flagged: pl.DataFrame, placement: Placement, line: LineSheet
) -> RingChecked:
    """What the sensors of the ring say of each other.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
        line: the line sheet.
    """
    gauge = line.instrument("wall gauge")
    nothing = RingChecked(flagged.clear(), np.zeros(readings.height, dtype=np.bool_))
    if gauge is None or gauge.sensors is None:
        return nothing
    names = [name for name in WALL_CHANNELS[: gauge.sensors] if name in readings.columns]
    if len(names) < gauge.sensors:
        return nothing
    running = np.flatnonzero(running_rows(placement))
    walls = _walls(readings, flagged, names)[running]
    shape = ring_shape(walls, gauge.uncertainty_mm, gauge.largest_lobes_mm)
    if shape.order is not None:
        order = ", ".join(str(_held(shape.order, column)) for column in range(gauge.sensors))
        told = message(Contradiction.RING_ORDER, instrument=gauge.id, order=order)
        refused = Refused(
            asks(Quantity.WALL_MINIMUM),
            message(Method.REDUNDANT_INSTRUMENTS),
            message(Reason.WALL_SENSORS_IN_ANOTHER_ORDER, instrument=gauge.id, order=order),
            shape.looks,
        )
        return RingChecked(nothing.flags, nothing.unsmooth, dict.fromkeys(BY_ORDER, refused), (told,), shape)
    rows = readings["row"].to_numpy()[running]
    flags, found = [flagged.clear()], []
    for sensor, size in sorted(shape.off_by_mm.items()):
        off = shape.off[:, sensor]
        # What reads thin may be thin: only a sensor that hides wire is left out.
        code = Contradiction.SENSOR_OFF if size > 0 else Contradiction.SENSOR_OFF_THIN
        found.append(
            message(
                code, instrument=gauge.id, sensor=sensor + 1, size=Measure(size, "mm"), rows=int(off.sum())
            )
        )
        if size > 0:
            flags.append(_flags(flagged, rows[off], names[sensor]))
    unsmooth = nothing.unsmooth.copy()
    unsmooth[running] = shape.unsmooth
    if bool(unsmooth.any()):
        found.append(message(Contradiction.RING_NOT_SMOOTH, instrument=gauge.id, rows=int(unsmooth.sum())))
    together = rows_together(walls)
    step_m = np.diff(placement.at_m[running])
    between_m = float(np.median(step_m[step_m > 0.0])) if bool((step_m > 0.0).any()) else 0.0
    return RingChecked(pl.concat(flags), unsmooth, {}, tuple(found), shape, together * between_m)


def _held(order: tuple[int, ...], column: int) -> int:
    """Number of the sensor that a column of the log holds, counted from the first column's."""
    return order.index(column) + 1


def _walls(readings: pl.DataFrame, flagged: pl.DataFrame, names: list[str]) -> Floats:
    walls: Floats = readings.select(pl.col(names).cast(pl.Float64)).to_numpy().copy()
    bad = flagged.filter(pl.col("channel").is_in(names) & pl.col("flag").is_in(_MASKING))
    if bad.height:
        at = np.searchsorted(readings["row"].to_numpy(), bad["row"].to_numpy())
        walls[at, [names.index(one) for one in bad["channel"].to_list()]] = np.nan
    return walls


def _flags(like: pl.DataFrame, rows: Rows, channel: str) -> pl.DataFrame:
    return pl.DataFrame(
        {"row": rows, "channel": [channel] * rows.size, "flag": [DENIED.code] * rows.size},
        schema_overrides=dict(like.schema),
    ).select(like.columns)

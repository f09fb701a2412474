"""Which wall readings stand alone: part of the gauge is out, and nothing else that is good saw the wire?

A section solved from the sensors that still work is evidence while the diameter on the same wire confirms its mean.
Without that, a gauge known to be failing would judge the wire by itself: such wire counts as unmonitored.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.length.placement import Placement
from pipeline.messages import Message, message
from pipeline.sheets.line_sheet import Instrument
from pipeline.steps.evidence import Floats, Mask, Seen
from pipeline.warned import Warned


def near_reading(at_m: Floats, other: Seen) -> Mask:
    """True for places with a usable reading of the other instrument on the same wire.

    Args:
        at_m: places on the wire [m].
        other: what the other instrument saw.
    """
    places = np.sort(other.at_m[other.fit])
    if places.size == 0:
        return np.zeros(at_m.size, dtype=np.bool_)
    after = np.minimum(np.searchsorted(places, at_m), places.size - 1)
    apart = np.minimum(np.abs(places[after] - at_m), np.abs(at_m - places[np.maximum(after - 1, 0)]))
    near: Mask = apart <= other.hole_m
    return near


def lone_rows(frame: pl.DataFrame, gauge: Instrument, placement: Placement, diameter: Seen | None) -> Mask:
    """Readings of the wall gauge with a sensor out and no usable diameter on the same wire.

    Args:
        frame: the run measured (columns.MEASURED).
        gauge: the wall gauge.
        placement: the run on the wire.
        diameter: the cold diameter along the wire, None where the line or the log has none.
    """
    used: NDArray[np.uint8] = frame["sensors_used"].fill_null(0).to_numpy()
    part = (used > 0) & (used < (gauge.sensors or 0))
    if diameter is None or not bool(part.any()):
        return part
    alone = np.flatnonzero(part)
    part[alone] = ~near_reading(placement.at_m[alone] - gauge.station_m, diameter)
    return part


def lone_told(gauge: Instrument, frame: pl.DataFrame, lone: Mask) -> tuple[Message, ...]:
    """What to say where wire is taken for unmonitored for that reason."""
    alone = lone & frame["thinnest_wall_mm"].is_not_null().to_numpy()
    if not bool(alone.any()):
        return ()
    return (message(Warned.SENSOR_OUT_ALONE, instrument=gauge.id, n=int(alone.sum())),)

"""Is one wild reading of one diameter axis in the wire? The other axis, the wall and the hot gauge are asked.

What moves one axis of a shadow gauge is thicker or flatter insulation on that side: wall sensors on the same wire see
half of it or more, and a hot gauge sees what left the die so. Where those which must have seen it did not, the gauge
did it. Where nothing else could have seen it, it stays.

A lump shorter than the wire between two readings may pass a gauge that reads spots; the line sheet says what gauges
read. Where it does not, single events stay. Only many of them, while the walls have hardly any of their own that the
diameter did not see, are the gauge's: lumps of the wire would fall between the readings of either (binomial, derived).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline import flags
from pipeline.columns import WALL_CHANNELS
from pipeline.length.placement import Placement
from pipeline.sheets.line_sheet import LineSheet
from pipeline.trust.contradicted import (
    AXES,
    UNCHANGED_SIGMA,
    may_deny,
    near_event,
    spiked_rows,
    surroundings,
)

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]
Mask = NDArray[np.bool_]

# A wall sensor shows at least this share of a change of one axis: half of it, from the middle of two sensors of six.
SHOWN = 0.43
# Unmoved is within so many standard uncertainties, and under this share of what it would have shown (chosen here).
UNMOVED_SHARE = 0.5
_BESIDE = np.array([-1, 1])


@dataclass(frozen=True, slots=True)
class LoneAxis:
    """One reading of one axis that stands alone.

    Args:
        row: the reading.
        channel: its channel.
        at_m: place on the wire [m].
        size_mm: how far it stands from its surroundings [mm].
        denied: whether the others deny it.
    """

    row: int
    channel: str
    at_m: float
    size_mm: float
    denied: bool


def lone_axes(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
    events_at_m: Floats | None = None,
) -> tuple[LoneAxis, ...]:
    """Every spike of one axis that lasts one reading, and whether the other instruments deny it.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run's placement.
        line: the line's sheet.
        events_at_m: places of spark faults and surface flaws on the wire [m].
    """
    cold = line.instrument("cold diameter gauge")
    if cold is None or any(name not in readings.columns for name in AXES):
        return ()
    spikes = flagged.filter((pl.col("flag") == flags.SPIKE.code) & pl.col("channel").is_in(list(AXES))).sort(
        "row", "channel"
    )
    if spikes.height == 0:
        return ()
    rows = np.searchsorted(readings["row"].to_numpy(), spikes["row"].to_numpy()).astype(np.int64)
    axis = np.array([AXES.index(one) for one in spikes["channel"].to_list()], dtype=np.int64)
    axes = _values(readings, flagged, AXES)
    away = axes[rows] - surroundings(axes, rows)
    every = np.arange(rows.size)
    size, other = away[every, axis], away[every, 1 - axis]
    at_m = placement.at_m[rows] - cold.station_m
    alone = np.isfinite(size) & _unmoved(other, np.abs(size), cold.uncertainty_mm)
    alone &= _short(axes, rows, axis, size, cold.uncertainty_mm)
    seen = np.zeros(rows.size, dtype=np.bool_)
    for kind, names, share in (
        ("wall gauge", WALL_CHANNELS, SHOWN),
        ("hot diameter gauge", ("hot_diameter_mm",), 1.0),
    ):
        says = _denied_by(readings, flagged, placement, line, kind, names, at_m, share * np.abs(size))
        alone &= says >= 0
        seen |= says > 0
    events = np.sort(events_at_m) if events_at_m is not None else np.zeros(0)
    denied = alone & seen & ~near_event(at_m, events)
    seen_by = ("cold diameter gauge", "wall gauge", "hot diameter gauge")
    others = spiked_rows(readings, flagged, WALL_CHANNELS, SHOWN * size[denied])
    if not may_deny(line, seen_by, int(denied.sum()), others):
        denied[:] = False
    logged = readings["row"].to_numpy()[rows]
    return tuple(
        LoneAxis(*one)
        for one in zip(
            logged.tolist(),
            spikes["channel"].to_list(),
            at_m.tolist(),
            size.tolist(),
            denied.tolist(),
            strict=True,
        )
    )


def denied_flags(found: tuple[LoneAxis, ...], like: pl.DataFrame) -> pl.DataFrame:
    """The flags (columns.FLAGGED) of readings that are denied, in the shape of `like`."""
    out = [one for one in found if one.denied]
    return pl.DataFrame(
        {
            "row": [o.row for o in out],
            "channel": [o.channel for o in out],
            "flag": [flags.CONTRADICTED.code] * len(out),
        },
        schema=dict(like.schema),
    )


def _values(readings: pl.DataFrame, flagged: pl.DataFrame, names: tuple[str, ...]) -> Floats:
    values: Floats = readings.select(pl.col(list(names)).cast(pl.Float64)).to_numpy().copy()
    masking = [flag.code for flag in flags.ALL if flag.masks_conformity]
    bad = flagged.filter(pl.col("channel").is_in(list(names)) & pl.col("flag").is_in(masking))
    at = np.searchsorted(readings["row"].to_numpy(), bad["row"].to_numpy())
    values[at, [names.index(one) for one in bad["channel"].to_list()]] = np.nan
    return values


def _unmoved(away: Floats, would_show: Floats, sd: float) -> Mask:
    """True where a reading is known, would have stood out, and did not move."""
    told = would_show > 2.0 * UNCHANGED_SIGMA * sd
    least = np.maximum(UNCHANGED_SIGMA * sd, UNMOVED_SHARE * would_show)
    unmoved: Mask = told & np.isfinite(away) & (np.abs(away) < least)
    return unmoved


def _short(axes: Floats, rows: Rows, axis: Rows, size: Floats, sd: float) -> Mask:
    """True where the readings before and after on the same axis do not go along."""
    middle = surroundings(axes, rows)[np.arange(rows.size), axis]
    short = np.ones(rows.size, dtype=np.bool_)
    for step in _BESIDE.tolist():
        beside = rows + step
        inside = (beside >= 0) & (beside < axes.shape[0])
        away = axes[np.clip(beside, 0, axes.shape[0] - 1), axis] - middle
        short &= (
            inside
            & np.isfinite(away)
            & (np.abs(away) < np.maximum(UNCHANGED_SIGMA * sd, 0.25 * np.abs(size)))
        )
    return short


def _denied_by(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
    kind: str,
    names: tuple[str, ...],
    at_m: Floats,
    would_show: Floats,
) -> NDArray[np.int64]:
    """What a kind of gauge says of each place: 1 it did not move, 0 it cannot say, -1 it moved."""
    gauge = line.instrument(kind)
    names = tuple(
        name for name in names[: (gauge.sensors or 1) if gauge is not None else 0] if name in readings.columns
    )
    says = np.zeros(at_m.size, dtype=np.int64)
    if gauge is None or not names or (kind == "wall gauge" and len(names) < (gauge.sensors or 0)):
        return says
    values = _values(readings, flagged, names)
    places = np.maximum.accumulate(placement.at_m - gauge.station_m)
    near = np.clip(np.searchsorted(places, at_m), 1, places.size - 1)
    near -= at_m - places[near - 1] < places[near] - at_m
    step = np.abs(
        places[np.clip(near + 1, 0, places.size - 1)] - places[np.clip(near - 1, 0, places.size - 1)]
    )
    close = np.abs(places[near] - at_m) <= np.maximum(step, 0.1)
    window = np.clip(near[:, None] + np.arange(-1, 2), 0, places.size - 1)
    away = np.abs(values[window] - surroundings(values, near)[:, None, :])
    known = np.isfinite(away).all(axis=(1, 2)) & close
    most = np.where(np.isfinite(away), away, 0.0).max(axis=(1, 2))
    # Of many readings the largest of chance is larger: a sensor has moved beyond four and a half.
    chance = 1.5 * UNCHANGED_SIGMA * gauge.uncertainty_mm
    told = known & (would_show > 1.5 * chance)
    says[told & (most <= np.maximum(chance, UNMOVED_SHARE * would_show))] = 1
    says[known & (most > np.maximum(chance, UNMOVED_SHARE * would_show))] = -1
    return says

"""Is this spike in the wire or in the gauge? Other instruments on the same metre are asked.

A spike is kept for judging the wire until another instrument contradicts it. One contradicts a thin spike
only if it would have shown the missing plastic and did not: the diameter on the same wire, and the
neighbouring wall sensors. A notch narrower than the spacing of the sensors is beyond them, and a gauge that
measures a shadow cannot see a notch at all, so a spike where the spark tester counted a fault, or the surface
vision saw a flaw, always stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline import flags
from pipeline.columns import FLAGGED, WALL_CHANNELS
from pipeline.length.placement import Placement
from pipeline.sheets.line_sheet import LineSheet

Floats = NDArray[np.float64]

# A change of diameter or of another sensor within this many standard uncertainties is no change.
UNCHANGED_SIGMA = 3.0
# The diameter changes by at least this share of a wall missing on one side: the cosine of 45 degrees, the
# farthest that one of two axes can lie from it.
LEAST_SHARE = 0.7071
_AROUND = 10


@dataclass(frozen=True, slots=True)
class SpikeDecision:
    """What the other instruments say of a spike.

    Args:
        row: the reading.
        channel: its channel.
        at_m: place on the wire [m].
        size_mm: how far it stands from its surroundings [mm]; below 0 is thin.
        contradicted: whether it may be left out of the judgement of the wire.
        sentence: why, or why not.
    """

    row: int
    channel: str
    at_m: float
    size_mm: float
    contradicted: bool
    sentence: str


def decide_spikes(
    readings: pl.DataFrame,
    flagged: pl.DataFrame,
    placement: Placement,
    line: LineSheet,
    events_at_m: Floats | None = None,
) -> tuple[SpikeDecision, ...]:
    """A decision on every spike of a wall sensor.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run's placement.
        line: the line's sheet.
        events_at_m: places of spark faults and surface flaws on the wire [m].

    Returns:
        One decision a spike, in the order of rows.
    """
    gauge, cold = line.instrument("wall gauge"), line.instrument("cold diameter gauge")
    spikes = flagged.filter(
        (pl.col("flag") == flags.SPIKE.code) & pl.col("channel").is_in(WALL_CHANNELS)
    ).sort("row", "channel")
    if spikes.height == 0 or gauge is None or gauge.sensors is None:
        return ()
    channels = [name for name in WALL_CHANNELS[: gauge.sensors] if name in readings.columns]
    walls = readings.select(pl.col(channels).cast(pl.Float64)).to_numpy()
    rows = np.searchsorted(readings["row"].to_numpy(), spikes["row"].to_numpy())
    diameter = _diameter(readings, flagged)
    wall_at = placement.at_m - gauge.station_m
    over = None
    if cold is not None and diameter is not None:
        over = _Diameter(placement.at_m - cold.station_m, diameter, cold.uncertainty_mm)
    events = np.sort(events_at_m) if events_at_m is not None else np.zeros(0)
    found = []
    for row, channel in zip(rows.tolist(), spikes["channel"].to_list(), strict=True):
        if channel not in channels:
            continue
        sensor = channels.index(channel)
        around = _surroundings(walls, row)
        size = float(walls[row, sensor] - around[sensor])
        at = float(wall_at[row])
        why_not = _stays(at, events) or _neighbours(walls[row] - around, sensor, size, gauge.uncertainty_mm)
        if not why_not:
            why_not = "no other instrument was on the same wire" if over is None else over.shows(at, size)
        found.append(_decision(int(readings["row"][row]), channel, at, size, why_not))
    return tuple(found)


def contradicted_flags(decisions: tuple[SpikeDecision, ...]) -> pl.DataFrame:
    """The flags (columns.FLAGGED) of the spikes that are contradicted, to be added to the run's.

    Args:
        decisions: decisions on spikes.
    """
    out = [one for one in decisions if one.contradicted]
    return pl.DataFrame(
        {
            "row": [one.row for one in out],
            "channel": [one.channel for one in out],
            "flag": [flags.CONTRADICTED.code] * len(out),
        },
        schema={FLAGGED[0].name: pl.UInt32, FLAGGED[1].name: pl.String, FLAGGED[2].name: pl.UInt8},
    )


def _diameter(readings: pl.DataFrame, flagged: pl.DataFrame) -> Floats | None:
    """Both axes of the cold diameter, rows x 2, without readings that have any flag."""
    names = ["diameter_x_mm", "diameter_y_mm"]
    if any(name not in readings.columns for name in names):
        return None
    axes: Floats = readings.select(pl.col(names).cast(pl.Float64)).to_numpy().copy()
    for column, name in enumerate(names):
        bad = flagged.filter(pl.col("channel") == name)["row"].to_numpy()
        axes[np.searchsorted(readings["row"].to_numpy(), bad), column] = np.nan
    return axes


def _surroundings(values: Floats, row: int) -> Floats:
    """Median of each column over the readings around, the row itself left out."""
    low, high = max(0, row - _AROUND), min(values.shape[0], row + _AROUND + 1)
    near = np.concatenate((values[low:row], values[row + 1 : high]))
    if near.size and bool(np.isfinite(near).all()):
        middle: Floats = np.median(near, axis=0)
        return middle
    with np.errstate(all="ignore"):
        return np.array(
            [np.median(one[np.isfinite(one)]) if np.isfinite(one).any() else np.nan for one in near.T]
        )


def _stays(at_m: float, events: Floats) -> str:
    if events.size and float(np.abs(events - at_m).min()) <= 2.0:
        return "the spark tester or the surface vision found something within 2 m"
    return ""


def _neighbours(away: Floats, sensor: int, size: float, sd: float) -> str:
    """Whether any other sensor moved at that reading, as thin wire or a displaced conductor would make it."""
    others = np.delete(away, sensor)
    others = others[np.isfinite(others)]
    if others.size < 3:
        return "too few other wall sensors read"
    moved = np.abs(others) > np.maximum(UNCHANGED_SIGMA * sd * 1.2, 0.25 * abs(size))
    return "other wall sensors moved with it" if bool(moved.any()) else ""


class _Diameter:
    """The diameter along the wire, asked whether it shows a spike.

    Args:
        at_m: places of the readings [m].
        axes: both axes, rows x 2 [mm]; NaN where a reading may not be used.
        sd: standard uncertainty of one reading [mm].
    """

    def __init__(self, at_m: Floats, axes: Floats, sd: float) -> None:
        self._at_m, self._axes, self._sd = at_m, axes, sd
        self._order = np.argsort(at_m, kind="stable")
        self._ordered = at_m[self._order]

    def _nearest(self, at_m: float) -> int:
        """The reading nearest to a place, the first of several as near."""
        after = int(np.searchsorted(self._ordered, at_m))
        # Of equal places the first in the log stands first.
        before = int(np.searchsorted(self._ordered, self._ordered[max(after - 1, 0)]))
        beside = [one for one in (before, after) if one < self._ordered.size]
        away = [abs(float(self._ordered[one]) - at_m) for one in beside]
        return min(int(self._order[one]) for one, far in zip(beside, away, strict=True) if far == min(away))

    def shows(self, at_m: float, size: float) -> str:
        """Why a spike at `at_m` stays by what the diameter on the same wire shows; "" where it contradicts it."""
        if LEAST_SHARE * abs(size) < 2.0 * UNCHANGED_SIGMA * self._sd:
            return "it is too small for the diameter gauge to contradict"
        near = self._nearest(at_m)
        beside = self._at_m[max(0, near - 20) : near + 20]
        step = float(np.median(np.abs(np.diff(beside)))) if self._at_m.size > 1 else 0.0
        if abs(float(self._at_m[near]) - at_m) > max(1.0, 1.5 * step):
            return "the diameter gauge did not see that wire"
        window = slice(max(0, near - 1), min(self._at_m.size, near + 2))
        around = _surroundings(self._axes, near)
        away = self._axes[window] - around
        if not np.isfinite(away).all():
            return "the diameter gauge gave no trustworthy reading there"
        if float(np.abs(away).max()) > max(UNCHANGED_SIGMA * self._sd * 1.5, 0.25 * abs(size)):
            return "the diameter on the same wire shows it too"
        return ""


def _decision(row: int, channel: str, at_m: float, size: float, why_not: str) -> SpikeDecision:
    what = f"A spike of {1000 * size:+.0f} um in {channel} at {at_m:.1f} m"
    if why_not:
        return SpikeDecision(row, channel, at_m, size, False, f"{what} stays in the judgement: {why_not}.")
    return SpikeDecision(
        row,
        channel,
        at_m,
        size,
        True,
        f"{what} is contradicted: the other wall sensors and the diameter of the same wire did not move, and no "
        "fault or flaw was found there. A notch narrower than the sensors' spacing is not ruled out by this.",
    )

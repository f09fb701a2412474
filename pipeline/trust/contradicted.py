"""Is this spike in the wire or in the gauge? Other instruments on the same metre are asked.

A spike is kept for judging the wire until another instrument contradicts it. One contradicts a thin spike
only if it would have shown the missing plastic and did not: the diameter on the same wire, and the
neighbouring wall sensors. A notch narrower than the spacing of the sensors is beyond them, and a gauge that
measures a shadow cannot see a notch at all, so a spike where the spark tester counted a fault, or the surface
vision saw a flaw, always stays. Nor does a gauge that reads spots see what passed between its readings: the line
sheet says what gauges read. Where it does not, single thin spikes stay. Only many of them, while the diameter has
hardly any of its own, are the gauge's: thin places of the wire would fall between the readings of either (binomial,
derived).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from pipeline import flags
from pipeline.columns import FLAGGED, WALL_CHANNELS
from pipeline.length.placement import Placement
from pipeline.sheets.line_sheet import LineSheet

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

# A change of diameter or of another sensor within this many standard uncertainties is no change.
UNCHANGED_SIGMA = 3.0
# The diameter changes by at least this share of a wall missing on one side: the cosine of 45 degrees, the
# farthest that one of two axes can lie from it.
LEAST_SHARE = 0.7071
_AROUND = 10
AXES = ("diameter_x_mm", "diameter_y_mm")
# Chance of so few events of the others alone, were each place as likely to pass unseen by either (chosen here).
BY_CHANCE = 0.02


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
    mapped = np.array([one in channels for one in spikes["channel"].to_list()])
    rows = rows[mapped]
    names = spikes["channel"].filter(pl.Series(mapped)).to_list()
    sensors = np.array([channels.index(one) for one in names], dtype=np.int64)
    away = walls[rows] - surroundings(walls, rows)
    sizes = np.take_along_axis(away, sensors[:, None], axis=1)[:, 0]
    at_m = wall_at[rows]
    of_wire = _neighbours(away, sensors, sizes, gauge.uncertainty_mm)
    of_diameter = np.full(rows.size, _ALONE) if over is None else over.shows(at_m, sizes)
    whys = np.where(near_event(at_m, events), _FOUND_NEAR, np.where(of_wire != "", of_wire, of_diameter))
    # A spike that reads thick hides no wire: whatever did it, it may go.
    doubted = (whys == "") & (sizes < 0.0)
    seen_by = ("wall gauge", "cold diameter gauge")
    alone = sizes[whys == ""]
    others = spiked_rows(readings, flagged, AXES, LEAST_SHARE * alone)
    if not may_deny(line, seen_by, alone.size, others):
        whys = np.where(doubted, _BETWEEN, whys)
    logged = readings["row"].to_numpy()[rows]
    return tuple(
        _decision(*one)
        for one in zip(logged.tolist(), names, at_m.tolist(), sizes.tolist(), whys.tolist(), strict=True)
    )


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
    names = list(AXES)
    if any(name not in readings.columns for name in names):
        return None
    axes: Floats = readings.select(pl.col(names).cast(pl.Float64)).to_numpy().copy()
    for column, name in enumerate(names):
        bad = flagged.filter(pl.col("channel") == name)["row"].to_numpy()
        axes[np.searchsorted(readings["row"].to_numpy(), bad), column] = np.nan
    return axes


_FOUND_NEAR = "the spark tester or the surface vision found something within 2 m"
_ALONE = "no other instrument was on the same wire"
_BETWEEN = "it may have passed between the readings of the diameter gauge"


def may_deny(line: LineSheet, kinds: tuple[str, ...], alone: int, others_alone: int) -> bool:
    """Whether gauges which saw nothing must have seen a place, by what they read or by how many there were.

    Args:
        line: the line's sheet.
        kinds: the instruments that are held against each other.
        alone: events of one of them that the others do not show.
        others_alone: events of the others.
    """
    reads = [gauge.reads for kind in kinds if (gauge := line.instrument(kind)) is not None]
    if all(one == "mean" for one in reads):
        return True
    if "spot" in reads:
        return False
    return float(special.bdtr(others_alone, alone + others_alone, 0.5)) < BY_CHANCE


def spiked_rows(
    readings: pl.DataFrame, flagged: pl.DataFrame, channels: tuple[str, ...], sizes_mm: Floats
) -> int:
    """Rows at which one of the channels has a spike half as large as those asked about would show in it.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        channels: channels of the other gauges.
        sizes_mm: what the events asked about would show in them [mm]; chance makes small spikes in any long run.
    """
    if sizes_mm.size == 0:
        return 0
    least, found = 0.5 * float(np.median(np.abs(sizes_mm))), [np.zeros(0, dtype=np.int64)]
    row = readings["row"].to_numpy()
    for name in (one for one in channels if one in readings.columns):
        mine = flagged.filter((pl.col("flag") == flags.SPIKE.code) & (pl.col("channel") == name))["row"]
        rows = np.searchsorted(row, mine.to_numpy())
        values = readings.select(pl.col(name).cast(pl.Float64)).to_numpy()
        found.append(rows[np.abs(values[rows] - surroundings(values, rows))[:, 0] >= least])
    return int(np.unique(np.concatenate(found)).size)


def surroundings(values: Floats, rows: Rows) -> Floats:
    """Median of each column over the readings around each of `rows`, the row itself left out."""
    beside = np.concatenate((np.arange(-_AROUND, 0), np.arange(1, _AROUND + 1)))
    near = rows[:, None] + beside
    outside = (near < 0) | (near >= values.shape[0])
    around = values[np.clip(near, 0, values.shape[0] - 1)]
    around[outside] = np.nan
    whole = np.isfinite(around).all(axis=(1, 2))
    middle: Floats = np.full((rows.size, values.shape[1]), np.nan)
    middle[whole] = np.median(around[whole], axis=1)
    for one in np.flatnonzero(~whole).tolist():
        for column in range(values.shape[1]):
            known = around[one, np.isfinite(around[one, :, column]), column]
            if known.size:
                middle[one, column] = np.median(known)
    return middle


def near_event(at_m: Floats, events: Floats) -> NDArray[np.bool_]:
    """Whether an event lies within 2 m of each place; `events` in order."""
    if events.size == 0:
        return np.zeros(at_m.size, dtype=np.bool_)
    after = np.searchsorted(events, at_m)
    beside = [events[np.clip(one, 0, events.size - 1)] for one in (after - 1, after)]
    near: NDArray[np.bool_] = np.minimum(*(np.abs(one - at_m) for one in beside)) <= 2.0
    return near


def _neighbours(away: Floats, sensors: Rows, sizes: Floats, sd: float) -> NDArray[np.str_]:
    """Whether any other sensor moved with a spike, as thin wire or a displaced conductor would make it."""
    others = away.copy()
    np.put_along_axis(others, sensors[:, None], np.nan, axis=1)
    read = np.isfinite(others)
    least = np.maximum(UNCHANGED_SIGMA * sd * 1.2, 0.25 * np.abs(sizes))
    moved = (np.abs(np.where(read, others, 0.0)) > least[:, None]).any(axis=1)
    told = np.where(moved, "other wall sensors moved with it", "")
    return np.where(read.sum(axis=1) < 3, "too few other wall sensors read", told)


class _Diameter:
    """The diameter along the wire, asked whether it shows spikes.

    Args:
        at_m: places of the readings [m].
        axes: both axes, rows x 2 [mm]; NaN where a reading may not be used.
        sd: standard uncertainty of one reading [mm].
    """

    def __init__(self, at_m: Floats, axes: Floats, sd: float) -> None:
        self._at_m, self._axes, self._sd = at_m, axes, sd
        self._order = np.argsort(at_m, kind="stable")
        self._ordered = at_m[self._order]

    def _nearest(self, at_m: Floats) -> Rows:
        """The reading nearest to each place, the first of several as near."""
        last = self._ordered.size - 1
        after = np.searchsorted(self._ordered, at_m)
        # Of equal places the first in the log stands first.
        before = np.searchsorted(self._ordered, self._ordered[np.clip(after - 1, 0, last)])
        after = np.clip(after, 0, last)
        far_before, far_after = (np.abs(self._ordered[one] - at_m) for one in (before, after))
        first, second = self._order[before], self._order[after]
        tie = np.where(far_before == far_after, np.minimum(first, second), second)
        return np.where(far_before < far_after, first, tie)

    def _usual_step(self, row: int) -> float:
        beside = self._at_m[max(0, row - 20) : row + 20]
        return float(np.median(np.abs(np.diff(beside)))) if beside.size > 1 else 0.0

    def shows(self, at_m: Floats, sizes: Floats) -> NDArray[np.str_]:
        """Why a spike at each place stays by what the diameter of that wire shows; "" where it contradicts it."""
        near = self._nearest(at_m)
        away_m = np.abs(self._at_m[near] - at_m)
        unseen = away_m > 1.0
        for one in np.flatnonzero(unseen).tolist():
            unseen[one] = away_m[one] > max(1.0, 1.5 * self._usual_step(int(near[one])))
        window = near[:, None] + np.arange(-1, 2)
        inside = (window >= 0) & (window < self._at_m.size)
        axes = self._axes[np.clip(window, 0, self._at_m.size - 1)]
        moved = np.abs(axes - surroundings(self._axes, near)[:, None, :])
        moved[~inside] = 0.0
        poor = ~np.isfinite(moved).all(axis=(1, 2))
        least = np.maximum(UNCHANGED_SIGMA * self._sd * 1.5, 0.25 * np.abs(sizes))
        shown = np.where(
            np.where(poor, 0.0, moved.max(axis=(1, 2))) > least,
            "the diameter on the same wire shows it too",
            "",
        )
        told = np.where(poor, "the diameter gauge gave no trustworthy reading there", shown)
        told = np.where(unseen, "the diameter gauge did not see that wire", told)
        small = LEAST_SHARE * np.abs(sizes) < 2.0 * UNCHANGED_SIGMA * self._sd
        return np.where(small, "it is too small for the diameter gauge to contradict", told)


def _decision(row: int, channel: str, at_m: float, size: float, why_not: str) -> SpikeDecision:
    what = f"A spike of {1000 * size:+.0f} um in {channel} at {at_m:.1f} m"
    if why_not:
        return SpikeDecision(row, channel, at_m, size, False, f"{what} stays in the judgment: {why_not}.")
    return SpikeDecision(
        row,
        channel,
        at_m,
        size,
        True,
        f"{what} is contradicted: the other wall sensors and the diameter of the same wire did not move, and no "
        "fault or flaw was found there. A notch narrower than the sensors' spacing is not ruled out by this.",
    )

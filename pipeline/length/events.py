"""Where on the wire did an event happen? Spark faults and flaws, by time or by length, put on the wire.

An event logged by length carries the counter as the plant's list shows it, so it is read back through the
same resets, wraps and slips as the counter in the readings.

Did the spark tester's own counter go up where its list shows no fault? Then the list is not whole.

A plant may log the tester's counter beside the readings, its list of faults, or both. A count without an entry in the
list is a fault all the same; its place is known to the wire between two readings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.errors import Complaint, SheetError
from pipeline.flags import ALL
from pipeline.length.clock_steps import gap_m, possible_m
from pipeline.length.placement import Placement, clock_seconds
from pipeline.messages import message
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.why import Unplaced

# The tester's own clock may differ from the logger's by so much before its entry counts as another fault (chosen here).
CLOCKS_APART_S = 2.0
_MASKING = [flag.code for flag in ALL if flag.masks_conformity]


@dataclass(frozen=True, slots=True)
class UnlistedCount:
    """Counts of the spark tester that its list does not show, on wire from `from_m` to `to_m` [m]."""

    from_m: float
    to_m: float
    counts: int


def unlisted_counts(
    readings: pl.DataFrame, flagged: pl.DataFrame, placement: Placement, line: LineSheet, events: pl.DataFrame
) -> tuple[UnlistedCount, ...]:
    """Rises of the spark tester's counter near which no spark fault is listed, in the order of the log.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
        line: the line sheet.
        events: events on the wire (columns.PLACED_EVENTS).

    A counter that falls was cleared: what it shows afterwards was counted since. What it stood at when the log begins
    is of earlier wire.
    """
    tester = line.instrument("spark tester")
    if tester is None or "spark_counts" not in readings.columns:
        return ()
    counts = readings["spark_counts"].cast(pl.Float64).to_numpy().copy()
    bad = flagged.filter((pl.col("channel") == "spark_counts") & pl.col("flag").is_in(_MASKING))["row"]
    counts[np.searchsorted(readings["row"].to_numpy(), bad.unique().to_numpy())] = np.nan
    known = np.flatnonzero(np.isfinite(counts))
    step = np.diff(counts[known])
    more = np.where(step < 0.0, counts[known][1:], step)
    listed = np.sort(
        events.filter((pl.col("kind") == "spark fault") & pl.col("at_m").is_not_null())["at_m"].to_numpy()
    )
    speed = placement.readings["speed_m_s"].to_numpy()
    half = tester.window_m / 2.0
    found = []
    for at in np.flatnonzero(more > 0.0).tolist():
        before, row = int(known[at]), int(known[at + 1])
        low = float(placement.at_m[before]) - tester.station_m - half
        high = float(placement.at_m[row]) - tester.station_m + half
        slack = CLOCKS_APART_S * float(max(speed[before], speed[row], 0.0)) + placement.resolution_m
        near = np.searchsorted(listed, [low - slack, high + slack])
        if near[0] == near[1]:
            found.append(UnlistedCount(low, high, round(float(more[at]))))
    return tuple(found)


Floats = NDArray[np.float64]

INSTRUMENT_OF_EVENT = {"spark fault": "spark tester", "surface flaw": "surface vision"}
_BREAKS = ["reset", "wrap", "leap"]


def place_events(
    events: pl.DataFrame, readings: pl.DataFrame, placement: Placement, line: LineSheet
) -> pl.DataFrame:
    """Events with their position on the wire and its standard uncertainty (columns.PLACED_EVENTS).

    s = x(event) - d;  u(s)^2 = u_counter^2 + (v u_t)^2 + w^2/12, with w the instrument's window (a spark
    tester's electrode) and u_t = interval / sqrt(12).

    Args:
        events: events as logged (columns.EVENTS).
        readings: the run's readings as logged (columns.LOGGED), for the counter as the plant saw it.
        placement: the run's placement.
        line: the line's sheet.

    Returns:
        The events in the order given, with `at_m` and `at_sd_m` [m]. An event outside the time of the
        readings is put at their end with the wire that could have run meanwhile as its uncertainty.

    Raises:
        SheetError: the line sheet lists no instrument that could have seen the event.
    """
    if events.height == 0:
        return events.with_columns(
            pl.lit(None, dtype=pl.Float64).alias("at_m"), pl.lit(None, dtype=pl.Float64).alias("at_sd_m")
        )
    seers = _seers(events, line)
    counter_m, unsure_m = _by_time(events, readings, placement)
    by_length = _by_length(events, readings, placement, counter_m)
    listed = np.isfinite(by_length)
    counter_m = np.where(listed, by_length, counter_m)
    unsure_m = np.where(listed, 0.0, unsure_m)
    kinds = events["kind"].to_list()
    station = np.array([seers[kind].station_m for kind in kinds])
    window = np.array([seers[kind].window_m for kind in kinds])
    interval = np.array([seers[kind].interval_s for kind in kinds])
    speed = np.interp(
        counter_m, placement.readings["front_m"].to_numpy(), placement.readings["speed_m_s"].to_numpy()
    )
    timing = np.where(listed, 0.0, speed * interval) / np.sqrt(12.0)
    at_m = counter_m - station
    own = np.sqrt(
        timing**2
        + window**2 / 12.0
        + placement.resolution_m**2 / 12.0
        + unsure_m**2
        + _break_variance(at_m, counter_m, placement)
    )
    return events.with_columns(pl.Series("at_m", at_m), pl.Series("at_sd_m", own))


def _seers(events: pl.DataFrame, line: LineSheet) -> dict[str, Instrument]:
    seers: dict[str, Instrument] = {}
    complaints = []
    for kind in events["kind"].unique(maintain_order=True).to_list():
        wanted = INSTRUMENT_OF_EVENT.get(kind, kind)
        instrument = line.instrument(wanted)
        if instrument is None:
            complaints.append(
                Complaint(
                    f"line {line.id}",
                    message(Unplaced.NO_INSTRUMENT, kind=kind, wanted=wanted),
                    message(Unplaced.ADD_INSTRUMENT, wanted=wanted),
                )
            )
        else:
            seers[kind] = instrument
    if complaints:
        raise SheetError(complaints)
    return seers


def _event_seconds(events: pl.DataFrame, readings: pl.DataFrame) -> Floats | None:
    """Instants of the events from the first row on [s]; None where the list gives no times."""
    if "time_utc" not in events.columns or events["time_utc"].null_count() == events.height:
        return None
    start = readings["time_utc"].dt.epoch("us")[0]
    seconds: Floats = ((events["time_utc"].dt.epoch("us") - start) / 1e6).to_numpy().astype(np.float64)
    return seconds


def _by_time(events: pl.DataFrame, readings: pl.DataFrame, placement: Placement) -> tuple[Floats, Floats]:
    """Repaired counter at each event's instant [m], and what is not known of it [m]; NaN without a time."""
    seconds = _event_seconds(events, readings)
    if seconds is None:
        nothing = np.full(events.height, np.nan)
        return nothing, np.zeros(events.height)
    counter_m = np.interp(seconds, placement.seconds, placement.at_m)
    possible = _possible(seconds, readings, placement)
    counter_m = np.array(
        [places[0] if places else one for places, one in zip(possible, counter_m, strict=True)]
    )
    counter_m = np.where(np.isfinite(seconds), counter_m, np.nan)
    outside = np.maximum(placement.seconds[0] - seconds, seconds - placement.seconds[-1])
    usual = float(np.median(placement.readings["speed_m_s"].to_numpy()))
    unsure = np.maximum(np.nan_to_num(outside), 0.0) * usual
    unsure = np.where([bool(places) for places in possible], 0.0, unsure)
    if placement.clock is None or placement.clock.rows.size == 0:
        low, high = gap_m(seconds, placement.seconds, placement.at_m)
        in_gap = np.isfinite(low)
        counter_m = np.where(in_gap, (low + high) / 2.0, counter_m)
        unsure = np.where(in_gap, (high - low) / np.sqrt(12.0), unsure)
    return counter_m, unsure


def _possible(seconds: Floats, readings: pl.DataFrame, placement: Placement) -> list[list[float]]:
    """Repaired counter at every moment each event may have happened [m]; one list an event."""
    clock = placement.clock
    if clock is None or clock.rows.size == 0:
        return [[] for _ in range(seconds.size)]
    return possible_m(seconds, clock_seconds(readings), clock, placement.at_m)


@dataclass(frozen=True, slots=True)
class OtherPlace:
    """Another place that an event may have, because a clock was set.

    Args:
        event: place of the event in its table, from 0.
        kind: kind of the event.
        at_m: the place on the wire [m].
        half_m: half the wire it may lie on [m].
    """

    event: int
    kind: str
    at_m: float
    half_m: float


def other_places(
    events: pl.DataFrame, readings: pl.DataFrame, placement: Placement, line: LineSheet
) -> tuple[OtherPlace, ...]:
    """Every further place that events may have where the logger's clock was set.

    Where the readings carry the spark tester's counter, a spark fault lies where it rose, if it rose at any of them.

    Args:
        events: events on the wire, as `place_events` gives them.
        readings: the run's readings as logged (columns.LOGGED).
        placement: the run's placement.
        line: the line's sheet.
    """
    seconds = _event_seconds(events, readings) if events.height else None
    if seconds is None or placement.clock is None or placement.clock.rows.size == 0:
        return ()
    seers, rises = _seers(events, line), _rises_m(readings, placement)
    listed = "counter_m" in events.columns
    found = []
    for number, places in enumerate(_possible(seconds, readings, placement)):
        if listed and events["counter_m"][number] is not None:
            continue
        kind = events["kind"][number]
        seer, here = seers[kind], float(events["at_m"][number] or np.nan)
        half = seer.window_m / 2.0 + 2.0 * float(events["at_sd_m"][number] or 0.0)
        counted = [one for one in places if kind != "spark fault" or _rose_near(rises, one, half)]
        further = (one - seer.station_m for one in counted or places)
        found += [OtherPlace(number, kind, at, half) for at in further if not abs(at - here) <= half]
    return tuple(found)


def _rises_m(readings: pl.DataFrame, placement: Placement) -> Floats:
    """Repaired counter at rows where the spark tester's counter rose [m]."""
    if "spark_counts" not in readings.columns:
        return np.zeros(0)
    counts = readings["spark_counts"].cast(pl.Float64).fill_null(strategy="forward").to_numpy()
    rose: Floats = placement.at_m[1:][np.diff(counts) > 0.0]
    return rose


def _rose_near(rises: Floats, at_m: float, half_m: float) -> bool:
    return bool(rises.size) and float(np.abs(rises - at_m).min()) <= half_m + 2.0


def _by_length(events: pl.DataFrame, readings: pl.DataFrame, placement: Placement, by_time: Floats) -> Floats:
    """Repaired counter of events that list the counter [m]; NaN for those that do not."""
    count = events.height
    if "counter_m" not in events.columns or events["counter_m"].null_count() == count:
        return np.full(count, np.nan)
    listed = events["counter_m"].cast(pl.Float64).to_numpy()
    if "counter_m" not in readings.columns or readings["counter_m"].null_count() == readings.height:
        return listed  # the length is the speed's own; the list's counter is the best there is
    stretches = _stretches(readings, placement)
    candidates = np.full((count, len(stretches)), np.nan)
    for number, (shown, repaired) in enumerate(stretches):
        slack = 5.0
        fits = (listed >= shown[0] - slack) & (listed <= shown[-1] + slack)
        beyond = np.where(listed > shown[-1], listed - shown[-1], np.minimum(listed - shown[0], 0.0))
        candidates[:, number] = np.where(fits, np.interp(listed, shown, repaired) + beyond, np.nan)
    return _chosen(candidates, by_time, listed)


def _stretches(readings: pl.DataFrame, placement: Placement) -> list[tuple[Floats, Floats]]:
    """Counter as shown and as repaired, between the places where the counter broke."""
    shown = readings["counter_m"].cast(pl.Float64).to_numpy()
    first_row = int(readings["row"][0])
    breaks = placement.counter_events.filter(pl.col("kind").is_in(_BREAKS))["to_row"].to_numpy()
    edges = np.unique(np.concatenate(([0], breaks.astype(np.int64) - first_row, [shown.size])))
    stretches = []
    for begin, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        known = np.flatnonzero(np.isfinite(shown[begin:end])) + begin
        if known.size:
            stretches.append((np.maximum.accumulate(shown[known]), placement.at_m[known]))
    return stretches


def _chosen(candidates: Floats, by_time: Floats, listed: Floats) -> Floats:
    """The candidate nearest the event's own time, or else the first that keeps the list in order."""
    chosen = np.full(candidates.shape[0], np.nan)
    last = -np.inf
    for number, row in enumerate(candidates):
        possible = row[np.isfinite(row)]
        if not np.isfinite(listed[number]):
            continue
        if possible.size == 0:
            chosen[number] = listed[number] if not np.isfinite(by_time[number]) else np.nan
            continue
        if np.isfinite(by_time[number]):
            chosen[number] = possible[np.argmin(np.abs(possible - by_time[number]))]
        else:
            later = possible[possible >= last - 1.0]
            chosen[number] = later.min() if later.size else possible.max()
            last = max(last, float(chosen[number]))
    return chosen


def _break_variance(at_m: Floats, counter_m: Floats, placement: Placement) -> Floats:
    """Variance of the counter's breaks between the wire's passing the die and its being seen [m2]."""
    variance = np.zeros(at_m.shape)
    doubtful = placement.counter_events.filter(pl.col("unsure_m") > 0)
    for place, unsure in zip(doubtful["at_m"].to_list(), doubtful["unsure_m"].to_list(), strict=True):
        low, high = np.minimum(at_m, counter_m), np.maximum(at_m, counter_m)
        variance += np.where((place >= low) & (place <= high), unsure**2, 0.0)
    return variance

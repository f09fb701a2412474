"""Where on the wire did an event happen? Spark faults and flaws, by time or by length, put on the wire.

An event logged by length carries the counter as the plant's list shows it, so it is read back through the
same resets, wraps and slips as the counter in the readings.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.errors import Complaint, SheetError
from pipeline.length.placement import Placement
from pipeline.sheets.line_sheet import Instrument, LineSheet

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
                    f"the run lists events of kind '{kind}', and the line sheet has no {wanted}",
                    f"Add the {wanted} with its 'station_m' to the line sheet",
                )
            )
        else:
            seers[kind] = instrument
    if complaints:
        raise SheetError(complaints)
    return seers


def _by_time(events: pl.DataFrame, readings: pl.DataFrame, placement: Placement) -> tuple[Floats, Floats]:
    """Repaired counter at each event's instant [m], and what lies outside the log [m]; NaN without a time."""
    if "time_utc" not in events.columns or events["time_utc"].null_count() == events.height:
        nothing = np.full(events.height, np.nan)
        return nothing, np.zeros(events.height)
    start = readings["time_utc"].dt.epoch("us")[0]
    seconds = ((events["time_utc"].dt.epoch("us") - start) / 1e6).to_numpy().astype(np.float64)
    counter_m = np.interp(seconds, placement.seconds, placement.at_m)
    counter_m = np.where(np.isfinite(seconds), counter_m, np.nan)
    outside = np.maximum(placement.seconds[0] - seconds, seconds - placement.seconds[-1])
    usual = float(np.median(placement.readings["speed_m_s"].to_numpy()))
    return counter_m, np.maximum(np.nan_to_num(outside), 0.0) * usual


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

"""Step two: every reading, event and reel of a run put on the wire it belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.contradictions import Unseen
from pipeline.errors import Complaint, SheetError
from pipeline.length.ends_by_stops import (
    StrayEnd,
    ends_are_marked,
    ends_are_of_wire,
    ends_beside_stops_m,
    ends_met_elsewhere,
    stray_ends,
    unsure_by_stops,
)
from pipeline.length.events import OtherPlace, UnlistedCount, other_places, place_events, unlisted_counts
from pipeline.length.line_length import counter_scale, integral_m
from pipeline.length.placement import Placement, place_readings
from pipeline.length.reels import (
    LooseWire,
    PlacedReel,
    loose_wire,
    place_reels,
    reels_on_counter,
    unsure_by_scale,
)
from pipeline.messages import Measure, Message, Place, message
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import Reel, RunSheet
from pipeline.statistics.spark_merge import merge_events
from pipeline.warned import Warned
from pipeline.why import Unplaced

# A change slows the line to this share of its usual speed or less, within so much time of it (chosen here).
DIP_SHARE, DIP_BEGINS, CHANGE_S = 0.7, 0.95, 20.0


@dataclass(frozen=True, slots=True)
class Placed:
    """A run on the wire.

    Args:
        placement: where each reading stands.
        events: events with their place and the number of the fault they count (column ``fault``).
        reels: the reels, in the order of the wire.
        loose: wire of the run that is on no reel.
        warnings: what a reader must see.
        unlisted: counts of the spark tester that its list of faults does not show.
        elsewhere: further places that events may have, where a clock was set.
        ends_unseen: that nothing in the run shows its reel ends to be right, where that is so.
    """

    placement: Placement
    events: pl.DataFrame
    reels: tuple[PlacedReel, ...]
    loose: tuple[LooseWire, ...]
    warnings: tuple[Message, ...]
    unlisted: tuple[UnlistedCount, ...] = ()
    elsewhere: tuple[OtherPlace, ...] = ()
    ends_unseen: tuple[Message, ...] = ()


def place_run(
    readings: pl.DataFrame, events: pl.DataFrame, flagged: pl.DataFrame, run: RunSheet, line: LineSheet
) -> Placed:
    """Put a run on the wire.

    Args:
        readings: readings as logged (columns.LOGGED).
        events: events as logged (columns.EVENTS).
        flagged: reasons not to use readings (columns.FLAGGED).
        run: the run sheet.
        line: the line sheet.

    Raises:
        ReelproofError: nothing can be placed, or a reel lies outside the run.
    """
    placement = place_readings(readings, flagged, line)
    placed = place_events(events, readings, placement, line)
    on_counter = reels_on_counter(run.reels, run.reel_ends, line)
    if run.reel_ends == "counter" and ends_are_of_wire(
        on_counter, _slow_m(placement), line.take_up_station_m
    ):
        raise SheetError(
            Complaint(
                "run.reels",
                message(Unplaced.ENDS_ARE_WIRE),
                message(Unplaced.WRITE_REEL_ENDS, path=Measure(line.take_up_station_m, "m")),
            )
        )
    stray: tuple[StrayEnd, ...] = ()
    beside_m = 0.0
    if run.reel_ends == "counter":
        stray = _stray_ends(on_counter, placement, line)
        beside_m = ends_beside_stops_m(
            on_counter, _slow_spans(placement, DIP_SHARE), _reach_m(placement, line)
        )
    reels = place_reels(on_counter, line, placement.made_m, placement.start_m, line.accumulator_unsure_m)
    reels = unsure_by_stops(
        unsure_by_scale(reels, _scale(placement), placement.start_m, placement.made_m), stray
    )
    reels = tuple(replace(one, end_unsure_m=one.end_unsure_m + beside_m) for one in reels)
    told = tuple(message(Warned.STRAY_END, end=Place(one.at_m), stop=Place(one.stop_m)) for one in stray)
    if beside_m:
        told += (message(Warned.ENDS_BESIDE_STOPS, apart=Measure(beside_m, "m")),)
    ends_unseen: tuple[Message, ...] = ()
    if not beside_m and not ends_are_marked(on_counter, _slow_m(placement, DIP_SHARE)):
        ends_unseen = (message(Unseen.REEL_ENDS, path=Measure(line.take_up_station_m, "m")),)
    numbered, warnings = _number_faults(placed, placement, line)
    return Placed(
        placement,
        numbered,
        reels,
        loose_wire(reels, line, placement.made_m, placement.start_m),
        (*placement.warnings, *warnings, *told),
        unlisted_counts(readings, flagged, placement, line, numbered),
        other_places(numbered, readings, placement, line),
        ends_unseen,
    )


def _stray_ends(reels: Sequence[Reel], placement: Placement, line: LineSheet) -> tuple[StrayEnd, ...]:
    """Ends that meet none of the line's stops and dips where the others do.

    Raises:
        SheetError: they meet them only in another unit, or further on.
    """
    reach, slow = _reach_m(placement, line), _slow_m(placement, DIP_SHARE)
    elsewhere = ends_met_elsewhere(reels, slow, reach)
    if elsewhere is None:
        return stray_ends(reels, slow, reach)
    factor, shift = elsewhere
    if factor == 1.0:
        found = message(Unplaced.ENDS_SHIFTED, shift=Measure(shift, "m"))
        raise SheetError(Complaint("run.reels", found, message(Unplaced.AS_COUNTER_SHOWED)))
    found = message(Unplaced.ENDS_SCALED, factor=factor)
    raise SheetError(Complaint("run.reels", found, message(Unplaced.CHECK_UNITS)))


def _reach_m(placement: Placement, line: LineSheet) -> float:
    """Wire by which a change may lie from its stop or dip [m]."""
    speed = placement.readings["speed_m_s"].to_numpy()
    moving = speed[speed > 0.0]
    usual = float(np.median(moving)) if moving.size else 0.0
    return CHANGE_S * usual + 2.0 * line.accumulator_unsure_m + line.take_up_station_m


def _scale(placement: Placement) -> float:
    """Counter length per length by line speed; 1 where one was made of the other."""
    speed = placement.readings["speed_m_s"].to_numpy()
    return counter_scale(placement.at_m, integral_m(speed, placement.seconds), placement.seconds)


def _slow_m(placement: Placement, share: float = 1.0 / 3.0) -> list[float]:
    """Length counter in the middle of each stop or dip to a share of the usual speed, within the run [m]."""
    return [float(placement.at_m[(a + b) // 2]) for a, b in _slow_rows(placement, share)]


def _slow_spans(placement: Placement, share: float) -> list[tuple[float, float]]:
    """Length counter where the line began to slow down and was fast again, around each stop or dip [m]."""
    slowed = _slow_rows(placement, DIP_BEGINS)
    spans = []
    for a, b in _slow_rows(placement, share):
        around = [(first, last) for first, last in slowed if first <= a and b <= last]
        first, last = around[0] if around else (a, b)
        spans.append((float(placement.at_m[first]), float(placement.at_m[last])))
    return spans


def _slow_rows(placement: Placement, share: float) -> list[tuple[int, int]]:
    speed = placement.readings["speed_m_s"].to_numpy()
    moving = speed[speed > 0.0]
    if moving.size == 0:
        return []
    slow = speed < np.median(moving) * share
    edges = np.flatnonzero(np.diff(slow.astype(np.int8), prepend=0, append=0))
    spans = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(a, b) for a, b in spans if a > 0 and b < speed.size]


def _number_faults(
    events: pl.DataFrame, placement: Placement, line: LineSheet
) -> tuple[pl.DataFrame, tuple[Message, ...]]:
    """Counts of one fault get one number; surface flaws are each their own."""
    if events.height == 0:
        return events.with_columns(pl.lit(None, dtype=pl.Int32).alias("fault")), ()
    sparks = (events["kind"] == "spark fault").to_numpy()
    fault = np.arange(events.height, dtype=np.int64)
    warnings: tuple[Message, ...] = ()
    if sparks.any():
        tester = line.instrument("spark tester")
        at = events["at_m"].to_numpy()[sparks]
        speed = np.interp(
            np.nan_to_num(at) + (tester.station_m if tester else 0.0),
            placement.readings["front_m"].to_numpy(),
            placement.readings["speed_m_s"].to_numpy(),
        )
        merged = merge_events(
            at,
            tester.window_m if tester else 0.0,
            tester.dead_time_s if tester else 0.0,
            speed,
        )
        if merged.without_position:
            lost = merged.without_position
            warnings = (message(Warned.COUNTS_WITHOUT_PLACE, n=lost),)
        alone = merged.counts.size + np.arange(at.size)
        fault[sparks] = np.where(merged.members >= 0, merged.members, alone)
        fault[~sparks] = merged.counts.size + at.size + np.arange(int((~sparks).sum()))
    return events.with_columns(pl.Series("fault", fault, dtype=pl.Int32)), warnings

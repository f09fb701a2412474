"""Do the reel ends of a run sheet meet the stops and dips of the line, where reels are changed?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.length.reels import PlacedReel
from pipeline.sheets.run_sheet import Reel
from pipeline.units import M_PER_FOOT

Floats = NDArray[np.float64]

# A reel is changed within this much wire of a stop or dip [m], and so many ends must meet one (chosen here).
NEAR_STOP_M, FEWEST_MET = 4.0, 2
# Ends that must meet one where any shift would do, their share of all, and how often chance may do it (chosen here).
FEWEST_SHIFTED, SHIFTED_SHARE, BY_CHANCE = 3, 0.8, 1e-3
# Chance makes other ends meet stops so often where one that meets none is doubted (chosen here).
DOUBTED_BY_CHANCE = 0.05


def ends_are_of_wire(reels: Sequence[Reel], stops_m: Sequence[float], take_up_m: float) -> bool:
    """Whether reel ends given as counter readings fit the line's stops and dips only as metres of wire.

    Args:
        reels: reels with their ends as counter readings [m].
        stops_m: length counter where the line stopped or slowed for a change [m].
        take_up_m: length of wire from die to take-up [m].
    """
    if take_up_m <= 4.0 * NEAR_STOP_M or not stops_m:
        return False
    ends = sorted({edge for reel in reels for edge in (reel.from_m, reel.to_m)})

    def met(shift_m: float) -> int:
        return sum(min(abs(end + shift_m - stop) for stop in stops_m) <= NEAR_STOP_M for end in ends)

    return met(0.0) == 0 and met(take_up_m) >= FEWEST_MET


def ends_are_marked(reels: Sequence[Reel], stops_m: Sequence[float]) -> bool:
    """Whether stops and dips of the line mark the reels' changes where the sheet has them.

    Args:
        reels: reels with their ends as counter readings [m].
        stops_m: length counter where the line stopped or slowed [m].
    """
    ends = {edge for reel in reels for edge in (reel.from_m, reel.to_m)}
    marked = sum(any(abs(end - stop) <= NEAR_STOP_M for stop in stops_m) for end in ends)
    return marked >= min(FEWEST_MET, len(ends))


def ends_met_elsewhere(
    reels: Sequence[Reel], stops_m: Sequence[float], reach_m: float
) -> tuple[float, float] | None:
    """Factor and shift [m] with which reel ends meet the line's stops and dips, where as given they meet none of them.

    Feet read as metres make the factor, ends of another counter the shift. So many ends must meet a stop that chance
    does it in one run of a thousand at most, the places of the stops being any (derived).

    Args:
        reels: reels with their ends as counter readings [m].
        stops_m: length counter where the line stopped or slowed [m].
        reach_m: wire by which a change may lie from its stop or dip [m].
    """
    ends = np.unique([edge for reel in reels for edge in (reel.from_m, reel.to_m)])
    stops = np.array(stops_m, dtype=np.float64)
    if ends.size < FEWEST_SHIFTED or stops.size < FEWEST_SHIFTED:
        return None
    found: list[tuple[int, float, float]] = []
    for factor in (1.0, 1.0 / M_PER_FOOT, M_PER_FOOT):
        shifts = (stops[:, None] - factor * ends).ravel()
        apart = np.abs(factor * ends[None, :, None] + shifts[:, None, None] - stops).min(axis=2)
        met = (apart <= NEAR_STOP_M).sum(axis=1)
        # The counters of a run start together; its unit changes no start of nought.
        near = np.abs(shifts) <= reach_m
        if factor == 1.0 and bool((near & (2 * met >= ends.size)).any()):
            return None
        looked = np.flatnonzero(near if factor != 1.0 else ~near).tolist()
        found += [(int(met[one]), factor, float(shifts[one])) for one in looked]
    most, factor, shift = max(found, default=(0, 1.0, 0.0), key=lambda one: (one[0], -abs(one[2])))
    chance = stops.size * 2.0 * NEAR_STOP_M / max(float(np.ptp(stops)), 1.0)
    tries = 3.0 * stops.size * ends.size
    enough = (
        most >= max(FEWEST_SHIFTED, SHIFTED_SHARE * ends.size) and tries * chance ** (most - 1) < BY_CHANCE
    )
    return (factor, shift) if enough else None


@dataclass(frozen=True, slots=True)
class StrayEnd:
    """A reel end that meets no stop of a line that slows at its changes, beside a stop that no end meets.

    Args:
        at_m: the end [counter, m].
        stop_m: the stop that is furthest from it and may be its change [counter, m].
    """

    at_m: float
    stop_m: float


def stray_ends(reels: Sequence[Reel], stops_m: Sequence[float], reach_m: float) -> tuple[StrayEnd, ...]:
    """Reel ends that may be written down wrong, or a change that the sheet does not have, by the stops of the line.

    Most ends must meet a stop, by a shift that is theirs in common, more of them than chance explains (derived).

    Args:
        reels: reels with their ends as counter readings [m].
        stops_m: length counter where the line stopped or slowed [m].
        reach_m: wire by which a change may lie from its stop or dip [m].
    """
    shared = _shared_shift(reels, stops_m, reach_m)
    if shared is None:
        return ()
    ends, met, shift = shared
    places = np.array(stops_m, dtype=np.float64) - shift
    free = places[np.abs(places[:, None] - ends).min(axis=1) > NEAR_STOP_M]
    found = []
    for end in ends[~met].tolist():
        sure = ends[met]
        low, high = sure[sure < end].max(initial=-np.inf), sure[sure > end].min(initial=np.inf)
        between = free[(free > low) & (free < high)]
        if between.size:
            found.append(StrayEnd(end, float(between[np.argmax(np.abs(between - end))])))
    return tuple(found)


def _shared_shift(
    reels: Sequence[Reel], stops_m: Sequence[float], reach_m: float
) -> tuple[Floats, NDArray[np.bool_], float] | None:
    """Reel ends, which of them meet a stop by the shift that most have in common, and that shift [m]."""
    ends = np.unique([edge for reel in reels for edge in (reel.from_m, reel.to_m)])
    stops = np.array(stops_m, dtype=np.float64)
    if ends.size < FEWEST_SHIFTED or stops.size < FEWEST_MET:
        return None
    shifts = (stops[:, None] - ends).ravel()
    shifts = shifts[np.abs(shifts) <= reach_m]
    if shifts.size == 0:
        return None
    apart = np.abs(ends[None, :, None] + shifts[:, None, None] - stops).min(axis=2)
    met = apart <= NEAR_STOP_M
    best = int(np.lexsort((np.abs(shifts), -met.sum(axis=1)))[0])
    most = int(met[best].sum())
    chance = stops.size * 2.0 * NEAR_STOP_M / max(float(np.ptp([*ends, *stops])), 1.0)
    if 2 * most <= ends.size or shifts.size * chance ** (most - 1) > DOUBTED_BY_CHANCE:
        return None
    return ends, met[best], float(shifts[best])


def ends_beside_stops_m(
    reels: Sequence[Reel], slow_m: Sequence[tuple[float, float]], reach_m: float
) -> float:
    """How far reel ends lie, all alike, outside the stops and dips that they belong to [m]; 0 where they do not.

    A change is made while the line is slow. Ends that all lie as far beside it may have been written from another
    place on the line: which is true nobody knows, so wire in between may be on either reel (derived).

    Args:
        reels: reels with their ends as counter readings [m].
        slow_m: length counter where the line began and ceased to be slow [m].
        reach_m: wire by which a change may lie from its stop or dip [m].
    """
    shared = _shared_shift(reels, [0.5 * (a + b) for a, b in slow_m], reach_m)
    if shared is None:
        return 0.0
    ends, met, shift = shared
    low, high = (np.array(one) for one in zip(*slow_m, strict=True))
    which = np.abs(ends[met, None] + shift - 0.5 * (low + high)).argmin(axis=1)
    beside = np.maximum(np.maximum(low[which] - ends[met], ends[met] - high[which]), 0.0)
    usual = float(np.median(beside))
    return usual if usual > NEAR_STOP_M else 0.0


def unsure_by_stops(reels: Sequence[PlacedReel], stray: Sequence[StrayEnd]) -> tuple[PlacedReel, ...]:
    """The reels with ends as unsure as a stray end lies from the stop that may be its change."""

    def apart(one: PlacedReel) -> float:
        edges = (one.counter_from_m, one.counter_to_m)
        return max((abs(end.at_m - end.stop_m) for end in stray if end.at_m in edges), default=0.0)

    return tuple(replace(one, end_unsure_m=one.end_unsure_m + apart(one)) for one in reels)

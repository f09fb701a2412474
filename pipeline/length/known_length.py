"""For which wire is there evidence, and which requirement is left unmonitored where?

Each reading stands for the wire half way to its neighbours, and never for more than a reading and a half of
wire: across a gap nothing is known. Rates and shares divide by known length; the rest is unmonitored length,
and grounds to hold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.length import intervals
from pipeline.length.placement import Placement
from pipeline.length.reels import PlacedReel
from pipeline.sheets.line_sheet import Instrument

Floats = NDArray[np.float64]

# Neighbours further apart than this many readings' wire have a gap between them.
GAP_READINGS = 1.5


@dataclass(frozen=True, slots=True)
class Evidence:
    """A data-quality state along the wire, as two lists of stretches.

    Args:
        known: where the instrument was really reading [m].
        active: where the state told of was on; wire outside `known` is neither [m].
    """

    known: Floats
    active: Floats

    def share(self, from_m: float, to_m: float) -> tuple[float, float]:
        """Share of known wire on which the state was active, and the unknown length [m], between two metres."""
        known = intervals.within(self.known, from_m, to_m)
        active = intervals.overlap(known, self.active)
        length = intervals.length_m(known)
        share = intervals.length_m(active) / length if length > 0 else float("nan")
        return share, (to_m - from_m) - length


@dataclass(frozen=True, slots=True)
class Coverage:
    """Evidence of one requirement on one reel.

    Args:
        reel: the reel.
        requirement: what is asked.
        from_m: first metre of the reel [m].
        to_m: last metre [m].
        known_m: length with a trustworthy reading [m].
        unmonitored_m: length without [m].
        unmonitored: where that is [m].
        why: why there is none, where a reason is known.
    """

    reel: str
    requirement: str
    from_m: float
    to_m: float
    known_m: float
    unmonitored_m: float
    unmonitored: tuple[tuple[float, float], ...]
    why: str = ""


def known_wire(
    at_m: Floats,
    speed_m_s: Floats,
    usable: NDArray[np.bool_],
    interval_s: float,
    window_m: float = 0.0,
    resolution_m: float = 0.0,
) -> Floats:
    """Stretches of wire for which an instrument gave a usable reading [m].

    A reading at s_i covers from (s_(i-1) + s_i)/2 to (s_i + s_(i+1))/2 of its neighbours, usable or not, and
    at most 0.75 (v interval + window) + counter step either way. A spot read more than once is known if one of
    its readings may be used.

    Args:
        at_m: wire that stood before the instrument at each of its readings [m].
        speed_m_s: line speed then [m/s].
        usable: whether the reading may be used.
        interval_s: time between readings of the instrument [s].
        window_m: wire a reading averages over beyond speed x interval [m].
        resolution_m: smallest step of the length counter [m].

    Returns:
        Merged stretches; exact to the row at the edges of a drop-out.
    """
    if at_m.size == 0:
        return intervals.NONE
    place, good, speed = _spots(at_m, usable, np.abs(speed_m_s))
    fastest = speed.copy()
    fastest[1:] = np.maximum(fastest[1:], speed[:-1])
    fastest[:-1] = np.maximum(fastest[:-1], speed[1:])
    reach = 0.5 * GAP_READINGS * (fastest * interval_s + window_m) + resolution_m
    middle = 0.5 * (place[1:] + place[:-1])
    low = np.maximum(np.concatenate(([-np.inf], middle)), place - reach)
    high = np.minimum(np.concatenate((middle, [np.inf])), place + reach)
    rows = np.flatnonzero(good)
    return intervals.merged(np.stack([low[rows], high[rows]], axis=1), bridge_m=1e-9)


def _spots(
    at_m: Floats, usable: NDArray[np.bool_], speed: Floats
) -> tuple[Floats, NDArray[np.bool_], Floats]:
    """Readings in the order of the wire, those of one spot taken together."""
    if bool((np.diff(at_m) > 0).all()):
        return at_m, usable, speed
    order = np.argsort(at_m, kind="stable")
    place = at_m[order]
    first = np.flatnonzero(np.diff(place, prepend=-np.inf) > 1e-9)
    return (
        place[first],
        np.logical_or.reduceat(usable[order], first),
        np.maximum.reduceat(speed[order], first),
    )


def measured_wire(
    measured: pl.DataFrame, column: str, placement: Placement, instrument: Instrument
) -> Floats:
    """Stretches of wire with a value in `column` of the measured rows [m].

    Args:
        measured: the run's measured rows (columns.MEASURED).
        column: the column whose evidence is asked, for example 'thinnest_wall_mm'.
        placement: the run's placement.
        instrument: the instrument the column comes from.
    """
    at = measured["diameter_at_m" if column in {"diameter_mm", "ovality_mm"} else "wall_at_m"]
    if at.null_count() == at.len():
        return intervals.NONE
    usable = measured[column].is_not_null().to_numpy()
    speed = placement.readings["speed_m_s"].to_numpy()
    own = np.ones(usable.size, dtype=np.bool_)
    if instrument.interval_s > 0 and placement.seconds.size > 1:
        # Rows of other logs between this instrument's own carry nothing of it and are no drop-out.
        own = usable | ~_between_own(usable, placement.seconds, instrument.interval_s)
    return known_wire(
        at.to_numpy()[own],
        speed[own],
        usable[own],
        instrument.interval_s,
        instrument.window_m,
        placement.resolution_m,
    )


def _between_own(usable: NDArray[np.bool_], seconds: Floats, interval_s: float) -> NDArray[np.bool_]:
    """Rows without a value that have one before and one after within a reading's time."""
    rows = np.flatnonzero(usable)
    if rows.size == 0:
        return np.zeros(usable.size, dtype=np.bool_)
    after = np.searchsorted(rows, np.arange(usable.size))
    next_at = np.where(after < rows.size, seconds[rows[np.minimum(after, rows.size - 1)]], np.inf)
    last_at = np.where(after > 0, seconds[rows[np.maximum(after - 1, 0)]], -np.inf)
    return ~usable & (next_at - last_at <= 1.2 * interval_s)


def coverage(
    reels: tuple[PlacedReel, ...], known: dict[str, Floats], reasons: dict[str, str] | None = None
) -> tuple[Coverage, ...]:
    """Known and unmonitored length of each requirement on each reel.

    Args:
        reels: the run's reels.
        known: wire with evidence of each requirement [m].
        reasons: why a requirement has no evidence at all, by requirement.

    Returns:
        One entry a reel and requirement; known plus unmonitored is the reel's length.
    """
    told = reasons or {}
    found = []
    for reel in reels:
        for requirement, wire in known.items():
            missing = intervals.outside(wire, reel.from_m, reel.to_m)
            length = intervals.length_m(missing)
            found.append(
                Coverage(
                    reel.id,
                    requirement,
                    reel.from_m,
                    reel.to_m,
                    reel.length_m - length,
                    length,
                    tuple((float(a), float(b)) for a, b in missing),
                    told.get(requirement, ""),
                )
            )
    return tuple(found)

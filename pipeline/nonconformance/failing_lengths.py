"""Over which lengths of wire does a quantity fail its limit, and over which lengths is there no evidence?

Source: conformity limits and guard bands as in JCGM 106:2012, clauses 7 and 8; the hysteresis is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.errors import Complaint, MethodRefusal
from pipeline.nonconformance.decision import ROUNDING, Sense

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SCHEMA: dict[str, type[pl.DataType]] = {
    "from_m": pl.Float64,
    "to_m": pl.Float64,
    "first_m": pl.Float64,
    "last_m": pl.Float64,
    "first_index": pl.Int64,
    "last_index": pl.Int64,
    "readings": pl.Int64,
    "worst": pl.Float64,
    "worst_at_m": pl.Float64,
    "worst_index": pl.Int64,
    "depth": pl.Float64,
    "area": pl.Float64,
}


@dataclass(frozen=True, slots=True)
class IntervalSettings:
    """How readings become lengths; the plant's choice, printed on every record.

    Args:
        leave_guard_u: a length ends where the value is this many standard uncertainties inside the limit.
        merge_gap_m: gaps up to this are merged [m].
        reading_extent_m: wire one reading averages over [m].
        pad_m: half the gauge's window and k u(s), added at each end [m].
        hole_m: distance between readings beyond which the wire between is unmonitored [m].
        shortest_m: a length shorter than this needs a second instrument [m]; 0 lets one reading decide.
    """

    leave_guard_u: float = 1.0
    merge_gap_m: float = 2.0
    reading_extent_m: float = 0.0
    pad_m: float = 0.0
    hole_m: float = 10.0
    shortest_m: float = 0.0


def shortfall(value: Floats, limit: float, sense: Sense) -> Floats:
    """By how much each value fails its limit; negative where it is inside.

    Args:
        value: readings [any unit].
        limit: the limit [same unit].
        sense: ``at least`` for a lower limit, ``at most`` for an upper one.

    Returns:
        limit - value for a lower limit, value - limit for an upper one [same unit].
    """
    return limit - value if sense == "at least" else value - limit


def _check(at_m: Floats, value: Floats, enter_guard: float, leave_guard: float, *lengths: float) -> None:
    if at_m.shape != value.shape:
        raise MethodRefusal(
            Complaint(
                "nonconforming lengths",
                f"there are {at_m.size} positions and {value.size} values",
                "Give one position for each value",
            )
        )
    if leave_guard < -enter_guard:
        raise MethodRefusal(
            Complaint(
                "nonconforming lengths",
                f"the guard to leave ({leave_guard:g}) is inside the guard to enter ({enter_guard:g})",
                "Give a guard to leave of at least minus the guard to enter",
            )
        )
    if any(not length >= 0.0 for length in lengths):
        raise MethodRefusal(
            Complaint(
                "nonconforming lengths",
                "a gap, pad, extent or hole is negative or not a number",
                "Give lengths of 0 m or more",
            )
        )


def _in_order(at_m: Floats, mask: Mask) -> NDArray[np.int64]:
    """Indices of the usable readings in the order of the wire; ties keep their order in time."""
    index = np.flatnonzero(mask)
    if index.size > 1 and np.any(np.diff(at_m[index]) < 0.0):
        index = index[np.argsort(at_m[index], kind="stable")]
    return index


def _held_state(enter: Mask, leave: Mask, opens: Mask) -> Mask:
    """The state after each reading: entered and not yet left; forgotten where a hole opens."""
    decisive = enter | leave | opens
    last = np.maximum.accumulate(np.where(decisive, np.arange(enter.size), 0))
    return np.asarray(enter[last], dtype=np.bool_)


def cell_widths(at_m: Floats, hole_m: float) -> Floats:
    """The wire each reading speaks for: half the way to either neighbour, at most half of `hole_m` each way.

    Args:
        at_m: positions in the order of the wire [m].
        hole_m: distance between readings beyond which the wire between them counts as not seen [m].

    Returns:
        lengths [m]; the outer half of the first and last reading equals its inner half.
    """
    if at_m.size < 2:
        return np.zeros(at_m.size)
    half = np.minimum(np.diff(at_m), hole_m) / 2.0
    return np.concatenate(([half[0]], half)) + np.concatenate((half, [half[-1]]))


def nonconforming_intervals(
    at_m: Floats,
    value: Floats,
    limit: float,
    sense: Sense,
    settings: IntervalSettings,
    guards: tuple[float, float] = (0.0, 0.0),
    *,
    breaks_m: Sequence[float] = (),
    usable: Mask | None = None,
) -> pl.DataFrame:
    """Lengths of wire over which a quantity fails its limit, with hysteresis, merged and padded.

    A length starts at a reading with shortfall > g_in and ends before the first reading with -shortfall >= g_out
    (y < L - g_in, y >= L + g_out for a lower limit). Lengths with gaps of at most `merge_gap_m` are joined, then
    padded by `pad_m` at both ends.

    Args:
        at_m: position of each reading on the wire [m], in any order.
        value: the readings [unit of the limit].
        limit: the limit [same unit].
        sense: ``at least`` or ``at most``.
        settings: how readings become lengths.
        guards: how far beyond the limit a reading must lie to start a length, negative for guarded acceptance, where
            a reading not shown to conform starts one; how far inside it must lie to end it [same unit].
        breaks_m: places where the wire is cut (reel changes) [m]; no length crosses one.
        usable: False where a reading may not judge the wire; NaN is never usable.

    Returns:
        one row a length, in the order of the wire: from_m, to_m (padded), first_m, last_m (readings at the
        ends), first_index, last_index, worst_index (into the arrays given), readings (that are within the
        length in the sense above), worst, worst_at_m, depth (greatest shortfall), area (integral of the
        shortfall over the wire, unit x m).

    Not true where readings stand further apart than the defects sought.

    Source: JCGM 106:2012, 8.2 and 8.3 for the limits; hysteresis and merging are common practice, no source.
    """
    extent_m, hole_m = settings.reading_extent_m, settings.hole_m
    _check(at_m, value, *guards, settings.merge_gap_m, settings.pad_m, extent_m, hole_m)
    mask = np.isfinite(value) & np.isfinite(at_m)
    if usable is not None:
        mask &= usable
    index = _in_order(at_m, mask)
    at, short = at_m[index], shortfall(value[index], limit, sense)
    if index.size == 0:
        return pl.DataFrame(schema=SCHEMA)
    eps = ROUNDING * max(1.0, abs(limit))
    breaks = np.sort(np.asarray(breaks_m, dtype=np.float64))
    piece = np.searchsorted(breaks, at, side="right")
    opens = np.concatenate(([True], (np.diff(at) > hole_m) | (np.diff(piece) > 0)))
    bad = _held_state(short > guards[0] + eps, short <= -guards[1] + eps, opens)
    if not bad.any():
        return pl.DataFrame(schema=SCHEMA)
    first, last = _merged(at, bad, opens, piece, settings.merge_gap_m + extent_m)
    found = _measured(at, short, bad, first, hole_m)
    reach = extent_m / 2.0 + settings.pad_m
    worst = index[found["worst_place"]]
    from_m, to_m = _within(breaks, piece[first], at[first] - reach, at[last] + reach)
    return pl.DataFrame(
        {
            "from_m": from_m,
            "to_m": to_m,
            "first_m": at[first],
            "last_m": at[last],
            "first_index": index[first],
            "last_index": index[last],
            "readings": found["readings"],
            "worst": value[worst],
            "worst_at_m": at_m[worst],
            "worst_index": worst,
            "depth": found["depth"],
            "area": found["area"],
        },
        schema=SCHEMA,
    )


def _merged(
    at: Floats, bad: Mask, opens: Mask, piece: NDArray[np.int64], gap_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last reading of each length after merging gaps of at most `gap_m` within a piece of wire."""
    before = np.concatenate(([False], bad[:-1])) & ~opens
    after = np.concatenate((bad[1:] & ~opens[1:], [False]))
    first, last = np.flatnonzero(bad & ~before), np.flatnonzero(bad & ~after)
    apart = (at[first[1:]] - at[last[:-1]] > gap_m + ROUNDING) | (piece[first[1:]] > piece[last[:-1]])
    return first[np.concatenate(([True], apart))], last[np.concatenate((apart, [True]))]


def _within(breaks: Floats, piece: NDArray[np.int64], from_m: Floats, to_m: Floats) -> tuple[Floats, Floats]:
    """Lengths kept within the piece of wire they lie on; padding does not reach over a cut."""
    edges = np.concatenate(([-np.inf], breaks, [np.inf]))
    return np.maximum(from_m, edges[piece]), np.minimum(to_m, edges[piece + 1])


def _measured(
    at: Floats,
    short: Floats,
    bad: Mask,
    first: NDArray[np.int64],
    hole_m: float,
) -> dict[str, NDArray[np.int64] | Floats]:
    """Count, worst place, depth and area of each length."""
    among = np.flatnonzero(bad)
    group = np.searchsorted(first, among, side="right") - 1
    heads = np.searchsorted(among, first)
    depth = np.maximum.reduceat(short[among], heads)
    on_worst = np.flatnonzero(short[among] == depth[group])
    places = on_worst[np.searchsorted(group[on_worst], np.arange(first.size))]
    beyond = np.maximum(short[among], 0.0) * cell_widths(at, hole_m)[among]
    return {
        "readings": np.diff(np.concatenate((heads, [among.size]))),
        "worst_place": among[places],
        "depth": depth,
        "area": np.add.reduceat(beyond, heads),
    }


def event_intervals(
    at_m: Floats, *, merge_gap_m: float, pad_m: float, breaks_m: Sequence[float] = ()
) -> pl.DataFrame:
    """Lengths of wire around point events (spark faults, surface flaws), near ones merged.

    Args:
        at_m: position of each event on the wire [m].
        merge_gap_m: events no further apart are one length [m]; for spark faults 0.61 m, within which a
            tester need not tell two faults apart (UL 444 recovery rule, secondary text).
        pad_m: half the electrode and k u(s), added at each end [m].
        breaks_m: places where the wire is cut [m]; no length crosses one.

    Returns:
        the frame of `nonconforming_intervals`; `readings` counts events, `worst` and `depth` are null.
    """
    _check(at_m, at_m, 0.0, 0.0, merge_gap_m, pad_m)
    index = _in_order(at_m, np.isfinite(at_m))
    if index.size == 0:
        return pl.DataFrame(schema=SCHEMA)
    at = at_m[index]
    breaks = np.sort(np.asarray(breaks_m, dtype=np.float64))
    piece = np.searchsorted(breaks, at, side="right")
    apart = (np.diff(at) > merge_gap_m + ROUNDING) | (np.diff(piece) > 0)
    heads = np.flatnonzero(np.concatenate(([True], apart)))
    tails = np.concatenate((heads[1:] - 1, [at.size - 1]))
    from_m, to_m = _within(breaks, piece[heads], at[heads] - pad_m, at[tails] + pad_m)
    nothing = pl.Series([None] * heads.size, dtype=pl.Float64)
    return pl.DataFrame(
        {
            "from_m": from_m,
            "to_m": to_m,
            "first_m": at[heads],
            "last_m": at[tails],
            "first_index": index[heads],
            "last_index": index[tails],
            "readings": tails - heads + 1,
            "worst": nothing,
            "worst_at_m": at[heads],
            "worst_index": index[heads],
            "depth": nothing,
            "area": nothing,
        },
        schema=SCHEMA,
    )

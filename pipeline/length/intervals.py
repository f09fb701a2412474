"""Stretches of wire as lists of (from, to): union, overlap, what is left, and their length.

A list is an array of shape (k, 2) [m]. A data-quality state is two such lists: where it was known, and where
it was active.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

NONE: Floats = np.zeros((0, 2))


def merged(intervals: Floats, bridge_m: float = 0.0) -> Floats:
    """The same wire in order, without overlaps.

    Args:
        intervals: stretches in any order [m]; those without length are left out.
        bridge_m: gaps up to this long are closed [m].
    """
    long = intervals[intervals[:, 1] > intervals[:, 0]]
    if long.shape[0] == 0:
        return NONE
    in_order = bool((long[1:, 0] >= long[:-1, 0]).all())
    ordered = long if in_order else long[np.argsort(long[:, 0], kind="stable")]
    reach = np.maximum.accumulate(ordered[:, 1])
    starts = np.concatenate(([True], ordered[1:, 0] > reach[:-1] + bridge_m))
    first = np.flatnonzero(starts)
    last = np.append(first[1:], ordered.shape[0]) - 1
    return np.stack([ordered[first, 0], reach[last]], axis=1)


def within(intervals: Floats, from_m: float, to_m: float) -> Floats:
    """The part of merged `intervals` between `from_m` and `to_m` [m]."""
    if intervals.shape[0] == 0:
        return NONE
    first, last = (
        np.searchsorted(intervals[:, 1], from_m),
        np.searchsorted(intervals[:, 0], to_m, side="right"),
    )
    cut = np.clip(intervals[first:last], from_m, to_m)
    return cut[cut[:, 1] > cut[:, 0]]


def outside(intervals: Floats, from_m: float, to_m: float) -> Floats:
    """What merged `intervals` leave uncovered between `from_m` and `to_m` [m]."""
    if to_m <= from_m:
        return NONE
    inner = within(intervals, from_m, to_m)
    edges = np.concatenate(([from_m], inner.ravel(), [to_m])).reshape(-1, 2)
    return edges[edges[:, 1] > edges[:, 0]]


def overlap(first: Floats, second: Floats) -> Floats:
    """Wire that both merged lists cover."""
    if first.shape[0] == 0 or second.shape[0] == 0:
        return NONE
    low, high = min(first[0, 0], second[0, 0]), max(first[-1, 1], second[-1, 1])
    either = np.concatenate((outside(first, low, high), outside(second, low, high)))
    return outside(merged(either), low, high)


def inside(intervals: Floats, at_m: Floats) -> NDArray[np.bool_]:
    """True for places within merged `intervals`, ends included; False for not-a-number.

    Args:
        intervals: merged stretches [m].
        at_m: places [m].
    """
    if intervals.shape[0] == 0:
        return np.zeros(at_m.size, dtype=np.bool_)
    one = np.clip(np.searchsorted(intervals[:, 0], at_m, side="right") - 1, 0, None)
    found: NDArray[np.bool_] = (at_m >= intervals[one, 0]) & (at_m <= intervals[one, 1])
    return found


def length_m(intervals: Floats) -> float:
    """Length of merged `intervals` [m]."""
    return float((intervals[:, 1] - intervals[:, 0]).sum())


def union_m(stretches: Iterable[tuple[float, float]], from_m: float = -np.inf, to_m: float = np.inf) -> float:
    """Length of the wire that any of the stretches covers between two places, each metre once [m].

    Args:
        stretches: from and to of each [m], in any order; they may overlap.
        from_m: start of the wire looked at [m].
        to_m: its end [m].
    """
    every = merged(np.array(list(stretches), dtype=np.float64).reshape(-1, 2))
    return length_m(within(every, from_m, to_m))


def wire_m(stretches: Iterable[tuple[str, float | None, float | None]]) -> float:
    """Length of wire that stretches of several runs cover, each metre of a run once [m].

    Args:
        stretches: run, from and to of each [m], in any order; a place that is not known leaves a stretch out.
    """
    by_run: dict[str, list[tuple[float, float]]] = {}
    for run, from_m, to_m in stretches:
        if from_m is not None and to_m is not None:
            by_run.setdefault(run, []).append((from_m, to_m))
    return sum(union_m(those) for those in by_run.values())


def where(edges_m: Floats, true: NDArray[np.bool_]) -> Floats:
    """Stretches between successive edges where `true`; one value fewer than edges.

    Args:
        edges_m: edges in order [m].
        true: whether each stretch between two edges counts.
    """
    turns = np.flatnonzero(np.diff(np.concatenate(([False], true, [False])).astype(np.int8)))
    return merged(np.stack([edges_m[turns[::2]], edges_m[turns[1::2]]], axis=1))

"""How is a reel with nonconforming lengths cut so that what is sold is worth most?

Between the lengths that must go, each sound stretch is cut on its own. Within a stretch the best set of
saleable lengths is an unbounded knapsack, solved exactly by dynamic programming over the sums that the
lengths can make: F(x) = max over l of F(x - l) + V(l) - c. Where demand is limited the stretches compete, and
an integer programme decides (pipeline.nonconformance.cutting_demand).

Source: the recursion is Bellman's (R. Bellman, Dynamic Programming, 1957, from memory).
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.nonconformance.cutting_demand import best_under_demand
from pipeline.nonconformance.cutting_rules import (
    CuttingRules,
    Grid,
    MasterReel,
    SaleLength,
    SoundStretch,
    Unit,
    check_cutting,
    grid_of,
    sound_stretches,
)

PieceKind = Literal["sale", "remnant", "scrap"]


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of a reel; the pieces of a reel touch and cover it.

    Args:
        reel_id: the reel.
        kind: sold, kept as stock, or scrapped.
        from_m: where it starts, from the reel's outer end [m].
        to_m: where it ends [m].
        sold_m: the length it is sold as [m]; 0 unless sold.
        value: what it is worth after its cut [currency].
    """

    reel_id: str
    kind: PieceKind
    from_m: float
    to_m: float
    sold_m: float = 0.0
    value: float = 0.0


@dataclass(frozen=True, slots=True)
class CuttingPlan:
    """A plan: the pieces in the order they come off, reel by reel, and what they are worth together."""

    pieces: tuple[Piece, ...]
    value: float
    unit: Unit
    method: str


def _sums(grid: Grid, capacity: int) -> tuple[NDArray[np.int64], NDArray[np.float64], dict[int, int]]:
    """Every sum of lengths up to `capacity`, the most it is worth, and the last length of its best set."""
    worth: dict[int, float] = {0: 0.0}
    last: dict[int, int] = {}
    pieces: dict[int, int] = {0: 0}
    ahead = [0]
    done: list[int] = []
    choices = [
        (length, value, place)
        for place, (length, value) in enumerate(zip(grid.lengths, grid.values, strict=True))
        if value > 0.0
    ]
    while ahead:
        at = heapq.heappop(ahead)
        done.append(at)
        for length, value, place in choices:
            then = at + length
            if then > capacity:
                continue
            if then not in worth:
                heapq.heappush(ahead, then)
            better = worth[at] + value - worth.get(then, -math.inf)
            if better > 1e-9 or (better > -1e-9 and pieces[at] + 1 < pieces[then]):
                worth[then], last[then], pieces[then] = worth[at] + value, place, pieces[at] + 1
    return np.array(done, dtype=np.int64), np.array([worth[at] for at in done]), last


def _best_of_stretch(
    ticks: int, grid: Grid, sums: NDArray[np.int64], worth: NDArray[np.float64], last: dict[int, int]
) -> tuple[int, ...]:
    fitting = int(np.searchsorted(sums, ticks, side="right"))
    total = worth[:fitting] + grid.remnant_values(ticks - sums[:fitting])
    # Of plans worth the same the one that uses least wire.
    at = int(sums[int(np.flatnonzero(total >= total.max() - 1e-9)[0])])
    sold = []
    while at:
        sold.append(last[at])
        at -= grid.lengths[last[at]]
    return tuple(sorted(sold, key=lambda place: -grid.lengths[place]))


def longest_first(stretches: Sequence[SoundStretch], grid: Grid) -> tuple[SoundStretch, ...]:
    """What is cut without a plan: always the longest saleable length that still fits and is still wanted."""
    left = [math.inf if demand is None else demand for demand in grid.demands]
    order = sorted(range(len(grid.lengths)), key=lambda place: -grid.lengths[place])
    cut = []
    for one in stretches:
        rest, sold = one.ticks, []
        for place in order:
            while grid.lengths[place] <= rest and left[place] >= 1:
                rest -= grid.lengths[place]
                left[place] -= 1
                sold.append(place)
        cut.append(SoundStretch(one.reel_id, one.from_ticks, one.to_ticks, tuple(sold)))
    return tuple(cut)


def _pieces(
    reel: MasterReel, cut: Sequence[SoundStretch], grid: Grid, lengths: Sequence[SaleLength]
) -> list[Piece]:
    """The pieces of one reel, touching: what is sold, what is kept, and scrap in between."""
    made: list[Piece] = []
    at = reel.start_m

    def add(kind: PieceKind, to_m: float, sold_m: float = 0.0, value: float = 0.0) -> None:
        nonlocal at
        if to_m > at + 1e-9:
            made.append(Piece(reel.reel_id, kind, at, to_m, sold_m, value))
            at = to_m

    for stretch in cut:
        add("scrap", stretch.from_ticks * grid.tick_m)
        ticks = stretch.from_ticks
        for place in stretch.sold:
            ticks += grid.lengths[place]
            add("sale", ticks * grid.tick_m, lengths[place].length_m, grid.values[place])
        rest = grid.remnant_value(stretch.to_ticks - ticks)
        add("remnant" if rest > 0.0 else "scrap", stretch.to_ticks * grid.tick_m, 0.0, rest)
    add("scrap", reel.length_m)
    return _scrap_joined(made)


def _scrap_joined(pieces: Sequence[Piece]) -> list[Piece]:
    joined: list[Piece] = []
    for one in pieces:
        if joined and one.kind == "scrap" and joined[-1].kind == "scrap":
            joined[-1] = Piece(one.reel_id, "scrap", joined[-1].from_m, one.to_m)
        else:
            joined.append(one)
    return joined


def _plan(
    reels: Sequence[MasterReel],
    cut: Sequence[SoundStretch],
    grid: Grid,
    lengths: Sequence[SaleLength],
    method: str,
) -> CuttingPlan:
    pieces = [
        piece
        for reel in reels
        for piece in _pieces(reel, [one for one in cut if one.reel_id == reel.reel_id], grid, lengths)
    ]
    return CuttingPlan(tuple(pieces), math.fsum(one.value for one in pieces), grid.rules.unit, method)


def cutting_plan(
    reels: Sequence[MasterReel], lengths: Sequence[SaleLength], rules: CuttingRules
) -> CuttingPlan:
    """The plan of greatest value for one or several reels.

    Args:
        reels: the reels to be cut.
        lengths: the lengths the plant sells.
        rules: costs and clearances.

    Returns:
        the best plan; exact on the grid of a tenth of the plant's unit, and with limited demand proved best by
        the solver.

    Raises:
        MethodRefusal: with every complaint about reels, lengths and rules.

    A person decides whether to cut; the plan only says what cutting would bring.
    """
    check_cutting(reels, lengths, rules)
    grid = grid_of(lengths, rules)
    stretches = [one for reel in reels for one in sound_stretches(reel, rules)]
    if any(demand is not None for demand in grid.demands):
        cut = best_under_demand(stretches, grid)
        return _plan(reels, cut, grid, lengths, "integer programme (branch and bound, proved optimal)")
    sums, worth, last = _sums(grid, max((one.ticks for one in stretches), default=0))
    cut = tuple(
        SoundStretch(
            one.reel_id, one.from_ticks, one.to_ticks, _best_of_stretch(one.ticks, grid, sums, worth, last)
        )
        for one in stretches
    )
    return _plan(reels, cut, grid, lengths, "dynamic programming, exact")


def naive_plan(
    reels: Sequence[MasterReel], lengths: Sequence[SaleLength], rules: CuttingRules
) -> CuttingPlan:
    """The plan of a cutter without one: longest length first in every stretch, for comparison."""
    check_cutting(reels, lengths, rules)
    grid = grid_of(lengths, rules)
    stretches = [one for reel in reels for one in sound_stretches(reel, rules)]
    return _plan(reels, longest_first(stretches, grid), grid, lengths, "longest length first")

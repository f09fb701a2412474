"""What may be cut from which wire: reels, saleable lengths, the plant's rules, and the sound stretches left.

Plans are made on a grid of a tenth of the plant's unit, as a length counter shows it. Saleable lengths are
rounded up to it and sound stretches inward, so nothing nonconforming is sold and nothing is short.
Clearance, trims and remnants are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import Complaint, MethodRefusal
from pipeline.units import M_PER_FOOT

Unit = Literal["ft", "m"]

TICK_M: dict[Unit, float] = {"ft": M_PER_FOOT / 10.0, "m": 0.1}
_NEAR = 1e-6  # of a tick: what is left over from converting feet to metres


@dataclass(frozen=True, slots=True)
class SaleLength:
    """A length the plant sells.

    Args:
        length_m: the length [m].
        value: what one is worth [plant's currency].
        demand: how many are wanted at most; None for any number.
    """

    length_m: float
    value: float
    demand: int | None = None


@dataclass(frozen=True, slots=True)
class MasterReel:
    """A reel to be cut.

    Args:
        reel_id: the reel.
        length_m: wire on it when it was made [m].
        nonconforming_m: lengths that must go, from its outer end [m]; they may overlap.
        start_m: wire cut from its outer end already [m]; places still count from where that end was.
        end_unsure_m: how well the place of its core end is known [m]; a piece ends so far before it.
    """

    reel_id: str
    length_m: float
    nonconforming_m: tuple[tuple[float, float], ...] = ()
    start_m: float = 0.0
    end_unsure_m: float = 0.0


@dataclass(frozen=True, slots=True)
class CuttingRules:
    """What a cut costs and how near to a nonconforming length wire may be sold; all of it the plant's choice.

    Args:
        clearance_m: sound wire that goes with each side of a nonconforming length [m].
        unsure_m: how well places on the reel are known, k u(s) [m]; sound stretches shrink by it at every end
            but the one that comes off first.
        allowance_m: wire each piece needs beyond its length: cut and end-test samples [m].
        end_trim_m: wire cut away at both ends of the reel [m].
        cut_cost: cost of each piece kept [plant's currency].
        minimum_remnant_m: shortest remnant kept as stock [m].
        remnant_value_per_m: what a kept remnant is worth [currency/m].
        unit: unit of the plant's length counter.
    """

    clearance_m: float = 0.0
    unsure_m: float = 0.0
    allowance_m: float = 0.0
    end_trim_m: float = 0.0
    cut_cost: float = 0.0
    minimum_remnant_m: float = 0.0
    remnant_value_per_m: float = 0.0
    unit: Unit = "ft"


@dataclass(frozen=True, slots=True)
class SoundStretch:
    """A sound stretch of a reel in ticks, and the pieces (index of the sale length) cut from it."""

    reel_id: str
    from_ticks: int
    to_ticks: int
    sold: tuple[int, ...] = field(default=())

    @property
    def ticks(self) -> int:
        """Its length in ticks."""
        return self.to_ticks - self.from_ticks


@dataclass(frozen=True, slots=True)
class Grid:
    """Lengths and costs in ticks, rounded so that nothing nonconforming is sold and nothing is short."""

    lengths: tuple[int, ...]
    values: tuple[float, ...]
    demands: tuple[int | None, ...]
    rules: CuttingRules
    least_remnant: int

    @property
    def tick_m(self) -> float:
        """One tick [m]."""
        return TICK_M[self.rules.unit]

    def remnant_value(self, ticks: int) -> float:
        """What is got for a rest of that many ticks: 0 where it is too short or not worth its cut."""
        if ticks < max(self.least_remnant, 1):
            return 0.0
        return max(ticks * self.tick_m * self.rules.remnant_value_per_m - self.rules.cut_cost, 0.0)

    def remnant_values(self, ticks: NDArray[np.int64]) -> NDArray[np.float64]:
        """`remnant_value` of many."""
        worth = ticks * self.tick_m * self.rules.remnant_value_per_m - self.rules.cut_cost
        return np.where(ticks >= max(self.least_remnant, 1), np.maximum(worth, 0.0), 0.0)


def check_cutting(reels: Sequence[MasterReel], lengths: Sequence[SaleLength], rules: CuttingRules) -> None:
    """Complain of everything about reels, lengths and rules that no plan can be made from.

    Raises:
        MethodRefusal: with every complaint.
    """
    complaints = []
    if not lengths:
        complaints.append(
            Complaint("cutting plan", "no saleable length is given", "Give the lengths the plant sells")
        )
    for one in lengths:
        if not (0.0 < one.length_m < math.inf and 0.0 < one.value < math.inf):
            complaints.append(
                Complaint(
                    "cutting plan",
                    f"a saleable length of {one.length_m:g} m is worth {one.value:g}",
                    "Give a length and a value above 0",
                )
            )
        if one.demand is not None and one.demand < 0:
            complaints.append(
                Complaint(
                    "cutting plan",
                    f"{one.demand} of {one.length_m:g} m are wanted",
                    "Give 0 or more, or none",
                )
            )
    for reel in reels:
        if not 0.0 < reel.length_m < math.inf:
            complaints.append(
                Complaint(
                    f"reel {reel.reel_id}", f"it holds {reel.length_m:g} m", "Give the wire on it, above 0 m"
                )
            )
        if reel.length_m > 0.0 and not 0.0 <= reel.start_m < reel.length_m:
            complaints.append(
                Complaint(
                    f"reel {reel.reel_id}",
                    f"{reel.start_m:g} m of {reel.length_m:g} m are cut already",
                    "Give what was cut from it, at least 0 m and less than it holds",
                )
            )
        for start, end in reel.nonconforming_m:
            if not start <= end:
                complaints.append(
                    Complaint(
                        f"reel {reel.reel_id}",
                        f"a nonconforming length runs from {start:g} m to {end:g} m",
                        "Give its start before its end",
                    )
                )
    figures = (
        rules.clearance_m,
        rules.unsure_m,
        rules.allowance_m,
        rules.end_trim_m,
        rules.cut_cost,
        rules.minimum_remnant_m,
        rules.remnant_value_per_m,
    )
    if any(not 0.0 <= one < math.inf for one in figures):
        complaints.append(
            Complaint("cutting plan", "a rule is negative or not a number", "Give figures of 0 or more")
        )
    if complaints:
        raise MethodRefusal(complaints)


def _up(length_m: float, tick_m: float) -> int:
    return math.ceil(length_m / tick_m - _NEAR)


def _down(length_m: float, tick_m: float) -> int:
    return math.floor(length_m / tick_m + _NEAR)


def grid_of(lengths: Sequence[SaleLength], rules: CuttingRules) -> Grid:
    """The plant's lengths and rules on the grid of its counter; lengths are rounded up."""
    tick = TICK_M[rules.unit]
    return Grid(
        tuple(_up(one.length_m + rules.allowance_m, tick) for one in lengths),
        tuple(one.value - rules.cut_cost for one in lengths),
        tuple(one.demand for one in lengths),
        rules,
        _up(rules.minimum_remnant_m, tick),
    )


def sound_stretches(reel: MasterReel, rules: CuttingRules) -> tuple[SoundStretch, ...]:
    """The stretches of a reel that may be sold, rounded inward to the counter's grid.

    Args:
        reel: the reel.
        rules: clearance, uncertainty of place and trims.

    Returns:
        the stretches in the order they come off.
    """
    tick = TICK_M[rules.unit]
    reach = rules.clearance_m + rules.unsure_m
    start = reel.start_m + rules.end_trim_m
    stretches = []
    for bad_from, bad_to in [*sorted(reel.nonconforming_m), (math.inf, math.inf)]:
        core_end = reel.length_m - rules.end_trim_m - max(rules.unsure_m, reel.end_unsure_m)
        end = min(bad_from - reach, core_end)
        first, last = _up(start, tick), _down(end, tick)
        if last > first:
            stretches.append(SoundStretch(reel.reel_id, first, last))
        start = max(start, bad_to + reach)
    return tuple(stretches)

"""What a line's charts and comparisons know of each reel: one value a quantity, its faults, its circumstances."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

# Means over stretches of a reel that make one subgroup of a mean chart (chosen here).
SUBGROUP = 5


@dataclass(frozen=True, slots=True)
class LineReel:
    """One reel of a line.

    Args:
        run_id: the run.
        reel_id: the reel.
        values: quantity -> one value of the reel, for example ``mean_wall_mm``; a quantity not known is left out.
        places: quantity -> where on the wire the reading that made its value lies [m]; left out for a mean.
        stretch_means_mm: mean wall over stretches of the reel, in the order of the wire [mm].
        length_m: its length [m].
        readings: steady wall readings on it.
        worth: what they are worth after correlation, for the mean and for the variance; None where not known.
        faults: separate spark faults on it.
        tested_m: wire of it that was fully spark-tested [m].
        fault_at_m: tested length from the reel's start to each fault [m].
        circumstances: what it was made under, by kind: shift, lots.
    """

    run_id: str
    reel_id: str
    values: Mapping[str, float] = field(default_factory=dict)
    places: Mapping[str, float] = field(default_factory=dict)
    stretch_means_mm: tuple[float, ...] = ()
    length_m: float = 0.0
    readings: int = 0
    worth: tuple[float, float] | None = None
    faults: int = 0
    tested_m: float = 0.0
    fault_at_m: tuple[float, ...] = ()
    circumstances: Mapping[str, str] = field(default_factory=dict)


def values_of(reels: Sequence[LineReel], quantity: str) -> NDArray[np.float64]:
    """One quantity of every reel, in order; not-a-number where it is not known."""
    return np.array([reel.values.get(quantity, float("nan")) for reel in reels], dtype=np.float64)


def subgroups_of(reels: Sequence[LineReel]) -> tuple[list[int], NDArray[np.float64]]:
    """Equal subgroups of stretch means spread evenly over each reel, and the reels that have enough of them."""
    kept, rows = [], []
    for number, reel in enumerate(reels):
        means = np.array(reel.stretch_means_mm, dtype=np.float64)
        means = means[np.isfinite(means)]
        if means.size >= SUBGROUP:
            places = np.linspace(0, means.size - 1, SUBGROUP).round().astype(int)
            kept.append(number)
            rows.append(means[places])
    return kept, np.array(rows, dtype=np.float64).reshape(len(rows), SUBGROUP)

"""Is there a splice in the conductor here? A lump that several gauges see on the same metre.

A welded or pressed joint is thicker than the wire about it, and the insulation over it follows. One gauge
alone may have seen a drop of water; two on the same wire have not.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from pipeline.messages import Measure, Message, Place, message
from pipeline.warned import Warned

Floats = NDArray[np.float64]

LUMP_SIGMA = 6.0
# Lumps of single gauges that meet by chance: expected pairs a run; the threshold rises until there are no more.
BY_CHANCE, HIGHEST_SIGMA = 0.004, 20.0
# A joint is a matter of centimetres; what stands high over more wire than this is a level, not a splice (chosen here).
LONGEST_M = 10.0
# How far apart two gauges may put the same lump (chosen here).
APART_M = 2.0
_WINDOW = 201


@dataclass(frozen=True, slots=True)
class Splice:
    """A lump seen by several gauges.

    Args:
        from_m: first metre of it [m].
        to_m: last metre [m].
        height_mm: greatest height over the wire around, by the gauge that read most [mm].
        seen_by: gauges that saw it.
        told: what it is taken for.
    """

    from_m: float
    to_m: float
    height_mm: float
    seen_by: tuple[str, ...]
    told: Message


def lumps(
    at_m: Floats, diameter_mm: Floats, noise_mm: float, sigma: float = LUMP_SIGMA
) -> list[tuple[float, float, float]]:
    """Stretches in which a diameter stands above its surroundings, as (from, to, height).

    Above the running median of 201 readings by `sigma` times the larger of the gauge's noise and the readings' own
    median deviation, over 10 m at most.

    Args:
        at_m: place of each reading [m].
        diameter_mm: diameter [mm]; NaN where there is none.
        noise_mm: standard uncertainty of one reading [mm].
        sigma: how many of them a lump stands out by at least.
    """
    known = np.flatnonzero(np.isfinite(diameter_mm))
    if known.size < 5:
        return []
    read = diameter_mm[known]
    level = ndimage.median_filter(read, size=min(_WINDOW, known.size | 1), mode="nearest")
    away = read - level
    spread = max(noise_mm, 1.4826 * float(np.median(np.abs(away))))
    high = away > sigma * spread
    edges = np.flatnonzero(np.diff(high.astype(np.int8), prepend=0, append=0))
    return [
        (float(at_m[known[a]]), float(at_m[known[b - 1]]), float(away[a:b].max()))
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        if abs(at_m[known[b - 1]] - at_m[known[a]]) <= LONGEST_M
    ]


def find_splices(gauges: dict[str, tuple[Floats, Floats, float]]) -> tuple[Splice, ...]:
    """Lumps that two gauges or more see on the same wire.

    Args:
        gauges: by name, each gauge's places on the wire [m], readings [mm] and noise [mm]: conductor, hot and
            cold diameter.

    Returns:
        The splices in the order of the wire. A lump of the insulation alone is told apart by the conductor
        gauge not seeing it. Lumps that one gauge saw alone tell how often two would meet by chance, n1 n2 2a / L for
        wire of length L: the threshold rises by one until that is under `BY_CHANCE`.
    """
    sigma = LUMP_SIGMA
    while True:
        found, alone = _together(gauges, sigma)
        if sigma >= HIGHEST_SIGMA or _expected_by_chance(gauges, alone) <= BY_CHANCE:
            return found
        sigma += 1.0


def _expected_by_chance(gauges: dict[str, tuple[Floats, Floats, float]], alone: dict[str, int]) -> float:
    """Pairs of lumps that would meet by chance in a run."""
    known = [at_m[np.isfinite(read) & np.isfinite(at_m)] for at_m, read, _ in gauges.values()]
    length = max((float(np.ptp(one)) for one in known if one.size), default=0.0)
    # A count of n speaks for a rate of n + 1/2 (Jeffreys' prior), so that few lumps do not seem none.
    pairs = sum(
        (alone.get(one, 0) + 0.5) * (alone.get(other, 0) + 0.5) for one, other in combinations(gauges, 2)
    )
    return pairs * 2.0 * APART_M / length if length > 0.0 else 0.0


def _together(
    gauges: dict[str, tuple[Floats, Floats, float]], sigma: float
) -> tuple[tuple[Splice, ...], dict[str, int]]:
    """Lumps that two gauges or more saw on the same wire, and how many each saw alone."""
    seen = sorted(
        (low, high, height, name)
        for name, (at_m, read, noise) in gauges.items()
        for low, high, height in lumps(at_m, read, noise, sigma)
    )
    alone: dict[str, int] = {}
    found: list[Splice] = []
    group: list[tuple[float, float, float, str]] = []
    for one in [*seen, (np.inf, np.inf, 0.0, "")]:
        if group and one[0] > max(other[1] for other in group) + APART_M:
            names = tuple(dict.fromkeys(other[3] for other in sorted(group, key=lambda x: x[3])))
            if len(names) >= 2:
                found.append(_splice(group, names))
            else:
                alone[names[0]] = alone.get(names[0], 0) + 1
            group = []
        group.append(one)
    return tuple(found), alone


def _splice(group: list[tuple[float, float, float, str]], names: tuple[str, ...]) -> Splice:
    low, high = min(one[0] for one in group), max(one[1] for one in group)
    height = max(one[2] for one in group)
    return Splice(
        low,
        high,
        height,
        names,
        message(Warned.SPLICE, height=Measure(height, "mm"), at=Place(low), seen_by=" and ".join(names)),
    )

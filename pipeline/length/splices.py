"""Is there a splice in the conductor here? A lump that several gauges see on the same metre.

A welded or pressed joint is thicker than the wire about it, and the insulation over it follows. One gauge
alone may have seen a drop of water; two on the same wire have not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

Floats = NDArray[np.float64]

LUMP_SIGMA = 6.0
# A joint is a matter of centimetres; what stands high over more wire than this is a level, not a splice (chosen here).
LONGEST_M = 10.0
_WINDOW = 201


@dataclass(frozen=True, slots=True)
class Splice:
    """A lump seen by several gauges.

    Args:
        from_m: first metre of it [m].
        to_m: last metre [m].
        height_mm: greatest height over the wire around, by the gauge that read most [mm].
        seen_by: gauges that saw it.
        sentence: what it is taken for.
    """

    from_m: float
    to_m: float
    height_mm: float
    seen_by: tuple[str, ...]
    sentence: str


def lumps(at_m: Floats, diameter_mm: Floats, noise_mm: float) -> list[tuple[float, float, float]]:
    """Stretches in which a diameter stands above its surroundings, as (from, to, height).

    Above the running median of 201 readings by six of the larger of the gauge's noise and the readings' own
    median deviation, over 10 m at most.

    Args:
        at_m: place of each reading [m].
        diameter_mm: diameter [mm]; NaN where there is none.
        noise_mm: standard uncertainty of one reading [mm].
    """
    known = np.flatnonzero(np.isfinite(diameter_mm))
    if known.size < 5:
        return []
    read = diameter_mm[known]
    level = ndimage.median_filter(read, size=min(_WINDOW, known.size | 1), mode="nearest")
    away = read - level
    spread = max(noise_mm, 1.4826 * float(np.median(np.abs(away))))
    high = away > LUMP_SIGMA * spread
    edges = np.flatnonzero(np.diff(high.astype(np.int8), prepend=0, append=0))
    return [
        (float(at_m[known[a]]), float(at_m[known[b - 1]]), float(away[a:b].max()))
        for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        if abs(at_m[known[b - 1]] - at_m[known[a]]) <= LONGEST_M
    ]


def find_splices(gauges: dict[str, tuple[Floats, Floats, float]], apart_m: float = 2.0) -> tuple[Splice, ...]:
    """Lumps that two gauges or more see on the same wire.

    Args:
        gauges: by name, each gauge's places on the wire [m], readings [mm] and noise [mm]: conductor, hot and
            cold diameter.
        apart_m: how far apart two gauges may put the same lump [m].

    Returns:
        The splices in the order of the wire. A lump of the insulation alone is told apart by the conductor
        gauge not seeing it.
    """
    seen = sorted(
        (low, high, height, name)
        for name, (at_m, read, noise) in gauges.items()
        for low, high, height in lumps(at_m, read, noise)
    )
    found: list[Splice] = []
    group: list[tuple[float, float, float, str]] = []
    for one in [*seen, (np.inf, np.inf, 0.0, "")]:
        if group and one[0] > max(other[1] for other in group) + apart_m:
            names = tuple(dict.fromkeys(other[3] for other in sorted(group, key=lambda x: x[3])))
            if len(names) >= 2:
                found.append(_splice(group, names))
            group = []
        group.append(one)
    return tuple(found)


def _splice(group: list[tuple[float, float, float, str]], names: tuple[str, ...]) -> Splice:
    low, high = min(one[0] for one in group), max(one[1] for one in group)
    height = max(one[2] for one in group)
    return Splice(
        low,
        high,
        height,
        names,
        f"A lump {height:.3f} mm high at {low:.1f} m, seen by {' and '.join(names)}: taken for a splice. Saleable "
        "lengths leave it out.",
    )

"""For which wire is there evidence, and which requirement is left unmonitored where?

Each reading stands for the wire half way to its neighbours, and never for more than a reading and a half of
wire: across a gap nothing is known. Rates and shares divide by known length; the rest is unmonitored length,
and grounds to hold.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.length import intervals
from pipeline.length.log_gaps import GAP_READINGS

Floats = NDArray[np.float64]


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
        interval_s: time between readings of the instrument, or of the log where that is shorter [s].
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

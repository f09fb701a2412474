"""When had the wire settled, by its own readings? Start-up that outlasts the speed's own settling is told apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.length.placement import Placement
from pipeline.length.settling import phases_with_settling, settled_at_m
from pipeline.length.steady_state import DEFAULT_RULE, PHASE_NAMES, STEADY
from pipeline.messages import Message, Place, message
from pipeline.warned import Warned

Floats = NDArray[np.float64]

# A wall that still moves after this many of the line's settling times drifts; that is no start-up, and leaving
# it out of the statistics would flatter them (chosen here).
MOST_SETTLING_TIMES = 3.0


def settled_placement(
    placement: Placement, at_m: Floats, mean_wall_mm: Floats
) -> tuple[Placement, tuple[Message, ...]]:
    """The placement with wire that had not settled by its own readings taken out of the steady wire.

    Args:
        placement: the run's placement, phases by speed.
        at_m: place of each wall reading [m].
        mean_wall_mm: mean wall [mm]; NaN where it may not be used.

    Returns:
        The placement with its phases, and what to say of each stretch that settled late. A stretch that does
        not settle within three of the line's settling times stays steady: its level wanders.
    """
    speed = placement.readings["speed_m_s"].to_numpy()
    front = placement.readings["front_m"].to_numpy()
    values = mean_wall_mm.copy()
    told: list[Message] = []
    for one in placement.phases.to_dicts():
        low, high = float(one["from_m"]), float(one["to_m"])
        if one["phase"] != PHASE_NAMES[STEADY]:
            continue
        settled = settled_at_m(at_m, mean_wall_mm, low, high)
        if settled <= low:
            continue
        usual = float(np.median(speed[(front >= low) & (front <= high)]))
        if settled - low > MOST_SETTLING_TIMES * DEFAULT_RULE.settle_s * usual:
            values[(at_m >= low) & (at_m < high)] = np.nan
        else:
            told.append(message(Warned.SETTLED_LATE, steady=Place(low), settled=Place(settled)))
    return replace(placement, phases=phases_with_settling(placement, at_m, values)), tuple(told)

"""Which readings count in statistics? The one definition that judging, capability and tuning share.

Every reading that may judge the wire counts, conforming or not, where its wire was made at steady speed and was read
for the first time while the line ran at steady speed. Left out besides is only wire with a named cause: a splice, or
wire on which the instruments contradict each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from pipeline.length import intervals
from pipeline.length.steady_state import DEFAULT_RULE, PHASE_NAMES, SETTLE, STEADY

if TYPE_CHECKING:
    from pipeline.length.placement import Placement
    from pipeline.sheets.line_sheet import LineSheet

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Wire between die and trough that a stop spoils [m] where the line sheet has no hot diameter gauge.
HOT_ZONE_M = 3.0


def hot_zone_m(line: LineSheet) -> float:
    """Wire between die and trough that is spoilt when the line stops [m]."""
    hot = line.instrument("hot diameter gauge")
    return hot.station_m if hot is not None and hot.station_m > 0 else HOT_ZONE_M


def read_first(placement: Placement) -> Mask:
    """True for readings of wire that went forward and had not been read before.

    A reading of standing wire repeats a spot that is read before and after: it adds noise, not evidence. Wire pulled
    back is read twice as well; the first reading of it counts.
    """
    speed = placement.readings["speed_m_s"].to_numpy()
    front = placement.readings["front_m"].to_numpy()
    first: Mask = (speed > DEFAULT_RULE.stop_m_s) & (placement.at_m >= front)
    return first


def steady_read_m(
    phases: Iterable[Mapping[str, Any]],
    gaps: Iterable[Mapping[str, Any]],
    from_m: float = -np.inf,
    to_m: float = np.inf,
) -> float:
    """Wire between two places that was made at steady speed and whose wall was read [m].

    Args:
        phases: stretches of the run, with phase, from_m and to_m [m].
        gaps: wire of its reels without evidence, with kind, from_m and to_m [m].
        from_m: the first place [m of the run].
        to_m: the last.
    """
    steady, unread = (
        intervals.merged(np.array([(one["from_m"], one["to_m"]) for one in those]).reshape(-1, 2))
        for those in (
            [one for one in phases if one["phase"] == PHASE_NAMES[STEADY]],
            [one for one in gaps if one["kind"] == "wall unmonitored"],
        )
    )
    made = intervals.within(steady, from_m, to_m)
    return intervals.length_m(made) - intervals.length_m(intervals.overlap(made, unread))


def steady_readings(placement: Placement, at_m: Floats, line: LineSheet) -> Mask:
    """True for readings of wire that was made and read at steady speed.

    Steady wire that is read while the line changes speed is read too densely, or too thinly, for statistics along it.

    Args:
        placement: the run's placement, with the phases the wire had its say in.
        at_m: place on the wire of each reading [m].
        line: the line's sheet.
    """
    made: Mask = placement.phase_on_wire(at_m, hot_zone_m(line)) == STEADY
    return made & np.isin(placement.readings["phase"].to_numpy(), (SETTLE, STEADY))


def counted_readings(
    placement: Placement, at_m: Floats, line: LineSheet, fit: Mask, left_out_m: Floats
) -> Mask:
    """True for readings that count in statistics.

    Args:
        placement: the run's placement, with the phases the wire had its say in.
        at_m: place on the wire of each reading [m].
        line: the line's sheet.
        fit: True where the reading may judge the wire.
        left_out_m: wire left out because of a named cause, merged [m].
    """
    return fit & steady_readings(placement, at_m, line) & ~intervals.inside(left_out_m, at_m)

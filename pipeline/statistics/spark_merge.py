"""How many separate faults do the spark tester's counts stand for?

One defect is counted again while it is still inside the electrode, and a tester that has just fired is blind
for its dead time. Counts closer than that are merged, and what the blindness hid is estimated. Theory of
counters with dead time, extending and non-extending: derived, checked by simulation; that two faults within
610 mm may be one count: UL 444 (2010) 5.1 b, recovery rule.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import lambertw

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.samples import not_negative, readings, whole_readings
from pipeline.words import counted

RESOLUTION_M = 0.610
"""Wire length [m] within which a tester need not tell two faults apart (2 ft; UL 444 5.1 b)."""

MergeRule = Literal["chain", "fixed window"]


@dataclass(frozen=True, slots=True)
class MergedEvents:
    """Faults after counts of one defect were put together, in the order of the wire.

    Args:
        at_m: position of the first count of each fault [m].
        to_m: position of its last count [m].
        counts: counts that were merged into it.
        members: for each count handed in, the number of its fault (from 0); -1 where it had no position.
        reach_m: length within which counts were taken for one fault [m], the largest used.
        rule: 'chain' (each further count extends the reach) or 'fixed window' (it does not).
        without_position: counts that had no position and stand apart.
    """

    at_m: NDArray[np.float64]
    to_m: NDArray[np.float64]
    counts: NDArray[np.int64]
    members: NDArray[np.int64]
    reach_m: float
    rule: MergeRule
    without_position: int

    @property
    def raw(self) -> int:
        """Counts handed in, those without a position among them."""
        return int(self.counts.sum()) + self.without_position

    @property
    def merged(self) -> int:
        """Separate faults, a lower bound; a count without a position is a fault of its own."""
        return int(self.counts.size) + self.without_position


@checked
def merge_reach_m(
    electrode_m: float,
    dead_time_s: float,
    speed_m_s: ArrayLike,
    jitter_m: float = 0.0,
    resolution_m: float = RESOLUTION_M,
) -> NDArray[np.float64]:
    """Length within which two counts may be one defect: w = max(L_e + v tau + jitter, resolution).

    Args:
        electrode_m: length of the electrode L_e [m].
        dead_time_s: time tau the tester needs before it can count again [s].
        speed_m_s: line speed v [m/s], one for all or one for each count.
        jitter_m: uncertainty of the distance between two counts [m].
        resolution_m: length within which the tester need not tell faults apart [m]; by default 610 mm.

    Derived; the floor of 610 mm from UL 444 (2010) 5.1 b.
    """
    length = not_negative(electrode_m, "electrode_m", "m") + not_negative(jitter_m, "jitter_m", "m")
    speed = np.abs(np.atleast_1d(np.asarray(speed_m_s, dtype=np.float64)))
    blind = np.nan_to_num(readings(speed, "speed_m_s"), nan=0.0) * not_negative(
        dead_time_s, "dead_time_s", "s"
    )
    return np.maximum(length + blind, not_negative(resolution_m, "resolution_m", "m"))


@checked
def merge_events(
    at_m: ArrayLike,
    electrode_m: float,
    dead_time_s: float,
    speed_m_s: ArrayLike,
    jitter_m: float = 0.0,
    resolution_m: float = RESOLUTION_M,
    rule: MergeRule = "chain",
) -> MergedEvents:
    """Counts of one defect put together: a count within w of the one before belongs to the same fault.

    Args:
        at_m: position of each count along the wire [m], in any order; not-a-number where it is not known.
        electrode_m: length of the electrode [m].
        dead_time_s: time the tester needs before it can count again [s].
        speed_m_s: line speed [m/s], one for all or one for each count.
        jitter_m: uncertainty of the distance between two counts [m].
        resolution_m: length within which the tester need not tell faults apart [m]; 610 mm by default.
        rule: 'chain' measures the gap from the last count, 'fixed window' from the first of the fault.

    Stops being true where separate defects really lie closer together than w: the number is a lower bound.
    Source: UL 444 (2010) 5.1 b for the 610 mm.
    """
    if rule not in ("chain", "fixed window"):
        raise MethodRefusal(Complaint("rule", f"'{rule}' is not known", "Give 'chain' or 'fixed window'"))
    place = readings(at_m, "at_m")
    reach = merge_reach_m(electrode_m, dead_time_s, speed_m_s, jitter_m, resolution_m)
    if reach.size not in (1, place.size):
        raise MethodRefusal(
            Complaint(
                "speed_m_s",
                f"{reach.size} speeds stand against {counted(place.size, 'count')}",
                "Give one speed for all or one for each count",
            )
        )
    each = np.broadcast_to(reach, place.shape) if reach.size == 1 else reach
    known = np.flatnonzero(~np.isnan(place))
    order = known[np.argsort(place[known], kind="stable")]
    number = _fault_numbers(place[order], each[order], rule)
    members = np.full(place.size, -1, dtype=np.int64)
    members[order] = number
    first = np.flatnonzero(np.diff(number, prepend=-1))
    last = np.append(first[1:], number.size) - 1 if first.size else first
    return MergedEvents(
        at_m=place[order][first],
        to_m=place[order][last],
        counts=np.bincount(number, minlength=first.size).astype(np.int64)
        if first.size
        else np.zeros(0, dtype=np.int64),
        members=members,
        reach_m=float(reach.max()) if reach.size else resolution_m,
        rule=rule,
        without_position=place.size - known.size,
    )


def _fault_numbers(
    place: NDArray[np.float64], reach: NDArray[np.float64], rule: MergeRule
) -> NDArray[np.int64]:
    if rule == "chain" or place.size == 0:
        apart = np.diff(place, prepend=-np.inf) > reach
        return (np.cumsum(apart) - 1).astype(np.int64)
    number = np.zeros(place.size, dtype=np.int64)
    start = 0
    while start < place.size:  # one turn for each fault, not for each reading
        end = int(np.searchsorted(place, place[start] + reach[start], side="right"))
        if end < place.size:
            number[end:] += 1
        start = end
    return number


@dataclass(frozen=True, slots=True)
class HiddenFaults:
    """Rate of faults before and after merging, and with what the blindness hid put back.

    Args:
        merged_per_km: separate faults per km, a lower bound.
        corrected_per_km: the rate that would leave `merged_per_km` visible if faults fell independently; None
            where no rate could.
    """

    merged_per_km: float
    corrected_per_km: float | None


@checked
def hidden_faults(merged: float, known_m: float, reach_m: float, rule: MergeRule) -> HiddenFaults:
    """Fault rate corrected for faults hidden in the reach of another.

    chain: m = lambda exp(-lambda w), so lambda = -W0(-m w) / w; fixed window: lambda = m / (1 - m w).

    Args:
        merged: separate faults after merging, or an end of their interval.
        known_m: length with a working spark test [m].
        reach_m: merging length w [m].
        rule: the merging rule that was used.

    Stops being true where defects come in clusters: the correction then understates the loss (Larsen &
    Kostinski, Meas. Sci. Technol. 20, 2009, 095101). Derived from Poisson gaps.
    """
    if not (math.isfinite(known_m) and known_m > 0):
        raise MethodRefusal(
            Complaint(
                "known_m",
                f"{known_m:g} m of wire had a working spark test",
                "A rate needs a known length above 0 m",
            )
        )
    whole_readings([float(merged)], "merged")
    rate = merged / known_m
    hidden = rate * not_negative(reach_m, "reach_m", "m")
    corrected: float | None
    if rule == "fixed window":
        corrected = rate / (1.0 - hidden) if hidden < 1.0 else None
    elif hidden == 0.0:
        corrected = rate
    else:
        corrected = float(-lambertw(-hidden).real / reach_m) if hidden <= math.exp(-1.0) else None
    return HiddenFaults(
        merged_per_km=1000.0 * rate,
        corrected_per_km=None if corrected is None else 1000.0 * corrected,
    )

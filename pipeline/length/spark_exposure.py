"""For how many cycles did the spark test stress each metre, and which wire is therefore untested?

A point of the wire is in the electrode for as long as the wire takes to run its length. Where that is less
than the cycles asked, or the voltage was not on, the wire is *untested length*: a nonconformance of the test
and not of the wire. Spark testers are high voltage; a clean count is not proof of insulation, and does not
replace the adopted standard's voltage and insulation resistance tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from pipeline.length import intervals
from pipeline.length.line_length import integral_m
from pipeline.length.log_gaps import rows_missing, spacing_s, unlogged_wire
from pipeline.length.placement import Placement
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Instrument, LineSheet

Floats = NDArray[np.float64]

# Nine full cycles, eighteen crests, at every point; 0.05 s of a direct voltage: the rule of UL 1581 / UL 2556,
# from memory; a plant sets its own by the standard it works to.
CYCLES_ASKED = 9.0
DWELL_ASKED_S = 0.05
# A spot that stands in the electrode for longer than this is over-stressed (common practice, no source).
STOOD_S = 2.0
# A counter whose step is more than this share of the electrode is coarse, since a step too many or too few changes the
# time a spot is under test by as much; it is taken over so many of its steps together (chosen here).
FINE_SHARE, STEPS_TOGETHER = 0.05, 20.0


@dataclass(frozen=True)
class SparkExposure:
    """What the spark test did to the wire.

    Args:
        at_m: places on the wire, one a reading [m].
        cycles: full cycles of the test voltage each of them had; seconds of it at a direct voltage.
        tested: wire that had the cycles asked at a voltage that was on [m].
        untested: wire of the run that had not [m].
        under_exposed: wire that passed too fast [m].
        no_voltage: wire that passed with the voltage missing or too low [m].
        unlogged: wire in the electrode while the log missed rows, so that nothing shows the voltage [m].
        over_stressed: wire that stood in the electrode [m].
        cycles_asked: cycles, or seconds, asked at every point.
        unit: 'cycles', or 's' at a direct voltage.
        fastest_m_s: fastest line speed at which every point has what is asked [m/s].
    """

    at_m: Floats
    cycles: Floats
    tested: Floats
    untested: Floats
    under_exposed: Floats
    no_voltage: Floats
    unlogged: Floats
    over_stressed: Floats
    cycles_asked: float
    unit: str
    fastest_m_s: float

    @cached_property
    def _in_order(self) -> bool:
        return bool((np.diff(self.at_m) >= 0.0).all())

    def least_within(self, from_m: float, to_m: float) -> float | None:
        """Least cycles (seconds at a direct voltage) of a point from `from_m` to `to_m` [m]; None where unknown."""
        if self._in_order:
            first, last = np.searchsorted(self.at_m, [from_m, to_m])
            here = self.cycles[first:last]
        else:
            here = self.cycles[(self.at_m >= from_m) & (self.at_m < to_m)]
        here = here[np.isfinite(here)]
        return float(here.min()) if here.size else None


def fastest_speed_m_s(frequency_hz: float, electrode_m: float, cycles_asked: float = CYCLES_ASKED) -> float:
    """Fastest line speed at which every point has the cycles asked: f L / n [m/s].

    33.33 ft/min per inch of electrode at 60 Hz and nine cycles.

    Args:
        frequency_hz: f, frequency of the test voltage [Hz].
        electrode_m: L, length of the electrode [m].
        cycles_asked: n, full cycles asked at every point.
    """
    return frequency_hz * electrode_m / cycles_asked


def chance_of_detection(crests: float, per_crest: float) -> float:
    """Chance that a defect breaks down at least once: 1 - (1 - q)^n.

    Counts fall when the speed rises though the wire is the same: rates need the exposure as their offset.

    Args:
        crests: n, crests of the voltage at the defect, two a cycle.
        per_crest: q, chance of breaking down at one crest; a plant's estimate, none is published.
    """
    return float(1.0 - (1.0 - per_crest) ** crests)


def spark_exposure(
    placement: Placement,
    line: LineSheet,
    spark_kv: Floats | None,
    least_kv: float | None,
    cycles_asked: float = CYCLES_ASKED,
    dwell_asked_s: float = DWELL_ASKED_S,
    carried: NDArray[np.bool_] | None = None,
) -> SparkExposure | Refused:
    """Cycles of the test voltage at each point of the wire, from the speed it really had.

    cycles(s) = f [t(counter = s + d + L/2) - t(counter = s + d - L/2)], with the electrode L about its
    station d.

    Args:
        placement: the run's placement.
        line: the line's sheet, with the tester's frequency and electrode length (`window_m`).
        spark_kv: test voltage at each reading [kV]; None where it is not logged.
        least_kv: least voltage that counts as on [kV]; None takes any voltage above half the run's usual one.
        cycles_asked: full cycles asked at every point of an alternating voltage.
        dwell_asked_s: time asked at every point of a direct voltage [s].
        carried: rows of the logs that carry the voltage; all where left out.

    Returns:
        The exposure, or a refusal where the line sheet does not say enough. Time in a stop counts; wire the
        log does not show entering and leaving is untested, and so is wire in the electrode while the log missed rows.
    """
    tester = line.instrument("spark tester")
    refused = _refusal(tester, placement)
    if refused is not None or tester is None:
        return refused or _no_tester()
    # At a direct voltage a second stands for a cycle.
    rate = tester.frequency_hz or 1.0
    unit, asked = ("s", dwell_asked_s) if tester.direct_current else ("cycles", cycles_asked)
    half = 0.5 * tester.window_m
    front, seconds = _rising(_front_m(placement, tester.window_m), placement.seconds)
    at_m = front - tester.station_m
    enters = np.interp(front - half, front, seconds, left=np.nan)
    leaves = np.interp(front + half, front, seconds, right=np.nan)
    rows = np.ones(placement.seconds.size, dtype=np.bool_) if carried is None else carried
    unlogged = _unlogged(placement, tester, rows, half)
    dwell = leaves - enters
    cycles = rate * (dwell - _lost_s(placement.seconds[rows], enters, leaves))
    known = np.isfinite(cycles)
    fast = known & (cycles < asked)
    edges = _edges(at_m)
    low_kv = _voltage_off(placement, tester, spark_kv, least_kv, half, rows)
    seen = intervals.where(edges, known)
    under = _less(intervals.where(edges, fast), unlogged)
    stood = intervals.where(
        edges, known & (dwell > STOOD_S + tester.window_m / np.maximum(_usual(placement), 0.01))
    )
    bad = intervals.merged(np.concatenate((under, low_kv, unlogged)))
    run = (placement.start_m, placement.made_m - tester.station_m)
    tested = intervals.overlap(seen, intervals.outside(bad, *_span(seen))) if seen.size else intervals.NONE
    tested = intervals.within(tested, *run)
    untested = intervals.outside(tested, *run)
    return SparkExposure(
        at_m,
        cycles,
        tested,
        untested,
        intervals.within(under, *run),
        intervals.within(low_kv, *run),
        intervals.within(unlogged, *run),
        stood,
        asked,
        unit,
        fastest_speed_m_s(rate, tester.window_m, asked),
    )


def _no_tester() -> Refused:
    return Refused(
        asks(Quantity.SPARK_EXPOSURE),
        message(Method.CYCLES_AT_EACH_POINT),
        message(Reason.NO_SPARK_TESTER),
        0,
    )


def _refusal(tester: Instrument | None, placement: Placement) -> Refused | None:
    if tester is None:
        return _no_tester()
    if (tester.frequency_hz is None and not tester.direct_current) or tester.window_m <= 0:
        return Refused(
            asks(Quantity.SPARK_EXPOSURE),
            message(Method.CYCLES_AT_EACH_POINT),
            message(Reason.NO_FREQUENCY_OR_ELECTRODE, id=tester.id),
            placement.seconds.size,
        )
    return None


def _front_m(placement: Placement, window_m: float) -> Floats:
    """Length made up to each row [m]; of a counter too coarse for the electrode, what its steps and the speed make.

    Between two steps of such a counter the wire seems to stand and then to leap, at any speed. The running mean of
    counter less speed over `STEPS_TOGETHER` of its steps puts the length that the speed makes on the counter.
    """
    front: Floats = placement.readings["front_m"].to_numpy()
    speed = placement.readings["speed_m_s"].to_numpy()
    a_row = _usual(placement) * spacing_s(placement.seconds)
    if a_row <= 0.0 or placement.resolution_m <= FINE_SHARE * window_m:
        return front
    by_speed = integral_m(np.maximum(speed, 0.0), placement.seconds)
    rows = max(3, round(STEPS_TOGETHER * placement.resolution_m / a_row) | 1)
    apart = uniform_filter1d(front - by_speed, rows, mode="nearest")
    return np.maximum.accumulate(by_speed + apart)


def _rising(front: Floats, seconds: Floats) -> tuple[Floats, Floats]:
    """Length made and time, one row a length: at a stop the last instant, so that the stop counts before it."""
    keep = np.concatenate((front[1:] > front[:-1], [True]))
    # A stop keeps both its first and its last instant, a hair apart, so that time standing is not lost.
    first = np.concatenate(([True], front[1:] > front[:-1]))
    rows = np.flatnonzero(keep | first)
    made = front[rows].astype(np.float64)
    same = np.concatenate(([False], made[1:] == made[:-1]))
    return made + 1e-6 * same, seconds[rows]


def _usual(placement: Placement) -> float:
    speed = placement.readings["speed_m_s"].to_numpy()
    running = speed[speed > 0]
    return float(np.median(running)) if running.size else 0.0


def _edges(at_m: Floats) -> Floats:
    middle = 0.5 * (at_m[1:] + at_m[:-1])
    return np.concatenate((at_m[:1], middle, at_m[-1:]))


def _span(wire: Floats) -> tuple[float, float]:
    return float(wire[0, 0]), float(wire[-1, 1])


def _less(wire: Floats, taken: Floats) -> Floats:
    """Merged wire without what is taken."""
    return intervals.overlap(wire, intervals.outside(taken, *_span(wire))) if wire.size else wire


def _unlogged(placement: Placement, tester: Instrument, rows: NDArray[np.bool_], half: float) -> Floats:
    """Wire that ran into, through or out of the electrode while the log missed rows [m], merged."""
    gaps = unlogged_wire(
        placement.seconds[rows],
        placement.readings["front_m"].to_numpy()[rows],
        placement.readings["speed_m_s"].to_numpy()[rows],
        placement.resolution_m,
    )
    return intervals.merged(gaps - tester.station_m + np.array([-half, half]))


def _lost_s(seconds: Floats, enters: Floats, leaves: Floats) -> Floats:
    """Time the log missed between two instants [s]: standing wire had no voltage on record then either."""
    lost = np.concatenate(([0.0], np.cumsum(np.where(rows_missing(seconds), np.diff(seconds), 0.0))))
    between: Floats = np.interp(leaves, seconds, lost) - np.interp(enters, seconds, lost)
    return between


def _voltage_off(
    placement: Placement,
    tester: Instrument,
    spark_kv: Floats | None,
    least_kv: float | None,
    half: float,
    carried: NDArray[np.bool_],
) -> Floats:
    """Wire in or passing the electrode while the voltage was missing or too low."""
    if spark_kv is None or not bool(np.isfinite(spark_kv).any()):
        return np.array([[placement.start_m - tester.station_m, placement.made_m]])
    usual = float(np.nanmedian(spark_kv))
    limit = least_kv if least_kv is not None else 0.5 * usual
    off = ~(spark_kv[carried] >= limit)
    at = placement.at_m[carried] - tester.station_m
    step = np.abs(np.diff(at, append=at[-1]))
    rows = np.flatnonzero(off)
    reach = half + step[rows]
    return intervals.merged(np.stack([at[rows] - reach, at[rows] + reach], axis=1))

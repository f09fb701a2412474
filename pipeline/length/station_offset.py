"""Do the gauges stand where the line sheet says? Their readings of the same wire, laid over each other.

Two instruments that see one cause (wall and diameter, hot and cold diameter) must agree metre for metre once
each is moved by its station. What is left over is an error of the line sheet, a slipping wheel or a changed
accumulator: a finding about the line. Readings stay placed by the line sheet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.length.cross_correlation import Delay, delay_between, parabola_shift
from pipeline.messages import Measure, Message, message
from pipeline.results import Refused
from pipeline.units import M_PER_FOOT
from pipeline.warned import Station

Floats = NDArray[np.float64]

# A taped distance is good to some per cent (common practice, no source).
TAPED_SHARE = 0.02
_SEGMENTS = 12
# Share of the stretches that must show the two varying together, or the pair is not tested (chosen here: with fewer
# a pair was found 2 m wrong and called right).
LEAST_SHARE = 0.5
_SHORTEST_SEGMENT = 400
# Lags beside a peak that belong to it, as readings average over wire.
_PEAK_WIDE = 4
# Share of tests of a sound pair that say otherwise, over all lags looked at, and the standard deviations by which a
# peak must stand above every other: screw and rolls repeat themselves along the wire (chosen here).
FALSE_ALARMS, ALONE_SD = 0.0025, 2.0
# A day's log holds more than is needed: each stretch is looked at over this many readings at most, and so is the
# whole, by twelve times as many from its middle (chosen here, for speed).
_LONGEST_SEGMENT = 5_000
# How many times as far apart gauges seem to stand where a counter, or a line sheet, is in feet or yards.
UNIT_FACTORS = (M_PER_FOOT, 1.0 / M_PER_FOOT, 3.0 * M_PER_FOOT, 1.0 / (3.0 * M_PER_FOOT))
# Standard deviations at which a correlation at such a distance is no chance, and by how much the squares of all pairs
# together must exceed those at the sheet's distances (chosen here).
UNIT_SD, UNIT_GAIN = 4.5, 30.0


@dataclass(frozen=True, slots=True)
class StationFinding:
    """How far two instruments stand apart, by their own readings.

    Args:
        first: what the first instrument measures.
        second: what the second measures.
        sheet_m: distance between them by the line sheet [m].
        found_m: distance by their readings [m].
        low_m: lower end of its 95 % interval [m].
        high_m: upper end [m].
        correlation: strongest correlation of the prewhitened readings.
        chance_limit: what chance alone reaches in one of twenty cases.
        drift_m_per_km: change of the distance along the run [m/km]; NaN where it cannot be told.
        drifts: whether that change is beyond chance: a slip, or an accumulator.
        verdict: 'agrees', 'disagrees' or 'not tested'.
        told: what a reader should know.
        n: readings used.
        step_m: wire between two readings [m].
        in_unit: strongest correlation [standard deviations] within the tolerance of the sheet's distance, then of each
            of `UNIT_FACTORS` times it; NaN where that lies within the first or beyond the lags looked at.
    """

    first: str
    second: str
    sheet_m: float
    found_m: float
    low_m: float
    high_m: float
    correlation: float
    chance_limit: float
    drift_m_per_km: float
    drifts: bool
    verdict: Literal["agrees", "disagrees", "not tested"]
    told: Message
    n: int
    step_m: float = float("nan")
    in_unit: tuple[float, ...] = ()


def unit_of_distances(findings: Sequence[StationFinding]) -> float | None:
    """How many times as far apart as the sheet says gauges see the same wire, where that is a ratio of units.

    Counter and line speed in one wrong unit do not contradict each other; the wire between two gauges contradicts both.

    Args:
        findings: distances of the run's pairs.
    """
    tested = np.array([one.in_unit for one in findings if one.in_unit], dtype=np.float64)
    if tested.size == 0:
        return None
    squares = np.where(np.isfinite(tested), np.maximum(tested, 0.0) ** 2, 0.0)
    # What cannot be looked at in another unit says nothing for its own distance either.
    here = np.where(np.isfinite(tested[:, 1:]), squares[:, :1], 0.0).sum(axis=0)
    gained = squares[:, 1:].sum(axis=0) - here
    best = int(np.argmax(gained))
    if gained[best] < UNIT_GAIN or squares[:, 1 + best].max() < UNIT_SD**2:
        return None
    return UNIT_FACTORS[best]


def _in_unit(whole: Delay, sheet_m: float, step_m: float) -> tuple[float, ...]:
    """Strongest correlation near the sheet's distance and near each of `UNIT_FACTORS` times it."""
    found = []
    for factor in (1.0, *UNIT_FACTORS):
        at = (factor - 1.0) * sheet_m / step_m
        near = (_tolerance(step_m, factor * sheet_m) + step_m) / step_m
        apart = (_tolerance(step_m, sheet_m) + step_m) / step_m + near + _PEAK_WIDE
        inside = np.abs(whole.lags - at) <= near
        told = bool(inside.any()) and (factor == 1.0 or abs(at) > apart)
        found.append(float(whole.correlation[inside].max() * np.sqrt(whole.n)) if told else math.nan)
    return tuple(found)


def _tolerance(step_m: float, sheet_m: float) -> float:
    return max(0.5 * step_m, TAPED_SHARE * abs(sheet_m))


def tolerance_m(found: StationFinding) -> float:
    """How far a tested distance may stand from the line sheet and still agree, its interval left out [m]."""
    return _tolerance(found.step_m, found.sheet_m)


def even_grid(at_m: Floats, values: Floats, step_m: float, from_m: float, to_m: float) -> Floats:
    """Values on an even grid of wire, by straight lines between readings.

    Args:
        at_m: place of each reading [m]; need not be in order.
        values: the readings; NaN left out.
        step_m: spacing of the grid [m].
        from_m: first place [m].
        to_m: last place [m].
    """
    known = np.isfinite(values) & np.isfinite(at_m)
    places, read = at_m[known], values[known]
    if places.size > 1 and float(np.diff(places).min()) < 0:
        order = np.argsort(places, kind="stable")
        places, read = places[order], read[order]
    on_grid: Floats = np.interp(np.arange(from_m, to_m, step_m), places, read)
    return on_grid


def check_distance(
    first: str,
    first_at_m: Floats,
    first_values: Floats,
    second: str,
    second_at_m: Floats,
    second_values: Floats,
    sheet_m: float,
) -> StationFinding:
    """The distance between two instruments by their readings, against the line sheet.

    Both series are put on an even grid of wire one reading apart and cross-correlated after prewhitening, in
    up to twelve stretches; the distance is their mean, with a t interval over the stretches.

    Args:
        first: what the first instrument measures, in words.
        first_at_m: place of its readings by the line sheet [m].
        first_values: its readings on steady wire; NaN elsewhere.
        second: what the second measures.
        second_at_m: place of its readings by the line sheet [m].
        second_values: its readings; NaN where not to be used.
        sheet_m: distance between them by the line sheet, second less first [m].

    Returns:
        The finding; 'not tested' where the two do not vary together beyond chance in half the stretches. 'agrees'
        within half a reading's wire or 2 % of the taped distance, whichever is more.
    """
    step = _reading_m(first_at_m)
    shared = _shared(first_at_m, first_values, second_at_m, second_values)
    if shared is None or not step > 0:
        return _untested(first, second, sheet_m, 0, message(Station.NO_COMMON_WIRE))
    x = even_grid(first_at_m, first_values, step, *shared)
    y = even_grid(second_at_m, second_values, step, *shared)
    middle = _middle(0, x.size, _SEGMENTS * _LONGEST_SEGMENT)
    whole = delay_between(x[middle], y[middle], x[middle].size)
    if isinstance(whole, Refused):
        return _untested(first, second, sheet_m, whole.n, whole.reason)
    found = _by_correlation((first, second), sheet_m, step, x, y, whole)
    return replace(found, in_unit=_in_unit(whole, sheet_m, step))


def _by_correlation(
    pair: tuple[str, str], sheet_m: float, step: float, x: Floats, y: Floats, whole: Delay
) -> StationFinding:
    """The distance between two instruments by their correlations, stretch by stretch."""
    first, second = pair
    lags_of_peak, there, chance = _peaks(whole, (_tolerance(step, sheet_m) + step) / step)
    if lags_of_peak.size == 0:
        why = message(Station.NOT_TOGETHER, peak=there, chance=chance)
        return _untested(first, second, sheet_m, whole.n, why, there, chance)
    late = int(lags_of_peak[0])
    if lags_of_peak.size > 1:
        ends = (sheet_m + step * float(lags_of_peak.min()), sheet_m + step * float(lags_of_peak.max()))
        found = (sheet_m + late * step, *ends)
        return _judged(pair, sheet_m, found, (there, chance), (math.nan, False), step, whole.n, True)
    x, y = (x[: x.size - late], y[late:]) if late >= 0 else (x[-late:], y[: y.size + late])
    at_m, lags, looked = _by_stretch(x, y, step, 0.0)
    lags = lags + late * step
    if lags.size < LEAST_SHARE * looked:
        # One strong peak over the whole may be a chance of slow variation: most stretches must show it too.
        return _untested(
            first,
            second,
            sheet_m,
            whole.n,
            message(Station.TOO_FEW_STRETCHES, n=lags.size, looked=looked),
            there,
            chance,
        )
    half = _half_interval(lags, step)
    slope, drifts = _drift(at_m, lags)
    # Readings of the first that stand too low on the wire show as a positive lag of the second.
    at = sheet_m + (float(lags.mean()) if lags.size >= 3 else _between_lags(whole, late) * step)
    found = (at, at - half, at + half)
    return _judged(pair, sheet_m, found, (there, chance), (slope, drifts), step, whole.n)


def _peaks(whole: Delay, near: float) -> tuple[Floats, float, float]:
    """Lags at which the two may vary together, the likeliest first; their correlation and what chance reaches.

    The sheet's own distance stands unless another lag correlates better by more than chance, or alone beyond chance.
    Both gauges see one cause, so only positive correlations count. Where that repeats itself along the wire, several
    lags fit as well.

    Args:
        whole: the correlations.
        near: lags within which the sheet is right [samples].
    """
    r, sd = whole.correlation, float(np.sqrt(2.0 / whole.n))
    close = np.flatnonzero(np.abs(whole.lags) <= near)
    best, here = int(np.argmax(r)), int(close[np.argmax(r[close])])
    rivals = (np.abs(whole.lags - whole.lags[best]) > _PEAK_WIDE) & (r > r[best] - ALONE_SD * sd)
    beyond = float(stats.norm.isf(FALSE_ALARMS / r.size))
    alone = (
        not bool(rivals.any()) and r[best] > beyond / np.sqrt(whole.n) and r[best] - r[here] > ALONE_SD * sd
    )
    if alone or r[best] - r[here] > beyond * sd:
        lags = np.concatenate((whole.lags[[best]], whole.lags[rivals])).astype(np.float64)
        return lags, float(r[best]), whole.peak_limit
    chance = float(stats.norm.isf(0.025 / close.size) / np.sqrt(whole.n))
    return (
        whole.lags[[here]].astype(np.float64) if r[here] > chance else np.zeros(0),
        float(r[here]),
        chance,
    )


def _between_lags(whole: Delay, lag: int) -> float:
    """Lag of a peak, between samples by a parabola."""
    r, peak = whole.correlation, int(np.searchsorted(whole.lags, lag))
    shift = parabola_shift(*r[peak - 1 : peak + 2].tolist()) if 0 < peak < r.size - 1 else 0.0
    return float(whole.lags[peak]) + shift


def _reading_m(at_m: Floats) -> float:
    """Usual wire between two readings while the line runs [m]."""
    step = np.abs(np.diff(at_m[np.isfinite(at_m)]))
    moving = step[step > 0]
    return float(np.median(moving)) if moving.size else 0.0


def _shared(
    first_at_m: Floats, first_values: Floats, second_at_m: Floats, second_values: Floats
) -> tuple[float, float] | None:
    one = first_at_m[np.isfinite(first_values) & np.isfinite(first_at_m)]
    two = second_at_m[np.isfinite(second_values) & np.isfinite(second_at_m)]
    if one.size < 2 or two.size < 2:
        return None
    low, high = max(float(one.min()), float(two.min())), min(float(one.max()), float(two.max()))
    return (low, high) if high > low else None


def _middle(begin: int, end: int, most: int) -> slice:
    """The middle `most` of a stretch of readings; all of a shorter one."""
    spare = max(0, end - begin - most) // 2
    return slice(begin + spare, min(end, begin + spare + most))


def _by_stretch(x: Floats, y: Floats, step: float, around: float) -> tuple[Floats, Floats, int]:
    """Middle [m] and lag [m] of each stretch whose own correlation is beyond chance, and how many were looked at."""
    count = max(1, min(_SEGMENTS, x.size // _SHORTEST_SEGMENT))
    places, lags = [], []
    for begin, end in zip(
        np.linspace(0, x.size, count + 1).astype(int)[:-1],
        np.linspace(0, x.size, count + 1).astype(int)[1:],
        strict=True,
    ):
        inside = _middle(int(begin), int(end), _LONGEST_SEGMENT)
        found = delay_between(x[inside], y[inside], int(abs(around)) + 8)
        if not isinstance(found, Refused) and found.significant:
            places.append(0.5 * (begin + end) * step)
            lags.append(found.peak_lag * step)
    return np.array(places), np.array(lags), count


def _half_interval(lags: Floats, step: float) -> float:
    """Half width of the 95 % interval; a grid step where the stretches are too few to tell."""
    if lags.size < 3:
        return step
    return float(stats.t.isf(0.025, lags.size - 1) * lags.std(ddof=1) / np.sqrt(lags.size))


def _drift(at_m: Floats, lags: Floats) -> tuple[float, bool]:
    """Slope of the lag along the run [m/km], and whether it is beyond chance (99 %)."""
    if lags.size < 5 or not float(np.ptp(lags)) > 0:
        return float("nan"), False
    line = stats.linregress(at_m / 1000.0, lags)
    return float(line.slope), bool(line.pvalue < 0.01)


def _untested(
    first: str,
    second: str,
    sheet_m: float,
    n: int,
    why: Message,
    peak: float = float("nan"),
    limit: float = float("nan"),
) -> StationFinding:
    nothing = float("nan")
    told = message(Station.NOT_CHECKED, one=first, other=second, why=why)
    return StationFinding(
        first,
        second,
        sheet_m,
        nothing,
        nothing,
        nothing,
        peak,
        limit,
        nothing,
        False,
        "not tested",
        told,
        n,
    )


def _judged(
    pair: tuple[str, str],
    sheet_m: float,
    found: tuple[float, float, float],
    correlation: tuple[float, float],
    drift: tuple[float, bool],
    step: float,
    n: int,
    several: bool = False,
) -> StationFinding:
    """The finding of a distance with its interval, of a correlation with what chance reaches, and of a drift."""
    tolerance = _tolerance(step, sheet_m)
    found_m, low, high = found
    # A distance between the ends of several that each fit better than the sheet's is none of them.
    agrees = abs(found_m - sheet_m) - (high - low) / 2.0 <= tolerance and not several
    told = message(
        Station.AGREES if agrees else Station.DISAGREES,
        one=f"{pair[0][0].upper()}{pair[0][1:]}",
        other=pair[1],
        found=Measure(found_m, "m"),
        low=Measure(low, "m"),
        high=Measure(high, "m"),
        sheet=Measure(sheet_m, "m"),
    )
    if drift[1]:
        told = message(Station.DRIFTS, found=told, slope=Measure(drift[0], "m"), each=Measure(1000.0, "m"))
    verdict: Literal["agrees", "disagrees"] = "agrees" if agrees else "disagrees"
    return StationFinding(*pair, sheet_m, *found, *correlation, *drift, verdict, told, n, step)

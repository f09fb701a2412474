"""Do the gauges stand where the line sheet says? Their readings of the same wire, laid over each other.

Two instruments that see one cause (wall and diameter, hot and cold diameter) must agree metre for metre once
each is moved by its station. What is left over is an error of the line sheet, a slipping wheel or a changed
accumulator: a finding about the line. Readings stay placed by the line sheet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.length.cross_correlation import delay_between
from pipeline.messages import Measure, Message, as_message, message
from pipeline.results import Refused
from pipeline.warned import Station

Floats = NDArray[np.float64]

# A taped distance is good to some per cent (common practice, no source).
TAPED_SHARE = 0.02
_SEGMENTS = 12
# Share of the stretches that must show the two varying together, or the pair is not tested (chosen here: with fewer
# a pair was found 2 m wrong and called right).
LEAST_SHARE = 0.5
_SHORTEST_SEGMENT = 400
# A day's log holds more than is needed: each stretch is looked at over this many readings at most, and so is the
# whole, by twelve times as many from its middle (chosen here, for speed).
_LONGEST_SEGMENT = 5_000


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
    *,
    look_m: float = 30.0,
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
        look_m: error of the sheet looked for either way [m].

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
    whole = delay_between(x[middle], y[middle], max(3, int(np.ceil(look_m / step))))
    if isinstance(whole, Refused):
        return _untested(first, second, sheet_m, whole.n, as_message(whole.reason))
    if not whole.significant:
        return _untested(
            first,
            second,
            sheet_m,
            whole.n,
            message(Station.NOT_TOGETHER, peak=whole.peak, chance=whole.peak_limit),
            whole.peak,
            whole.peak_limit,
        )
    at_m, lags, looked = _by_stretch(x, y, step, whole.peak_lag)
    if lags.size < LEAST_SHARE * looked:
        # One strong peak over the whole may be a chance of slow variation: most stretches must show it too.
        return _untested(
            first,
            second,
            sheet_m,
            whole.n,
            message(Station.TOO_FEW_STRETCHES, n=lags.size, looked=looked),
            whole.peak,
            whole.peak_limit,
        )
    half = _half_interval(lags, step)
    slope, drifts = _drift(at_m, lags)
    error = float(lags.mean()) if lags.size >= 3 else whole.peak_lag * step
    # Readings of the first that stand too low on the wire show as a positive lag of the second.
    return _judged(
        first,
        second,
        sheet_m,
        sheet_m + error,
        half,
        whole.peak,
        whole.peak_limit,
        slope,
        drifts,
        step,
        whole.n,
    )


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
    first: str,
    second: str,
    sheet_m: float,
    found_m: float,
    half: float,
    peak: float,
    limit: float,
    slope: float,
    drifts: bool,
    step: float,
    n: int,
) -> StationFinding:
    tolerance = max(0.5 * step, TAPED_SHARE * abs(sheet_m))
    error = found_m - sheet_m
    agrees = abs(error) - half <= tolerance
    told = message(
        Station.AGREES if agrees else Station.DISAGREES,
        one=f"{first[0].upper()}{first[1:]}",
        other=second,
        found=Measure(found_m, "m"),
        low=Measure(found_m - half, "m"),
        high=Measure(found_m + half, "m"),
        sheet=Measure(sheet_m, "m"),
    )
    if drifts:
        told = message(Station.DRIFTS, found=told, slope=Measure(slope, "m"), each=Measure(1000.0, "m"))
    return StationFinding(
        first,
        second,
        sheet_m,
        found_m,
        found_m - half,
        found_m + half,
        peak,
        limit,
        slope,
        drifts,
        "agrees" if agrees else "disagrees",
        told,
        n,
    )

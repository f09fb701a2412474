"""What repeats along the wire, at which length, what turns with that length, and what mending it is worth.

The elements are listed on the line sheet before anyone looks; a found period is given to one only if it fits
within tolerance and no other does. What the readings stand too far apart to show is told.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused, Result
from pipeline.sheets.line_sheet import LineSheet
from pipeline.statistics.beyond_wander import CLAIM_P
from pipeline.statistics.periodicity import (
    STEADY,
    WANDERS,
    find_periods,
    fit_sinusoid,
)
from pipeline.statistics.turning_elements import (
    NOTHING_FITS,
    ExpectedLine,
    TurningElement,
    alias_table,
    attribute,
    driven_by_motor,
    driven_by_wire,
)
from pipeline.statistics.uniform_length import on_uniform_length
from pipeline.tuned import Tuned
from pipeline.tuning.line_run import LineRun

Floats = NDArray[np.float64]

WORTH_SEEING = 0.3  # an element whose swing the gauge's window leaves less of is told as hidden (chosen here)
SAME_PERIOD = 0.01  # periods of two runs within this share are one (chosen here)
SAME_AT_MOST = 0.1  # the most that two periods may differ by, however unsure they are (chosen here)
SAME_HUNTING = 1.5  # times by which two swings that keep no step may differ and be one (chosen here)
SURE_AMPLITUDE = 4.0  # standard errors an amplitude must have where the readings stand (chosen here)
SPEED_VARIED = 0.05  # relative range of speed above which length and time can be told apart (chosen here)
HARMONICS = 3
WORTH_LOOKING = 0.02  # share of the variance under which nobody is sent to look at anything (chosen here)
LOSES_STEP = "loses its step"  # in place of an element, for a swing without a fixed period


@dataclass(frozen=True, slots=True)
class RepeatedSwing:
    """Something that repeats along the wire of one run.

    Args:
        run_id: the run.
        channel: what swings.
        period_m: length at which it repeats [m].
        period_low_m: lower end of its interval [m].
        period_high_m: upper end [m].
        amplitude_um: half the swing as read [um].
        amplitude_low_um: lower end of its interval [um].
        amplitude_high_um: upper end [um].
        true_amplitude_um: half the swing before the gauge's window averaged it [um].
        share_of_variance: share of the channel's variance.
        element: the one listed element that fits, 'no listed element fits' or 'several fit'.
        harmonic: how many times a turn it repeats; 0 where no element is named.
        words: the attribution.
        speed_m_s: line speed of the stretch it was found in [m/s].
        p_value: chance of such a swing without a period, over all periods looked at.
        alias_of_m: the true length of the element's turn or part of one [m] where the readings stand too far apart to
            show it; 0 where they do not, or no element is named.
    """

    run_id: str
    channel: str
    period_m: float
    period_low_m: float
    period_high_m: float
    amplitude_um: float
    amplitude_low_um: float
    amplitude_high_um: float
    true_amplitude_um: float
    share_of_variance: float
    element: str
    harmonic: int
    words: Message
    speed_m_s: float
    p_value: float
    alias_of_m: float


@dataclass(frozen=True, slots=True)
class RunPeriods:
    """What repeats in one run.

    Args:
        swings: the swings, largest share of variance first.
        hidden: elements whose swing the readings could not show as it is.
        refused: channels that could not be looked at, with the reason.
    """

    swings: tuple[RepeatedSwing, ...]
    hidden: tuple[ExpectedLine, ...]
    refused: tuple[Refused, ...]


@dataclass(frozen=True, slots=True)
class LinePeriod:
    """A swing that one or several runs show.

    Args:
        channel: what swings.
        period_m: mean length at which it repeats [m]; at several speeds, of a swing locked to time, a mean over them.
        amplitude_um: root mean square of the runs' amplitudes as read [um].
        true_amplitude_um: the same before the gauge's window averaged it [um].
        share_of_variance: mean share of the channel's variance.
        element: the element, as in `RepeatedSwing`.
        harmonic: likewise.
        words: likewise, of the run that shows it best.
        locked_to: 'length' if the period stays the same in metres when the speed changes, 'time' if in seconds, ''
            where no change of speed tells.
        runs_with: runs that show it.
        runs_looked_at: runs in which it would have been seen.
        by_run: run, period [m] and line speed [m/s] of each stretch that shows it.
        alias_of_m: the true length of a turn [m] where the readings stand too far apart to show it; else 0.
    """

    channel: str
    period_m: float
    amplitude_um: float
    true_amplitude_um: float
    share_of_variance: float
    element: str
    harmonic: int
    words: Message
    locked_to: str
    runs_with: tuple[str, ...]
    runs_looked_at: int
    by_run: tuple[tuple[str, float, float], ...]
    alias_of_m: float


def worth_telling(found: Result) -> bool:
    """Whether a swing is steady, or else holds enough of the variance in its broad peak to be told as one."""
    share_of, kept = found.details["share_of_variance"], found.details["coherence"]
    return kept >= STEADY or share_of >= WORTH_LOOKING * kept


def elements_of(line: LineSheet, speed_m_s: float) -> tuple[TurningElement, ...]:
    """What turns on the line, with the wire it makes in one turn.

    Args:
        line: the line sheet.
        speed_m_s: line speed [m/s], for elements with their own motor.
    """
    return tuple(
        driven_by_wire(one.id, one.circumference_m, one.tolerance_pct)
        if one.circumference_m is not None
        else driven_by_motor(one.id, one.period_s or 0.0, one.tolerance_pct, speed_m_s)
        for one in line.elements
    )


def periods_of_run(run: LineRun, line: LineSheet, level: float = CLAIM_P) -> RunPeriods:
    """What repeats along the wire of one run.

    Args:
        run: the run.
        line: the line sheet, with its turning elements.
        level: chance of calling any period in the run where there is none.
    """
    if not run.wall_counts.any():
        reason = message(Reason.NO_STEADY_WIRE_READ)
        return RunPeriods((), (), (Refused(asks(Quantity.PERIOD), message(Method.SPECTRUM), reason, 0),))
    swings: list[RepeatedSwing] = []
    refused: dict[str, Refused] = {}
    hidden: dict[tuple[str, int], ExpectedLine] = {}
    pieces = [
        (channel, at, value, stretches(at, counts & np.isfinite(value), run.step_m), extra)
        for channel, at, value, counts, extra in _channels(run, line)
    ]
    asked = max(sum(len(parts) for _, _, _, parts, _ in pieces), 1)
    for channel, at, value, parts, extra in pieces:
        done = False
        for rows in parts:
            speed = float(np.median(run.speed_m_s[rows]))
            window = speed * run.reading_s + extra
            step = float(np.ptp(at[rows])) / (rows.size - 1)
            turning = elements_of(line, speed)
            table = alias_table(turning, step, window, HARMONICS) if turning else ()
            found = _swings(run, channel, at[rows], value[rows], speed, window, table, level / asked)
            if isinstance(found, Refused):
                refused.setdefault(channel, found)
                continue
            done = True
            swings += found
            hidden |= {
                (one.element, one.harmonic): one for one in table if one.aliased or one.passed < WORTH_SEEING
            }
        if done:
            refused.pop(channel, None)
    ranked = tuple(sorted(swings, key=lambda one: -one.share_of_variance))
    return RunPeriods(ranked, tuple(hidden.values()), tuple(refused.values()))


def _channels(run: LineRun, line: LineSheet) -> list[tuple[str, Floats, Floats, NDArray[np.bool_], float]]:
    """Channel, places, values, which count, and the gauge's own window [m]."""
    gauge, cold = line.instrument("wall gauge"), line.instrument("cold diameter gauge")
    own = gauge.window_m if gauge is not None else 0.0
    over = cold.window_m if cold is not None else 0.0
    return [
        ("mean wall", run.wall_at_m, run.mean_mm, run.wall_counts, own),
        ("offset, cosine part", run.wall_at_m, run.cos_mm, run.wall_counts, own),
        ("offset, sine part", run.wall_at_m, run.sin_mm, run.wall_counts, own),
        ("diameter", run.diameter_at_m, run.diameter_mm, run.diameter_counts, over),
    ]


def stretches(at_m: Floats, counts: NDArray[np.bool_], step_m: float) -> list[NDArray[np.int64]]:
    """Rows of each stretch of wire read without a gap, in the order of the wire; a change of speed is a gap.

    Args:
        at_m: place of each row [m].
        counts: rows that count.
        step_m: wire between two readings [m].
    """
    rows = np.flatnonzero(counts & np.isfinite(at_m))
    rows = rows[np.argsort(at_m[rows], kind="stable")]
    return [
        one for one in np.split(rows, np.flatnonzero(np.diff(at_m[rows]) > 2.5 * step_m) + 1) if one.size > 2
    ]


def _swings(
    run: LineRun,
    channel: str,
    at_m: Floats,
    value_mm: Floats,
    speed_m_s: float,
    window_m: float,
    table: Sequence[ExpectedLine],
    level: float,
) -> list[RepeatedSwing] | Refused:
    step_m = float(np.ptp(at_m)) / (at_m.size - 1)
    answer = find_periods(on_uniform_length(at_m, value_mm, step_m), step_m, level)
    if isinstance(answer, Refused):
        return answer
    kept = []
    for one in filter(worth_telling, answer.found):
        # The grid's interpolation takes from the amplitude, so it is fitted again where the readings stand.
        half = max(3.0 * one.details["period_sd_m"], 1e-4 * one.estimate)
        fit = fit_sinusoid(at_m, value_mm, 1.0 / (one.estimate + half), 1.0 / (one.estimate - half))
        noise = _amplitude_noise(at_m, value_mm, fit.frequency)
        if fit.amplitude < SURE_AMPLITUDE * noise:
            continue  # the grid made it: it is not in the readings where they stand
        blame = attribute(one.estimate, one.details["period_sd_m"], table)
        # What does not keep its step at one speed turns nowhere, whatever length it fits.
        hunts = one.details["coherence"] < STEADY
        named = not hunts and bool(blame.fits) and blame.element == blame.fits[0].element
        passed = abs(float(np.sinc(window_m / one.estimate)))
        amplitude, spread = fit.amplitude, 1.96 * noise
        kept.append(
            RepeatedSwing(
                run.run_id,
                channel,
                one.estimate,
                one.low,
                one.high,
                1000.0 * amplitude,
                1000.0 * max(amplitude - spread, 0.0),
                1000.0 * (amplitude + spread),
                1000.0 * amplitude / max(passed, 0.05),
                amplitude**2 / 2.0 / float(np.var(value_mm)),
                LOSES_STEP if hunts else blame.element,
                blame.fits[0].harmonic if named else 0,
                WANDERS if hunts else blame.words,
                speed_m_s,
                one.details["p_value"],
                blame.fits[0].true_period_m if named and blame.fits[0].aliased else 0.0,
            )
        )
    return kept


def _amplitude_noise(at_m: Floats, value_mm: Floats, frequency: float) -> float:
    """Standard error of an amplitude from what frequencies beside it show: median over sqrt(2 ln 2)."""
    beside = frequency + np.concatenate([np.arange(-18.0, -2.0), np.arange(3.0, 19.0)]) / float(np.ptp(at_m))
    centred = value_mm - value_mm.mean()
    sums = np.exp(-2j * np.pi * np.outer(beside[beside > 0.0], at_m - at_m[0])) @ centred
    return float(np.median(np.abs(sums))) * 2.0 / at_m.size / math.sqrt(2.0 * math.log(2.0))


def periods_of_line(found: Sequence[RunPeriods]) -> tuple[LinePeriod, ...]:
    """The swings of several runs put together: one entry an element and channel, or an unnamed period.

    Args:
        found: what repeats in each run.
    """
    groups: list[list[RepeatedSwing]] = []
    swings = [swing for run in found for swing in run.swings]
    for one in sorted(swings, key=lambda swing: swing.harmonic == 0):  # named ones first
        for group in groups:
            if _same(group[0], one):
                group.append(one)
                break
        else:
            groups.append([one])
    put = [_together(group, len(found)) for group in groups]
    return tuple(sorted(put, key=lambda one: -one.share_of_variance * len(one.runs_with)))


def _same(first: RepeatedSwing, other: RepeatedSwing) -> bool:
    """One element, or one length, or one time; a swing without a name joins a named one of its length."""
    if first.channel != other.channel:
        return False
    if first.harmonic and other.harmonic:
        return (first.element, first.harmonic) == (other.element, other.harmonic)
    ratio = first.period_m / other.period_m
    in_time = ratio * other.speed_m_s / first.speed_m_s
    if first.element == other.element == LOSES_STEP:
        return any(1.0 / SAME_HUNTING <= one <= SAME_HUNTING for one in (ratio, in_time))
    unsure = math.hypot(*(one.period_high_m / one.period_low_m - 1.0 for one in (first, other))) / 2.0
    same = SAME_PERIOD if first.harmonic or other.harmonic else max(SAME_PERIOD, min(unsure, SAME_AT_MOST))
    return any(abs(one - 1.0) <= same for one in (ratio, in_time))


def _locked_to(group: list[RepeatedSwing]) -> str:
    """What the swing follows when the speed changes."""
    length = np.array([one.period_m for one in group])
    speed = np.array([one.speed_m_s for one in group])
    if float(np.ptp(speed)) < SPEED_VARIED * float(speed.mean()):
        return ""
    in_length, in_time = (float(np.ptp(one) / one.mean()) for one in (length, length / speed))
    return "length" if in_length < in_time else "time"


def _together(group: list[RepeatedSwing], looked_at: int) -> LinePeriod:
    best = min(group, key=lambda one: (one.harmonic == 0, one.p_value))
    return LinePeriod(
        best.channel,
        float(np.mean([one.period_m for one in group])),
        math.sqrt(float(np.mean([one.amplitude_um**2 for one in group]))),
        math.sqrt(float(np.mean([one.true_amplitude_um**2 for one in group]))),
        float(np.mean([one.share_of_variance for one in group])),
        best.element,
        best.harmonic,
        best.words,
        _locked_to(group),
        tuple(dict.fromkeys(one.run_id for one in group)),
        looked_at,
        tuple((one.run_id, one.period_m, one.speed_m_s) for one in group),
        best.alias_of_m,
    )


def advice_on_period(found: LinePeriod) -> Message:
    """What to look at for one swing.

    Args:
        found: the swing.
    """
    if found.share_of_variance < WORTH_LOOKING:
        what = message(Tuned.SWING_TOO_SMALL)
    elif found.harmonic:
        times = message(Tuned.SO_MANY_TIMES, n=found.harmonic) if found.harmonic > 1 else message(Tuned.ONCE)
        alias = {"true": Measure(found.alias_of_m, "m")} if found.alias_of_m else {}
        what = message(Tuned.SWING_OF_ONE, times=times, element=found.element, **alias)
    else:
        unnamed = {NOTHING_FITS: Tuned.SWING_OF_NOTHING, LOSES_STEP: Tuned.SWING_HUNTS}
        what = message(unnamed.get(found.element, Tuned.SWING_OF_SEVERAL))
    return message(
        Tuned.SWINGS,
        channel=found.channel,
        amplitude=Measure(found.amplitude_um, "um"),
        period=Measure(found.period_m, "m"),
        share=100.0 * found.share_of_variance,
        shown=len(found.runs_with),
        runs=found.runs_looked_at,
        what=what,
    )

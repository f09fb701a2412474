"""How large are the swings of wall and diameter at each period, along the wire, in time, and as the run went on?

Spectra as SciPy averages them; what of them is beyond chance is asked elsewhere (`periodicity`), and what hunts too.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from pipeline.sheets.line_sheet import LineSheet
from pipeline.statistics.turning_elements import ExpectedLine, alias_table
from pipeline.statistics.uniform_length import on_uniform_length
from pipeline.tuning.line_run import LineRun
from pipeline.tuning.periods import HARMONICS, elements_of

Floats = NDArray[np.float64]

# Half-overlapping pieces averaged, the shortest and the longest of them [readings] (chosen here).
PIECES, SHORTEST, LONGEST = 16, 64, 8192
# Periods kept of a spectrum and of the run's map, and columns of the map (chosen here, for the eye and small pages).
PERIODS, MAP_PERIODS, MAP_COLUMNS = 400, 40, 120
# Time that one column of the map looks at, since controls hunt in half a minute to two, and the most it may take of a
# run (chosen here).
WINDOW_S, WINDOW_SHARE = 240.0, 0.2


@dataclass(frozen=True, slots=True)
class SwingSpectrum:
    """Amplitude that a steady swing of each period would have, were it alone in its band.

    Args:
        channel: what swings.
        period: periods, rising [m] or [s].
        amplitude_um: half the swing [um].
        from_m: first metre of the wire it is of [m].
        to_m: last [m].
    """

    channel: str
    period: Floats
    amplitude_um: Floats
    from_m: float
    to_m: float


@dataclass(frozen=True, slots=True)
class SwingsAlong:
    """The spectrum in time as the run went on.

    Args:
        at_m: middle of each column, metre of wire at the die [m].
        period_s: period of each row, rising [s].
        amplitude_um: half the swing, a row a period; NaN where too little was read [um].
    """

    at_m: Floats
    period_s: Floats
    amplitude_um: Floats


@dataclass(frozen=True, slots=True)
class RunSpectra:
    """The spectra of a run.

    Args:
        in_length: along the wire, one a channel.
        in_time: in time, one a channel.
        marks: what turns, with its harmonics as the readings show them along the wire.
        speed_m_s: usual line speed, by which lengths become times [m/s].
        along: the wall's swings as the run went on; None where the run is too short.
    """

    in_length: tuple[SwingSpectrum, ...]
    in_time: tuple[SwingSpectrum, ...]
    marks: tuple[ExpectedLine, ...]
    speed_m_s: float
    along: SwingsAlong | None


def swing_amplitudes(values: Floats, step: float) -> tuple[Floats, Floats] | None:
    """Periods, rising, and the amplitude of a steady swing at each [unit of the values].

    Args:
        values: values at equal steps; NaN where there is none: pieces lie between these.
        step: the step [m or s].

    Returns:
        None where no piece of `SHORTEST` values is whole. Source: scipy.signal.welch, Hann window, scaled so that a
        swing of amplitude A reads A^2 / 2.
    """
    whole = [one for one in _unbroken(values) if one.size >= SHORTEST]
    if not whole:
        return None
    longest = max(one.size for one in whole)
    size = int(min(LONGEST, max(SHORTEST, 2 * longest // (PIECES + 1))))
    powers, weights = [], []
    frequency: Floats = np.zeros(0)
    for one in whole:
        if one.size >= size:
            frequency, power = signal.welch(
                one,
                1.0 / step,
                nperseg=size,
                detrend=_without_a_line,
                scaling="spectrum",
            )
            powers.append(power)
            weights.append(2 * one.size // size - 1)
    power = np.average(powers, axis=0, weights=weights)
    # The trend takes the first bins.
    frequency, power = frequency[2:], power[2:]
    return _by_period(1.0 / frequency[::-1], np.sqrt(2.0 * power[::-1]), PERIODS)


def _without_a_line(pieces: Floats) -> Floats:
    return np.asarray(signal.detrend(pieces, type="linear"), dtype=np.float64)


def _unbroken(values: Floats) -> list[Floats]:
    known = np.isfinite(values)
    edges = np.flatnonzero(np.diff(known.astype(np.int8), prepend=0, append=0))
    return [values[first:after] for first, after in zip(edges[::2], edges[1::2], strict=True)]


def _by_period(period: Floats, amplitude: Floats, most: int) -> tuple[Floats, Floats]:
    """At most so many periods, evenly in their logarithm, each with the largest amplitude of its band."""
    band = np.floor(most * np.log(period / period[0]) / math.log(period[-1] / period[0] * (1.0 + 1e-9)))
    first = np.flatnonzero(np.diff(band, prepend=-1.0))
    strongest = np.array(
        [
            start + int(np.nanargmax(part))
            for start, part in zip(first, np.split(amplitude, first[1:]), strict=True)
        ]
    )
    return period[strongest], amplitude[strongest]


def run_spectra(run: LineRun, line: LineSheet) -> RunSpectra:
    """The spectra of mean wall and diameter of a run's steady wire, and the wall's as the run went on.

    Args:
        run: the run.
        line: the line sheet, with its turning elements.
    """
    in_length = tuple(
        one
        for channel in CHANNELS
        if (one := spectrum_between(run, channel, -math.inf, math.inf)) is not None
    )
    in_time, along = [], None
    for channel in CHANNELS:
        when, value, step_s = _in_time(run, channel)
        found = swing_amplitudes(value, step_s) if value.size else None
        if found is not None:
            in_time.append(SwingSpectrum(channel, found[0], 1000.0 * found[1], *_ends(run, channel)))
        if channel == CHANNELS[0] and value.size:
            along = _along(run, when, value, step_s)
    counted = run.speed_m_s[run.wall_counts | run.diameter_counts]
    speed = float(np.median(counted)) if counted.size else math.nan
    turning = elements_of(line, speed) if math.isfinite(speed) else ()
    window = speed * run.reading_s
    marks = alias_table(turning, run.step_m, window, HARMONICS) if turning and run.step_m > 0 else ()
    return RunSpectra(in_length, tuple(in_time), marks, speed, along)


CHANNELS = ("mean wall", "diameter")


def _readings(run: LineRun, channel: str) -> tuple[Floats, Floats]:
    """Places and values of the readings of steady wire, in the order of the wire."""
    at, value, counts = (
        (run.wall_at_m, run.mean_mm, run.wall_counts)
        if channel == "mean wall"
        else (run.diameter_at_m, run.diameter_mm, run.diameter_counts)
    )
    keep = np.flatnonzero(counts & np.isfinite(at) & np.isfinite(value))
    keep = keep[np.argsort(at[keep], kind="stable")]
    keep = keep[np.diff(at[keep], prepend=-np.inf) > 0.0]
    return at[keep], value[keep]


def _ends(run: LineRun, channel: str) -> tuple[float, float]:
    at = _readings(run, channel)[0]
    return float(at[0]), float(at[-1])


def spectrum_between(run: LineRun, channel: str, from_m: float, to_m: float) -> SwingSpectrum | None:
    """The spectrum along the wire of a part of a run; None where too little of it was read.

    Args:
        run: the run.
        channel: one of `CHANNELS`.
        from_m: first metre [m].
        to_m: last [m].
    """
    at, value = _readings(run, channel)
    inside = (at >= from_m) & (at < to_m)
    at, value = at[inside], value[inside]
    if at.size < SHORTEST or not run.step_m > 0:
        return None
    step = max(run.step_m, float(np.median(np.diff(at))))
    found = swing_amplitudes(on_uniform_length(at, value, step), step)
    if found is None:
        return None
    return SwingSpectrum(channel, found[0], 1000.0 * found[1], float(at[0]), float(at[-1]))


def _in_time(run: LineRun, channel: str) -> tuple[Floats, Floats, float]:
    """Times at which the wire read was at the die, values at equal steps of it, and the step [s]; empty for too few."""
    at, value = _readings(run, channel)
    when = np.interp(at, np.maximum.accumulate(run.die_m), run.seconds)
    keep = np.diff(when, prepend=-np.inf) > 0.0
    when, value = when[keep], value[keep]
    if when.size < SHORTEST:
        return np.zeros(0), np.zeros(0), math.nan
    step = float(np.median(np.diff(when)))
    even = on_uniform_length(when, value, step)
    return when[0] + step * np.arange(even.size), even, step


def _along(run: LineRun, when: Floats, value: Floats, step_s: float) -> SwingsAlong | None:
    """The map of the wall's swings: each column looks at a window of the run, most of it shared with its neighbours."""
    size = round(min(WINDOW_S / step_s, WINDOW_SHARE * value.size))
    if size < SHORTEST:
        return None
    hop = max(size // 8, value.size // MAP_COLUMNS, 1)
    frequency, middle, power = signal.spectrogram(
        value, 1.0 / step_s, "hann", size, size - hop, detrend="constant", scaling="spectrum", mode="psd"
    )
    period = 1.0 / frequency[2:][::-1]
    amplitude = np.sqrt(2.0 * power[2:][::-1])
    edges = np.geomspace(period[0], period[-1] * (1.0 + 1e-9), MAP_PERIODS + 1)
    rows = [amplitude[(period >= low) & (period < high)] for low, high in itertools.pairwise(edges)]
    kept = [number for number, one in enumerate(rows) if one.shape[0]]
    strongest = np.array([rows[number].max(axis=0) for number in kept])
    if not np.isfinite(strongest).any():
        return None
    at_m = np.interp(when[0] + middle, run.seconds, np.maximum.accumulate(run.die_m))
    return SwingsAlong(at_m, np.sqrt(edges[:-1] * edges[1:])[kept], 1000.0 * strongest)


def amplitude_at(spectrum: SwingSpectrum, period: float) -> float:
    """Amplitude of a spectrum at a period, the larger of its two neighbours [um]; NaN outside the spectrum."""
    if not spectrum.period[0] <= period <= spectrum.period[-1]:
        return math.nan
    after = int(np.clip(np.searchsorted(spectrum.period, period), 1, spectrum.period.size - 1))
    return float(spectrum.amplitude_um[after - 1 : after + 1].max())


def before_and_after(
    run: LineRun, changes_m: Sequence[float], mixed_m: float
) -> tuple[tuple[float, SwingSpectrum, SwingSpectrum], ...]:
    """The wall's spectra on both sides of each change, as far as the neighbouring changes; those with enough wire.

    Args:
        run: the run.
        changes_m: places of the changes, rising [m].
        mixed_m: wire after a change that is left out [m].
    """
    edges = [-math.inf, *changes_m, math.inf]
    found = []
    for low, at, high in zip(edges, edges[1:], edges[2:], strict=False):
        first = spectrum_between(run, CHANNELS[0], low + mixed_m, at)
        second = spectrum_between(run, CHANNELS[0], at + mixed_m, high)
        if first is not None and second is not None:
            found.append((at, first, second))
    return tuple(found)

"""Is a swing locked to the wire's length, to time, or to the screw?

A change of speed separates the two: the true cause is sharpest on its own axis. K. R. Fyfe & E. D. S. Munk, Mech.
Syst. Signal Process. 11 (1997) 187; coherence between two channels: Bendat & Piersol, Random Data (2010).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Said, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import positive, readings, share

QUESTION = asks(Quantity.ORDER_LOCK)
METHOD = message(Method.ORDER_TRACKING)
CLEAR = 3.0
"""How many times as sharp as the next axis one must be to be named (own choice)."""


@dataclass(frozen=True, slots=True)
class AxisLine:
    """The strongest line on one axis.

    Args:
        axis: name of the axis.
        period: its period in that axis's unit.
        sharpness: share of the variance within one bin either side of the line.
    """

    axis: str
    period: float
    sharpness: float


@dataclass(frozen=True, slots=True)
class Tracked:
    """Sharpness on every axis and what it says.

    Args:
        lines: one for each axis, the sharpest first.
        locked_to: the axis, or "" if it cannot be told.
        words: the answer in one sentence.
    """

    lines: tuple[AxisLine, ...]
    locked_to: str
    words: Said


@checked
def track(
    values: ArrayLike,
    axes: Mapping[str, ArrayLike],
    shortest: Mapping[str, float] | None = None,
    longest: Mapping[str, float] | None = None,
) -> Tracked | Refused:
    """The axis on which a swing is sharpest: length [m], time [s], turns of the screw or of a roll.

    Each axis is cut into equal steps, and the share of variance in the strongest line (Hann) is compared.

    Args:
        values: readings; not-a-number where there is none.
        axes: by name, where each reading stands on that axis, rising.
        shortest: by axis, the shortest period looked at; without it, four steps.
        longest: by axis, the longest period looked at; without it, a tenth of the record.

    At constant speed all axes are alike and nothing can be told. Source: Fyfe & Munk 1997.
    """
    x = readings(values, "values")
    if len(axes) < 2:
        raise MethodRefusal(Complaint("axes", f"{len(axes)} was given", "Give two axes or more to compare"))
    known = ~np.isnan(x)
    placed = {name: readings(row, f"axes: {name}") for name, row in axes.items()}
    for name, row in placed.items():
        if row.size != x.size:
            raise MethodRefusal(
                Complaint(f"axes: {name}", f"{row.size} places for {x.size} values", "Give one for each")
            )
        known &= ~np.isnan(row)
    if known.sum() < 128:
        return Refused(
            QUESTION,
            METHOD,
            message(Reason.TOO_FEW_READINGS_TO_TRACK, sum=int(known.sum())),
            int(known.sum()),
        )
    if float(np.ptp(x[known])) == 0.0:
        return Refused(QUESTION, METHOD, message(Reason.READINGS_DO_NOT_MOVE), int(known.sum()))
    lines = []
    for name, row in placed.items():
        low = None if shortest is None else shortest.get(name)
        high = None if longest is None else longest.get(name)
        lines.append(_line(name, row[known], x[known], low, high))
    ranked = tuple(sorted(lines, key=lambda one: -one.sharpness))
    first, second = ranked[0], ranked[1]
    if first.sharpness < CLEAR * second.sharpness:
        words = message(
            Note.LOCK_NOT_SEPARATED,
            axis=first.axis,
            sharpness=100 * first.sharpness,
            sharpness_2=100 * second.sharpness,
            other=second.axis,
        )
        return Tracked(ranked, "", words)
    words = message(
        Note.LOCKED_TO_AXIS,
        axis=first.axis,
        sharpness=100 * first.sharpness,
        sharpness_2=100 * second.sharpness,
        other=second.axis,
    )
    return Tracked(ranked, first.axis, words)


def _line(
    name: str, at: NDArray[np.float64], x: NDArray[np.float64], shortest: float | None, longest: float | None
) -> AxisLine:
    if (np.diff(at) < 0).any() or at[-1] <= at[0]:
        raise MethodRefusal(Complaint(f"axes: {name}", "does not rise", "Give places in order on every axis"))
    grid = np.linspace(at[0], at[-1], at.size)
    even = signal.detrend(np.interp(grid, at, x)) * np.hanning(at.size)
    power = np.abs(np.fft.rfft(even)) ** 2
    step = float(grid[1] - grid[0])
    frequency = np.fft.rfftfreq(at.size, step)
    lowest = 10 / float(at[-1] - at[0]) if longest is None else 1 / positive(longest, f"longest: {name}")
    highest = 0.25 / step if shortest is None else 1 / positive(shortest, f"shortest: {name}")
    inside = np.flatnonzero((frequency >= lowest) & (frequency <= highest))
    if inside.size == 0:
        raise MethodRefusal(
            Complaint(
                f"axes: {name}",
                f"no period between {1 / highest:.3g} and {1 / lowest:.3g} can be seen",
                "Give a wider range or more readings",
            )
        )
    peak = int(inside[power[inside].argmax()])
    around = power[max(peak - 1, 0) : peak + 2].sum()
    return AxisLine(name, float(1 / frequency[peak]), float(around / power.sum()))


@dataclass(frozen=True, slots=True)
class Coherence:
    """How far two channels swing together at each frequency.

    Args:
        frequency: frequency of each bin [1/unit of the step].
        coherence: squared coherence, 0 to 1.
        threshold: squared coherence that chance exceeds with probability alpha at one bin.
        averages: independent pieces averaged.
        together: bins above the threshold after paying for all bins.
    """

    frequency: NDArray[np.float64]
    coherence: NDArray[np.float64]
    threshold: float
    averages: float
    together: NDArray[np.bool_]


@checked
def coherence_threshold(averages: float, alpha: float = 0.05) -> float:
    """Squared coherence of two unrelated channels that is exceeded with probability alpha: 1 - alpha^(1/(K-1)).

    Args:
        averages: independent pieces K.
        alpha: the probability.

    Source: Bendat & Piersol 2010; K 16 and 5 % give .181.

    No page asks for it: it is the threshold of `coherence`.
    """
    if averages <= 1:
        raise MethodRefusal(Complaint("averages", f"{averages:g} was given", "Give more than one piece"))
    return float(1 - share(alpha, "alpha") ** (1 / (averages - 1)))


@checked
def coherence(
    first: ArrayLike, second: ArrayLike, step: float, segments: int = 16, alpha: float = 0.05
) -> Coherence:
    """Squared coherence of two channels at equal steps (Hann, half overlap), with its threshold.

    Args:
        first: one channel, none missing.
        second: the other, at the same places.
        step: step [m or s].
        segments: pieces.
        alpha: chance of calling any bin, over all bins together.

    Swinging together is no proof of cause. Source: Bendat & Piersol 2010.

    No page asks for it: a swing is led to a turning element; that pressure and diameter surge together is not
    told yet.
    """
    a, b = readings(first, "first"), readings(second, "second")
    if a.size != b.size or np.isnan(a).any() or np.isnan(b).any():
        raise MethodRefusal(
            Complaint(
                "first, second", "are not two full rows of equal length", "Give readings at the same places"
            )
        )
    size = int(2 * a.size // (segments + 1))
    if size < 16:
        raise MethodRefusal(
            Complaint("first", f"{a.size} readings are too few for {segments} pieces", "Give more readings")
        )
    frequency, squared = signal.coherence(
        a, b, 1 / positive(step, "step"), nperseg=size, noverlap=size - size // 2
    )
    n = (a.size - size) // (size // 2) + 1
    averages = 18 * n * n / (19 * n - 1)
    each = 1 - (1 - alpha) ** (1 / (squared.size - 1))
    return Coherence(
        np.asarray(frequency[1:], dtype=np.float64),
        np.asarray(squared[1:], dtype=np.float64),
        coherence_threshold(averages, alpha),
        averages,
        np.asarray(squared[1:] > coherence_threshold(averages, each), dtype=np.bool_),
    )


@checked
def pseudo_period(phi_1: float, phi_2: float) -> float:
    """Period to which a second-order autoregression tends: 2 pi / arccos(phi_1 / (2 sqrt(-phi_2))), in steps.

    Such a swing has no fixed step: a control that hunts, not a turning element. Infinite if it does not swing.

    Args:
        phi_1: first coefficient.
        phi_2: second coefficient, negative for a swing.

    Source: G. U. Yule, Phil. Trans. A 226 (1927) 267.

    No page asks for it: it carries the published examples of a swing without a fixed step.
    """
    if phi_2 >= 0 or abs(phi_1 / (2 * math.sqrt(-phi_2))) >= 1:
        return math.inf
    return 2 * math.pi / math.acos(phi_1 / (2 * math.sqrt(-phi_2)))


@checked
def fit_second_order(values: ArrayLike) -> tuple[float, float]:
    """Coefficients of x_t = c + phi_1 x_{t-1} + phi_2 x_{t-2} + e by least squares.

    Args:
        values: readings at equal steps, none missing.

    No page asks for it: it carries the published examples of a swing without a fixed step.
    """
    x = readings(values, "values")
    if x.size < 8 or np.isnan(x).any():
        raise MethodRefusal(Complaint("values", "are too few or have gaps", "Give 8 readings without a gap"))
    design = np.column_stack([np.ones(x.size - 2), x[1:-1], x[:-2]])
    part, *_ = np.linalg.lstsq(design, x[2:], rcond=None)
    return float(part[1]), float(part[2])

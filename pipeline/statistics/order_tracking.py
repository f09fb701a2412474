"""Is a swing locked to the wire's length, to time, or to the screw?

A change of speed separates the two: the true cause is sharpest on its own axis. K. R. Fyfe & E. D. S. Munk, Mech.
Syst. Signal Process. 11 (1997) 187; coherence between two channels: Bendat & Piersol, Random Data (2010).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import signal

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import positive, readings

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
    words: Message


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

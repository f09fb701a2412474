"""What period would each turning element leave on the wire, how would it be seen, and which one fits?

The alias table comes before any reading of a spectrum: a capstan read once a metre shows a period it does not
have. A found period is given to an element only if it fits within tolerance and no other does. Sampling
theorem; the rest is derived.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Measure, Message, message
from pipeline.notes import Note
from pipeline.results import Refused, Result
from pipeline.samples import not_negative, positive

# An alias whose seen period is less sure than this share of it fits almost anything: it is not blamed (chosen here).
LOOSE = 0.05
NOTHING_FITS = "no listed element fits"


@dataclass(frozen=True, slots=True)
class TurningElement:
    """Something that turns and may leave its mark on the wire.

    Args:
        name: the plant's name of it.
        turn_m: wire made in one turn [m].
        turn_sd_m: standard uncertainty of that, slip among it [m].
        locked_to: 'length' if the wire drives it, 'time' if it has its own motor.
    """

    name: str
    turn_m: float
    turn_sd_m: float
    locked_to: str = "length"


@dataclass(frozen=True, slots=True)
class ExpectedLine:
    """One line an element may leave in a spectrum over length.

    Args:
        element: the element.
        harmonic: 1 for the turn itself, 2 for half of it, and so on.
        true_period_m: the period on the wire [m].
        seen_period_m: the period the readings show [m]; infinite if it is seen as a steady level.
        seen_sd_m: standard uncertainty of the seen period [m].
        aliased: True where the readings are too far apart to show the true period.
        passed: share of the amplitude that the averaging of one reading leaves.
    """

    element: str
    harmonic: int
    true_period_m: float
    seen_period_m: float
    seen_sd_m: float
    aliased: bool
    passed: float


@dataclass(frozen=True, slots=True)
class Attribution:
    """Which element a found period fits.

    Args:
        period_m: the found period [m].
        period_sd_m: its standard uncertainty [m].
        fits: all lines that fit within tolerance, the nearest first.
        element: the one element that fits, or 'no listed element fits', or 'several fit'.
        words: the answer in one sentence.
    """

    period_m: float
    period_sd_m: float
    fits: tuple[ExpectedLine, ...]
    element: str
    words: Message


@checked
def driven_by_wire(name: str, circumference_m: float, tolerance_pct: float) -> TurningElement:
    """An element that the wire drives: its turn is its circumference.

    Args:
        name: the plant's name of it.
        circumference_m: wire length of one turn [m].
        tolerance_pct: how well that is known, slip among it, taken as two standard uncertainties [%].
    """
    turn = positive(circumference_m, "circumference_m", "m")
    return TurningElement(
        name, turn, turn * not_negative(tolerance_pct, "tolerance_pct", "%") / 200, "length"
    )


@checked
def driven_by_motor(name: str, period_s: float, tolerance_pct: float, speed_m_s: float) -> TurningElement:
    """An element with its own motor: its turn is speed x time, P = v / f.

    Args:
        name: the plant's name of it.
        period_s: time of one turn [s]; 60 / rpm.
        tolerance_pct: how well that is known, taken as two standard uncertainties [%].
        speed_m_s: line speed while the readings were taken [m/s].
    """
    turn = positive(period_s, "period_s", "s") * positive(speed_m_s, "speed_m_s", "m/s")
    return TurningElement(name, turn, turn * not_negative(tolerance_pct, "tolerance_pct", "%") / 200, "time")


@checked
def seen_frequency(frequency: float, readings_per_m: float) -> float:
    """Frequency that readings show: |f - round(f / fs) fs|.

    Args:
        frequency: true frequency [1/m].
        readings_per_m: readings per metre fs [1/m].

    Source: sampling theorem. A capstan of .5305/m read once a metre is seen at .4695/m, 2.130 m.
    """
    rate = positive(readings_per_m, "readings_per_m", "1/m")
    return abs(frequency - round(frequency / rate) * rate)


@checked
def alias_table(
    elements: Sequence[TurningElement], step_m: float, window_m: float, harmonics: int = 5
) -> tuple[ExpectedLine, ...]:
    """Every element and harmonic, as readings `step_m` apart that each average `window_m` would show it.

    The averaging leaves |sinc(window / P)| of the amplitude.

    Args:
        elements: what turns.
        step_m: wire between readings [m].
        window_m: wire that one reading averages [m].
        harmonics: how many harmonics of each turn.

    Lines with a period under 2 x step are not observable directly; they are marked, not left out.
    """
    step = positive(step_m, "step_m", "m")
    window = not_negative(window_m, "window_m", "m")
    if harmonics < 1:
        raise MethodRefusal(Complaint("harmonics", f"{harmonics} was given", "Give 1 or more"))
    table = []
    for one in elements:
        for k in range(1, harmonics + 1):
            true = positive(one.turn_m, f"{one.name}: turn_m", "m") / k
            f, f_sd = 1 / true, one.turn_sd_m / k / true**2
            seen = seen_frequency(f, 1 / step)
            period = 1 / seen if seen > 1e-12 else math.inf
            spread = f_sd * period**2 if math.isfinite(period) else math.inf
            passed = abs(float(np.sinc(window * f)))
            table.append(ExpectedLine(one.name, k, true, period, spread, f > 0.5 / step * (1 + 1e-9), passed))
    return tuple(table)


@checked
def attribute(period_m: float, period_sd_m: float, table: Sequence[ExpectedLine]) -> Attribution:
    """The element whose line lies within two combined standard uncertainties of the found period.

    |P - P_k| <= 2 sqrt(u_P^2 + u_k^2); one element only, else all that fit are named and none is blamed.

    Args:
        period_m: the found period, as the readings show it [m].
        period_sd_m: its standard uncertainty [m].
        table: from `alias_table`, for the same readings.

    Derived. A fit is a coincidence of lengths, not proof of the cause.
    """
    positive(period_m, "period_m", "m")
    not_negative(period_sd_m, "period_sd_m", "m")
    near = [
        (abs(period_m - line.seen_period_m) / math.hypot(period_sd_m, line.seen_sd_m, 1e-300), line)
        for line in table
        if math.isfinite(line.seen_period_m)
        and not (line.aliased and line.seen_sd_m > LOOSE * line.seen_period_m)
        and abs(period_m - line.seen_period_m) <= 2 * math.hypot(period_sd_m, line.seen_sd_m)
    ]
    fits = tuple(
        line for _, line in sorted(near, key=lambda pair: (pair[1].aliased, pair[1].harmonic, pair[0]))
    )
    names = sorted({line.element for line in fits})
    period = Measure(period_m, "m")
    if not names:
        return Attribution(
            period_m, period_sd_m, (), NOTHING_FITS, message(Note.PERIOD_FITS_NOTHING, period=period)
        )
    turns = [_told(line) for line in fits]
    if len(names) == 1:
        told = message(Note.PERIOD_FITS, period=period, turns=turns)
        return Attribution(period_m, period_sd_m, fits, names[0], told)
    told = message(Note.PERIOD_FITS_SEVERAL, period=period, turns=turns)
    return Attribution(period_m, period_sd_m, fits, "several fit", told)


def _told(line: ExpectedLine) -> Message:
    aliased = {"true": Measure(line.true_period_m, "m")} if line.aliased else {}
    part = {} if line.harmonic == 1 else {"part": line.harmonic}
    return message(
        Note.TURN_OF_ELEMENT, element=line.element, seen=Measure(line.seen_period_m, "m"), **part, **aliased
    )


@checked
def period_of_result(found: Result | Refused) -> tuple[float, float] | None:
    """Period and standard uncertainty of a result in metres, for `attribute`; None for a refusal or without an end."""
    if isinstance(found, Refused) or not np.isfinite([found.estimate, found.low, found.high]).all():
        return None
    return found.estimate, found.details.get("period_sd_m", (found.high - found.low) / 4)

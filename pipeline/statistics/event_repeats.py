"""Do faults come back after each turn of something, and of what?

Listed circumferences are tested first: few trials, much power. A blind scan pays for every period looked at.
An electrode or an uncertain position smears the phase and so costs power, but phases that agree by more than chance
agree all the same: a smeared turn may be convicted by many faults; it is only never cleared by few. Derived.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special, stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.samples import not_negative, positive, share, whole_readings
from pipeline.statistics.phase_agreement import Phases, resolved_share

QUESTION = asks(Quantity.FAULT_REPEAT)
METHOD = message(Method.PHASES_OF_FAULTS)
LEAST_SHARE = 0.3
"""Share of the mark's phase vector that must survive the smearing for a turn to be cleared by faults that do not
repeat with it."""
MARKS = (1, 2)
"""Marks a turn that are looked for: two opposite ones leave no trace at the turn itself, but at its half."""
FINER = 50
"""How many times finer the grid of frequencies is made around its strongest one."""
FEWEST = 4
"""Fewest faults, on reels with two at least, that may show a repeat."""


@dataclass(frozen=True, slots=True)
class EventRepeat:
    """What one period shows.

    Args:
        name: the element, or 'scan'.
        period_m: the period with the strongest phases within the tolerance [m].
        period_sd_m: standard uncertainty of that period [m].
        period_half_m: half the width of its 95 % interval, Student's quantile of the scatter's degrees of freedom
            times that [m]; it held the true period in .950 of 10,000 simulated sets of 12 faults.
        statistic: sum over reels of 2 n Rbar^2.
        p_local: p-value had only this period been looked at.
        p_value: p-value after all periods looked at are paid for.
        trials: how many independent periods that were.
        n: faults on reels with two or more.
        reels: those reels.
        resolved: share of the phase vector that electrode and position leave.
        marks: marks a turn that the period stands for: 2 where the faults repeat at half the turn.
        harmonic_of: a longer-turning element that explains this one, "" if none.
        warnings: sentences a reader must see beside it.
    """

    name: str
    period_m: float
    period_sd_m: float
    period_half_m: float
    statistic: float
    p_local: float
    p_value: float
    trials: float
    n: int
    reels: int
    resolved: float
    marks: int = 1
    harmonic_of: str = ""
    warnings: tuple[Message, ...] = ()


@dataclass(frozen=True, slots=True)
class RepeatSearch:
    """All listed elements, tested or refused.

    Args:
        tested: elements that were tested, the strongest first.
        refused: elements that neither repeat nor are cleared, with the reason.
        verdict: the answer.
    """

    tested: tuple[EventRepeat, ...]
    refused: tuple[Refused, ...]
    verdict: Message


@checked
def search_repeats(
    reels: Sequence[ArrayLike],
    turns_m: Mapping[str, float],
    electrode_m: float,
    position_sd_m: float,
    tolerance_pct: Mapping[str, float] | float = 1.0,
    confidence: float = 0.95,
    one_wire: bool = False,
) -> RepeatSearch | Refused:
    """Whether faults repeat with the turn of a listed element; the list must be made before looking.

    At each element the period may lie within its tolerance, with one mark a turn or two. S = sum over reels of
    2 n Rbar^2 is chi-square with 2K degrees; the p-value pays for all periods of all elements (Davies, Biometrika 74,
    1987, 33; for one reel the form of Baluev, MNRAS 385, 2008, 1279). Where faults come in bunches, S is taken as a
    share of what it usually is at frequencies beside the turn.

    Args:
        reels: for each reel the positions of its faults, merged [m]; phases do not carry over between reels.
        turns_m: wire length of one turn of each listed element [m].
        electrode_m: electrode length [m].
        position_sd_m: standard uncertainty of a fault's position [m].
        tolerance_pct: how well each turn is known [%], one for all or by element.
        confidence: 1 - the level at which a repeat is called.
        one_wire: True where positions are along one wire from reel to reel: phases that carry over are then looked at
            as well, which few faults a reel need, and both ways are paid for.

    Electrode and position only lower the power: an element that does not repeat is cleared where they leave
    `LEAST_SHARE` of its phase, and else told as not cleared.
    """
    share(confidence, "confidence")
    places = _usable(reels)
    n = sum(one.size for one in places)
    if not turns_m:
        raise MethodRefusal(
            Complaint("turns_m", "no element is listed", "List what turns on the line sheet before looking")
        )
    if n < FEWEST:
        reason = message(Reason.TOO_FEW_FOR_A_REPEAT, n=n, fewest=FEWEST)
        return Refused(QUESTION, METHOD, reason, n)
    listed, refused = [], []
    for name, turn in turns_m.items():
        why = _too_close(name, turn, places)
        if why is not None:
            refused.append(Refused(QUESTION, METHOD, why, n))
        else:
            percent = tolerance_pct[name] if isinstance(tolerance_pct, Mapping) else tolerance_pct
            listed.append((name, turn, not_negative(percent, "tolerance_pct", "%") / 100))
    bands = [
        (name, turn, marks, (marks / (turn * (1 + part)), marks / (turn * (1 - part))))
        for name, turn, part in listed
        for marks in MARKS
    ]
    width = sum(high - low for *_, (low, high) in bands)
    ways = _ways(places, one_wire)
    every = [
        _tested(
            name,
            band,
            way,
            width,
            len(bands),
            resolved_share(turn / marks, position_sd_m, electrode_m),
            marks,
            len(ways),
        )
        for name, turn, marks, band in bands
        for way in ways
    ]
    level = 1 - confidence
    best = [_of_element([one for one in every if one.name == name], level) for name, *_ in listed]
    marked = _harmonics(best, level)
    for one in marked:
        turn = turns_m[one.name]
        left = resolved_share(turn, position_sd_m, electrode_m)
        why = None if one.p_value < level else _smeared(one.name, turn, left, electrode_m, position_sd_m)
        if why is not None:
            refused.append(Refused(QUESTION, METHOD, why, n))
    return RepeatSearch(marked, tuple(refused), _verdict(marked, refused, level))


def _of_element(tested: Sequence[EventRepeat], level: float) -> EventRepeat:
    """What tells of an element: one mark a turn where that alone repeats, else the strongest."""
    once = [one for one in tested if one.marks == 1 and one.p_value < level]
    return min(once or tested, key=_order)


def _order(one: EventRepeat) -> tuple[float, float]:
    return (one.p_value, one.marks)


@checked
def scan_repeats(
    reels: Sequence[ArrayLike],
    shortest_m: float,
    longest_m: float,
    electrode_m: float,
    position_sd_m: float,
    one_wire: bool = False,
) -> EventRepeat | Refused:
    """The strongest repeat of any period between two lengths, its p-value paying for all of them.

    Args:
        reels: for each reel the positions of its faults, merged [m].
        shortest_m: shortest period looked at [m].
        longest_m: longest period looked at [m].
        electrode_m: electrode length [m].
        position_sd_m: standard uncertainty of a fault's position [m].
        one_wire: as for `search_repeats`.

    Source: as `search_repeats`. Far weaker than a search among listed turns.
    """
    places = _usable(reels)
    n = sum(one.size for one in places)
    question = asks(Quantity.FAULT_REPEAT_ANY)
    if positive(longest_m, "longest_m", "m") <= positive(shortest_m, "shortest_m", "m"):
        raise MethodRefusal(
            Complaint("longest_m", f"{longest_m:g} m is not above {shortest_m:g} m", "Give a longer length")
        )
    if n < FEWEST:
        return Refused(
            question,
            METHOD,
            message(Reason.TOO_FEW_FAULTS_FOR_A_SCAN, n=n, fewest=FEWEST),
            n,
        )
    why = _too_close("scan", longest_m, places)
    if why:
        return Refused(question, METHOD, why, n)
    left = resolved_share(shortest_m, position_sd_m, electrode_m)
    band = (1 / longest_m, 1 / shortest_m)
    ways = _ways(places, one_wire)
    tested = [_tested("scan", band, way, band[1] - band[0], 1, left, 1, len(ways)) for way in ways]
    return min(tested, key=_order)


def _ways(places: Sequence[NDArray[np.float64]], one_wire: bool) -> tuple[Sequence[NDArray[np.float64]], ...]:
    """Reels each with a phase of its own; and, on one wire, all with one."""
    return (places, [np.sort(np.concatenate(places))]) if one_wire and len(places) > 1 else (places,)


def _usable(reels: Sequence[ArrayLike]) -> list[NDArray[np.float64]]:
    """Reels with two faults or more: one fault alone has no phase to agree with."""
    places = [np.sort(whole_readings(one, f"reels[{i}]")) for i, one in enumerate(reels)]
    return [one for one in places if one.size >= 2]


def _too_close(name: str, turn: float, places: Sequence[NDArray[np.float64]]) -> Message | None:
    """Why a turn cannot be tested by these faults, or nothing."""
    span = max(float(one[-1] - one[0]) for one in places)
    if span >= 3 * turn:
        return None
    return message(
        Reason.FAULTS_TOO_CLOSE_FOR_THE_TURN, name=name, span=Measure(span, "m"), turn=Measure(turn, "m")
    )


def _smeared(name: str, turn: float, left: float, electrode_m: float, position_sd_m: float) -> Message | None:
    """Why an element that does not repeat is not cleared either, or nothing."""
    if left >= LEAST_SHARE:
        return None
    if resolved_share(turn, position_sd_m, 0.0) < LEAST_SHARE:
        return message(
            Reason.POSITIONS_SMEAR_THE_TURN,
            name=name,
            position_sd_m=Measure(position_sd_m, "m"),
            turn=Measure(turn, "m"),
            left=100 * left,
        )
    return message(
        Reason.ELECTRODE_SMEARS_THE_TURN,
        name=name,
        turn=Measure(turn, "m"),
        electrode_m=Measure(electrode_m, "m"),
        left=100 * left,
    )


def _tested(
    name: str,
    band: tuple[float, float],
    places: Sequence[NDArray[np.float64]],
    width: float,
    bands: int,
    resolved: float,
    marks: int,
    ways: int,
) -> EventRepeat:
    phases = Phases(places)
    steps = max(1, math.ceil((band[1] - band[0]) * phases.longest * 12))
    grid = np.linspace(band[0], band[1], steps + 1) if band[1] > band[0] else np.array([band[0]])
    found = phases.strength(grid)
    best = int(found.argmax())
    if (
        grid.size > 1
    ):  # the top lies between the grid's frequencies, whose step is as large as its uncertainty
        grid = np.linspace(grid[max(best - 1, 0)], grid[min(best + 1, steps)], 2 * FINER + 1)
        found = phases.strength(grid)
        best = int(found.argmax())
    statistic = float(found[best]) / phases.beside(band)
    local = phases.local_p(statistic)
    by_chance = max(float(stats.chi2.sf(statistic, phases.degrees)), 1e-300)
    trials = ways * (bands + phases.crossings(statistic, width) / by_chance)
    period = float(1 / grid[best])
    error = phases.period_sd(period)
    return EventRepeat(
        name=name,
        period_m=period,
        period_sd_m=error,
        period_half_m=float(special.stdtrit(phases.freedom, 0.975)) * error,
        statistic=statistic,
        p_local=local,
        p_value=-math.expm1(trials * math.log1p(-min(local, 1 - 1e-16))),
        trials=trials,
        n=phases.n,
        reels=len(places),
        resolved=resolved,
        marks=marks,
        warnings=phases.bunches(period),
    )


def _harmonics(tested: Sequence[EventRepeat], level: float) -> tuple[EventRepeat, ...]:
    """Marks each finding whose period is a whole part of a longer finding's period."""
    marked = []
    found = [one for one in tested if one.p_value < level]
    for one in tested:
        parent = ""
        for longer in found:
            order = round(longer.period_m / one.period_m)
            off = abs(longer.period_m - order * one.period_m)
            if order >= 2 and off <= 2 * math.hypot(longer.period_sd_m, order * one.period_sd_m):
                parent = longer.name
        marked.append(replace(one, harmonic_of=parent))
    return tuple(sorted(marked, key=lambda one: (one.p_value, -one.statistic)))


def _verdict(tested: Sequence[EventRepeat], refused: Sequence[Refused], level: float) -> Message:
    found = [one for one in tested if one.p_value < level and not one.harmonic_of]
    untold = {"untold": len(refused)} if refused else {}
    if not found:
        return message(Note.NO_ELEMENT_REPEATS, **untold)
    names = [
        message(
            Note.REPEAT_OF_ELEMENT,
            element=one.name,
            period=Measure(one.period_m, "m"),
            p=one.p_value,
            **({"marks": one.marks} if one.marks > 1 else {}),
        )
        for one in found
    ]
    several = len(found) > 1
    return message(Note.SEVERAL_ELEMENTS_FIT if several else Note.FAULTS_COME_BACK, elements=names, **untold)

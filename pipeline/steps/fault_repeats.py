"""Do the spark faults of a run come back after a length: of a listed element, by harmonics, or of any length?

Listed elements first: few tries, so that few faults can show a repeat. A scan of every length looks at many, and says
what that costs it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from pipeline.assumed import Assumed
from pipeline.errors import ReelproofError
from pipeline.messages import Measure, Said, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.statistics.event_repeats import EventRepeat, RepeatSearch, scan_repeats
from pipeline.statistics.phase_tests import h_test, look_elsewhere, rayleigh_test, z2_test
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench
from pipeline.steps.circumstances import REPEAT_P, fault_places, turns_of
from pipeline.steps.evidence import Floats

TOPIC = "fault repeats"
LISTED = message(Method.REPEATS_OF_ELEMENTS)
SCANNED = message(Method.REPEATS_OF_ANY_LENGTH)
# Longest length that is scanned for [m]; the shortest is four electrodes, under which the phase is lost (chosen here).
LONGEST_M = 20.0
# Faults on one reel from which harmonics are looked at, and how many of them by Z^2 (chosen here).
FEWEST, HARMONICS = 5, 2


def repeat_answers(bench: Bench, found: RepeatSearch | Refused | None) -> list[AnswerRow]:
    """Repeats with listed elements, and with any length, as results of the run.

    Args:
        bench: the run.
        found: the search among the listed elements, as of `circumstances.spark_repeats`; None where none is listed.
    """
    places, unsure = fault_places(bench)
    answers = [] if found is None else [repeat_answer(found, by_harmonics(places, *turns_of(bench)))]
    tester = bench.line.instrument("spark tester")
    if tester is not None and places:
        answers.append(scan_answer(places, tester.window_m, unsure))
    return [AnswerRow("run", bench.run.id, TOPIC, one) for one in answers]


def by_harmonics(
    places: Sequence[Floats], turns_m: Mapping[str, float], tolerance_pct: Mapping[str, float]
) -> str:
    """The reel with most faults by Rayleigh's test, Z^2 and H at every element, in a sentence; "" for few faults.

    Rayleigh's test sees one mark a turn; Z^2 and H also see several or a narrow one. Every turn within the tolerances
    is tried, and each test's smallest p-value pays for all tries; H is taken where Z^2 is largest.

    Args:
        places: places of the faults of each reel [m].
        turns_m: wire of one turn of each listed element [m].
        tolerance_pct: how well each is known [%].
    """
    most = max(places, key=len, default=np.zeros(0))
    span = float(np.ptp(most)) if len(most) >= FEWEST else 0.0
    tried = [
        (float(1.0 / frequency), name)
        for name, turn in turns_m.items()
        if 0.0 < 3.0 * turn < span
        for frequency in _frequencies(turn, tolerance_pct.get(name, 1.0) / 100.0, span)
    ]
    if not tried:
        return ""
    round_by = [rayleigh_test(most, turn) for turn, _ in tried]
    squared = [z2_test(most, turn, HARMONICS) for turn, _ in tried]
    one = min(range(len(tried)), key=lambda k: round_by[k].p_value)
    two = min(range(len(tried)), key=lambda k: squared[k].p_value)
    told = [
        f"{name} {test.statistic:.3g} at {tried[at][1]}, p = {look_elsewhere(test.p_value, len(tried)):.2g}"
        for name, test, at in (
            ("Rayleigh", round_by[one], one),
            (f"Z^2 with {HARMONICS} harmonics", squared[two], two),
            ("H", h_test(most, tried[two][0]), two),
        )
    ]
    return (
        f"On the reel with most faults ({len(most)}), {len(tried)} turns of the listed elements by each test, all paid "
        f"for: {'; '.join(told)}."
    )


def _frequencies(turn_m: float, part: float, span_m: float) -> Floats:
    """Turns a metre within the tolerance, a quarter of a turn of the second harmonic over the span apart."""
    low, high = 1.0 / (turn_m * (1.0 + part)), 1.0 / (turn_m * (1.0 - part))
    steps = math.ceil((high - low) * span_m * 4.0 * HARMONICS)
    return np.linspace(low, high, steps + 1) if steps else np.array([1.0 / turn_m])


def repeat_answer(found: RepeatSearch | Refused, harmonics: str = "") -> Result | Refused:
    """Whether spark faults repeat with a listed element, as a result: the period of the strongest one.

    Args:
        found: the search among the listed elements.
        harmonics: what the tests with harmonics say, as of `by_harmonics`.
    """
    question = asks(Quantity.FAULT_REPEAT)
    if isinstance(found, Refused):
        return replace(found, question=question)
    strongest = next((one for one in found.tested if not one.harmonic_of), None)
    if strongest is None or strongest.p_value >= REPEAT_P:
        n = strongest.n if strongest is not None else max((one.n for one in found.refused), default=0)
        beside = {"harmonics": harmonics} if harmonics else {}
        return Refused(question, LISTED, message(Reason.NO_REPEAT, verdict=found.verdict, **beside), n)
    told = (found.verdict, *([harmonics] if harmonics else []), *strongest.warnings)
    answer = _answer(question, LISTED, strongest, (*told, *(one.reason for one in found.refused)))
    # The sheet does not say whether its elements were listed before the faults were looked at.
    listed = Assumption(
        message(Assumed.LISTED_BEFORE_LOOKING), None, message(Note.ELEMENTS_OF_THE_LINE_SHEET)
    )
    return replace(answer, assumptions=(listed, *answer.assumptions))


def scan_answer(places: Sequence[Floats], electrode_m: float, position_sd_m: float) -> Result | Refused:
    """The strongest repeat of any length from four electrodes up, every length looked at paid for.

    Args:
        places: places of the faults of each reel [m].
        electrode_m: length of the tester's electrode [m].
        position_sd_m: how well a place is known [m].
    """
    n = sum(len(one) for one in places)
    longest = min(LONGEST_M, max((float(one[-1] - one[0]) for one in places if len(one)), default=0.0) / 3.0)
    shortest = max(4.0 * electrode_m, 8.0 * position_sd_m, 0.5)
    question = asks(
        Quantity.FAULT_REPEAT_ANY, shortest=Measure(shortest, "m"), longest=Measure(LONGEST_M, "m")
    )
    if longest <= shortest:
        reason = message(Reason.FAULTS_NOT_FAR_APART, n=n)
        return Refused(question, SCANNED, reason, n)
    try:
        found = scan_repeats(places, shortest, longest, electrode_m, position_sd_m)
    except ReelproofError as fault:
        return Refused(question, SCANNED, str(fault.complaints[0]), n)
    if isinstance(found, Refused):
        return replace(found, question=question, method=SCANNED)
    if found.p_value >= REPEAT_P:
        reason = message(
            Reason.NO_LENGTH_STANDS_OUT,
            period_m=Measure(found.period_m, "m"),
            p_value=found.p_value,
            trials=found.trials,
            p_local=found.p_local,
        )
        return Refused(question, SCANNED, reason, found.n)
    told = message(
        Note.LENGTH_STANDS_OUT,
        period=Measure(found.period_m, "m"),
        trials=found.trials,
        p=found.p_value,
        across=Measure(1000.0 * found.period_m / math.pi, "mm"),
    )
    return _answer(question, SCANNED, found, (told, *found.warnings))


def _answer(question: Asked, method: Said, one: EventRepeat, warnings: tuple[Said, ...]) -> Result:
    return Result(
        question=question,
        estimate=one.period_m,
        low=one.period_m - one.period_half_m,
        high=one.period_m + one.period_half_m,
        confidence=0.95,
        unit="m",
        method=method,
        n=one.n,
        effective_n=None,
        known_m=None,
        unit_of_inference="event",
        assumptions=(
            Assumption(
                message(Assumed.FAULTS_SEPARATE),
                None,
                message(Note.FAULTS_ON_REELS, n=one.n, reels=one.reels),
            ),
        ),
        warnings=warnings,
        details={"p_value": one.p_value, "p_local": one.p_local, "trials": one.trials},
    )

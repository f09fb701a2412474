"""Do the spark faults of a run come back after a length: of a listed element, or of any length?

Listed elements first: few tries, so that few faults can show a repeat. Only where none repeats is every length scanned,
which looks at many and says what that costs it: one question has one answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from pipeline.assumed import Assumed
from pipeline.errors import ReelproofError
from pipeline.length.line_length import counter_scale, integral_m
from pipeline.messages import Measure, Message, Place, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result, refused_by
from pipeline.statistics.event_family import MEMBER_P
from pipeline.statistics.event_repeats import EventRepeat, RepeatSearch, scan_repeats
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench
from pipeline.steps.circumstances import REPEAT_P, fault_places, members_of
from pipeline.steps.evidence import Floats

TOPIC = "fault repeats"
LISTED = message(Method.REPEATS_OF_ELEMENTS)
SCANNED = message(Method.REPEATS_OF_ANY_LENGTH)
# Longest length that is scanned for [m]; the shortest in electrodes and in uncertainties of a place, under which the
# phase of a mark is all but lost, and in metres (chosen here).
LONGEST_M, SHORTEST_ELECTRODES, SHORTEST_SDS, SHORTEST_M = 20.0, 0.75, 4.0, 0.3
NORMAL_95 = 1.96


def repeat_answers(bench: Bench, found: RepeatSearch | Refused | None) -> list[AnswerRow]:
    """Repeats with listed elements, and with any length, as results of the run.

    Args:
        bench: the run.
        found: the search among the listed elements, as of `circumstances.spark_repeats`; None where none is listed.
    """
    places, unsure = fault_places(bench)
    answers: list[Result | Refused] = [] if found is None else [repeat_answer(found)]
    tester = bench.line.instrument("spark tester")
    if tester is not None and places and not any(isinstance(one, Result) for one in answers):
        answers.append(scan_answer(places, tester.window_m, unsure))
    scale = scale_of_length(bench) if any(isinstance(one, Result) for one in answers) else 0.0
    told = [
        with_members(with_scale(one, scale), members_of(bench, one.estimate), sum(map(len, places)))
        if isinstance(one, Result)
        else one
        for one in answers
    ]
    return [AnswerRow("run", bench.run.id, TOPIC, one) for one in told]


def scale_of_length(bench: Bench) -> float:
    """Standard uncertainty of the counter's scale, as a share: the encoder's own and what the line speed denies of it.

    Where counter and speed differ by d, the true length lies between the two: u = d / sqrt(3), about the counter's
    (GUM, 4.3.7, from memory).
    """
    encoder = bench.line.instrument("encoder")
    placement = bench.placed.placement
    speed = placement.readings["speed_m_s"].to_numpy()
    by_speed = integral_m(speed, placement.seconds)
    apart = abs(counter_scale(placement.at_m, by_speed, placement.seconds) - 1.0)
    return math.hypot((encoder.scale_pct if encoder is not None else 0.2) / 100.0, apart / math.sqrt(3.0))


def with_scale(found: Result, scale: float) -> Result:
    """The period with the scale of the length in its interval.

    Args:
        found: the period, its interval from the faults' phases alone.
        scale: standard uncertainty of the scale, as a share.
    """
    half = math.hypot((found.high - found.low) / 2.0, NORMAL_95 * scale * found.estimate)
    note = message(Note.SCALE_IN_INTERVAL, scale=100.0 * scale)
    return replace(
        found, low=found.estimate - half, high=found.estimate + half, warnings=(*found.warnings, note)
    )


def with_members(found: Result, members: Sequence[tuple[float, float]], faults: int) -> Result:
    """The period with the list of the faults that belong to it.

    Args:
        found: the period.
        members: place of each member [m], and its probability.
        faults: faults in all.
    """
    listed = [message(Note.FAMILY_MEMBER, at=Place(at), probability=p) for at, p in members]
    if not listed:
        note = message(Note.NO_FAMILY_MEMBER, faults=faults, least=MEMBER_P)
    else:
        note = message(
            Note.FAMILY_MEMBERS, n=len(listed), faults=faults, least=MEMBER_P, members=tuple(listed)
        )
    return replace(found, warnings=(*found.warnings, note))


def repeat_answer(found: RepeatSearch | Refused) -> Result | Refused:
    """Whether spark faults repeat with a listed element, as a result: the period of the strongest one.

    Args:
        found: the search among the listed elements.
    """
    question = asks(Quantity.FAULT_REPEAT)
    if isinstance(found, Refused):
        return replace(found, question=question)
    strongest = next((one for one in found.tested if not one.harmonic_of), None)
    if strongest is None or strongest.p_value >= REPEAT_P:
        n = strongest.n if strongest is not None else max((one.n for one in found.refused), default=0)
        beside = {"beside": [one.reason for one in found.refused]} if found.refused else {}
        return Refused(question, LISTED, message(Reason.NO_REPEAT, verdict=found.verdict, **beside), n)
    told = (found.verdict, *strongest.warnings, *(one.reason for one in found.refused))
    answer = _answer(question, LISTED, strongest, told)
    # The sheet does not say whether its elements were listed before the faults were looked at.
    listed = Assumption(
        message(Assumed.LISTED_BEFORE_LOOKING), None, message(Note.ELEMENTS_OF_THE_LINE_SHEET)
    )
    return replace(answer, assumptions=(listed, *answer.assumptions))


def scan_answer(places: Sequence[Floats], electrode_m: float, position_sd_m: float) -> Result | Refused:
    """The strongest repeat of any length between two, every length looked at paid for.

    Args:
        places: places of the faults of each reel [m].
        electrode_m: length of the tester's electrode [m].
        position_sd_m: how well a place is known [m].
    """
    n = sum(len(one) for one in places)
    longest = min(LONGEST_M, max((float(one[-1] - one[0]) for one in places if len(one)), default=0.0) / 3.0)
    shortest = max(SHORTEST_ELECTRODES * electrode_m, SHORTEST_SDS * position_sd_m, SHORTEST_M)
    question = asks(
        Quantity.FAULT_REPEAT_ANY, shortest=Measure(shortest, "m"), longest=Measure(LONGEST_M, "m")
    )
    if longest <= shortest:
        reason = message(Reason.FAULTS_NOT_FAR_APART, n=n)
        return Refused(question, SCANNED, reason, n)
    try:
        found = scan_repeats(places, shortest, longest, electrode_m, position_sd_m, one_wire=True)
    except ReelproofError as fault:
        return refused_by(question, SCANNED, fault, n)
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


def _answer(question: Asked, method: Message, one: EventRepeat, warnings: tuple[Message, ...]) -> Result:
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

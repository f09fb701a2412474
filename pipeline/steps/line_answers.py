"""What a run tells of its line, as results and refusals: stations, hot to cold, gauge noise, clocks, marks."""

from __future__ import annotations

from dataclasses import replace

from pipeline.assumed import Assumed
from pipeline.length.footage_marks import MARK_READ_M, FootageMap
from pipeline.length.station_offset import StationFinding
from pipeline.messages import Measure, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.results import Assumption, Refused, Result
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench
from pipeline.steps.line_checks import Clocks


def line_answers(bench: Bench) -> tuple[AnswerRow, ...]:
    """Every result and refusal about the line that the run ran on."""
    run, checks = bench.run.id, bench.checks
    rows = [AnswerRow("run", run, "station offsets", station_answer(one)) for one in checks.stations]
    if checks.shrinkage is not None:
        rows.append(AnswerRow("run", run, "hot to cold", checks.shrinkage))
    rows += [AnswerRow("run", run, "gauge noise", one) for one in bench.measured.noise.values()]
    rows += [AnswerRow("run", run, "clocks", clock_answer(one)) for one in checks.clocks]
    return (*rows, *mark_answers(bench))


def station_answer(found: StationFinding) -> Result | Refused:
    """How far two gauges stand apart by their readings, as a result."""
    question = asks(
        Quantity.STATION_DISTANCE, f"{found.first} : {found.second}", one=found.first, other=found.second
    )
    method = message(Method.PREWHITENED_CROSS_CORRELATION)
    if found.verdict == "not tested":
        return Refused(question, method, found.told, found.n)
    return Result(
        question=question,
        estimate=found.found_m,
        low=found.low_m,
        high=found.high_m,
        confidence=0.95,
        unit="m",
        method=method,
        n=found.n,
        effective_n=None,
        known_m=None,
        unit_of_inference="reading",
        assumptions=(
            Assumption(
                message(Assumed.VARY_TOGETHER),
                abs(found.correlation) > found.chance_limit,
                message(
                    Note.CORRELATION_AGAINST_CHANCE,
                    correlation=found.correlation,
                    chance_limit=found.chance_limit,
                ),
            ),
            Assumption(
                message(Assumed.DISTANCE_HOLDS),
                not found.drifts,
                message(Note.DRIFT_OF_DISTANCE, per_mille=found.drift_m_per_km),
            ),
        ),
        warnings=(found.told,),
        details={"sheet_m": found.sheet_m, "drift_m_per_km": found.drift_m_per_km},
    )


def clock_answer(found: Clocks) -> Result | Refused:
    """How far the clock of one log stands ahead of another's, as a result."""
    question = asks(
        Quantity.CLOCK_OFFSET, f"{found.second} : {found.first}", one=found.second, other=found.first
    )
    skew = found.answer
    if isinstance(skew, Refused):
        return replace(skew, question=question)
    half = 1.96 * skew.sd_s
    return Result(
        question=question,
        estimate=skew.seconds,
        low=skew.seconds - half,
        high=skew.seconds + half,
        confidence=0.95,
        unit="s",
        method=message(Method.SHIFT_OF_SPEED),
        n=skew.n,
        effective_n=None,
        known_m=None,
        unit_of_inference="reading",
        warnings=(skew.told,),
        details={"length_m": skew.length_m},
    )


def mark_answers(bench: Bench) -> tuple[AnswerRow, ...]:
    """Which printed length stands at either end of each reel; nothing where the run sheet gives no marks."""
    marks = bench.run.marks
    if not marks:
        return ()
    known = FootageMap(
        tuple(one.counter_m for one in marks), tuple(one.printed_m for one in marks), MARK_READ_M
    )
    rows = []
    for reel in bench.placed.reels:
        for end, counter_m in (("inner", reel.counter_from_m), ("outer", reel.counter_to_m)):
            printed, sd = known.mark_at(counter_m)
            inside = known.line_m[0] <= counter_m <= known.line_m[-1]
            rows.append(
                AnswerRow(
                    "reel",
                    reel.id,
                    "footage marks",
                    Result(
                        question=asks(Quantity.PRINTED_LENGTH, end, end=end),
                        estimate=printed,
                        low=printed - 1.96 * sd,
                        high=printed + 1.96 * sd,
                        confidence=0.95,
                        unit="m",
                        method=message(Method.BETWEEN_MARKS),
                        n=len(marks),
                        effective_n=None,
                        known_m=None,
                        unit_of_inference="reel",
                        assumptions=(
                            Assumption(
                                message(Assumed.BETWEEN_SURVEYED_MARKS),
                                inside,
                                message(
                                    Note.MARKS_SURVEYED,
                                    low=Measure(known.line_m[0], "m"),
                                    high=Measure(known.line_m[-1], "m"),
                                ),
                                None if inside else message(Note.THEN_GROWS_BEYOND_MARKS),
                            ),
                        ),
                        warnings=() if inside else (message(Note.BEYOND_SURVEYED_MARKS),),
                        details={"printed_per_counted": known.scale},
                    ),
                )
            )
    return tuple(rows)

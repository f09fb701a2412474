"""For how long did the spark test stress the wire, how fast could the line have run, and what may it have missed?"""

from __future__ import annotations

from pipeline.assumed import Assumed
from pipeline.length import intervals
from pipeline.length.spark_exposure import SparkExposure, chance_of_detection
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Assumption, Refused, Result
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench

_METHOD = message(Method.TIME_IN_ELECTRODE)


def spark_answers(bench: Bench) -> tuple[AnswerRow, ...]:
    """The spark test's exposure of the run and of each reel; nothing where the log has no test voltage."""
    exposure, reels = bench.measured.spark, bench.placed.reels
    if exposure is None or not reels:
        return ()
    spans = [("run", bench.run.id, reels[0].from_m, reels[-1].to_m)]
    spans += [("reel", one.id, one.from_m, one.to_m) for one in reels]
    return tuple(
        AnswerRow(scope, subject, "spark exposure", _exposure(bench, exposure, from_m, to_m))
        for scope, subject, from_m, to_m in spans
    )


def _exposure(
    bench: Bench, exposure: SparkExposure | Refused, from_m: float, to_m: float
) -> Result | Refused:
    question = asks(Quantity.SPARK_EXPOSURE)
    if isinstance(exposure, Refused):
        return Refused(question, _METHOD, exposure.reason, exposure.n)
    least = exposure.least_within(from_m, to_m)
    tester = bench.line.instrument("spark tester")
    if least is None or tester is None:
        return Refused(question, _METHOD, message(Reason.NO_POINT_PASSED), 0)
    within = {
        "tested_m": intervals.length_m(intervals.within(exposure.tested, from_m, to_m)),
        "under_exposed_m": intervals.length_m(intervals.within(exposure.under_exposed, from_m, to_m)),
        "no_voltage_m": intervals.length_m(intervals.within(exposure.no_voltage, from_m, to_m)),
        "over_stressed_m": intervals.length_m(intervals.within(exposure.over_stressed, from_m, to_m)),
    }
    untested = (to_m - from_m) - within["tested_m"]
    details = {
        **within,
        "untested_m": untested,
        f"asked_{exposure.unit}": exposure.cycles_asked,
        "fastest_speed_m_s": exposure.fastest_m_s,
    }
    chance = bench.plant.spark_test.chance_per_crest
    if chance is not None and exposure.unit == "cycles":
        details["chance_of_detection_at_least"] = chance_of_detection(2.0 * least, chance)
    # The electrode's ends are told to a step of the length counter.
    share = min(bench.placed.placement.resolution_m / tester.window_m, 1.0)
    return Result(
        question=question,
        estimate=least,
        low=least * (1.0 - share),
        high=least * (1.0 + share),
        confidence=0.95,
        unit=exposure.unit,
        method=_METHOD,
        n=int(exposure.at_m.size),
        effective_n=None,
        known_m=within["tested_m"],
        unit_of_inference="reading",
        assumptions=(Assumption(message(Assumed.ELECTRODE_AS_STATED), None, f"{tester.window_m:g} m"),),
        warnings=_told(untested, within["over_stressed_m"]),
        details=details,
    )


def _told(untested: float, stood: float) -> tuple[Message, ...]:
    told = []
    if untested > 0.05:
        told.append(message(Note.UNTESTED_WIRE, untested=Measure(untested, "m")))
    if stood > 0.05:
        told.append(message(Note.STOOD_IN_ELECTRODE, stood=Measure(stood, "m")))
    told.append(message(Note.CLEAN_COUNT_IS_NO_PROOF))
    return tuple(told)

"""Statistics of a run and its reels: capability against each limit, and the rate of spark faults.

The unit of these indices is the reading; neighbouring readings repeat each other, so every interval stands on
the effective number of readings. They describe the steady wire made, not the thinnest point of a reel.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.nonconformance.rules import rule_for
from pipeline.notes import Note
from pipeline.possible import possible
from pipeline.products.limits import Limit
from pipeline.quantity import Quantity, asks, asks_of
from pipeline.reasons import Reason
from pipeline.results import Refused, Result, UnitOfInference, asking, standing
from pipeline.statistics.against_record import Observed, against_record
from pipeline.statistics.autocorrelation import EffectiveN, effective_n
from pipeline.statistics.capability import performance_index_one_sided
from pipeline.statistics.event_rate import event_rate
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Floats, Seen
from pipeline.steps.fault_patterns import fault_patterns, places_of_faults, scatter_of_faults
from pipeline.steps.fault_repeats import repeat_answers
from pipeline.steps.held_share import TriedInterval, as_held, kinds_like, lag_one_of, rate_as_held
from pipeline.steps.judge import Judged
from pipeline.steps.line_answers import line_answers
from pipeline.steps.reading_shapes import redrawn_index, shape_answer
from pipeline.steps.reel_minimum import beside_the_risk, reel_minimum
from pipeline.steps.sightings_of_run import counts_on
from pipeline.steps.wire_answers import wire_answers

# Fewest known readings for which correlation is estimated at all.
FEWEST_READINGS = 50


def answers_of(bench: Bench, judged: Judged) -> tuple[AnswerRow, ...]:
    """The results of a run and of each of its reels."""
    reels, limits = bench.placed.reels, judged.limits
    if not reels:
        return ()
    spans_of_reels = [(reel.from_m, reel.to_m) for reel in reels]
    spans = [("run", bench.run.id, reels[0].from_m, reels[-1].to_m)]
    spans += [("reel", reel.id, reel.from_m, reel.to_m) for reel in reels]
    rows: list[AnswerRow] = []
    faults, places = counts_on(bench.placed.events, "spark fault", reels), places_of_faults(bench)[0]
    for scope, subject, from_m, to_m in spans:
        worth: dict[tuple[str, str], tuple[Floats, EffectiveN | None]] = {}
        for limit in limits:
            rule = rule_for(limit.requirement)
            seen = bench.seen_for(rule) if rule is not None else None
            if rule is None or seen is None or rule.column == "spark_kv":
                continue
            # Both senses share one series unless the readings are bounds, of which each sense takes the worse.
            key = (rule.column, limit.sense if seen.bounded else "")
            if key not in worth:
                worth[key] = _series_of(seen, from_m, to_m, limit.sense)
            answer = _capability(seen, limit, *worth[key], from_m=from_m, to_m=to_m)
            if isinstance(answer, Refused):
                # Wire on which instruments contradict each other is left out; that may be why too little is left.
                answer = bench.measured.no_conclusion(answer.question, from_m, to_m) or answer
            rows.append(AnswerRow(scope, subject, "capability", answer))
            if scope == "run":
                for made in (shape_answer, redrawn_index):
                    shape = made(seen, limit, worth[key][0], _counted_m(seen, from_m, to_m))
                    if isinstance(shape, Result):
                        shape = _with_failing(shape, worth[key][0], limit)
                    rows.append(AnswerRow(scope, subject, "shape of the readings", shape))
        rows.append(AnswerRow(scope, subject, "faults", _fault_rate(bench, faults, places, from_m, to_m)))
    usual = float(np.median([reel.length_m for reel in reels]))
    wall = bench.measured.seen.get("thinnest_wall_mm")
    for limit in limits:
        if limit.requirement == "minimum wall at any point" and wall is not None:
            risk = reel_minimum(wall, limit, spans_of_reels, usual, wall.uncertainty)
            record = _observed(judged, limit)
            rows.append(AnswerRow("run", bench.run.id, "minimum of a reel", against_record(risk, record)))
            noise = bench.measured.noise.get("wall gauge")
            sliced = bench.plant.risks.small_scale_um
            small = None if sliced is None else sliced / 1000.0
            beside = beside_the_risk(wall, limit, spans_of_reels, usual, noise, small)
            told = {row.answer.question.key for row in rows}
            rows += [
                AnswerRow(
                    "run",
                    bench.run.id,
                    topic,
                    against_record(one, record) if topic == "minimum by normal theory" else one,
                )
                for topic, one in beside
                if one.question.key not in told
            ]
    rows += repeat_answers(bench, judged.repeats)
    rows += [*fault_patterns(bench), *line_answers(bench), *wire_answers(bench)]
    overall = bench.product.overall_mm
    return tuple(replace(row, answer=possible(standing(row.answer), overall)) for row in rows)


def _observed(judged: Judged, limit: Limit) -> Observed:
    """The reels of the run that fail a limit, of those judged by it."""
    judged_by = [
        one.verdict
        for one in judged.requirements
        if one.limit_id == limit.limit_id and one.verdict in {"conforms", "does not conform", "indeterminate"}
    ]
    return Observed(judged_by.count("does not conform"), len(judged_by), Note.OBSERVED_BAD_OF_RUN)


def _series_of(seen: Seen, from_m: float, to_m: float, sense: str) -> tuple[Floats, EffectiveN | None]:
    series = seen.series(from_m, to_m, sense)
    known = np.isfinite(series)
    if int(known.sum()) < FEWEST_READINGS or float(np.ptp(series[known])) == 0.0:
        return series, None
    return series, effective_n(series)


def _capability(
    seen: Seen, limit: Limit, series: Floats, worth: EffectiveN | None, *, from_m: float, to_m: float
) -> Result | Refused:
    answer = index_of_readings(
        series,
        worth,
        limit,
        "section average" if seen.name == "mean_wall_mm" else "reading",
        _counted_m(seen, from_m, to_m),
    )
    if isinstance(answer, Refused) or worth is None:
        return answer
    known = series[np.isfinite(series)]
    return as_held(
        standing(_with_left_out(answer, seen, limit, from_m, to_m)),
        TriedInterval.INDEX_OF_READINGS,
        kinds_like(known, limit.sense),
        (lag_one_of(worth),),
        known.size / 1000.0,
    )


def _counted_m(seen: Seen, from_m: float, to_m: float) -> float:
    """Wire behind the readings that count for statistics [m]."""
    here = seen.rows_within(from_m, to_m)
    return float(seen.widths()[here[seen.steady[here] & seen.fit_for_statistics[here]]].sum())


def _with_failing(answer: Result, series: Floats, limit: Limit) -> Result:
    """An index of readings with how many of them fail the limit themselves: few that do hardly move it."""
    known = series[np.isfinite(series)]
    failing = int(np.sum(known < limit.value if limit.sense == "at least" else known > limit.value))
    if not failing:
        return answer
    told = message(Note.READINGS_FAIL, failing=failing, n=known.size)
    return replace(answer, warnings=(told, *answer.warnings))


def index_of_readings(
    series: Floats, worth: EffectiveN | None, limit: Limit, unit: UnitOfInference, known_m: float
) -> Result | Refused:
    """The index of readings before the trials are asked; they were made of this.

    Args:
        series: readings in the order of the wire, NaN where unknown.
        worth: what they are worth; None where they are too few or all equal.
        limit: the limit.
        unit: what one reading is.
        known_m: wire behind them [m].
    """
    question = asks_of(limit, Quantity.PERFORMANCE_INDEX)
    values = series[np.isfinite(series)]
    if worth is None:
        return Refused(
            question,
            message(Method.ONE_SIDED_INDEX),
            message(Reason.TOO_FEW_STEADY_READINGS, known=values.size, fewest_readings=FEWEST_READINGS),
            values.size,
        )
    if not worth.resolved:
        # The level wanders over the whole length, so the effective number is a guess on the hopeful side.
        return Refused(
            question,
            message(Method.ONE_SIDED_INDEX),
            message(Reason.READINGS_DRIFT_TOO_SLOWLY, worth=worth.for_mean, known=values.size),
            values.size,
        )
    answer = performance_index_one_sided(
        values,
        limit.value,
        sense="at least" if limit.sense == "at least" else "at most",
        n_for_mean=worth.for_mean,
        n_for_variance=worth.for_variance,
        freedom_of_worth=worth.freedom,
        unit_of_inference=unit,
        known_m=known_m,
    )
    return asking(answer, question)


def _with_left_out(answer: Result, seen: Seen, limit: Limit, from_m: float, to_m: float) -> Result:
    """The index with the readings that do not count called by name, and with the index that counts those that fail."""
    parts = seen.left_out(from_m, to_m, limit.value, limit.sense)
    failing = sum(one.nonconforming for one in parts)
    details = {
        **answer.details,
        "readings_left_out": float(sum(one.readings for one in parts)),
        "nonconforming_left_out": float(failing),
    }
    told = [
        message(Note.READINGS_OF_A_CAUSE_NOT_COUNTED, n=one.readings, cause=Message(one.cause))
        for one in parts
    ]
    if failing:
        every = seen.at_worst(limit.sense)[seen.rows_within(from_m, to_m)]
        sign = 1.0 if limit.sense == "at least" else -1.0
        index = sign * (float(every.mean()) - limit.value) / (3.0 * float(every.std(ddof=1)))
        details["index_of_every_reading"] = index
        told.append(message(Note.FAILING_READINGS_NOT_COUNTED, failing=failing, index=index))
    return replace(answer, warnings=(*answer.warnings, *told), details=details)


def _fault_rate(
    bench: Bench, counted: dict[str, tuple[int, int]], places: Floats, from_m: float, to_m: float
) -> Result | Refused:
    """Spark faults per km of wire that was spark-tested.

    Args:
        bench: the run.
        counted: faults on each reel (`counts_on`).
        places: where they lie on the wire [m].
        from_m: start of the wire [m].
        to_m: its end [m].
    """
    seen = bench.measured.seen.get("spark_kv")
    reels = [reel for reel in bench.placed.reels if reel.from_m >= from_m and reel.to_m <= to_m]
    faults = sum(counted[reel.id][0] for reel in reels)
    if seen is None:
        return Refused(
            asks(Quantity.FAULT_RATE),
            message(Method.POISSON_RATE),
            message(Reason.NO_SPARK_VOLTAGE),
            faults,
        )
    tested = sum(seen.known_m(reel.from_m, reel.to_m) for reel in reels)
    inside = places[(places >= from_m) & (places < to_m)]
    scatter = scatter_of_faults(inside, seen.known, [(reel.from_m, reel.to_m) for reel in reels])
    return rate_as_held(
        event_rate(faults, tested, dispersion=scatter), TriedInterval.FAULT_RATE_OF_RUN, scatter
    )

"""What in a run comes back along the wire, and where did its level change? Periods with their element, and shifts.

Periods are looked for on the wire at equal steps, against a background that is itself correlated; a period is led
to an element of the line sheet or to none. Changes of level are looked for in averages over stretches of wire.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.errors import MethodRefusal, ReelproofError
from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.quantity import Asked, Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused, Result, refused_by
from pipeline.statistics.autocorrelation import effective_n
from pipeline.statistics.beyond_wander import CLAIM_P, WANDER_P, chance_of_wander
from pipeline.statistics.change_points import Changes, OneChange, find_changes, one_change
from pipeline.statistics.drift import linear_drift, residuals_of_line
from pipeline.statistics.lomb_scargle import gappy_period
from pipeline.statistics.order_tracking import track
from pipeline.statistics.periodicity import STEADY, find_periods
from pipeline.statistics.run_sheet_notes import noted_nearby
from pipeline.statistics.turning_elements import alias_table, attribute, period_of_result
from pipeline.statistics.uniform_length import on_uniform_length
from pipeline.steps.announced import announced_answers
from pipeline.steps.answer_row import AnswerRow
from pipeline.steps.bench import Bench
from pipeline.steps.evidence import Floats, Seen, usual_step_m
from pipeline.steps.held_share import TriedInterval, as_held, kinds_like, lag_one_of
from pipeline.steps.section_averages import AVERAGE_M, MOST_READINGS, section_averages, steady_series
from pipeline.tuning.periods import HARMONICS, WORTH_LOOKING, elements_of, worth_telling

PERIODS_IN = ("mean_wall_mm", "eccentricity_mm", "diameter_mm")
CHANGES_IN = ("mean_wall_mm", "eccentricity_mm")
# Averages that a line through the run is laid through at least (chosen here).
FEWEST_STRETCHES = 20
# Share of the wire without a reading from which on periods are looked for in the readings as they stand, how many of
# them are looked through, and the longest period [m] (chosen here, to bound the time).
GAP_SHARE, MOST_GAPPY, LONGEST_GAPPY_M = 0.2, 1500, 100.0
# A pause between readings this many times as long as usual is a stop; pieces of a run whose speeds are compared; turns
# by which length and time must part before they can be told apart (all chosen here).
LONG_PAUSE, SPEEDS_TAKEN, LEAST_PARTED = 20.0, 40, 2.0
# Broad swings nearer than this factor are one; how far beyond the line's slowest and fastest speed the ratio of a
# period along the wire to one in time may lie, as a factor (both chosen here).
NEAR, SPEED_REACH = 1.6, 1.05
SPEED_KEPT = message(Note.SPEED_KEPT)
UNNAMED = message(Reason.NO_PERIOD_WORTH_TELLING, share=100.0 * WORTH_LOOKING)


def patterns_of(bench: Bench) -> tuple[AnswerRow, ...]:
    """Periods and changes of level of a run on reels."""
    reels = bench.placed.reels
    if not reels:
        return ()
    from_m, to_m = reels[0].from_m, reels[-1].to_m
    found: list[tuple[str, Result | Refused]] = []
    for name in PERIODS_IN:
        seen = bench.measured.seen.get(name)
        if seen is not None:
            found += [("periods", one) for one in _periods(bench, seen, from_m, to_m)]
    for name in CHANGES_IN:
        seen = bench.measured.seen.get(name)
        if seen is not None:
            found += [("changes", one) for one in _changes(bench, seen, from_m, to_m)]
            found += [("drift", one) for one in _drift(seen, from_m, to_m)]
    found += [("changes", one) for one in announced_answers(bench, from_m, to_m)]
    return tuple(AnswerRow("run", bench.run.id, topic, one) for topic, one in found)


def usual_speed(bench: Bench) -> float:
    """Median line speed while the line ran [m/s]; not 0, so that times may be told."""
    speed = bench.placed.placement.readings["speed_m_s"].to_numpy()
    running = speed[speed > 0.5 * float(np.nanmax(speed))] if speed.size else speed
    return float(np.median(running)) if running.size else 1.0


def _periods(bench: Bench, seen: Seen, from_m: float, to_m: float) -> list[Result | Refused]:
    question = asks(Quantity.PERIOD, seen.name, channel=seen.name)
    at, value = steady_series(seen, from_m, to_m)
    if at.size < 200:
        return [
            Refused(
                question,
                message(Method.AVERAGED_SPECTRUM),
                message(Reason.TOO_FEW_STEADY_FOR_PERIODS, n=at.size),
                at.size,
            )
        ]
    step = usual_step_m(at)
    if not step > 0:
        return []
    try:
        found = find_periods(on_uniform_length(at, value, step), step, CLAIM_P, unit=seen.unit)
    except ReelproofError as fault:
        return [refused_by(question, message(Method.AVERAGED_SPECTRUM), fault, at.size)]
    wire = float(at[-1] - at[0])
    gaps = isinstance(found, Refused) or found.spectrum.left_out_m > GAP_SHARE * wire
    beside = [_through_gaps(bench, at, value, step, seen)] if gaps else []
    if isinstance(found, Refused):
        return [replace(found, question=question), *beside]
    told = [one for one in found.found if worth_telling(one)]
    if not told:
        none = UNNAMED if found.found else found.verdict
        return [Refused(question, message(Method.AVERAGED_SPECTRUM), none, at.size), *beside]
    whole = _unbroken(bench, seen, from_m, to_m)
    answers: list[Result | Refused] = [
        _with_element(bench, one, question, step, seen, (*_locked_to(whole, one.estimate), *found.warnings))
        for one in told
        if one.details["coherence"] >= STEADY
    ]
    loose = [one for one in told if one.details["coherence"] < STEADY]
    return [*answers, *_without_step(bench, loose, whole, question, step, seen), *beside]


def _without_step(
    bench: Bench,
    loose: Sequence[Result],
    whole: tuple[Floats, Floats, Floats],
    question: Asked,
    step: float,
    seen: Seen,
) -> list[Result]:
    """Periods that do not hold along the wire: of something that turns in time, or of nothing that turns.

    One that holds in time is led to an element by its time. Of the others, which are broad, only the strongest of those
    that lie near each other is told, and no element is named.
    """
    if not loose:
        return []
    at, when, value = whole
    keep = np.flatnonzero(np.diff(when, prepend=-np.inf) > 0.0)
    every_s = float(np.median(np.diff(when[keep]))) if keep.size > 1 else 0.0
    in_time = None
    if every_s > 0.0:
        try:
            in_time = find_periods(
                on_uniform_length(when[keep], value[keep], every_s), every_s, CLAIM_P, unit=seen.unit
            )
        except ReelproofError:
            in_time = None
    kept_in_time = (
        [] if in_time is None or isinstance(in_time, Refused)
        else [one for one in in_time.found if one.details["coherence"] >= STEADY]
    )  # fmt: skip
    usual = usual_speed(bench)
    marks = np.linspace(0, at.size - 1, SPEEDS_TAKEN + 1).astype(int)
    speeds = (
        np.diff(at[marks]) / np.maximum(np.diff(when[marks]), 1e-9) if at.size > SPEEDS_TAKEN else [usual]
    )
    slowest, fastest = (float(one) for one in np.percentile(speeds, (5, 95)))
    told: list[Result] = []
    led: list[float] = []
    for one in sorted(loose, key=lambda found: -found.details["amplitude"]):
        # Of a swing in time each speed of the line shows a period along the wire of its own.
        timed = next(
            (
                each
                for each in kept_in_time
                if slowest / SPEED_REACH <= one.estimate / each.estimate <= fastest * SPEED_REACH
            ),
            None,
        )
        if timed is not None and timed.estimate not in led:
            led.append(timed.estimate)
            speed = one.estimate / timed.estimate
            sd = timed.details["period_sd_m"] * speed
            known = replace(one, warnings=(), details={**one.details, "period_sd_m": sd})
            told.append(
                _with_element(bench, known, question, step, seen, _locked_to(whole, one.estimate), speed)
            )
        elif timed is None and not any(
            max(one.estimate, other.estimate) < NEAR * min(one.estimate, other.estimate) for other in told
        ):
            hunts = message(Note.SWING_HUNTS, about=Measure(one.estimate / usual, "s"))
            lock = _locked_to(whole, one.estimate)
            alone = lock if lock == (SPEED_KEPT,) else ()
            told.append(replace(one, question=question, warnings=(hunts, *one.warnings, *alone)))
    return told


def _unbroken(bench: Bench, seen: Seen, from_m: float, to_m: float) -> tuple[Floats, Floats, Floats]:
    """Places, times at the die [s] and values of the longest wire without a hole or a stop, ramps among it."""
    inside = (seen.at_m >= from_m) & (seen.at_m < to_m) & seen.fit_for_statistics
    order = np.flatnonzero(inside)[np.argsort(seen.at_m[inside], kind="stable")]
    at, value = seen.at_m[order], seen.value[order]
    placement = bench.placed.placement
    made, seconds = np.maximum.accumulate(placement.readings["front_m"].to_numpy()), placement.seconds
    when = np.interp(at, made, seconds)
    away, apart = np.diff(at), np.diff(when)
    usual = float(np.median(apart)) if apart.size else 0.0
    ends = np.flatnonzero((away <= 0) | (away > seen.hole_m) | (apart > LONG_PAUSE * usual)) + 1
    edges = np.concatenate([[0], ends, [at.size]])
    longest = int(np.diff(edges).argmax())
    piece = slice(int(edges[longest]), min(int(edges[longest + 1]), int(edges[longest]) + MOST_READINGS))
    return at[piece], when[piece], value[piece]


def _locked_to(whole: tuple[Floats, Floats, Floats], period_m: float) -> tuple[Message, ...]:
    """Whether a period belongs to the wire's length or to time, in a sentence: changes of speed part the two."""
    at, when, value = whole
    marks = np.linspace(0, at.size - 1, SPEEDS_TAKEN + 1).astype(int)
    if at.size < 4 * SPEEDS_TAKEN or when[-1] <= when[0]:
        return ()
    low, usual, high = np.percentile(np.diff(at[marks]) / np.maximum(np.diff(when[marks]), 1e-9), (5, 50, 95))
    if (at[-1] - at[0]) / period_m * (high - low) / usual < LEAST_PARTED:
        return (SPEED_KEPT,)
    # By axis the shortest and the longest period it may have there.
    near = {"the wire's length": (period_m, period_m), "time": (period_m / high, period_m / low)}
    shortest, longest = ({axis: (0.9, 1.1)[k] * one[k] for axis, one in near.items()} for k in (0, 1))
    try:
        found = track(value, {"the wire's length": at, "time": when}, shortest, longest)
    except MethodRefusal:
        return ()  # The longest unbroken wire is too short, or read too coarsely, for such a period.
    return () if isinstance(found, Refused) else (found.words,)


def _through_gaps(bench: Bench, at: Floats, value: Floats, step: float, seen: Seen) -> Result | Refused:
    """The strongest period of readings as they stand, for wire with gaps; refused where it is no more than chance."""
    asked = asks(Quantity.PERIOD_THROUGH_GAPS, seen.name, channel=seen.name)
    method = message(Method.LOMB_SCARGLE)
    start = max((at.size - MOST_GAPPY) // 2, 0)
    at, value = at[start : start + MOST_GAPPY], value[start : start + MOST_GAPPY]
    keep = np.flatnonzero(np.diff(at, prepend=-np.inf) > 0.0)
    at, value = at[keep], value[keep]
    longest = min(LONGEST_GAPPY_M, float(at[-1] - at[0]) / 4.0)
    try:
        found = gappy_period(at, value, 4.0 * step, longest)
    except ReelproofError as fault:
        return refused_by(asked, method, fault, at.size)
    if isinstance(found, Refused):
        return replace(found, question=asked)
    p = found.details["p_value"]
    if p > CLAIM_P:
        reason = message(
            Reason.NO_PERIOD_ABOVE_NOISE,
            period=Measure(found.estimate, "m"),
            p=p,
            shortest=Measure(4.0 * step, "m"),
            longest=Measure(longest, "m"),
        )
        return Refused(asked, method, reason, at.size)
    return _with_element(bench, found, asked, step, seen, ())


def _with_element(
    bench: Bench,
    one: Result,
    question: Asked,
    step: float,
    seen: Seen,
    warnings: tuple[Message, ...],
    speed_m_s: float | None = None,
) -> Result:
    """A period with the element it fits, told among its warnings."""
    known = period_of_result(one)
    told: Message = message(Note.NO_ELEMENT_LOOKED_AT)
    elements = elements_of(bench.line, speed_m_s or usual_speed(bench))
    if known is not None and elements:
        told = attribute(known[0], known[1], alias_table(elements, step, seen.extent_m, HARMONICS)).words
    return replace(one, question=question, warnings=(told, *one.warnings, *warnings))


def _drift(seen: Seen, from_m: float, to_m: float) -> list[Result | Refused]:
    """The drift with the share of trials on wire like this that held it."""
    found, value = _raw_drift(seen, from_m, to_m), steady_series(seen, from_m, to_m)[1]
    if not any(isinstance(one, Result) for one in found):
        return found
    lags, km = (lag_one_of(effective_n(value)),), value.size / 1000.0
    return [as_held(one, TriedInterval.DRIFT, kinds_like(value), lags, km) for one in found]


def _raw_drift(seen: Seen, from_m: float, to_m: float) -> list[Result | Refused]:
    """How fast the level moves along the run, by a straight line through averages; trials were made of this."""
    question = asks(Quantity.DRIFT, seen.name, channel=seen.name)
    averages, middle = section_averages(seen, from_m, to_m)
    n = int(np.isfinite(averages).sum())
    if n == 0:
        return []
    if n < FEWEST_STRETCHES:
        reason = message(
            Reason.TOO_FEW_AVERAGES, n=n, average_m=Measure(AVERAGE_M, "m"), fewest_stretches=FEWEST_STRETCHES
        )
        return [Refused(question, message(Method.LEAST_SQUARES), reason, n)]
    worth = effective_n(residuals_of_line(middle, averages))
    if not worth.resolved:
        reason = message(
            Reason.AVERAGES_DRIFT_TOO_SLOWLY, average_m=Measure(AVERAGE_M, "m"), n=n, for_mean=worth.for_mean
        )
        return [Refused(question, message(Method.LEAST_SQUARES), reason, n)]
    full = np.isfinite(averages)
    found = linear_drift(
        middle[full] / 1000.0,
        averages[full],
        worth.for_mean,
        freedom=worth.freedom,
        unit=seen.unit,
        unit_of_place="km",
        unit_of_inference="section average",
    )
    if isinstance(found, Refused):
        return [replace(found, question=question)]
    p = chance_of_wander(averages[full], np.column_stack([np.ones(n), middle[full]]), [1])
    told = (message(Note.DRIFT_SHOWS if p < WANDER_P else Note.DRIFT_HIDDEN, p=p), *found.warnings)
    details = {**found.details, "p_value": p, "shows": float(p < WANDER_P)}
    return [replace(found, question=question, known_m=n * AVERAGE_M, warnings=told, details=details)]


def _changes(bench: Bench, seen: Seen, from_m: float, to_m: float) -> list[Result | Refused]:
    question = asks(Quantity.CHANGE_POINT, seen.name, channel=seen.name)
    averages, from_start = section_averages(seen, from_m, to_m)
    if averages.size == 0:
        return []
    full = np.isfinite(averages)
    means, middle = averages[full], from_start[full]
    try:
        found = find_changes(means, middle)
    except ReelproofError as fault:
        return [refused_by(question, message(Method.EXACT_SEGMENTATION), fault, int(means.size))]
    if isinstance(found, Refused):
        return [replace(found, question=question)]
    found = replace(found, changes=found.shown)
    if not found.changes:
        reason = message(Reason.NO_CHANGE_OF_LEVEL, means=means.size, average_m=Measure(AVERAGE_M, "m"))
        if found.apart:
            reason = message(
                Reason.NO_LASTING_CHANGE,
                means=means.size,
                average_m=Measure(AVERAGE_M, "m"),
                n=found.apart,
            )
        return [Refused(question, found.method, reason, int(means.size))]
    return _as_results(bench, found, question, seen, int(means.size), _by_cusum(means, middle, seen.unit))


def _by_cusum(means: Floats, middle: Floats, unit: str) -> tuple[Message, ...]:
    """The CUSUM's estimate of a single change, in a sentence: a second method beside the segmentation."""
    once = one_change(means, middle)
    if not isinstance(once, OneChange):
        return ()
    if once.p_value >= CLAIM_P:
        return (message(Note.NO_SINGLE_CHANGE, p_value=once.p_value),)
    one, shift = once.change, once.change.shifts[0]
    told = message(
        Note.SINGLE_CHANGE,
        at=Measure(one.at, "m"),
        low=Measure(one.low, "m"),
        high=Measure(one.high, "m"),
        size=Measure(shift.size, unit),
        p=once.p_value,
    )
    return (told,)


def _as_results(
    bench: Bench, found: Changes, question: Asked, seen: Seen, n: int, by_cusum: tuple[Message, ...]
) -> list[Result | Refused]:
    noted = [
        (lot.from_m, f"{lot.material} lot {lot.lot}") for lot in bench.run.lots if lot.from_m is not None
    ]
    noted += [(reel.from_m, f"reel {reel.id}") for reel in bench.placed.reels]
    answers: list[Result | Refused] = []
    for one in found.changes:
        shift = one.shifts[0]
        nearby = noted_nearby(
            one.low, one.high, [at for at, _ in noted], [text for _, text in noted], AVERAGE_M
        )
        size = message(
            Note.CHANGE_OF_LEVEL,
            before=Measure(shift.before, seen.unit),
            after=Measure(shift.after, seen.unit),
            size=Measure(shift.size, seen.unit),
            low=Measure(shift.low, seen.unit),
            high=Measure(shift.high, seen.unit),
        )
        answers.append(
            Result(
                question=question,
                estimate=one.at,
                low=one.low,
                high=one.high,
                confidence=found.confidence,
                unit="m",
                method=found.method,
                n=n,
                effective_n=None,
                known_m=n * AVERAGE_M,
                unit_of_inference="section average",
                warnings=(size, *nearby, *by_cusum, *found.warnings),
                details={"before": shift.before, "after": shift.after, "size": shift.size},
            )
        )
    return answers

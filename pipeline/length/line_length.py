"""How long is the wire at each row? The counter where one is logged, else the line speed summed up.

Several logs of one run may carry a counter; one of them is followed at any time. Rows of logs without a
counter take their length from the rows around them, shaped by the line speed.

Where did the length counter lose its grip on the wire? Counter against line speed.

The deficit of the counter against the speed is followed by a one-sided CUSUM (E.S. Page, Continuous
inspection schemes, Biometrika 41, 1954; from memory). The allowance takes up a speed error of some per cent
and a filtered speed signal on a ramp. A slow disagreement is told, never mended.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import Complaint, LogError
from pipeline.length.counter import CounterEvent, RepairedCounter, repair_counter
from pipeline.messages import Between, Measure, Message, Place, message
from pipeline.units import m_from_foot
from pipeline.warned import Counted, Warned
from pipeline.why import Unplaced

ALLOWED_SHARE = 0.05
ALLOWED_LAG_S = 0.5
_LONGEST_GAP_S = 2.0
_MOST_SLIPS = 200
_BLOCK_S = 60.0


def counter_scale(at_m: Floats, run_m: Floats, seconds: Floats) -> float:
    """Counter length per length by line speed: the median over minutes in which the wire ran.

    Args:
        at_m: repaired counter [m].
        run_m: length by line speed, the running integral of speed over time [m].
        seconds: time of each row [s].

    Returns:
        The ratio; 1 where there is nothing to compare.
    """
    if at_m.size < 3:
        return 1.0
    edges = np.searchsorted(seconds, np.arange(seconds[0], seconds[-1] + _BLOCK_S, _BLOCK_S))
    edges = np.unique(np.minimum(np.append(edges, at_m.size - 1), at_m.size - 1))
    by_speed, by_counter = np.diff(run_m[edges]), np.diff(at_m[edges])
    moved = by_speed > 5.0
    if not bool(moved.any()):
        return 1.0
    return float(np.median(by_counter[moved] / by_speed[moved]))


def find_slips(
    at_m: Floats, speed_m_s: Floats, expected_m: Floats, gap_s: Floats, resolution_m: float, scale: float
) -> list[tuple[int, int]]:
    """Rows between which the counter ran short of the line speed, as (first, last) positions.

    S_i = max(0, S_(i-1) + expected_i - step_i - k_i) with k_i = 5 % of the expected step plus half a
    second's change of speed; a slip is called when S passes h = max(1 m, 5 counter steps).

    Args:
        at_m: repaired counter [m].
        speed_m_s: line speed [m/s].
        expected_m: wire the speed says ran between each row and the next [m].
        gap_s: time between each row and the next [s].
        resolution_m: smallest step of the counter [m].
        scale: counter length per length by speed, so that a plain scale error is no slip.

    Returns:
        The slips; steps over a gap in the log longer than 2 s are not judged.
    """
    allowance = ALLOWED_SHARE * np.abs(expected_m) + ALLOWED_LAG_S * np.abs(np.diff(speed_m_s))
    drift = scale * expected_m - np.diff(at_m) - allowance
    drift[(gap_s > _LONGEST_GAP_S) | ~np.isfinite(drift)] = 0.0
    limit = max(1.0, 5.0 * resolution_m)
    slips: list[tuple[int, int]] = []
    start = 0
    while start < drift.size and len(slips) < _MOST_SLIPS:
        total = np.cumsum(drift[start:])
        lowest = np.minimum(np.minimum.accumulate(total), 0.0)
        over = total - lowest > limit
        alarm = int(np.argmax(over))
        if not over[alarm]:
            break
        begun = np.flatnonzero(total[: alarm + 1] <= lowest[: alarm + 1])
        first = start + (int(begun[-1]) + 1 if begun.size else 0)
        last = _slip_end(drift, start + alarm)
        slips.append((first, last + 1))
        start = last + 1
    return slips


def _slip_end(drift: Floats, alarm: int) -> int:
    """Last step that still runs short: the one before ten steps that together do not."""
    at = alarm
    while at < drift.size:
        piece = drift[at : at + 100_000]
        total = np.concatenate(([0.0], np.cumsum(piece)))
        if total.size <= 10:
            return drift.size - 1
        calm = np.flatnonzero(total[10:] - total[:-10] <= 0.0)
        if calm.size:
            end = at + int(calm[0])
            # Step back over the calm steps the ten-step sum had to wait for.
            short = np.flatnonzero(drift[max(alarm - 1, 0) : end + 10] > 0.0)
            return max(alarm, (max(alarm - 1, 0) + int(short[-1])) if short.size else alarm)
        at += piece.size - 10 if piece.size > 10 else piece.size
    return drift.size - 1


def mend_slips(
    at_m: Floats, expected_m: Floats, slips: list[tuple[int, int]], scale: float
) -> tuple[Floats, list[CounterEvent]]:
    """The length with each slip's steps taken from the line speed, and the events that say so.

    Args:
        at_m: repaired counter [m].
        expected_m: wire the speed says ran between each row and the next [m].
        slips: first and last row of each slip.
        scale: counter length per length by speed.

    Returns:
        The mended length [m] and one event a slip, with 5 % of the mended length as its uncertainty.
    """
    if not slips:
        return at_m, []
    step = np.diff(at_m)
    mended = step.copy()
    for first, last in slips:
        mended[first:last] = np.maximum(scale * expected_m[first:last], step[first:last])
    length = at_m + np.concatenate(([0.0], np.cumsum(mended - step)))
    events = []
    for first, last in slips:
        lost = float((mended[first:last] - step[first:last]).sum())
        begin, end = float(length[first]), float(length[last])
        events.append(
            CounterEvent(
                "slip",
                first,
                last,
                begin,
                lost,
                ALLOWED_SHARE * (end - begin),
                message(Counted.SLIP, lost=Measure(lost, "m"), span=Between(begin, end)),
            )
        )
    return length, events


Floats = NDArray[np.float64]

# Counter over speed between this and its inverse is a scale to calibrate; beyond, a unit or a signal is wrong and
# places by either would be guesses (chosen here).
LEAST_SCALE = 0.8
# Leaps are mended as mishaps of a counter; of so many, and such a share of the rows, its unit is asked (chosen here).
FEWEST_LEAPS, LEAPS_SHARE = 10, 0.02

# Over a longer gap of the log the speed says nothing of what a counter did meanwhile [s] (chosen here).
LONGEST_BRIDGED_S = 60.0


def whole_speed(speed: Floats | None, seconds: Floats, warnings: list[Message]) -> Floats | None:
    """Speed at every row [m/s]: carried over rows that have none, with the sign that runs forward.

    Args:
        speed: line speed as logged [m/s], NaN where a row has none; None where no log has any.
        seconds: time of each row [s].
        warnings: what a reader must see; what is found is added.

    Returns:
        The speed, or None where none is logged.
    """
    if speed is None:
        return None
    known = np.isfinite(speed)
    if not bool(known.all()):
        speed = np.interp(seconds, seconds[known], speed[known])
    negative = speed < 0.0
    if bool(negative.any()):
        if float(np.median(speed)) < 0.0:
            warnings.append(message(Warned.SPEED_BACKWARDS))
            speed = -speed
        else:
            warnings.append(message(Warned.SPEED_NEGATIVE, n=int(negative.sum())))
    return speed


def lengths_of_rows(
    counter: Floats | None,
    speed: Floats | None,
    seconds: Floats,
    files: NDArray[np.generic] | None,
    warnings: list[Message],
) -> RepairedCounter:
    """Length at every row.

    Args:
        counter: length counter as logged [m], NaN where a row has none; None where no log has one.
        speed: line speed at every row [m/s]; None where none is logged.
        seconds: time of each row, not falling [s].
        files: number of the log file of each row; None where there is one.
        warnings: what a reader must see; what is found is added.

    Returns:
        The repaired length.

    Raises:
        LogError: counter and speed contradict each other by more than a scale to calibrate.
    """
    run_m = None if speed is None else integral_m(speed, seconds, alone=counter is None)
    if counter is None:
        if run_m is None:
            raise ValueError("neither a counter nor a speed")
        warnings.append(message(Warned.NO_COUNTER, error=Measure(3.0, "m"), length=Measure(3000.0, "m")))
        front = np.maximum.accumulate(run_m)
        return RepairedCounter(run_m, front, (), np.zeros(run_m.size), 0.0)
    known = _one_counter(counter, seconds, files, warnings)
    rows = np.flatnonzero(known)
    whole = rows.size == counter.size
    clock = seconds if whole else seconds[rows]
    expected = None if run_m is None else np.diff(run_m if whole else run_m[rows])
    logged = counter if whole else counter[rows]
    repaired = repair_counter(logged, expected, np.diff(clock))
    _no_leaping_unit(repaired, np.diff(logged), expected)
    if run_m is not None and expected is not None and speed is not None:
        pace = speed if whole else speed[rows]
        repaired = _without_slips(repaired, pace, expected, clock, run_m if whole else run_m[rows], warnings)
    if whole:
        return repaired
    return _on_all_rows(repaired, rows, seconds, run_m)


def integral_m(speed: Floats, seconds: Floats, alone: bool = False) -> Floats:
    """Length by speed [m]: the trapezoid rule, and nothing across a gap of the log longer than a minute.

    Args:
        speed: line speed at each row [m/s].
        seconds: time of each row [s].
        alone: True where no counter tells what ran in such a gap: a line that ran beside it is then taken to have
            run through it, so that the wire exists and counts as unread. One that stood made none.

    Returns:
        The running length, 0 at the first row.
    """
    gap = np.diff(seconds)
    unknown = (gap > LONGEST_BRIDGED_S) & (not alone)
    step = 0.5 * (speed[1:] + speed[:-1]) * np.where(unknown, 0.0, gap)
    return np.concatenate(([0.0], np.cumsum(step)))


def _one_counter(
    counter: Floats, seconds: Floats, files: NDArray[np.generic] | None, warnings: list[Message]
) -> NDArray[np.bool_]:
    """Rows whose counter is used: one counter at any time, though several logs may carry one."""
    known = np.isfinite(counter)
    if files is None or files[known].min() == files[known].max():
        return known
    spans = []
    for number in np.unique(files[known]):
        mine = np.flatnonzero(known & (files == number))
        spans.append((-mine.size, float(seconds[mine[0]]), float(seconds[mine[-1]]), number))
    taken: list[tuple[float, float]] = []
    use = np.zeros(counter.size, dtype=np.bool_)
    for _, begin, end, number in sorted(spans):
        if all(end <= low or begin >= high for low, high in taken):
            taken.append((begin, end))
            use |= known & (files == number)
        else:
            warnings.append(message(Warned.TWO_COUNTERS, file=str(number)))
    return use


def _without_slips(
    repaired: RepairedCounter,
    speed: Floats,
    expected: Floats,
    clock: Floats,
    run_m: Floats,
    warnings: list[Message],
) -> RepairedCounter:
    """The repaired counter with its slips mended from the line speed."""
    scale = counter_scale(repaired.at_m, run_m, clock)
    if not LEAST_SCALE <= scale <= 1.0 / LEAST_SCALE:
        raise LogError(_contradiction(scale))
    if abs(scale - 1.0) > 0.01:
        warnings.append(message(Warned.COUNTER_SCALE, scale=float(scale)))
    slips = find_slips(repaired.at_m, speed, expected, np.diff(clock), repaired.resolution_m, scale)
    stuck = [one for one in slips if _speed_stuck(speed, *one)]
    for first, last in stuck:
        warnings.append(
            message(
                Warned.SPEED_STUCK,
                speed=Measure(float(speed[first]), "m/s"),
                seconds=float(clock[last] - clock[first]),
                at=Place(float(repaired.at_m[first])),
            )
        )
    slips = [one for one in slips if one not in stuck]
    if not slips:
        return repaired
    at_m, events = mend_slips(repaired.at_m, expected, slips, scale)
    return RepairedCounter(
        at_m,
        np.maximum.accumulate(at_m),
        (*repaired.events, *events),
        repaired.added_m + (at_m - repaired.at_m),
        repaired.resolution_m,
    )


def _no_leaping_unit(repaired: RepairedCounter, step_m: Floats, expected_m: Floats | None) -> None:
    """Refuse a counter that leaps row after row: figures in another unit are no mishap to be mended."""
    leaps = sum(one.kind == "leap" for one in repaired.events)
    if leaps < FEWEST_LEAPS or leaps < LEAPS_SHARE * step_m.size:
        return
    if expected_m is None:
        raise LogError(
            Complaint(
                "length counter",
                message(Unplaced.COUNTER_LEAPS, rows=leaps),
                message(Unplaced.CORRECT_UNIT),
            )
        )
    by_speed = float(np.nansum(expected_m))
    scale = float(step_m[step_m > 0.0].sum()) / by_speed if by_speed > 0.0 else np.inf
    if scale > 1.0 / LEAST_SCALE:
        raise LogError(_contradiction(scale))


def _contradiction(scale: float) -> Complaint:
    """The complaint that counter and speed cannot both be right."""
    feet = any(abs(scale * factor - 1.0) < 0.03 for factor in (m_from_foot(1.0), 1.0 / m_from_foot(1.0)))
    return Complaint(
        "length counter and line speed",
        message(Unplaced.COUNTER_AS_FEET if feet else Unplaced.COUNTER_AGAINST_SPEED, scale=float(scale)),
        message(Unplaced.CORRECT_UNIT),
    )


def _speed_stuck(speed: Floats, first: int, last: int) -> bool:
    """Whether the speed repeated one figure over a slip, where elsewhere it hardly ever repeats."""
    moving = speed > 0.0
    repeats = (np.diff(speed) == 0.0) & moving[1:]
    usual = float(repeats.sum()) / max(int(moving.sum()), 1)
    return last - first >= 20 and usual < 0.5 and float(np.ptp(speed[first : last + 1])) == 0.0


def _on_all_rows(
    repaired: RepairedCounter, rows: NDArray[np.intp], seconds: Floats, run_m: Floats | None
) -> RepairedCounter:
    """Length at rows without a counter: by speed between the counter's readings, else by time."""
    clock = seconds[rows]
    if run_m is None:
        at_m = np.interp(seconds, clock, repaired.at_m)
    else:
        at_m = run_m + np.interp(seconds, clock, repaired.at_m - run_m[rows])
    at_m[rows] = repaired.at_m
    added = np.interp(seconds, clock, repaired.added_m)
    events = tuple(
        CounterEvent(
            one.kind,
            int(rows[one.from_row]),
            int(rows[one.to_row]),
            one.at_m,
            one.size_m,
            one.unsure_m,
            one.told,
        )
        for one in repaired.events
    )
    return RepairedCounter(at_m, np.maximum.accumulate(at_m), events, added, repaired.resolution_m)


def speed_from_length(at_m: Floats, seconds: Floats) -> Floats:
    """Speed as the slope of length over about one second [m/s], where no speed is logged.

    Args:
        at_m: length at each row [m].
        seconds: time of each row [s].
    """
    if at_m.size < 2:
        return np.zeros(at_m.size)
    low = np.searchsorted(seconds, seconds - 0.5)
    high = np.minimum(np.searchsorted(seconds, seconds + 0.5, side="right"), seconds.size) - 1
    low, high = np.where(high > low, low, np.maximum(low - 1, 0)), np.maximum(high, 1)
    passed = seconds[high] - seconds[low]
    speed: Floats = np.where(passed > 0, (at_m[high] - at_m[low]) / np.where(passed > 0, passed, 1.0), 0.0)
    return speed

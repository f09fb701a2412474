"""How far had the wire run when this row was logged? The length counter, repaired.

A counter resets, wraps round, is pulled back with the wire, leaps, or slips on it. Each is told apart, mended
where the line speed says how, and kept as an event with the length it puts in doubt. The rule for a drop is
that a small one is wire going back and a large one is a counter starting again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Measure, Message, Place, message
from pipeline.warned import Counted

Floats = NDArray[np.float64]

# Wire is pulled back by a hand's turn of the capstan, not by a reel (common practice, no source).
REVERSAL_LIMIT_M = 5.0
# No building-wire line runs faster than this [m/s]; the data dictionary's plausible range.
FASTEST_M_S = 40.0
_GLITCH_ROWS = 5


@dataclass(frozen=True, slots=True)
class CounterEvent:
    """Something that happened to the length counter.

    Args:
        kind: 'reset', 'wrap', 'reversal', 'leap', 'glitch', 'slip', 'gap' or 'drift'.
        from_row: first row it touches, as a position in the array given.
        to_row: last row it touches.
        at_m: repaired length where it begins [m].
        size_m: length it is about [m]: wire pulled back, length left out, or length made up.
        unsure_m: standard uncertainty it adds to the distance between wire before and after it [m].
        told: what happened and what was done.
    """

    kind: str
    from_row: int
    to_row: int
    at_m: float
    size_m: float
    unsure_m: float
    told: Message


@dataclass(frozen=True, slots=True)
class RepairedCounter:
    """A counter that only says where the wire was.

    Args:
        at_m: repaired length at each row [m]; it goes back where the wire was pulled back.
        front_m: length made up to each row [m]: the running maximum of `at_m`.
        events: what happened, in the order of rows.
        added_m: what was added to the counter as logged at each row [m].
        resolution_m: smallest step the counter shows [m].
    """

    at_m: Floats
    front_m: Floats
    events: tuple[CounterEvent, ...]
    added_m: Floats
    resolution_m: float


def counter_resolution_m(counter_m: Floats) -> float:
    """Smallest step the counter shows [m], 0 where it never moves.

    Args:
        counter_m: counter as logged [m].
    """
    step = np.abs(np.diff(counter_m[:200_000]))
    step = step[step > 1e-7]
    return float(step.min()) if step.size else 0.0


def repair_counter(
    counter_m: Floats,
    expected_m: Floats | None = None,
    gap_s: Floats | None = None,
) -> RepairedCounter:
    """The length at each row from a counter that may reset, wrap, go back or leap.

    x = counter + (sum of the corrections before it); front = running maximum of x. A drop beyond
    `reversal_limit_m` is a reset (the last value is added, or the length the speed says); a smaller drop is
    wire pulled back, whose readings repeat wire already read.

    Args:
        counter_m: counter as logged, finite, in the order of time [m].
        expected_m: wire the line speed says ran between each row and the next [m], one fewer than the rows;
            NaN where unknown; None where no speed is logged.
        gap_s: time between each row and the next [s]; None where unknown.

    Returns:
        The repaired counter. Up to one scan of length is lost at a reset where no speed is logged.

    Source:
        Derived (encoder repair by drops against a running maximum); no published rule.
    """
    if counter_m.size == 0:
        return RepairedCounter(counter_m, counter_m, (), counter_m, 0.0)
    counter, glitches = _without_glitches(counter_m, gap_s)
    step = np.diff(counter)
    wanted = np.full(step.shape, np.nan) if expected_m is None else expected_m
    found = _breaks(step, counter, wanted, gap_s, REVERSAL_LIMIT_M)
    added = np.zeros(counter.size)
    breaks: list[CounterEvent] = []
    for row in found:
        event, correction = _mend(row, counter, step, wanted, float(added[row]))
        added[row + 1 :] += correction
        breaks.append(event)
    at_m = counter + added if breaks else counter
    front_m = np.maximum.accumulate(at_m)
    resolution = counter_resolution_m(counter)
    events = [*glitches, *breaks, *_reversals(at_m, front_m, resolution)]
    return RepairedCounter(
        at_m, front_m, tuple(sorted(events, key=lambda one: one.from_row)), added, resolution
    )


def _without_glitches(counter_m: Floats, gap_s: Floats | None) -> tuple[Floats, list[CounterEvent]]:
    """The counter with single wild values, from which it returns at once, bridged."""
    step = np.diff(counter_m)
    big = np.flatnonzero(
        np.abs(step) > max(20.0, 50.0 * float(np.median(np.abs(step))) if step.size else 0.0)
    )
    if big.size == 0 or big.size > 2000:
        return counter_m, []
    counter = counter_m.copy()
    events: list[CounterEvent] = []
    done = -1
    for row in big.tolist():
        if row <= done:
            continue
        for back in range(row + 2, min(row + 2 + _GLITCH_ROWS, counter.size)):
            rise = counter_m[back] - counter_m[row]
            seconds = float(gap_s[row:back].sum()) if gap_s is not None else 0.1 * (back - row)
            if -REVERSAL_LIMIT_M <= rise <= FASTEST_M_S * seconds + 1.0 and abs(step[row]) > 4 * abs(rise):
                counter[row + 1 : back] = np.linspace(counter_m[row], counter_m[back], back - row + 1)[1:-1]
                wild = float(counter_m[row + 1])
                events.append(
                    CounterEvent(
                        "glitch",
                        row + 1,
                        back - 1,
                        float(counter_m[row]),
                        abs(wild - float(counter_m[row])),
                        max(float(rise), 0.0) / np.sqrt(12.0),
                        message(Counted.GLITCH, shown=Measure(wild, "m"), n=back - row - 1),
                    )
                )
                done = back - 1
                break
    return counter, events


def _breaks(
    step: Floats, counter: Floats, wanted: Floats, gap_s: Floats | None, reversal_limit_m: float
) -> list[int]:
    """Rows after which the counter did something wire cannot do."""
    rows = np.flatnonzero((step < -0.5) | (step > 2.0))
    if rows.size == 0:
        return []
    some = step[rows]
    said = wanted[rows]
    running = np.nan_to_num(said, nan=0.0)
    # A young counter that resets falls little; it is a reset if the speed says the wire went on.
    young = (some < -0.5) & (running > 0.1) & (counter[rows + 1] <= 1.5 * running + 0.5)
    falls = (some < -reversal_limit_m) | young
    seconds = gap_s[rows] if gap_s is not None else np.full(rows.size, np.inf)
    leaps = some > FASTEST_M_S * seconds + 2.0
    near = np.isfinite(said) & (seconds <= 5.0)
    last = wanted.size - 1
    beside = np.fmax(wanted[np.maximum(rows - 1, 0)], wanted[np.minimum(rows + 1, last)])
    leaps |= near & (some > 1.5 * np.fmax(said, beside) + 5.0)
    return [int(row) for row in rows[falls | leaps]]


def _wrap_m(last: float, new: float, wanted: float) -> float | None:
    """Length run through a counter that went round its last digit [m], or None if that does not fit."""
    for digits in range(3, 9):
        size = 10.0**digits
        run = size - last + new
        if 0.9 * size < last <= size and run >= 0.0:
            fits = abs(run - wanted) <= 0.5 * abs(wanted) + 0.5 if np.isfinite(wanted) else run <= 0.01 * size
            if fits:
                return run
    return None


def _mend(
    row: int, counter: Floats, step: Floats, wanted: Floats, added: float
) -> tuple[CounterEvent, float]:
    """The event at the break after `row`, and what to add to the counter from there on."""
    last, new, jump = float(counter[row]), float(counter[row + 1]), float(step[row])
    said = float(wanted[row])
    known = bool(np.isfinite(said))
    at_m = last + added
    between = {"last": Measure(last, "m"), "new": Measure(new, "m")}
    if jump > 0:
        run = said if known else _usual_step(step)
        told = message(Counted.LEAP, **between, size=Measure(jump - run, "m"))
        return CounterEvent("leap", row, row + 1, at_m, jump - run, abs(run) / 2 + 0.5, told), run - jump
    wrapped = _wrap_m(last, new, said)
    if wrapped is not None:
        told = message(Counted.WRAP, last=Measure(last, "m"))
        return CounterEvent("wrap", row, row + 1, at_m, wrapped, 0.0, told), wrapped - jump
    run = said if known else max(new, 0.0)
    unsure = 0.1 * abs(run) if known else max(_usual_step(step), new) / np.sqrt(3.0)
    code = Counted.RESET_BY_SPEED if known else Counted.RESET
    told = message(code, **between, run=Measure(run, "m"))
    return CounterEvent("reset", row, row + 1, at_m, -jump, unsure, told), run - jump


def _usual_step(step: Floats) -> float:
    forward = step[step > 0]
    return float(np.median(forward)) if forward.size else 0.0


def _reversals(at_m: Floats, front_m: Floats, resolution_m: float) -> list[CounterEvent]:
    """Stretches in which the wire stood behind its own front."""
    behind = at_m < front_m
    if not bool(behind.any()):
        return []
    edges = np.flatnonzero(np.diff(behind.astype(np.int8), prepend=0, append=0))
    events: list[CounterEvent] = []
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        depth = float(front_m[first] - at_m[first:after].min())
        if depth <= max(0.05, 1.5 * resolution_m):
            continue  # the counter's own jitter about a standing wire
        events.append(
            CounterEvent(
                "reversal",
                first,
                after - 1,
                float(front_m[first]),
                depth,
                0.0,
                message(Counted.REVERSAL, depth=Measure(depth, "m"), at=Place(float(front_m[first]))),
            )
        )
    return events

"""What was the line doing when this wire was at the die? Phases from line speed, in the trade's words.

Rules on speed come first: a plateau is speed that changes by less than half a per cent a second for ten
seconds; wire is STEADY while the speed is within 2 % of its plateau and the line has settled for a stated
time since it got there (common practice, no source). A phase belongs to the wire, so it is found at the die
and carried along: a gauge 60 m down the line still sees ramp when the speed is already steady.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.uint8]

STOP, THREAD, RAMP_UP, SETTLE, STEADY, SPEED_CHANGE, RAMP_DOWN = 1, 2, 3, 4, 5, 6, 7
PHASE_NAMES: dict[int, str] = {
    STOP: "STOP",
    THREAD: "THREAD",
    RAMP_UP: "RAMP-UP",
    SETTLE: "SETTLE",
    STEADY: "STEADY",
    SPEED_CHANGE: "SPEED-CHANGE",
    RAMP_DOWN: "RAMP-DOWN",
}


@dataclass(frozen=True, slots=True)
class SteadyRule:
    """When wire counts as steady; a plant may set its own.

    Args:
        band: largest departure from the plateau's speed, as a share of it.
        slope_per_s: largest change of speed a second on a plateau, as a share of the speed.
        plateau_s: shortest plateau [s].
        settle_s: time the line needs after reaching a speed [s]: three to five residence times of the
            crosshead (common practice, no source); an ideal mixer needs 4.6 for 1 %.
        thread_share: running below this share of the run's usual speed is threading.
        stop_m_s: slower than this the wire stands still [m/s].
    """

    band: float = 0.02
    slope_per_s: float = 0.005
    plateau_s: float = 10.0
    settle_s: float = 30.0
    thread_share: float = 0.15
    stop_m_s: float = 0.02


DEFAULT_RULE = SteadyRule()
_BLOCK_S = 1.0
_LONGEST_STEP_S = 5.0
_LEVEL_BLOCKS = 61  # a plateau's level is its average over about a minute


def phases_at_die(seconds: Floats, speed_m_s: Floats, rule: SteadyRule = DEFAULT_RULE) -> Codes:
    """The code of the line's phase at each row, from the line speed alone.

    Args:
        seconds: time of each row, not falling [s].
        speed_m_s: line speed at each row, finite [m/s].
        rule: when wire counts as steady.

    Returns:
        Codes of `PHASE_NAMES`. Edges of phases other than STOP are good to one second of running; a log
        that begins at speed begins with SETTLE, since what came before is not known.
    """
    if seconds.size == 0:
        return np.zeros(0, dtype=np.uint8)
    gap = np.minimum(np.diff(seconds, prepend=seconds[0]), _LONGEST_STEP_S)
    block_of = (np.cumsum(gap) / _BLOCK_S).astype(np.int64)
    first = np.flatnonzero(np.diff(block_of, prepend=-1))
    speed = np.add.reduceat(np.abs(speed_m_s), first) / np.diff(np.append(first, seconds.size))
    at_s = block_of[first].astype(np.float64) * _BLOCK_S
    codes = _block_phases(at_s, speed, rule)
    rows = np.repeat(codes, np.diff(np.append(first, seconds.size)))
    return _stops_to_the_row(rows, np.abs(speed_m_s), rule)


def _smooth(values: Floats, width: int) -> Floats:
    """Centred moving average over `width` values, shorter at the ends."""
    if values.size < 2:
        return values
    total = np.concatenate(([0.0], np.cumsum(values)))
    middle = np.arange(values.size)
    half = width // 2
    low, high = np.maximum(middle - half, 0), np.minimum(middle + half + 1, values.size)
    smoothed: Floats = (total[high] - total[low]) / (high - low)
    return smoothed


def _block_phases(at_s: Floats, speed: Floats, rule: SteadyRule) -> Codes:
    """Phase of each one-second block."""
    running = speed > rule.stop_m_s
    codes = np.full(speed.size, STOP, dtype=np.uint8)
    if not bool(running.any()):
        return codes
    usual = _usual_speed(speed[running])
    smooth = _smooth(speed, 5)
    slope = np.gradient(smooth, at_s) if speed.size > 1 else np.zeros(1)
    flat = running & (np.abs(slope) <= np.maximum(rule.slope_per_s * smooth, 0.005)) & ~_creeps(smooth)
    thread = flat & (smooth < rule.thread_share * usual)
    plateaus = _plateaus(at_s, speed, smooth, flat & ~thread, rule)
    level = np.full(speed.size, np.nan)
    level[~running] = 0.0
    level[thread] = 0.0
    for begin, end in plateaus:
        inside = slice(begin, end)
        held = _smooth(speed[inside], _LEVEL_BLOCKS)
        level[inside] = np.where(np.abs(smooth[inside] - held) <= rule.band * held, held, np.nan)
    return _name_blocks(at_s, level, running, thread, smooth, rule.thread_share * usual, rule)


def _creeps(smooth: Floats) -> NDArray[np.bool_]:
    """Blocks in which the speed moves on by more than 1 % in half a minute, before, after and meanwhile."""
    place = np.arange(smooth.size)

    def moved(back: int, on: int) -> Floats:
        low, high = np.maximum(place - back, 0), np.minimum(place + on, smooth.size - 1)
        change: Floats = np.abs(smooth[high] - smooth[low]) / np.maximum(np.abs(smooth), 1e-9)
        return change

    return (moved(30, 0) > 0.01) & (moved(0, 30) > 0.01) & (moved(10, 10) > 0.0033)


def _usual_speed(speed: Floats) -> float:
    """Speed at which half the wire was made [m/s]."""
    ordered = np.sort(speed)
    made = np.cumsum(ordered)
    return float(ordered[np.searchsorted(made, made[-1] / 2.0)])


def _plateaus(
    at_s: Floats, speed: Floats, smooth: Floats, flat: NDArray[np.bool_], rule: SteadyRule
) -> list[tuple[int, int]]:
    """Stretches at one speed as (first block, block after), neighbours of one speed joined."""
    edges = np.flatnonzero(np.diff(flat.astype(np.int8), prepend=0, append=0))
    found: list[tuple[int, int]] = []
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if at_s[end - 1] - at_s[begin] + _BLOCK_S < rule.plateau_s:
            continue
        if found:
            before_begin, before_end = found[-1]
            before = float(np.median(speed[max(before_begin, before_end - _LEVEL_BLOCKS) : before_end]))
            after = float(np.median(speed[begin : min(end, begin + _LEVEL_BLOCKS)]))
            between = smooth[before_end:begin]
            same = abs(after - before) <= rule.band * before
            if same and bool(np.all(np.abs(between - before) <= rule.band * before)):
                found[-1] = (before_begin, end)
                continue
        found.append((begin, end))
    return found


def _name_blocks(
    at_s: Floats,
    level: Floats,
    running: NDArray[np.bool_],
    thread: NDArray[np.bool_],
    smooth: Floats,
    slow: float,
    rule: SteadyRule,
) -> Codes:
    """Names from the level held (0 for a stop or threading, NaN between levels)."""
    between = np.isnan(level)
    codes = np.full(level.size, STEADY, dtype=np.uint8)
    codes[~running] = STOP
    codes[thread] = THREAD
    edges = np.flatnonzero(np.diff(between.astype(np.int8), prepend=0, append=0))
    for begin, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        codes[begin:end] = _change(level, begin, end, smooth, slow)
    held = codes == STEADY
    starts = np.flatnonzero(held & ~np.concatenate(([False], held[:-1])))
    ends = np.flatnonzero(held & ~np.concatenate((held[1:], [False])))
    for begin, end in zip(starts.tolist(), ends.tolist(), strict=True):
        inside = slice(begin, end + 1)
        codes[inside] = np.where(at_s[inside] - at_s[begin] < rule.settle_s, SETTLE, STEADY)
    return codes


def _change(level: Floats, begin: int, end: int, smooth: Floats, slow: float) -> int:
    """What a change between two levels is called; slower than `slow` counts as a stop or threading."""
    before = float(level[begin - 1]) if begin > 0 else float(smooth[begin])
    after = float(level[end]) if end < level.size else float(smooth[end - 1])
    if before >= slow and after >= slow:
        return SPEED_CHANGE
    if before < slow and after < slow:
        return RAMP_UP if float(smooth[begin:end].max()) >= slow or after >= before else RAMP_DOWN
    return RAMP_UP if before < slow else RAMP_DOWN


def _stops_to_the_row(rows: Codes, speed: Floats, rule: SteadyRule) -> Codes:
    """STOP drawn to the row: standing rows beside a stop's blocks join it, running rows leave it."""
    if not bool((rows == STOP).any()):
        return rows
    standing = speed <= rule.stop_m_s
    edges = np.flatnonzero(np.diff(standing.astype(np.int8), prepend=0, append=0))
    exact = np.where(rows == STOP, np.uint8(0), rows)
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        near = rows[max(first - 1, 0) : after + 1]
        if bool((near == STOP).any()):
            exact[first:after] = STOP
    loose = np.flatnonzero(exact == 0)
    if loose.size:
        # Rows of a stop's block in which the wire still ran: slowing before the stop, starting after it.
        stops = np.flatnonzero(exact == STOP)
        following = np.searchsorted(stops, loose)
        far = exact.size
        to_next = np.where(following < stops.size, stops[np.minimum(following, stops.size - 1)] - loose, far)
        since_last = np.where(following > 0, loose - stops[np.maximum(following - 1, 0)], far)
        exact[loose] = np.where(to_next <= since_last, RAMP_DOWN, RAMP_UP)
    return exact

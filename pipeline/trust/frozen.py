"""Does a wall sensor, or the whole ring, still follow the wire, or does it repeat a figure with noise on it?

Two signs, each against the run's own history. A sensor that grows far quieter than it usually is no longer reads the
wire (a). A ring whose mean followed the diameter and then stands while the diameter goes on moving no longer reads it
either (b). What neither shows stays unseen: a frozen ring beside a diameter that stands still, a frozen offset.
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.signal import correlate

from pipeline.logs.row_checks.grid import logged_step

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Rows = NDArray[np.int64]

# Readings in a window, half of which the next window shares (chosen here: 5 to 100 s at 20 to 1 Hz).
WINDOW = 100
# A minute at 1 Hz holds a whole one of these (chosen here).
QUIET_WINDOW = 40
# (a) Mean step between readings under this share of the run's usual one: of two windows running, and of one alone. Of
# 60 clean runs of one gauge with a wander of its own, one had a single window under the first share.
QUIET_SHARE, ALONE_SHARE = 0.4, 0.3
# (a) asks nothing of a log whose steps hide the usual movement: that swings with the level between two figures.
FEWEST_STEPS = 1.0
# (b) Slope of ring on diameter: how small, how many standard errors from following, and how well it followed before.
FROZEN_SLOPE, APART_SE, FOLLOWED_SLOPE = 0.3, 6.0, 0.6
# A sensor follows its neighbors from this slope on, told to so many standard errors: a frozen one in 30,000 windows.
FOLLOWS_SLOPE, FOLLOWS_SE = 0.5, 4.0
FEWEST_WINDOWS = 4
# (c) Movement of the diameter in a window beside what gauges move of themselves, and the share of windows from which on
# the ring is not followed anywhere (chosen here).
OWN_SD, UNFOLLOWED_SHARE = 2.0, 0.3
# A ring that follows so many readings late or early, and no more than so large a share of the run, reads the wire from
# another place (chosen here).
MOST_LATE, MOST_LATE_SHARE = 100, 0.1
# A splice's lump is of few readings: what stands out of the median of so many by so many deviations moves nothing.
LUMP_READINGS, LUMP_SIGMA = 25, 8.0
_PART = 4096  # windows worked on at a time
# Slow movement of plain noise is 1; over two windows, fifteen means, it passes this once in five thousand (chi-square).
WHITE = 3.0


def _windows(count: int, width: int = WINDOW) -> Rows:
    """First readings of windows over `count` readings, each half over the next."""
    if count < WINDOW:
        return np.zeros(0, dtype=np.int64)
    starts = np.arange(0, count - width + 1, width // 2)
    return np.append(starts, count - width) if starts[-1] + width < count else starts


def quiet_readings(values: Floats) -> Mask:
    """Readings of windows in which one sensor steps far less from reading to reading than it usually does (a).

    Args:
        values: its readings in the order of the wire, of moving wire only; NaN where there is none.
    """
    quiet = np.zeros(values.size, dtype=np.bool_)
    known = np.flatnonzero(np.isfinite(values))
    changed = np.diff(values[known], prepend=np.inf) != 0.0
    # A slow gauge in a fast log stands for some rows; only its own readings step.
    if 2 * int(changed.sum()) < known.size:
        known = known[changed]
    windows = _windows(known.size, QUIET_WINDOW)
    if len(windows) < FEWEST_WINDOWS:
        return quiet
    step = np.abs(np.diff(values[known], prepend=values[known][0]))
    # A jump is no noise: one step counts for no more than five usual ones.
    step = np.minimum(step, 5.0 * float(np.median(step)) + 1e-12)
    own = _rows_of(step, windows, QUIET_WINDOW).mean(axis=1)
    usual = float(np.quantile(own, 0.75))
    if usual < FEWEST_STEPS * logged_step(values[known]):
        return quiet
    under = own < QUIET_SHARE * usual
    beside = np.concatenate(([False], under, [False]))
    stands = (own < ALONE_SHARE * usual) | (under & (beside[:-2] | beside[2:]))
    for start in windows[stands].tolist():
        quiet[known[start] : known[start + QUIET_WINDOW - 1] + 1] = True
    return quiet & np.isfinite(values)


def _rows_of(values: Floats, windows: Rows, width: int = WINDOW) -> Floats:
    """Values of windows of one width, windows x width."""
    return np.ascontiguousarray(sliding_window_view(values, width)[windows])


def _runs(true: Mask) -> list[tuple[int, int]]:
    """First and last place of every stretch that is true."""
    edges = np.flatnonzero(np.diff(true.astype(np.int8), prepend=0, append=0))
    return [(a, b - 1) for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)]


def _slow_share(rows: Floats) -> Floats:
    """Variance of means of ten readings over what the steps from reading to reading alone would give; 1 for noise.

    Args:
        rows: stretches x readings.
    """
    tens = rows.shape[1] // 10
    means = rows[:, : 10 * tens].reshape(-1, tens, 10).mean(axis=2)
    by_steps = np.mean(np.diff(rows, axis=1) ** 2, axis=1) / 2.0
    moves = 10.0 * means.var(axis=1, ddof=1)
    return np.asarray(np.divide(moves, by_steps, out=np.full(moves.size, np.inf), where=by_steps > 0.0))


def _movement(values: Floats, windows: Rows) -> Floats:
    """Standard deviation of means of ten readings within each window."""
    means = values[: values.size // 10 * 10].reshape(-1, 10).mean(axis=1)
    each = np.minimum(windows[:, None] // 10 + np.arange(WINDOW // 10), means.size - 1)
    return np.asarray(means[each].std(axis=1, ddof=1), dtype=np.float64)


def _slopes(x_all: Floats, y_all: Floats, windows: Rows) -> tuple[Floats, Floats, Floats]:
    """For each window the slope of y on x, and how many standard errors it is told to and stands from one."""
    slopes, moved, apart = np.full((3, len(windows)), np.nan)
    for first in range(0, len(windows), _PART):
        part = slice(first, first + _PART)
        x, y = _rows_of(x_all, windows[part]), _rows_of(y_all, windows[part])
        x, y = x - x.mean(axis=1, keepdims=True), y - y.mean(axis=1, keepdims=True)
        noise = np.mean(np.diff(x, axis=1) ** 2, axis=1) / 2.0
        signal = (x * x).sum(axis=1) - WINDOW * noise
        told = signal > 0.0
        signal = np.where(told, signal, 1.0)
        slope = (x * y).sum(axis=1) / signal
        left = y - slope[:, None] * x
        spread = left.std(axis=1)
        before, after = left[:, :-1], left[:, 1:]
        before, after = before - before.mean(axis=1, keepdims=True), after - after.mean(axis=1, keepdims=True)
        scale = np.sqrt((before**2).sum(axis=1) * (after**2).sum(axis=1))
        lag = np.clip((before * after).sum(axis=1) / np.where(scale > 0.0, scale, 1.0), 0.0, 0.95)
        error = np.maximum(spread, 1e-9) * np.sqrt((1.0 + lag) / (1.0 - lag) / signal)
        slopes[part] = np.where(told, slope, np.nan)
        moved[part], apart[part] = (
            np.where(told, 1.0 / error, np.nan),
            np.where(told, (1.0 - slope) / error, np.nan),
        )
    return slopes, moved, apart


def wall_by_others(walls: Floats) -> Floats:
    """What the other sensors make of the wall at each sensor [mm], rows x sensors; NaN where one of them is missing.

    Least squares of mean and offset on the others, equally spaced (`pipeline.trust.ring_shape` asks for more).

    Args:
        walls: readings of the sensors, rows x sensors [mm].
    """
    sensors = walls.shape[1]
    angle = 2.0 * np.pi * np.arange(sensors) / sensors
    columns = np.stack([np.ones(sensors), np.cos(angle), np.sin(angle)], axis=1)
    told: Floats = np.full(walls.shape, np.nan)
    for one in range(sensors):
        others = np.delete(np.arange(sensors), one)
        weights = columns[one] @ np.linalg.pinv(columns[others])
        told[:, one] = walls[:, others] @ weights
    return told


def without_followed(stands: Mask, one: Floats, others: Floats) -> Mask:
    """Readings taken to stand, without stretches in which the sensor moves with what the others make of the wall.

    Args:
        stands: readings of the sensor that a diameter says stand.
        one: its readings in the order of the wire [mm]; NaN where there is none.
        others: the wall at it by the others (`wall_by_others`) [mm].
    """
    known = np.flatnonzero(np.isfinite(one) & np.isfinite(others))
    windows = _windows(known.size)
    if windows.size == 0 or not bool(stands.any()):
        return stands
    slopes, moved, _ = _slopes(others[known], one[known], windows)
    follows = np.zeros(stands.size, dtype=np.bool_)
    for start in windows[(slopes > FOLLOWS_SLOPE) & (slopes * moved > FOLLOWS_SE)].tolist():
        follows[known[start : start + WINDOW]] = True
    told = np.isfinite(others)
    left = stands & ~follows
    for first, last in _runs(stands):
        here = slice(first, last + 1)
        # Where another sensor is out too, what the rest of the stretch shows stands for it.
        if 2 * int(follows[here].sum()) > int(told[here].sum()):
            left[here] = False
    return left


def frozen_readings(wall: Floats, half_diameter: Floats, own_mm: float = 0.0) -> Mask:
    """Readings of windows in which the ring's mean stands while the diameter it followed before moves (b).

    The slope of the wall on the half diameter is corrected for the diameter's own noise, taken from its steps; its
    standard error has the wall's own correlation in it.

    Args:
        wall: mean wall by the ring, or the wall by one sensor [mm], in the order of the wire; NaN where there is none.
        half_diameter: half the diameter less the conductor on the same wire [mm].
        own_mm: standard deviation of what `half_diameter` moves of itself within a run [mm].
    """
    frozen = np.zeros(wall.size, dtype=np.bool_)
    known = np.flatnonzero(np.isfinite(wall) & np.isfinite(half_diameter))
    windows = _windows(known.size)
    if len(windows) < FEWEST_WINDOWS:
        return frozen
    y_all, x_all = wall[known], half_diameter[known]
    slopes, moved, apart = _slopes(x_all, y_all, windows)
    told = moved > APART_SE
    if int(told.sum()) < FEWEST_WINDOWS:
        return frozen
    stands = told & (np.abs(slopes) < FROZEN_SLOPE) & (apart > APART_SE)
    stands &= _movement(x_all, windows) > OWN_SD * own_mm
    rest = told & ~stands
    if int(rest.sum()) < FEWEST_WINDOWS // 2 or float(np.median(slopes[rest])) < FOLLOWED_SLOPE:
        return frozen
    # A diameter that moves by itself, by its conductor or its own fault, leaves the ring its own slow movement.
    shares = [
        _slow_share(_rows_of(y_all, part))
        for part in np.array_split(windows[rest], 1 + int(rest.sum()) // _PART)
    ]
    usual = float(np.median(np.concatenate(shares)))
    for first, last in _runs(stands):
        # The first and last window may still have wire in them that was read.
        spans = ((first, last), (first + 1, last), (first, last - 1), (first + 1, last - 1))
        for a, b in [one for one in spans if one[1] > one[0]]:
            if _slow_share(y_all[None, windows[a] : windows[b] + WINDOW])[0] < min(WHITE, 0.5 * usual):
                frozen[known[windows[first] : windows[last] + WINDOW]] = True
                break
    return frozen


def unfollowed_readings(wall: Floats, half_diameter: Floats, own_mm: float) -> Mask:
    """Readings of windows in which a diameter moves more than gauges do of themselves, and the ring not with it (c).

    Unlike (b) this asks for no wire on which the ring followed, so that a ring which reads other wire, or none, all
    through is found. What moved by itself may be the diameter; the ring then judges nothing until that is settled.
    A ring that follows from elsewhere than the line sheet says is not meant: its station is, which is told apart.

    Args:
        wall: mean wall by the ring [mm], in the order of the wire; NaN where there is none.
        half_diameter: half the diameter less the conductor, both read on the same wire [mm].
        own_mm: standard deviation of what the gauges move of themselves within a run [mm].
    """
    unfollowed = np.zeros(wall.size, dtype=np.bool_)
    known = np.flatnonzero(np.isfinite(wall) & np.isfinite(half_diameter))
    if known.size < LUMP_READINGS:
        return unfollowed
    out = half_diameter[known] - median_filter(half_diameter[known], LUMP_READINGS)
    known = known[np.abs(out) <= LUMP_SIGMA * 1.4826 * float(np.median(np.abs(out))) + 1e-12]
    windows = _windows(known.size)
    if len(windows) < FEWEST_WINDOWS:
        return unfollowed
    moves, ring = half_diameter[known], wall[known]
    slopes, moved, apart = _slopes(moves, ring, windows)
    told = moved > APART_SE
    stands = told & (np.abs(slopes) < FROZEN_SLOPE) & (apart > APART_SE)
    stands &= _movement(moves, windows) > OWN_SD * own_mm
    if bool(stands.any()):
        later, told_later, _ = _slopes(np.roll(moves, _lateness(moves, ring)), ring, windows)
        # The best of many places moves with anything a little; only a ring that follows there is placed wrongly.
        follows = later[told_later > APART_SE]
        if follows.size and float(np.median(follows)) >= FOLLOWED_SLOPE:
            stands &= np.abs(later) < FROZEN_SLOPE
    if int(stands.sum()) >= max(FEWEST_WINDOWS, UNFOLLOWED_SHARE * int(told.sum())):
        unfollowed[known] = True
        return unfollowed
    for first, last in [one for one in _runs(stands) if one[1] > one[0]]:
        unfollowed[known[windows[first] : windows[last] + WINDOW]] = True
    return unfollowed


def _lateness(moves: Floats, ring: Floats) -> int:
    """How many readings later than the diameter the ring best shows what moves, within `MOST_LATE` either way."""
    one, other = (np.diff(each[: each.size // 5 * 5].reshape(-1, 5).mean(axis=1)) for each in (moves, ring))
    together = correlate(other, one, mode="full", method="fft")
    middle: int = one.size - 1
    most = min(MOST_LATE, int(MOST_LATE_SHARE * moves.size)) // 5
    best = int(np.argmax(together[middle - most : middle + most + 1]))
    return 5 * (best - most)

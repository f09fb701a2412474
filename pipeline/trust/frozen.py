"""Does a wall sensor, or the whole ring, still follow the wire, or does it repeat a figure with noise on it?

Two signs, each against the run's own history. A sensor that grows far quieter than it usually is no longer reads the
wire (a). A ring whose mean followed the diameter and then stands while the diameter goes on moving no longer reads it
either (b). What neither shows stays unseen: a frozen ring beside a diameter that stands still, a frozen offset.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Readings in a window, half of which the next window shares (chosen here: 5 to 100 s at 20 to 1 Hz).
WINDOW = 100
# (a) A window's mean step between readings under this share of the run's usual one.
QUIET_SHARE = 0.4
# (b) Slope of ring on diameter: how small, how many standard errors from following, and how well it followed before.
FROZEN_SLOPE, APART_SE, FOLLOWED_SLOPE = 0.3, 6.0, 0.6
FEWEST_WINDOWS = 4
# Slow movement of plain noise is 1; over two windows, fifteen means, it passes this once in five thousand (chi-square).
WHITE = 3.0


def _windows(count: int) -> list[slice]:
    """Windows over `count` readings, each half over the next."""
    if count < WINDOW:
        return []
    starts = list(range(0, count - WINDOW + 1, WINDOW // 2))
    if starts[-1] + WINDOW < count:
        starts.append(count - WINDOW)
    return [slice(start, start + WINDOW) for start in starts]


def quiet_readings(values: Floats) -> Mask:
    """Readings of windows in which one sensor steps far less from reading to reading than it usually does (a).

    Args:
        values: its readings in the order of the wire, of moving wire only; NaN where there is none.
    """
    quiet = np.zeros(values.size, dtype=np.bool_)
    known = np.flatnonzero(np.isfinite(values))
    windows = _windows(known.size)
    if len(windows) < FEWEST_WINDOWS:
        return quiet
    step = np.abs(np.diff(values[known], prepend=values[known][0]))
    # A jump is no noise: one step counts for no more than five usual ones.
    step = np.minimum(step, 5.0 * float(np.median(step)) + 1e-12)
    own = np.array([float(step[one].mean()) for one in windows])
    usual = float(np.quantile(own, 0.75))
    for one, mean in zip(windows, own.tolist(), strict=True):
        if mean < QUIET_SHARE * usual:
            quiet[known[one]] = True
    return quiet


def _runs(true: Mask) -> list[tuple[int, int]]:
    """First and last place of every stretch that is true."""
    edges = np.flatnonzero(np.diff(true.astype(np.int8), prepend=0, append=0))
    return [(a, b - 1) for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)]


def _slow_share(values: Floats) -> float:
    """Variance of means of ten readings over what the steps from reading to reading alone would give; 1 for noise."""
    means = values[: values.size // 10 * 10].reshape(-1, 10).mean(axis=1)
    by_steps = float(np.mean(np.diff(values) ** 2)) / 2.0
    return 10.0 * float(means.var(ddof=1)) / by_steps if by_steps > 0.0 else np.inf


def frozen_readings(wall: Floats, half_diameter: Floats) -> Mask:
    """Readings of windows in which the ring's mean stands while the diameter it followed before moves (b).

    The slope of the wall on the half diameter is corrected for the diameter's own noise, taken from its steps; its
    standard error has the wall's own correlation in it.

    Args:
        wall: mean wall by the ring, or the wall by one sensor [mm], in the order of the wire; NaN where there is none.
        half_diameter: half the diameter less the conductor on the same wire [mm].
    """
    frozen = np.zeros(wall.size, dtype=np.bool_)
    known = np.flatnonzero(np.isfinite(wall) & np.isfinite(half_diameter))
    windows = _windows(known.size)
    if len(windows) < FEWEST_WINDOWS:
        return frozen
    y_all, x_all = wall[known], half_diameter[known]
    slopes, moved, apart = np.full((3, len(windows)), np.nan)
    for number, one in enumerate(windows):
        x, y = x_all[one] - x_all[one].mean(), y_all[one] - y_all[one].mean()
        noise = float(np.mean(np.diff(x) ** 2)) / 2.0
        signal = float((x * x).sum()) - WINDOW * noise
        if signal <= 0.0:
            continue
        slope = float((x * y).sum()) / signal
        left = y - slope * x
        spread = float(left.std())
        lag = float(np.clip(np.corrcoef(left[1:], left[:-1])[0, 1], 0.0, 0.95)) if spread > 0 else 0.0
        error = max(spread, 1e-9) * np.sqrt((1.0 + lag) / (1.0 - lag) / signal)
        slopes[number], moved[number], apart[number] = slope, 1.0 / error, (1.0 - slope) / error
    told = moved > APART_SE
    if int(told.sum()) < FEWEST_WINDOWS:
        return frozen
    stands = told & (np.abs(slopes) < FROZEN_SLOPE) & (apart > APART_SE)
    rest = told & ~stands
    if int(rest.sum()) < FEWEST_WINDOWS // 2 or float(np.median(slopes[rest])) < FOLLOWED_SLOPE:
        return frozen
    # A diameter that moves by itself, by its conductor or its own fault, leaves the ring its own slow movement.
    usual = float(
        np.median([_slow_share(y_all[windows[number]]) for number in np.flatnonzero(rest).tolist()])
    )
    for first, last in _runs(stands):
        # The first and last window may still have wire in them that was read.
        spans = ((first, last), (first + 1, last), (first, last - 1), (first + 1, last - 1))
        for a, b in [one for one in spans if one[1] > one[0]]:
            if _slow_share(y_all[windows[a].start : windows[b].stop]) < min(WHITE, 0.5 * usual):
                frozen[known[windows[first].start : windows[last].stop]] = True
                break
    return frozen

"""Is a wall sensor read, or made of the sensors beside it? A live sensor has noise that no other sensor knows.

A dead sensor is filled with the mean of its neighbors, of all the others, or with a copy of one. Over a window its
figures are then a mean of the others to the last digit. Which of the sensors so tied was made: the one whose weights
on the others would take noise away and not add any (derived). Of two that are copies of each other both are doubted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

WINDOW = 80
# Noise of the sensors, in steps of the log, from which on agreement to the last digit says something (chosen here).
LEAST_STEPS = 0.6
# Share of a window's readings that must agree, weights that make a mean and no extrapolation, and how far what is left
# may pass what rounding alone leaves (chosen here).
AGREES, MOST_WEIGHT, ROUNDING = 0.97, 1.1, 1.15
# A mean's weights add up to one; a sensor that stands still has none, and is told as such (chosen here).
LEAST_SUM = 0.8


def computed_readings(walls: Floats, steps: Floats) -> Mask:
    """Rows x sensors, True where a sensor's figures are made of the others'.

    Args:
        walls: readings of the sensors in the order of the log, rows x sensors [mm]; NaN where there is none.
        steps: smallest step the log shows of each sensor [mm].
    """
    made = np.zeros(walls.shape, dtype=np.bool_)
    sensors = walls.shape[1]
    known = np.flatnonzero(np.isfinite(walls).all(axis=1))
    # A slow gauge in a fast log stands for some rows, which tell nothing more.
    known = known[np.diff(walls[known], axis=0, prepend=np.inf).any(axis=1)]
    freedom = sensors - 3
    if freedom < 1 or known.size < 2 * WINDOW:
        return made
    moves = np.diff(walls[known], axis=0)
    for start, one in _candidates(moves, steps, freedom):
        here = moves[start : start + WINDOW]
        if _made_of(here[:, one], np.delete(here, one, axis=1), float(steps[one]), np.delete(steps, one)):
            # What is left over after the last window goes with it.
            last = start + WINDOW if start + WINDOW + WINDOW // 2 <= moves.shape[0] else known.size - 1
            made[known[start] : known[last] + 1, one] = True
    return made


def _candidates(moves: Floats, steps: Floats, freedom: int) -> list[tuple[int, int]]:
    """Windows and sensors that may be made of the others, all at once: by the inverse of their sums of products.

    With P that inverse, what the others leave of sensor k is 1 / P_kk and their weights are -P_kj / P_kk (derived).
    """
    sensors, half = moves.shape[1], WINDOW // 2
    count = moves.shape[0] // half - 1
    angle = 2.0 * np.pi * np.arange(sensors) / sensors
    smooth = np.stack([np.ones(sensors), np.cos(angle), np.sin(angle)], axis=1)
    noise = np.eye(sensors) - smooth @ np.linalg.pinv(smooth)
    blocks = moves[: (count + 1) * half].reshape(count + 1, half, sensors)
    sums = blocks.transpose(0, 2, 1) @ blocks
    both = sums[1:] + sums[:-1]
    # What is no movement of a smooth wall is noise; a smoothed gauge has hardly any.
    alone = np.sqrt(np.maximum(np.einsum("wij,ij->w", both, noise), 0.0) / (2.0 * WINDOW * freedom))
    # Copies leave nothing at all, and the sums then have no inverse.
    ridge = 1e-3 * WINDOW * float(np.median(steps)) ** 2 * np.eye(sensors)
    inverse = np.linalg.inv(both + ridge)
    own = np.diagonal(inverse, axis1=1, axis2=2)
    weights = inverse / own[:, :, None]
    weighed = np.einsum("wij,wij,j->wi", weights, weights, steps**2) / 6.0
    left = 1.0 / own / (WINDOW - sensors + 1)
    asked = (
        (steps > 0.0) & (alone[:, None] >= LEAST_STEPS * steps) & (left <= (2.0 * ROUNDING) ** 2 * weighed)
    )
    return [(int(window) * half, int(one)) for window, one in zip(*np.nonzero(asked), strict=True)]


def _made_of(one: Floats, others: Floats, step: float, steps: Floats) -> bool:
    """Whether a sensor's movement is a mean of the others' to the last digit."""
    weights, *_ = np.linalg.lstsq(others, one, rcond=None)
    if float((weights**2).sum()) > MOST_WEIGHT or float(weights.sum()) < LEAST_SUM:
        return False
    rounded = float(np.sqrt((step**2 + float(weights**2 @ steps**2)) / 6.0))
    return _rms(one - others @ weights, weights.size) <= ROUNDING * rounded


def _rms(left: Floats, free: int) -> float:
    """Root mean square of all but the largest few."""
    most = np.sort(np.abs(left))[: int(AGREES * left.size)]
    return float(np.sqrt((most**2).sum() / (most.size - free)))

"""Sensors that take turns or repeat one figure are found, and sensors of their own are not; noise is invented."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.trust.read_together import not_read_together

Floats = NDArray[np.float64]
ROWS, STEP_MM, NOISE_MM = 1200, 0.001, 0.003


def ring(sensors: int, seed: int, offset_mm: float = 0.01) -> Floats:
    """Sensors that read together: a wall that wanders, an offset and noise, in steps of a micrometer."""
    rng = np.random.default_rng(seed)
    wall = 0.8 + 0.0005 * np.cumsum(rng.standard_normal(ROWS))[:, None]
    angle = 2.0 * np.pi * np.arange(sensors) / sensors
    walls = wall + offset_mm * np.cos(angle) + NOISE_MM * rng.standard_normal((ROWS, sensors))
    return np.asarray(np.round(walls / STEP_MM) * STEP_MM)


def in_turns(walls: Floats, heads: int, dwell: int) -> Floats:
    """The same from so many heads that go round, each column keeping its last figure."""
    rows, sensors = walls.shape
    turn = np.arange(rows) // dwell
    held = walls.copy()
    for one in range(sensors):
        new = (turn - one) % (sensors // heads) == 0
        held[:, one] = walls[np.maximum.accumulate(np.where(new, np.arange(rows), 0)), one]
    return held


@pytest.mark.parametrize("sensors", [4, 8])
@pytest.mark.parametrize("dwell", [1, 4])
def test_sensors_that_take_turns_are_found(sensors: int, dwell: int) -> None:
    assert not_read_together(in_turns(ring(sensors, 1), 1, dwell)).mean() > 0.9
    if sensors == 8:
        assert not_read_together(in_turns(ring(sensors, 2), 2, dwell)).mean() > 0.6


def test_one_figure_in_every_column_is_found() -> None:
    walls = ring(8, 3)
    assert not_read_together(np.repeat(walls[:, :1], 8, axis=1)).all()


def test_part_of_a_run_is_found_as_such() -> None:
    walls = ring(6, 4)
    walls[600:] = in_turns(walls[600:], 1, 1)
    found = not_read_together(walls)
    assert not found[:400].any()
    assert found[800:].all()


def test_sensors_of_their_own_are_left_alone() -> None:
    for seed in range(20):
        walls = ring(4 + seed % 5, seed)
        # A gauge that reads more seldom than the log: all its columns stand, and change in the same row.
        seldom = np.repeat(walls[::4], 4, axis=0)
        # A coarse gauge on centered wire shows one figure in most rows, and its neighbor at times.
        coarse = np.round(ring(8, seed, 0.0) / 0.025) * 0.025
        # Figures written where they have moved by more than a deadband, each column on its own.
        banded = walls.copy()
        for row in range(1, ROWS):
            still = np.abs(walls[row] - banded[row - 1]) < 0.004
            banded[row, still] = banded[row - 1, still]
        for one in (walls, seldom, coarse, banded):
            assert not not_read_together(one).any()


def test_too_little_tells_nothing() -> None:
    assert not not_read_together(np.zeros((0, 8))).any()
    assert not not_read_together(in_turns(ring(8, 5), 1, 1)[:90]).any()
    assert not not_read_together(ring(1, 6)).any()
    assert not not_read_together(np.full((500, 8), np.nan)).any()
    assert not not_read_together(np.full((500, 8), 0.8)).any()

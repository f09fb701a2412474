"""Sensors that repeat figures in the same rows. Signals are invented; chances follow from their noise (derivation)."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.trust.held_together import held_together

ROWS, SENSORS = 1200, 8


def _walls(seed: int, step: float = 0.001, noise: float = 0.004) -> np.ndarray:
    """A ring's figures in steps of the log: a wander that all share, and noise of each that is not white."""
    rng = np.random.default_rng((seed, 17))
    shared = np.cumsum(rng.standard_normal(ROWS)) * 0.002 / np.sqrt(ROWS)
    own = rng.standard_normal((ROWS + 1, SENSORS))
    walls = 0.9 + shared[:, None] + noise * (0.9 * own[1:] + 0.44 * own[:-1])
    return np.asarray(np.round(walls / step) * step)


@pytest.mark.parametrize("seed", range(40))
@pytest.mark.parametrize("step", [0.0001, 0.001, 0.004])
def test_live_sensors_are_never_called_held(seed: int, step: float) -> None:
    assert not held_together(_walls(seed, step)).any()


@pytest.mark.parametrize("seed", range(10))
def test_three_sensors_that_hold_for_some_rows_are_found_and_no_other(seed: int) -> None:
    walls = _walls(seed)
    walls[600:606, 2:5] = walls[599, 2:5]
    held = held_together(walls)
    assert held[599:606, 2:5].all()
    assert not held[:, [0, 1, 5, 6, 7]].any() and not held[:598].any() and not held[607:].any()


def test_what_is_put_in_place_of_figures_under_a_floor_is_found() -> None:
    """The usual figure of each sensor stands where the wire is off centre, on the side that is thin."""
    walls = _walls(3)
    walls[500:507, :4] = np.median(walls[:, :4], axis=0)
    assert held_together(walls)[500:507, :4].all()


def test_a_ring_that_is_read_seldom_or_logged_twice_holds_nothing() -> None:
    walls = _walls(4)
    assert not held_together(walls[np.arange(ROWS) // 3 * 3]).any()
    twice = walls.copy()
    twice[7::40] = twice[6::40][: twice[7::40].shape[0]]
    assert not held_together(twice).any()


def test_rows_that_were_not_read_repeat_nothing() -> None:
    walls = _walls(5)
    walls[300:360] = np.nan
    assert not held_together(walls).any()
    assert not held_together(walls[:1]).any() and not held_together(walls[:, :1]).any()

"""Rows that a historian filled in are found, few as they may be, and noise of any law is not taken for them."""

import numpy as np
import pytest

from pipeline.logs.row_checks.filled import filled_rows
from tests.other_lines import noise

STEPS = np.full(4, 0.001)


def _ring(law: noise.Law, seed: int, rows: int = 3000, u: float = 0.004, step: float = 0.001) -> np.ndarray:
    rng = np.random.default_rng(seed)
    wall = 0.8 + 0.006 * noise.slow(rng, rows, 200.0)
    return np.round((np.stack([wall + u * law(rng, rows) for _ in range(4)], axis=1)) / step) * step


LAWS = [noise.gaussian, noise.heavy, noise.autoregressive, noise.drifting]


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("step", [0.0001, 0.001, 0.01, 0.1])
def test_noise_is_not_filled_whatever_the_step(law: noise.Law, step: float) -> None:
    assert not any(filled_rows(_ring(law, seed, step=step), np.full(4, step)).any() for seed in range(10))


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("length", [16, 40, 200])
def test_a_straight_or_frozen_stretch_is_found_to_the_row(law: noise.Law, length: int) -> None:
    for seed in range(5):
        walls, a, b = _ring(law, seed), 1500, 1500 + length
        ends = np.array([a - 1, b])
        walls[a:b] = np.stack([np.interp(np.arange(a, b), ends, walls[ends, k]) for k in range(4)], axis=1)
        found = np.flatnonzero(filled_rows(np.round(walls, 3), STEPS))
        assert set(range(a, b)) <= set(found.tolist()) and found.min() >= a - 2 and found.max() <= b + 1
        walls[a:b] = walls[a - 1]
        assert filled_rows(walls, STEPS)[a:b].all()


@pytest.mark.parametrize("law", LAWS)
def test_a_log_filled_all_through_is_found(law: noise.Law) -> None:
    walls = _ring(law, 1)
    every = np.arange(walls.shape[0])
    # Kept where it had moved: at times of their own, never in two rows beside each other.
    kept = np.cumsum(np.random.default_rng(3).integers(2, 9, every.size))
    for some in (every[::5], kept[kept < every.size]):
        filled = np.stack([np.interp(every, some, walls[some, k]) for k in range(4)], axis=1)
        found = filled_rows(np.round(filled, 3), STEPS)
        assert found.mean() > 0.6 and not found[some[1:-1]].mean() > 0.5


def test_too_few_readings_or_channels_that_never_change_say_nothing() -> None:
    assert not filled_rows(np.zeros((1000, 3)), np.zeros(3)).any()
    assert not filled_rows(_ring(noise.gaussian, 1)[:100], STEPS).any()

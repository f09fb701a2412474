"""Sensors filled with a mean or a copy of others are found, and live rings of any noise or step are not accused."""

from collections.abc import Callable

import numpy as np
import pytest

from pipeline.trust.computed import computed_readings
from tests.other_lines import noise

LAWS = [noise.gaussian, noise.heavy, noise.autoregressive, noise.wandering]


def _ring(law: noise.Law, seed: int, sensors: int, rows: int = 1200) -> np.ndarray:
    rng = np.random.default_rng(seed)
    angle = 2.0 * np.pi * np.arange(sensors) / sensors
    wall = 1.2 + 0.01 * noise.slow(rng, rows, 150.0) + 0.2 * np.exp(-np.arange(rows) / 30.0)
    centre = 0.04 * (1.0 + 0.3 * noise.slow(rng, rows, 300.0))
    return np.stack([wall + centre * np.cos(one) + 0.005 * law(rng, rows) for one in angle], axis=1)


def _found(walls: np.ndarray, step: float) -> np.ndarray:
    return computed_readings(np.round(walls / step) * step, np.full(walls.shape[1], step))


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("sensors", [4, 6, 8, 12])
def test_live_sensors_are_not_accused(law: noise.Law, sensors: int) -> None:
    for step in (0.0001, 0.001, 0.00254, 0.0254, 0.1):
        assert not any(_found(_ring(law, seed, sensors), step).any() for seed in range(3))
    # A gauge that stands for some rows, and one that is slow in itself.
    live = _ring(law, 5, sensors)
    assert not _found(live[np.arange(1200) // 5 * 5], 0.001).any()
    slow = np.stack([np.convolve(one, np.full(60, 1 / 60), "valid") for one in live.T], axis=1)
    assert not _found(slow, 0.001).any()


FILLS: dict[str, Callable[[np.ndarray], np.ndarray]] = {
    "mean of the two beside": lambda w: 0.5 * (w[:, 0] + w[:, 2]),
    "mean of all others": lambda w: np.delete(w, 1, axis=1).mean(axis=1),
}


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("sensors", [4, 6, 8, 12])
@pytest.mark.parametrize("fill", FILLS)
def test_the_filled_sensor_is_named_and_no_other(law: noise.Law, sensors: int, fill: str) -> None:
    walls = _ring(law, 7, sensors)
    walls[400:, 1] = FILLS[fill](walls[400:])
    found = _found(walls, 0.001)
    assert found[480:, 1].all() and not found[:320].any() and not np.delete(found, 1, axis=1).any()


@pytest.mark.parametrize("sensors", [4, 6, 8, 12])
def test_a_sensor_that_stands_still_is_not_called_filled_in(sensors: int) -> None:
    walls = _ring(noise.gaussian, 9, sensors)
    walls[400:, 1] = walls[400, 1]
    assert not _found(walls, 0.001).any()


@pytest.mark.parametrize("sensors", [4, 6, 8, 12])
def test_of_two_that_are_copies_both_are_doubted(sensors: int) -> None:
    walls = _ring(noise.heavy, 8, sensors)
    walls[:, 1] = walls[:, sensors // 2]
    assert sorted(np.flatnonzero(_found(walls, 0.001).all(axis=0)).tolist()) == sorted({1, sensors // 2})

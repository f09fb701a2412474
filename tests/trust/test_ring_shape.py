"""Wall sensors asked by each other. Walls are invented; what can be seen follows from harmonics (derivation)."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.trust.ring_shape import ring_shape

U = 0.004


def _walls(seed: int, sensors: int = 8, looks: int = 40, offset: float = 0.025) -> np.ndarray:
    """A wall whose center wanders, with an oval of 1.5 um and three lobes of 0.8 um."""
    rng = np.random.default_rng(seed)
    rows = looks * 25
    angle = 2.0 * np.pi * np.arange(sensors) / sensors
    turn = rng.uniform(0.0, 2.0 * np.pi) + 0.3 * np.sin(np.linspace(0.0, 5.0, rows))[:, None]
    size = offset * (1.0 + 0.3 * np.sin(np.linspace(0.0, 9.0, rows)))[:, None]
    wall = 0.5 + size * np.cos(angle - turn) + 0.0015 * np.cos(2 * angle) + 0.0008 * np.cos(3 * angle)
    return wall + 0.5 * U * rng.standard_normal((rows, sensors))


@pytest.mark.parametrize("sensors", [4, 6, 8, 12])
def test_sensors_in_their_order_are_never_accused(sensors: int) -> None:
    for seed in range(25):
        found = ring_shape(_walls(seed, sensors), U)
        assert found.order is None
        assert not found.off.any() and not found.unsmooth.any()


@pytest.mark.parametrize("first", range(4))
def test_exchanged_sensors_are_named(first: int) -> None:
    order = list(range(8))
    order[first], order[first + 4] = order[first + 4], order[first]
    found = 0
    for seed in range(10):
        shape = ring_shape(_walls(seed)[:, order], U)
        # The first sensor and the direction are free, so the order is compared by who stands beside whom.
        if shape.order is not None:
            ring = [order[column] for column in shape.order]
            assert {(b - a) % 8 for a, b in zip(ring, [*ring[1:], ring[0]], strict=True)} in ({1}, {7})
            found += 1
    assert found >= 8


@pytest.mark.parametrize("order", [list(range(8))[::-1], [*range(3, 8), 0, 1, 2]])
def test_a_ring_read_backwards_or_turned_makes_the_same_wall(order: list[int]) -> None:
    found = ring_shape(_walls(1)[:, order], U)
    assert found.order is None and not found.off.any()


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_sensor_off_by_the_stated_least_is_found_nine_times_in_ten(sign: float) -> None:
    found = 0
    for seed in range(20):
        walls = _walls(seed)
        least = ring_shape(walls, U).least_mm
        walls[:, 3] += sign * least
        shape = ring_shape(walls, U)
        found += set(shape.off_by_mm) == {3}
    assert found >= 18


def test_a_local_oval_accuses_no_order() -> None:
    walls = _walls(2)
    angle = 2.0 * np.pi * np.arange(8) / 8
    walls[300:500] += 0.06 * np.cos(2.0 * angle)
    assert ring_shape(walls, U).order is None


def test_too_little_says_nothing() -> None:
    assert ring_shape(_walls(0)[:, :3], U).looks == 0
    assert ring_shape(_walls(0)[:100], U).looks == 0
    assert ring_shape(np.full((2000, 8), np.nan), U).looks == 0
    gone = _walls(0)
    gone[:, 2] = np.nan
    assert ring_shape(gone, U).order is None

"""A ring that reads more wall than the diameter has room for. Signals are invented; what is left over is put in."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.trust.room_for_wall import OverRead, over_read

ROWS, WALL, SD = 900, 0.9, 0.004
AT_M = np.arange(ROWS) * 1.5


def _left(seed: int) -> np.ndarray:
    """What a sound run leaves over: gauges that wander by their uncertainty, and noise with wild readings."""
    rng = np.random.default_rng((seed, 41))
    slow = np.interp(np.arange(ROWS), np.arange(0, ROWS + 60, 60), SD * rng.standard_normal(ROWS // 60 + 1))
    left = 0.02 + 0.5 * slow + 0.004 * rng.standard_t(4, ROWS)
    left[rng.integers(0, ROWS, 6)] += rng.choice([-0.4, 0.4], 6)
    return np.asarray(left)


def _found(left: np.ndarray) -> list[OverRead]:
    return list(over_read(AT_M, left, 0.02, WALL, SD))


@pytest.mark.parametrize("seed", range(60))
def test_a_sound_run_is_never_accused(seed: int) -> None:
    assert _found(_left(seed)) == []


@pytest.mark.parametrize("rows", [4, 8, 60, 300])
@pytest.mark.parametrize("seed", range(5))
def test_a_tenth_too_much_is_found_where_it_lies(rows: int, seed: int) -> None:
    left = _left(seed)
    left[400 : 400 + rows] -= 0.12
    (one,) = _found(left)
    assert AT_M[394] <= one.from_m <= AT_M[401]
    assert AT_M[398 + rows] <= one.to_m <= AT_M[406 + rows]
    assert one.more_mm == pytest.approx(0.12, abs=0.03)


def test_a_ring_that_reads_too_little_lets_nothing_pass_and_is_not_told() -> None:
    left = _left(1)
    left[400:500] += 0.2
    assert _found(left) == []


def test_what_the_cooling_of_wire_explains_is_not_told() -> None:
    left = _left(2)
    left[400:500] -= 0.04 * WALL
    assert _found(left) == []


def test_of_few_readings_nothing_is_told() -> None:
    assert over_read(AT_M[:20], np.full(20, -0.5), 0.02, WALL, SD) == ()

"""Blocks of readings written once more: found to the last row, and never claimed of noise alone."""

import numpy as np
import pytest

from pipeline.logs.row_checks.repeated import repeated_rows
from tests.other_lines import noise


@pytest.mark.parametrize("law", [noise.gaussian, noise.heavy, noise.autoregressive, noise.drifting])
def test_a_block_is_found_to_its_last_reading_and_noise_repeats_nothing(law: noise.Law) -> None:
    found = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        wander = 3.0 * noise.slow(rng, 3000, 200.0)
        values = np.round((law(rng, 3000) + wander) / 0.5) * 0.5
        assert repeated_rows(values).size == 0
        values[1500:1600] = values[1300:1400]
        told = repeated_rows(values)
        # A reading beside the block may be equal by chance.
        assert told.size == 0 or (told.min() >= 1495 and told.max() < 1605)
        found += bool(np.isin(np.arange(1502, 1598), told).all())
    assert found >= 9


def test_what_stands_still_or_is_short_repeats_nothing() -> None:
    rng = np.random.default_rng(4)
    assert repeated_rows(np.zeros(0)).size == 0
    assert repeated_rows(np.full(900, 0.4)).size == 0
    assert repeated_rows(np.round(rng.standard_normal(900))).size == 0
    assert repeated_rows(rng.standard_normal(100)).size == 0


def test_a_block_written_three_times_is_found_twice() -> None:
    rng = np.random.default_rng(5)
    block = rng.standard_normal(300)
    values = np.concatenate([rng.standard_normal(500), block, block, block, rng.standard_normal(500)])
    assert repeated_rows(values).tolist() == list(range(800, 1400))

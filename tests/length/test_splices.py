"""A splice is short: what stands high over tens of metres is a level. Lengths are invented."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.length.splices import find_splices


@pytest.mark.parametrize(("long_m", "found"), [(1.5, 1), (9.0, 1), (11.0, 0), (40.0, 0)])
def test_only_a_short_lump_is_a_splice(long_m: float, found: int) -> None:
    at = np.arange(0.0, 400.0, 0.5)
    read = 3.0 + 0.1 * ((at >= 200.0) & (at <= 200.0 + long_m))
    gauges = {"the conductor gauge": (at, read, 0.002), "the cold diameter gauge": (at, read, 0.002)}
    assert len(find_splices(gauges)) == found


def _heavy(seed: int, places: int) -> np.ndarray:
    """Readings with tails far heavier than normal: Student's t with three degrees of freedom, 2 um."""
    return 3.0 + 0.002 * np.random.default_rng(seed).standard_t(3, places) / np.sqrt(3.0)


def test_heavy_tails_make_a_splice_in_at_most_one_of_a_hundred_runs() -> None:
    at = np.arange(0.0, 3000.0, 0.5)
    runs = [
        find_splices({"a": (at, _heavy(seed, at.size), 0.001), "b": (at, _heavy(seed + 500, at.size), 0.001)})
        for seed in range(100)
    ]
    assert sum(bool(one) for one in runs) <= 1


def test_a_joint_of_a_tenth_of_a_millimetre_is_found_among_heavy_tails() -> None:
    at = np.arange(0.0, 3000.0, 0.5)
    lump = 0.1 * ((at >= 1200.0) & (at <= 1201.0))
    found = 0
    for seed in range(20):
        gauges = {
            name: (at, _heavy(seed + add, at.size) + lump, 0.001) for name, add in (("a", 0), ("b", 500))
        }
        found += any(one.from_m <= 1200.0 <= one.to_m for one in find_splices(gauges))
    assert found >= 18

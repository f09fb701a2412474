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

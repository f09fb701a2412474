"""The trap of a spike window that is too short: clean noise called spikes."""

import numpy as np
import pytest

from pipeline.logs.row_checks.spike import spikes


def called(x: np.ndarray, window: int, k: float) -> float:
    """Share of readings the rule calls spikes, plainly written."""
    seen = np.lib.stride_tricks.sliding_window_view(x, window)
    middle = np.median(seen, axis=1)
    spread = np.median(np.abs(seen - middle[:, None]), axis=1)
    inner = x[window // 2 : x.size - window // 2]
    return float((np.abs(inner - middle) > k * 1.4826 * spread).mean())


def test_shares_of_clean_noise_called_spikes() -> None:
    """By simulation: window 7 at 3 calls 4.7 %, window 21 at 3 1.5 %, window 21 at 5 0.07 %."""
    x = np.random.default_rng(7).standard_normal(200_000)
    assert 100 * called(x, 7, 3.0) == pytest.approx(4.7, abs=0.2)
    assert 100 * called(x, 21, 3.0) == pytest.approx(1.5, abs=0.1)
    assert 100 * called(x, 21, 5.0) == pytest.approx(0.07, abs=0.02)
    assert 100 * spikes(x, 0.0).mean() == pytest.approx(0.07, abs=0.02)

"""A level or a drift is told from a wander: how often chance is called, and that a plain one is found."""

import numpy as np
import pytest
from scipy import signal, stats

from pipeline.statistics.beyond_wander import WANDER_P, chance_of_wander


def wanders(memory: float, noise: float, random: np.random.Generator, many: int = 40) -> np.ndarray:
    """Averages of ten readings each of a first-order wander with a memory of so many averages, and noise."""
    keep = np.exp(-0.1 / memory)
    steps = random.standard_normal((43 * 10 + 400, many))
    wander = signal.lfilter([np.sqrt(1.0 - keep**2)], [1.0, -keep], steps, axis=0)[400:]
    made = wander + noise * random.standard_normal(wander.shape)
    return np.asarray(made.reshape(43, 10, many).mean(axis=1))


def test_of_independent_values_it_is_the_usual_f() -> None:
    # scipy's one-sample t on 43 independent values; the average over correlations is on the safe side.
    random = np.random.default_rng(2)
    values = 0.5 + random.standard_normal(43)
    usual = float(stats.ttest_1samp(values, 0.0).pvalue)
    found = chance_of_wander(values, np.ones((43, 1)), [0])
    assert usual < found < 40.0 * usual


@pytest.mark.parametrize(("memory", "noise"), [(1.0, 0.0), (4.0, 0.3), (4.0, 3.0)])
def test_wanders_are_seldom_called_and_plain_moves_are(memory: float, noise: float) -> None:
    random = np.random.default_rng(5)
    along = np.linspace(-1.0, 1.0, 43)
    line = np.column_stack([np.ones(43), along])
    wander = wanders(memory, noise, random)
    pairs = list(zip(wander.T[::2], wander.T[1::2], strict=True))
    called = sum(chance_of_wander(np.column_stack(one), line[:, :1], [0]) < WANDER_P for one in pairs)
    called += sum(chance_of_wander(one, line, [1]) < WANDER_P for one in wander.T)
    assert called <= 1
    moved = [
        chance_of_wander(one + 8.0 * np.hypot(1.0, 0.3 * noise) * along, line, [1]) < WANDER_P
        for one in wander.T[:20]
    ]
    assert sum(moved) >= 15


def test_what_does_not_vary_moves_nowhere() -> None:
    assert chance_of_wander(np.full(30, 0.4), np.ones((30, 1)), [0]) == 1.0
    assert chance_of_wander([0.1, 0.2], np.ones((2, 1)), [0]) == 1.0

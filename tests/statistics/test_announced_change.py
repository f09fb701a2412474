"""Two levels at a place named beforehand: how often chance is called, how often a step, and what is refused."""

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal, stats

from pipeline.results import Refused
from pipeline.statistics.announced_change import AnnouncedChange, announced_change
from tests.said import said

PLACES = np.arange(40) * 50.0 + 25.0


def wander(rng: np.random.Generator, phi: float) -> NDArray[np.float64]:
    """A first-order autoregression of unit variance."""
    steps = rng.standard_normal(100) * np.sqrt(1 - phi**2)
    return np.asarray(signal.lfilter([1.0], [1.0, -phi], steps)[60:], dtype=np.float64)


def found(values: NDArray[np.float64], at_m: float = 1000.0, mixed_m: float = 0.0) -> AnnouncedChange:
    answer = announced_change(values, PLACES, at_m, mixed_m)
    assert isinstance(answer, AnnouncedChange)
    return answer


@pytest.mark.parametrize("columns", [1, 2])
@pytest.mark.parametrize("phi", [0.0, 0.6])
def test_chance_is_called_as_seldom_as_said(phi: float, columns: int) -> None:
    rng = np.random.default_rng(1)
    p = [found(np.column_stack([wander(rng, phi) for _ in range(columns)])).p_value for _ in range(400)]
    assert np.mean(np.array(p) < 0.05) < 0.08


def test_of_white_noise_it_is_near_the_plain_t_test() -> None:
    """scipy.stats.ttest_ind on white noise: the correlation that is weighed costs some of the certainty, no more."""
    rng = np.random.default_rng(3)
    values = rng.standard_normal(40) + 2.0 * (PLACES > 1000.0)
    plain = stats.ttest_ind(values[PLACES > 1000.0], values[PLACES < 1000.0])
    mine = found(values)
    assert mine.after[0] - mine.before[0] == pytest.approx(
        values[PLACES > 1000.0].mean() - values[PLACES < 1000.0].mean()
    )
    assert plain.pvalue < mine.p_value < 0.002
    reach = plain.confidence_interval(0.95)
    assert 0.8 < mine.half[0] / ((reach.high - reach.low) / 2) < 1.8


def test_the_interval_holds_the_step() -> None:
    rng = np.random.default_rng(5)
    held = [
        abs(one.after[0] - one.before[0] + 1.5) <= one.half[0]
        for one in (found(wander(rng, 0.5) - 1.5 * (PLACES > 1000.0)) for _ in range(300))
    ]
    assert np.mean(held) > 0.92


def test_mixed_wire_is_left_out() -> None:
    late = np.where(PLACES > 1200.0, 5.0, 0.0) + 0.01 * np.cos(PLACES)
    assert found(late, 1000.0, 200.0).after[0] == pytest.approx(5.0, abs=0.01)
    assert found(late, 1000.0, 0.0).after[0] == pytest.approx(4.0, abs=0.01)


def test_a_step_in_a_wander_is_told_by_what_lies_near_it() -> None:
    """Over a wander of 4 averages' memory and unit deviation, means of both sides hardly tell a step of 2."""
    rng = np.random.default_rng(7)
    told = [found(wander(rng, 0.78) + 2.0 * (PLACES > 1000.0)).p_value < 0.05 for _ in range(100)]
    assert np.mean(told) > 0.5


def test_what_only_begins_there_shows_in_the_levels() -> None:
    """A move that takes 300 m from the place on makes no step there; the levels differ by nearly all of it."""
    rng = np.random.default_rng(11)
    slow = 3.0 * np.clip((PLACES - 1000.0) / 300.0, 0.0, 1.0)
    one = found(0.3 * wander(rng, 0.5) + slow)
    assert one.p_value < 0.05
    assert one.after[0] - one.before[0] == pytest.approx(2.55, abs=0.3)


def test_a_missing_average_keeps_its_place() -> None:
    """What stands further apart may differ more: the chance is larger than if the gap were closed."""
    rng = np.random.default_rng(9)
    values = wander(rng, 0.9) + 1.0 * (PLACES > 1000.0)
    gap = values.copy()
    gap[18:22] = np.nan
    closed = np.delete(values, range(18, 22))
    answer = announced_change(closed, PLACES[: closed.size], 900.0, 0.0)
    assert isinstance(answer, AnnouncedChange)
    assert found(gap).p_value > answer.p_value


def test_too_little_on_one_side_is_refused() -> None:
    answer = announced_change(np.zeros(40), PLACES, 150.0, 60.0)
    assert isinstance(answer, Refused)
    assert said(answer.reason) == (
        "3 averages before the place and 36 after it, 60 m of mixed wire left out; 4 are needed on either side."
    )

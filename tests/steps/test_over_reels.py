"""Charts and components over reels: one value a reel, limits from the alarm budget, nothing from too few."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from pipeline.results import Refused, Result
from pipeline.statistics.run_length import shewhart_width
from pipeline.steps.over_reels import FEWEST_REELS, ReelValue, StretchMean, over_reels


def reels(values: list[float], quantity: str = "mean_wall_mm") -> list[ReelValue]:
    return [ReelValue(f"R-{n // 4}", f"reel {n}", quantity, value, value) for n, value in enumerate(values)]


def test_a_reel_out_of_the_ordinary_is_named() -> None:
    rng = np.random.default_rng(4)
    values = rng.normal(0.410, 0.002, 24).tolist()
    values[17] = 0.380
    found = over_reels(reels(values), ())
    individuals = next(one for one in found.charts if "individuals" in one.chart.method)
    named = [individuals.reels[signal.item].reel_id for signal in individuals.chart.signals]
    assert named == ["reel 17"]
    assert individuals.chart.phase == "I"


def test_quiet_reels_signal_no_more_often_than_the_budget_says() -> None:
    """One false alarm a week over six charts of 60 reels a day: one in 2,520 points, so few in 2,400."""
    rng = np.random.default_rng(5)
    signals = 0
    for _ in range(40):
        found = over_reels(reels(rng.normal(0.410, 0.002, 60).tolist()), ())
        signals += sum(len(one.chart.signals) for one in found.charts if "individuals" in one.chart.method)
    expected = 2400 / 2520
    # The limits come from the same 60 points, which costs more false alarms than limits known beforehand.
    assert signals <= stats.poisson.ppf(0.999, 6 * expected)


def test_the_width_is_the_normal_quantile_of_the_budget() -> None:
    assert shewhart_width(2520.0) == pytest.approx(stats.norm.isf(0.5 / 2520.0))


def test_too_few_reels_set_no_limits() -> None:
    found = over_reels(reels([0.41] * (FEWEST_REELS - 1)), ())
    refused = [answer for topic, answer in found.answers if topic == "charts"]
    assert all(isinstance(one, Refused) for one in refused)
    assert refused[0].reason == f"{FEWEST_REELS - 1} reels set no limits; {FEWEST_REELS} are needed."


def test_the_spread_is_led_to_where_it_comes_from() -> None:
    """Reels that differ by 5 um with 1 um within: the share between reels must be the larger by far."""
    rng = np.random.default_rng(6)
    stretches = []
    for run in range(4):
        for reel in range(5):
            level = rng.normal(0.41, 0.005)
            stretches += [
                StretchMean(f"R-{run}", f"reel {run}-{reel}", value) for value in rng.normal(level, 0.001, 10)
            ]
    found = over_reels((), stretches)
    parts = {
        answer.question: answer.estimate
        for topic, answer in found.answers
        if topic == "components of variance" and isinstance(answer, Result)
    }
    assert parts["variance between reels"] > 5 * parts["variance within reels"]


def test_equal_values_make_no_chart() -> None:
    assert over_reels(reels([0.41] * 12), ()).charts == ()

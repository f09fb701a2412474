"""Limits from the false alarms a plant accepts."""

import numpy as np
import pytest
from scipy import stats

from pipeline.errors import MethodRefusal
from pipeline.statistics.run_length import alarm_budget, false_alarms_per_day, prediction_width
from pipeline.wording.say import plain


def test_one_false_alarm_a_week_over_twelve_charts() -> None:
    # Worked out by a script apart: 12 statistics x 60 reels a day, one a week: 5040; 1.9 and 7.8 a day otherwise.
    budget = alarm_budget(12, 60)
    assert budget.arl0 == 5040
    assert plain(budget.told) == (
        "Alarm budget: 1 false alarm in 7 days, shared by all charts a line may have, at 60 points a day. "
        "Each chart: one in 5,040 points."
    )
    assert false_alarms_per_day(370.4, 720) == pytest.approx(1.9438444924406049)
    assert false_alarms_per_day(91.75, 720) == pytest.approx(7.84741144414169)
    assert false_alarms_per_day(budget.arl0, budget.points_per_day) * 7 == pytest.approx(1.0)


def test_budgets_scale() -> None:
    assert alarm_budget(1, 720).arl0 == alarm_budget(12, 60).arl0
    assert alarm_budget(12, 60, false_alarms=2).arl0 == 2520
    assert alarm_budget(12, 60, days=1).arl0 == 720


@pytest.mark.parametrize("baseline", [12, 100])
def test_limits_of_a_few_reels_keep_to_the_budget_over_baselines(baseline: int) -> None:
    # 20 000 baselines: chance of an alarm at a new point, averaged; three standard deviations alarm too often.
    rng = np.random.default_rng(1)
    x = rng.normal(size=(20_000, baseline))
    mean, sd = x.mean(axis=1), x.std(axis=1, ddof=1)
    kept = [
        370.4 * float((stats.norm.sf(mean + width * sd) + stats.norm.cdf(mean - width * sd)).mean())
        for width in (prediction_width(370.4, baseline), 3.0)
    ]
    assert kept[0] == pytest.approx(1.0, abs=0.1)
    assert kept[1] > 1.15


def test_many_baseline_points_need_no_widening() -> None:
    assert prediction_width(370.3983, 1_000_000) == pytest.approx(3.0, abs=0.01)
    assert prediction_width(370.3983, 100) == pytest.approx(3.09, abs=0.02)


@pytest.mark.parametrize(
    ("call", "text"),
    [
        (lambda: alarm_budget(0, 60), "charts: 0 was given. Give the number of charts watched, from 1."),
        (
            lambda: alarm_budget(1, 1, false_alarms=7),
            (
                "false_alarms: 7 in 7 days is no less than every point. Accept fewer false alarms than the 7 "
                "points plotted."
            ),
        ),
        (
            lambda: prediction_width(370.0, 1),
            "baseline: 1 points was given. Limits need at least two points behind them.",
        ),
        (
            lambda: prediction_width(1.0, 50),
            "arl: 1 points was given. An average run length is a number above 1.",
        ),
    ],
)
def test_bad_input_is_told(call: object, text: str) -> None:
    with pytest.raises(MethodRefusal) as caught:
        call()  # type: ignore[operator]
    assert str(caught.value) == text

"""How many false alarms does the plant accept, and which limits keep to that?

The plant sets a budget (one false alarm a week over all charts, say); the average run length each chart needs
follows, and from it the limits. Derived.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import stats

from pipeline.arguments import checked
from pipeline.errors import Complaint, MethodRefusal
from pipeline.samples import positive, share
from pipeline.words import counted


@dataclass(frozen=True, slots=True)
class AlarmBudget:
    """A budget and what it asks of each chart.

    Args:
        false_alarms: false alarms accepted in `days`.
        days: the time for which they are accepted [d].
        points_per_day: points plotted a day on all charts together.
        arl0: points from one false alarm to the next that every chart must reach on average.
        words: the budget in one sentence.
    """

    false_alarms: float
    days: float
    points_per_day: float
    arl0: float
    words: str


@checked
def alarm_budget(
    charts: int, points_per_day: float, false_alarms: float = 1.0, days: float = 7.0
) -> AlarmBudget:
    """Average run length that every chart needs: charts x points a day x days / false alarms.

    Args:
        charts: number of charts watched at once.
        points_per_day: points plotted a day on each [1/d].
        false_alarms: false alarms accepted; one by default.
        days: in how many days [d]; a week by default (own choice).

    Charts on correlated statistics alarm together, so their budget is rather under- than overspent. Derived.
    """
    if charts < 1 or charts != int(charts):
        raise MethodRefusal(
            Complaint("charts", f"{charts:g} was given", "Give the number of charts watched, from 1")
        )
    total = charts * positive(points_per_day, "points_per_day", "1/d")
    arl0 = total * positive(days, "days", "d") / positive(false_alarms, "false_alarms")
    if arl0 <= 1:
        raise MethodRefusal(
            Complaint(
                "false_alarms",
                f"{false_alarms:g} in {days:g} days is no less than every point",
                f"Accept fewer false alarms than the {total * days:g} points plotted",
            )
        )
    words = (
        f"{counted(false_alarms, 'false alarm')} in {counted(days, 'day')} on {counted(charts, 'chart')} with "
        f"{counted(points_per_day, 'point')} a day each: one in {arl0:.4g} points."
    )
    return AlarmBudget(false_alarms, days, total, arl0, words)


@checked
def false_alarms_per_day(arl0: float, points_per_day: float) -> float:
    """False alarms a day of charts with average run length `arl0`: points a day / ARL0.

    Args:
        arl0: points from one false alarm to the next.
        points_per_day: points plotted a day on all charts together [1/d].
    """
    return positive(points_per_day, "points_per_day", "1/d") / positive(arl0, "arl0")


@checked
def guaranteed_width(arl0: float, baseline: int, assurance: float = 0.9) -> float:
    """Limits that keep to the budget with a given assurance although centre and sigma are only estimated.

    A normal tolerance interval that holds the share 1 - 1/ARL0 with that assurance, by Howe's factor
    z sqrt((m - 1)(1 + 1/m) / chi2(1 - assurance; m - 1)).

    Args:
        arl0: wanted average run length [points].
        baseline: number m of independent points behind the limits.
        assurance: chance that the limits keep to the budget; 0.9 by default (Jensen et al. 2006).

    Source: W. G. Howe, J. Amer. Statist. Assoc. 64 (1969) 610; guaranteed performance: Goedhart, Schoonhoven &
    Does, J. Qual. Technol. 49 (2017) (from memory). For individuals, mean and standard deviation.
    """
    share(assurance, "assurance")
    if not (math.isfinite(arl0) and arl0 > 1):
        raise MethodRefusal(
            Complaint("arl0", f"{arl0:g} points was given", "An average run length is a number above 1")
        )
    if baseline < 2:
        raise MethodRefusal(
            Complaint(
                "baseline", f"{baseline} points was given", "Limits need at least two points behind them"
            )
        )
    free = baseline - 1
    z = float(stats.norm.isf(0.5 / arl0))
    spread = free * (1 + 1 / baseline) / float(stats.chi2.ppf(1 - assurance, free))
    return z * math.sqrt(spread)

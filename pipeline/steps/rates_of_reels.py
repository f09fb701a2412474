"""How many faults have reels per kilometre, and how many times as many have some reels as others?

One way for every page: the counts of the reels tell how faults scatter, the interval is widened for it, and the share
of trials that held such an interval stands beside it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scipy import stats

from pipeline.messages import Measure, message
from pipeline.notes import Note
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.statistics.event_clustering import dispersion_of_counts
from pipeline.statistics.event_rate import event_rate
from pipeline.statistics.rate_comparison import compare_rates, power_of_comparison
from pipeline.steps.held_share import TriedInterval, rate_as_held

# Faults of a reel and its tested length [m].
Counted = tuple[int, float]
# Faults up to which the chance to see a difference is summed over all pairs of counts (chosen here, to bound the time).
MOST_SUMMED = 1000


def rate_of_reels(reels: Sequence[Counted]) -> Result | Refused:
    """Faults per km of reels, with its interval and the share of trials that held it.

    Args:
        reels: faults and tested length [m] of each.
    """
    scatter = _scatter(reels)
    answer = event_rate(sum(n for n, _ in reels), sum(max(m, 0.0) for _, m in reels), dispersion=scatter)
    return rate_as_held(answer, TriedInterval.FAULT_RATE, scatter)


def ratio_of_reels(one: Sequence[Counted], other: Sequence[Counted]) -> Result | Refused:
    """The fault rate of some reels over that of others; where no difference shows, how often twice the rate would have.

    Args:
        one: faults and tested length [m] of each of the first reels.
        other: and of each of the second.
    """
    scatter = _within(one, other)
    (faults, tested_m), (others, other_m) = (
        (sum(n for n, _ in side), sum(m for _, m in side)) for side in (one, other)
    )
    answer = compare_rates(faults, tested_m, others, other_m, dispersion=scatter)
    found = rate_as_held(answer, TriedInterval.FAULT_RATIO, scatter)
    if isinstance(found, Refused) or found.details["p_value"] < 0.05 or faults + others > MOST_SUMMED:
        return found
    usual = 1000.0 * (faults + others) / (tested_m + other_m)
    seen = power_of_comparison(2.0 * usual, usual, tested_m, other_m)
    told = message(Note.NO_DIFFERENCE_SHOWN, rate=Measure(usual, "per km"), seen=100.0 * seen)
    return replace(found, warnings=(*found.warnings, told))


def _scatter(reels: Sequence[Counted]) -> Result | Refused:
    """Variance over mean of the counts of the reels that were tested."""
    tested = [(n, m) for n, m in reels if m > 0.0]
    if not tested:
        reason = message(Note.SO_FEW_CANNOT_SHOW, n=0)
        return Refused(asks(Quantity.FAULT_DISPERSION), message(Note.CHI_SQUARE), reason, 0)
    return dispersion_of_counts([n for n, _ in tested], [m for _, m in tested])


def _within(one: Sequence[Counted], other: Sequence[Counted]) -> Result | Refused:
    """Variance over mean of the counts of reels about the rate of their own side, both sides together."""
    sides = [_scatter(side) for side in (one, other)]
    found = [side for side in sides if isinstance(side, Result)]
    if not found:
        reason = message(Note.SO_FEW_CANNOT_SHOW, n=0)
        return Refused(asks(Quantity.FAULT_DISPERSION), message(Note.CHI_SQUARE), reason, 0)
    x2, freedom, items = (sum(one.details[key] for one in found) for key in ("x_squared", "freedom", "items"))
    p_value = found[0].details["p_value"] if len(found) == 1 else float(stats.chi2.sf(x2, freedom))
    details = {"x_squared": x2, "p_value": p_value, "items": items, "freedom": freedom}
    return replace(found[0], estimate=x2 / freedom, details=details)

"""Over all reels of one line and product: is any reel out of the ordinary, and where does the spread come from?

One value a reel is charted, never single readings. The limits are those the alarm budget affords; while they come
from the same reels they look back (phase I) and predict nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.errors import ReelproofError
from pipeline.results import Chart, Refused, Result
from pipeline.statistics.alarm_budget import alarm_budget
from pipeline.statistics.ewma_cusum import ewma_chart
from pipeline.statistics.run_length import ewma_width, shewhart_width
from pipeline.statistics.shewhart import individuals_chart
from pipeline.statistics.variance_components import variance_components

CHARTED = {
    "mean_wall_mm": ("mean wall", "mm"),
    "thinnest_wall_mm": ("thinnest wall", "mm"),
    "diameter_mm": ("diameter", "mm"),
}
# One false alarm a week over all charts of a line, at the reels a day it makes (chosen here; a plant may set its own).
REELS_A_DAY = 60.0
EWMA_WEIGHT = 0.2
FEWEST_REELS = 8


@dataclass(frozen=True, slots=True)
class ReelValue:
    """One quantity of one reel.

    Args:
        run_id: the run.
        reel_id: the reel.
        quantity: column of the data dictionary.
        mean: mean over the reel's steady wire, None where nothing is known.
        low: lowest reading on the reel, None where nothing is known.
    """

    run_id: str
    reel_id: str
    quantity: str
    mean: float | None
    low: float | None


@dataclass(frozen=True, slots=True)
class StretchMean:
    """Mean wall over one stretch of wire of one reel [mm]: what components of variance are taken from."""

    run_id: str
    reel_id: str
    mean_wall_mm: float


@dataclass(frozen=True, slots=True)
class ChartOf:
    """A chart of one quantity, with the reels behind its points."""

    quantity: str
    chart: Chart
    reels: tuple[ReelValue, ...]


@dataclass(frozen=True, slots=True)
class OverReels:
    """What the reels of one line and product say together."""

    charts: tuple[ChartOf, ...]
    answers: tuple[tuple[str, Result | Refused], ...]


def over_reels(values: Sequence[ReelValue], stretches: Sequence[StretchMean]) -> OverReels:
    """Charts of one value a reel and the components of variance of the mean wall.

    Args:
        values: one entry a reel and quantity, in the order the reels were made.
        stretches: means over stretches of wire, far enough apart to be nearly independent.
    """
    charts: list[ChartOf] = []
    answers: list[tuple[str, Result | Refused]] = []
    budget = alarm_budget(2 * len(CHARTED), REELS_A_DAY)
    for quantity, (words, unit) in CHARTED.items():
        reels = tuple(one for one in values if one.quantity == quantity)
        series = np.array([_charted(one) for one in reels], dtype=np.float64)
        if int(np.isfinite(series).sum()) < FEWEST_REELS:
            reason = f"{int(np.isfinite(series).sum())} reels set no limits; {FEWEST_REELS} are needed."
            answers.append(
                (
                    "charts",
                    Refused(
                        f"Is any reel's {words} out of the ordinary?", "control charts", reason, len(reels)
                    ),
                )
            )
            continue
        charts += [
            ChartOf(quantity, one, reels)
            for one in _charts(series, unit, budget.arl0, quantity != "thinnest_wall_mm")
        ]
    answers += [("components of variance", one) for one in _components(stretches)]
    return OverReels(tuple(charts), tuple(answers))


def _charted(one: ReelValue) -> float:
    value = one.low if one.quantity == "thinnest_wall_mm" else one.mean
    return float("nan") if value is None else value


def _charts(
    series: np.ndarray[tuple[int], np.dtype[np.float64]], unit: str, arl0: float, smoothed: bool
) -> list[Chart]:
    known = series[np.isfinite(series)]
    if float(np.ptp(known)) == 0.0:
        return []
    found: list[Chart] = []
    try:
        individuals = individuals_chart(series, width=shewhart_width(arl0), unit=unit)
        if isinstance(individuals, Chart):
            found.append(individuals)
        centre = float(np.median(known))
        sigma = 1.4826 * float(np.median(np.abs(known - centre)))
        # A lowest value is an extreme: one thin reel would pull an average of them down for many reels after it.
        if sigma > 0 and smoothed:
            width = ewma_width(arl0, EWMA_WEIGHT)
            smooth = ewma_chart(series, centre, sigma, EWMA_WEIGHT, width, arl0=arl0, unit=unit)
            if isinstance(smooth, Chart):
                found.append(smooth)
    except ReelproofError:
        return found
    return found


def _components(stretches: Sequence[StretchMean]) -> list[Result | Refused]:
    values = np.array([one.mean_wall_mm for one in stretches], dtype=np.float64)
    reels = [one.reel_id for one in stretches]
    runs = [one.run_id for one in stretches]
    several = len(set(runs)) > 1
    try:
        found = variance_components(values, reels, runs if several else None, unit="mm")
    except ReelproofError as fault:
        return [
            Refused(
                "components of variance", "nested analysis of variance", str(fault.complaints[0]), values.size
            )
        ]
    return [found] if isinstance(found, Refused) else list(found)

"""What each quantity can be at all: an answer outside it is refused, whatever method gave it.

Every answer passes here on its way to the store (`pipeline.store.answer_columns.columns_of`). One-sided intervals end
at infinity, which bounds nothing.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from pipeline.messages import Measure, message
from pipeline.quantity import Quantity
from pipeline.reasons import Reason
from pipeline.results import Refused, Result

Bounds = tuple[float, float]
ANY: Bounds = (-math.inf, math.inf)
NOT_NEGATIVE: Bounds = (0.0, math.inf)
# No building wire has a wall of an inch [mm]; where the wire is known its own radius bounds it.
WALL: Bounds = (0.0, 25.4)
WALLS = frozenset(
    {
        Quantity.RETURN_LEVEL,
        Quantity.INSULATION_MINIMUM,
        Quantity.COVERING_MINIMUM,
        Quantity.WALL_MINIMUM,
        Quantity.TARGET_WALL,
        Quantity.MEAN_WALL,
        Quantity.REQUIRED_MEAN_WALL,
    }
)
# Counts, lengths, masses, spreads, rates, ratios of areas and probabilities.
_NOT_NEGATIVE = frozenset(
    {
        Quantity.SHARE_OF_BAD_REELS,
        Quantity.REEL_MINIMUM_RISK,
        Quantity.NORMAL_REEL_MINIMUM_RISK,
        Quantity.BLOCK_REEL_MINIMUM_RISK,
        Quantity.EXTREMAL_INDEX,
        Quantity.PERIOD,
        Quantity.PERIOD_THROUGH_GAPS,
        Quantity.FAULT_RATE,
        Quantity.FAULT_RATE_UNMERGED,
        Quantity.FAULT_DISPERSION,
        Quantity.FAULT_RATE_RATIO,
        Quantity.FAULT_RATE_RATIO_ADJUSTED,
        Quantity.FAULT_RATE_BASE,
        Quantity.FAULT_REPEAT,
        Quantity.FAULT_REPEAT_ANY,
        Quantity.SPARK_EXPOSURE,
        Quantity.GAUGE_NOISE,
        Quantity.HOT_TO_COLD,
        Quantity.USUAL_HOT_TO_COLD,
        Quantity.INSULATION_MASS,
        Quantity.SCRAP_LENGTH,
        Quantity.SCRAP_MASS,
        Quantity.CORRELATION_LENGTH,
        Quantity.SPECIFIC_OUTPUT,
    }
)
# Differences, changes, indices and places may have either sign.
POSSIBLE: Mapping[Quantity, Bounds] = {
    one: WALL if one in WALLS else NOT_NEGATIVE if one in _NOT_NEGATIVE else ANY for one in Quantity
}


# What a reading of the wire can be at all, by its column: no wall is under nothing, and none is rounder than round.
READINGS: Mapping[str, Bounds] = {
    "mean_wall_mm": NOT_NEGATIVE,
    "thinnest_wall_mm": NOT_NEGATIVE,
    "eccentricity_mm": NOT_NEGATIVE,
    "concentricity_pct": (0.0, 100.0),
    "ovality_mm": NOT_NEGATIVE,
}


def possible_readings(name: str, values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Readings of a column no further than they can be.

    Where half of a ring reads next to nothing, the harmonic through it, or what a covering leaves of it at worst, falls
    under nothing: there is no wall then, and no less than none.

    Args:
        name: the column.
        values: its readings, or a bound of theirs [unit of the column]; NaN stays.
    """
    low, high = READINGS.get(name, ANY)
    inside: NDArray[np.float64] = np.clip(values, low, high)
    return inside


def possible(answer: Result | Refused, overall_mm: float = math.inf) -> Result | Refused:
    """The answer; a refusal instead where its figure or an end of its interval cannot be.

    Args:
        answer: what a method gave.
        overall_mm: overall diameter of the wire it is about [mm], twice the greatest wall there can be.
    """
    if isinstance(answer, Refused):
        return answer
    low, high = POSSIBLE[answer.question.quantity]
    if answer.question.quantity in WALLS:
        # A level of concentricity is no wall.
        low, high = (low, min(high, overall_mm / 2.0)) if answer.unit == "mm" else NOT_NEGATIVE
    # Rounding alone may put an end a hair below nothing.
    slack = 1e-9 * max(abs(answer.estimate), 1.0) if math.isfinite(answer.estimate) else 0.0
    beyond = [
        figure
        for figure in (answer.estimate, answer.low, answer.high)
        if math.isfinite(figure) and not low - slack <= figure <= high + slack
    ]
    if not beyond:
        return answer
    reason = message(Reason.IMPOSSIBLE_FIGURE, figure=Measure(beyond[0], answer.unit))
    return Refused(answer.question, answer.method, reason, answer.n)

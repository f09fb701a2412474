"""Over all reels of one line and product: is it steady, where does the spread come from, what do its reels prove?

One value a reel is the unit of charts and indices, never single readings.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.errors import ReelproofError
from pipeline.messages import Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result, refused_by, standing
from pipeline.sheets.plant_sheet import Charts
from pipeline.statistics.variance_components import variance_components
from pipeline.statistics.variance_components_reml import owner_of_the_spread, variance_components_of_reels
from pipeline.steps.line_charts import LineCharts, line_charts
from pipeline.steps.line_faults import fault_answers
from pipeline.steps.line_indices import ReelLimit, index_answers
from pipeline.steps.line_reels import LineReel

Answer = tuple[str, Result | Refused]
COMPONENTS = "components of variance"


@dataclass(frozen=True, slots=True)
class OverReels:
    """What the reels of one line and product say together: charts, and results by topic."""

    charts: LineCharts
    answers: tuple[Answer, ...]


def over_reels(reels: Sequence[LineReel], limits: Sequence[ReelLimit], settings: Charts) -> OverReels:
    """Charts, components of variance, indices and fault rates over reels.

    Args:
        reels: the reels in the order they were made.
        limits: limits on a value of a reel.
        settings: the plant's alarm budget.
    """
    charts = line_charts(reels, settings)
    answers: list[Answer] = [("charts", one) for one in charts.refused]
    answers += [(COMPONENTS, one) for one in _of_stretches(reels)]
    answers += [(COMPONENTS, one) for one in _of_readings(reels)]
    answers += index_answers(reels, limits, charts)
    answers += fault_answers(reels)
    return OverReels(charts, tuple((topic, standing(one)) for topic, one in answers))


def _of_stretches(reels: Sequence[LineReel]) -> list[Result | Refused]:
    """Nested analysis of variance of means over stretches, far enough apart to be nearly independent."""
    rows = [(reel.run_id, reel.reel_id, mean) for reel in reels for mean in reel.stretch_means_mm]
    values = np.array([mean for *_, mean in rows], dtype=np.float64)
    runs = [run for run, *_ in rows] if len({run for run, *_ in rows}) > 1 else None
    length = sum(reel.length_m for reel in reels)
    return _components(
        lambda: variance_components(values, [reel for _, reel, _ in rows], runs, unit="mm"),
        message(Method.NESTED_ANALYSIS_OF_VARIANCE),
        "stretches",
        length,
    )


def _of_readings(reels: Sequence[LineReel]) -> list[Result | Refused]:
    """Restricted likelihood on the readings of each reel, with their effective numbers."""
    known = [
        reel
        for reel in reels
        if reel.worth is not None and {"mean_wall_mm", "wall_sd_mm"} <= set(reel.values)
    ]
    worth = [reel.worth for reel in known if reel.worth is not None]
    runs = [reel.run_id for reel in known]
    several = 1 < len(set(runs)) < len(runs)
    return _components(
        lambda: variance_components_of_reels(
            [reel.values["mean_wall_mm"] for reel in known],
            [reel.values["wall_sd_mm"] ** 2 for reel in known],
            [reel.readings for reel in known],
            [mean for mean, _ in worth],
            [variance for _, variance in worth],
            runs if several else None,
        ),
        message(Method.RESTRICTED_LIKELIHOOD),
        "readings",
        sum(reel.length_m for reel in known),
    )


def _components(
    made: Callable[[], tuple[Result, ...] | Refused], method: Message, of: str, length_m: float
) -> list[Result | Refused]:
    """The components of one analysis, the largest named with whose work it is."""
    question = asks(Quantity.VARIANCE_COMPONENT, of, of=of)
    try:
        found = made()
    except ReelproofError as fault:
        return [refused_by(question, method, fault, 0)]
    if isinstance(found, Refused):
        return [replace(found, question=question)]
    owner = owner_of_the_spread(found)
    return [
        replace(
            one,
            question=asks(
                Quantity.VARIANCE_COMPONENT,
                f"{of} {one.question.about}",
                of=of,
                where=one.question.about,
            ),
            known_m=length_m,
            warnings=(owner, *one.warnings),
        )
        for one in found
    ]

"""Which shape have the readings of a run, and how far do they stand from a limit by the quantiles of that shape?

Families are tried in the open, each with its fit; the bound comes from redrawing the wire in blocks, because
neighbouring readings repeat each other.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import ReelproofError
from pipeline.messages import message
from pipeline.methods import Method
from pipeline.notes import Note
from pipeline.products.limits import Limit
from pipeline.quantity import Quantity, asks_of
from pipeline.reasons import Reason
from pipeline.results import Refused, Result, UnitOfInference, asking, refused_by
from pipeline.statistics.bootstrap import block_length, bootstrap_interval, redraw
from pipeline.statistics.distribution_families import FAMILIES, Family
from pipeline.statistics.goodness_of_fit import bootstrap_goodness_of_fit
from pipeline.statistics.nonnormal_capability import quantile_index_one_sided
from pipeline.steps.evidence import Floats, Seen

# Readings the shape is taken from, spread evenly over the run, and samples redrawn (chosen here, to bound the time).
MOST_READINGS, REDRAWN, INDICES_REDRAWN = 1500, 120, 1000
# Independent readings' worth that a shape is taken from (as in the statistics room).
FEWEST = 50
METHOD = message(Method.BEST_FAMILY)


def shape_answer(seen: Seen, limit: Limit, series: Floats, known_m: float) -> Result | Refused:
    """The quantile index of a run's readings against one limit.

    Args:
        seen: the quantity.
        limit: the limit.
        series: its steady readings in order, NaN where a piece does not adjoin the next.
        known_m: wire behind them [m].
    """
    question = asks_of(limit, Quantity.QUANTILE_INDEX)
    known = series[np.isfinite(series)]
    thin = known[:: max(1, -(-known.size // MOST_READINGS))]
    if thin.size < 50 or float(np.ptp(thin)) == 0.0:
        reason = message(Reason.TOO_FEW_VARYING_FOR_A_SHAPE, known=known.size)
        return Refused(question, METHOD, reason, int(known.size))
    try:
        sized = block_length(thin)
        block = max(1.0, min(sized.circular, thin.size / 5.0))
        step = max(1, round(block))
        if thin.size / step < FEWEST:
            reason = message(
                Reason.TOO_FEW_WORTH_FOR_A_SHAPE, known=known.size, thin=thin.size / step, fewest=FEWEST
            )
            return Refused(question, METHOD, reason, int(known.size))
        found = quantile_index_one_sided(
            thin,
            limit.value,
            FAMILIES,
            redraw(thin.size, block, REDRAWN, 1),
            sense="at least" if limit.sense == "at least" else "at most",
            goodness=_goodness,
            step=step,
            widening=sized.widening(thin.size, block, 0.95),
            unit=limit.unit,
            unit_of_inference=_unit_of_inference(seen),
            known_m=known_m,
        )
    except ReelproofError as fault:
        return refused_by(question, METHOD, fault, int(known.size))
    if isinstance(found, Result):
        told = message(Note.BLOCKS_REDRAWN, block=block, thin=thin.size, step=step)
        found = replace(found, warnings=(*found.warnings, told))
    return asking(found, question)


def redrawn_index(seen: Seen, limit: Limit, series: Floats, known_m: float) -> Result | Refused:
    """The one-sided performance index of a run's readings with an interval by redrawing the wire in blocks.

    It stands beside the index whose interval rests on effective numbers, and needs neither them nor a normal shape.

    Args:
        seen: the quantity.
        limit: the limit.
        series: its steady readings in order, NaN where a piece does not adjoin the next.
        known_m: wire behind them [m].
    """
    known = series[np.isfinite(series)]
    sign = 1.0 if limit.sense == "at least" else -1.0

    def index(rows: NDArray[np.float64]) -> NDArray[np.float64]:
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(sign * (rows.mean(axis=1) - limit.value) / (3.0 * rows.std(axis=1, ddof=1)))

    found = bootstrap_interval(
        known[:: max(1, -(-known.size // MOST_READINGS))],
        index,
        question=asks_of(limit, Quantity.REDRAWN_INDEX),
        unit="",
        repetitions=INDICES_REDRAWN,
    )
    if isinstance(found, Refused):
        return found
    return replace(found, known_m=known_m, unit_of_inference=_unit_of_inference(seen))


def _unit_of_inference(seen: Seen) -> UnitOfInference:
    return "section average" if seen.name == "mean_wall_mm" else "reading"


def _goodness(values: NDArray[np.float64], family: Family) -> tuple[float, float]:
    """Anderson-Darling's statistic and p-value of readings under a family whose parameters come from them."""
    found = bootstrap_goodness_of_fit(
        values, family.fit, family.cdf, family.quantile, repetitions=99, most=300
    )
    return found.statistic, found.p_value

"""What is known of the insulation when the gauge reads insulation and covering as one wall?

The mean of the covering is told by cut samples or its extruder's flow; where its thin side lies is not. Offsets add as
vectors, so the insulation's thinnest wall is bounded and not measured, and the covering's own minimum cannot
be had at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.messages import message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.sheets.run_sheet import Covering

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class InsulationBounds:
    """What a total wall leaves open about the insulation.

    Args:
        mean_wall_mm: mean wall of the insulation: total less covering, a stated assumption [mm].
        mean_sd_mm: its standard uncertainty, the covering's included [mm].
        thinnest_at_best_mm: thinnest insulation if the covering is off centre the lucky way [mm].
        thinnest_at_worst_mm: thinnest insulation if it is off centre the unlucky way [mm].
        status: always 'bounded, not measured'.
        basis: where the covering's figures come from.
    """

    mean_wall_mm: float
    mean_sd_mm: float
    thinnest_at_best_mm: float
    thinnest_at_worst_mm: float
    status: str
    basis: str


def insulation_bounds(
    total_mean_mm: float, total_offset_mm: float, covering: Covering, total_sd_mm: float = 0.0
) -> InsulationBounds:
    """Mean and bounds of the thinnest insulation wall under a total wall.

    E_total = E_insulation + E_covering as vectors, so the insulation's offset lies between |E_t| - |E_c| and
    |E_t| + |E_c| (not below 0).

    Args:
        total_mean_mm: mean total wall [mm].
        total_offset_mm: offset read from the total wall [mm].
        covering: what is known of the covering; its `offset_mm` is the largest seen in cut samples.
        total_sd_mm: standard uncertainty of the total mean [mm].

    Source:
        Derived.
    """
    mean = total_mean_mm - covering.mean_mm
    return InsulationBounds(
        mean,
        float(np.hypot(total_sd_mm, covering.uncertainty_mm)),
        mean - max(total_offset_mm - covering.offset_mm, 0.0),
        mean - (total_offset_mm + covering.offset_mm),
        "bounded, not measured",
        covering.basis,
    )


def insulation_between(
    frame: pl.DataFrame, gauge: Instrument, covering: Covering | None
) -> dict[str, tuple[Floats, Floats]]:
    """Least and greatest thinnest wall [mm] and concentricity [%] that each section leaves the insulation.

    With the section's offset E from its total wall and the covering's own largest offset c, the insulation's
    offset lies between E - c (not below 0) and E + c: its thinnest wall moves by as much down and up, its thickest
    the other way.

    Args:
        frame: one row a section (columns.MEASURED).
        gauge: the wall gauge.
        covering: what is known of the covering, None for a single layer.

    Returns:
        By column, (least, greatest); empty where the gauge reads the insulation itself.

    Source:
        Derived, as `insulation_bounds`.
    """
    if covering is None or gauge.sees != "insulation and covering":
        return {}
    thinnest, concentricity, offset = (
        frame[name].cast(pl.Float64).fill_null(float("nan")).to_numpy()
        for name in ("thinnest_wall_mm", "concentricity_pct", "eccentricity_mm")
    )
    down, up = covering.offset_mm, np.minimum(covering.offset_mm, offset)
    with np.errstate(divide="ignore", invalid="ignore"):
        thickest = np.where(concentricity != 0.0, 100.0 * thinnest / concentricity, np.nan)
        low = 100.0 * (thinnest - down) / (thickest + down)
        high = 100.0 * (thinnest + up) / (thickest - up)
    return {
        "thinnest_wall_mm": (thinnest - down, thinnest + up),
        "concentricity_pct": (low, high),
    }


def covering_minimum() -> Refused:
    """The refusal of a covering's minimum from a total wall."""
    return Refused(
        asks(Quantity.COVERING_MINIMUM),
        message(Method.TOTAL_WALL),
        message(Reason.ONE_WALL_SEEN),
        0,
    )


def insulation_unknown(
    line: LineSheet, covering: Covering | None, product_has_covering: bool
) -> Refused | None:
    """The refusal of any insulation wall where a covering is read with it and nothing is said of it.

    Args:
        line: the line's sheet.
        covering: what the run sheet says of the covering.
        product_has_covering: whether the product has one.

    Returns:
        The refusal, or None where the insulation wall can be had.
    """
    gauge = line.instrument("wall gauge")
    total = gauge is None or gauge.sees == "insulation and covering"
    if not product_has_covering or covering is not None or not total:
        return None
    return Refused(
        asks(Quantity.INSULATION_MINIMUM),
        message(Method.TOTAL_LESS_COVERING),
        message(Reason.COVERING_NOT_STATED),
        0,
    )

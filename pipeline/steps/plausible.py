"""Do the figures fit the unit the run sheet gives? What the product implies, held against the log's middle values.

A wall log in mil read as millimetres is wrong by a factor of 39; nothing may be concluded from it, and the
likely unit is named. The bounds are half to twice what the product's own dimensions imply (chosen here).
"""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from pipeline.columns import WALL_CHANNELS
from pipeline.errors import Complaint
from pipeline.logs.plausible_units import implausible_units
from pipeline.messages import Measure, message
from pipeline.products.product import Product
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.steps.exchanged import exchanged
from pipeline.why import Lack, Lacking

FACTOR = 2.0
# Conductors differ from their nominal by a hundredth or three, and sizes from each other by a tenth (common practice).
CONDUCTOR_APART = 0.06


# Melts of the compounds of building wire, in the units of the store: PVC and polyethylenes from 120 to 300 degC, at the
# crosshead 10 to 700 bar (common practice, no source). Nothing is refused for them but a likely other unit.
MELT = {"melt_temperature_c": (120.0, 300.0), "melt_pressure_bar": (10.0, 700.0)}


def expected_mm(product: Product, run: RunSheet, line: LineSheet) -> dict[str, tuple[float, float]]:
    """Least and greatest middle value of each dimension channel [mm], by the product, and of the melt's channels.

    Args:
        product: what was made.
        run: the run sheet, for what is known of the covering.
        line: the line sheet, for what the wall gauge sees.
    """
    covering = run.covering.mean_mm if run.covering is not None else product.covering_mm or 0.0
    gauge = line.instrument("wall gauge")
    both = gauge is not None and gauge.sees == "insulation and covering"
    wall = product.average_wall_mm + (covering if both else 0.0)
    overall = product.conductor_mm + 2.0 * (product.average_wall_mm + covering)
    about = dict.fromkeys(WALL_CHANNELS, wall)
    about |= dict.fromkeys(("hot_diameter_mm", "diameter_x_mm", "diameter_y_mm"), overall)
    about["conductor_mm"] = product.conductor_mm
    dimensions = {name: (value / FACTOR, value * FACTOR) for name, value in about.items()}
    return {**dimensions, **MELT}


def implausible(
    readings: pl.DataFrame, run: RunSheet, line: LineSheet, product: Product
) -> tuple[Lacking, ...]:
    """Each column whose figures do not fit their unit or the wire named; empty where all fit.

    Args:
        readings: readings as logged, already converted by the unit of the run sheet.
        run: the run sheet, for the columns and units mapped.
        line: the line sheet, for what the wall gauge sees.
        product: what was made.
    """
    swapped = exchanged(readings, line, product)
    if swapped:
        return tuple(Lacking(Lack.NOT_CONCLUDED, "columns", one) for one in swapped)
    found = not_concluded(implausible_units(readings, expected_mm(product, run, line), run.logs))
    return found or _other_size(readings, product)


def not_concluded(complaints: Iterable[Complaint]) -> tuple[Lacking, ...]:
    """Why nothing can be concluded about a run whose logs or sheets raised complaints."""
    return tuple(
        Lacking(
            Lack.NOT_CONCLUDED,
            one.where,
            message(Lack.NOT_CONCLUDED, where=one.where, found=one.found, remedy=one.remedy),
        )
        for one in complaints
    )


def _other_size(readings: pl.DataFrame, product: Product) -> tuple[Lacking, ...]:
    """That the conductor read is not of the size and make named; empty where it may be."""
    if "conductor_mm" not in readings.columns:
        return ()
    read = readings["conductor_mm"].cast(pl.Float64).drop_nulls().drop_nans().median()
    nominal = product.conductor_mm
    if not isinstance(read, float) or abs(read / nominal - 1.0) <= CONDUCTOR_APART:
        return ()
    told = message(
        Lack.OTHER_SIZE,
        read=Measure(read, "mm"),
        product=product.name,
        nominal=Measure(nominal, "mm"),
    )
    return (Lacking(Lack.OTHER_SIZE, "conductor_mm", told),)

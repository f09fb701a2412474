"""Do the figures fit the unit the run sheet gives? What the product implies, held against the log's medians.

A wall log in mil read as millimetres is wrong by a factor of 39; nothing may be concluded from it, and the
likely unit is named. The bounds are wide: half to twice what the product's own dimensions imply (chosen here).
"""

from __future__ import annotations

import polars as pl

from pipeline.columns import WALL_CHANNELS
from pipeline.products.product import Product
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.units import scale_and_offset

FACTOR = 2.0
LENGTH_UNITS = ("mm", "mil", "in", "um", "cm")


def expected_mm(product: Product, run: RunSheet, line: LineSheet) -> dict[str, float]:
    """What each dimension channel should read about [mm], from the product's own dimensions."""
    covering = run.covering.mean_mm if run.covering is not None else product.covering_mm or 0.0
    gauge = line.instrument("wall gauge")
    both = gauge is not None and gauge.sees == "insulation and covering"
    wall = product.average_wall_mm + (covering if both else 0.0)
    overall = product.conductor_mm + 2.0 * (product.average_wall_mm + covering)
    expected = dict.fromkeys(WALL_CHANNELS, wall)
    expected |= dict.fromkeys(("hot_diameter_mm", "diameter_x_mm", "diameter_y_mm"), overall)
    expected["conductor_mm"] = product.conductor_mm
    return expected


def implausible(readings: pl.DataFrame, run: RunSheet, line: LineSheet, product: Product) -> tuple[str, ...]:
    """A sentence for each group of channels whose figures do not fit their unit; empty where all fit.

    Args:
        readings: readings as logged, already converted by the unit of the run sheet.
        run: the run sheet, for the units given.
        line: the line sheet, for what the wall gauge sees.
        product: what was made.
    """
    told: dict[str, str] = {}
    units = _units(run)
    for name, expected in expected_mm(product, run, line).items():
        if name not in readings.columns:
            continue
        median = readings[name].median()
        if not isinstance(median, float) or expected / FACTOR <= median <= expected * FACTOR:
            continue
        group = "the wall sensors" if name in WALL_CHANNELS else name
        unit = units.get(name, "mm")
        likely = _likely(median, expected, unit)
        # Eight wall sensors in a wrong unit are one mistake: the first of a group tells it.
        told.setdefault(
            group,
            f"The figures of {group} do not fit their unit '{unit}': a median of {median:.4g} mm where this "
            f"product has about {expected:.3g} mm. {likely}",
        )
    return tuple(told.values())


def _units(run: RunSheet) -> dict[str, str]:
    units: dict[str, str] = {}
    for log in run.logs:
        units |= {name: mapped.unit for name, mapped in log.channels.items()}
        if log.walls is not None:
            units |= dict.fromkeys(WALL_CHANNELS[: len(log.walls.columns)], log.walls.unit)
    return units


def _likely(median: float, expected: float, unit: str) -> str:
    """The unit under which the figures would be about what the product has."""
    factor, _ = scale_and_offset(unit or "mm", "mm", "unit")
    raw = median / factor
    for other in LENGTH_UNITS:
        would, _ = scale_and_offset(other, "mm", "unit")
        if other != unit and expected / FACTOR <= raw * would <= expected * FACTOR:
            return f"They would fit '{other}': correct the unit in the run sheet and load the run again."
    return "No usual unit fits: check the mapping of the columns and the product, and load the run again."

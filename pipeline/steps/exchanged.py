"""Are columns mapped under each other's name? Diameters have an order, and a melt cools where its pressure falls.

The hot diameter is the larger, for insulation shrinks as it cools; two axes of one gauge agree; the conductor is the
one the product names. An exchange of two columns is named only where it cures every contradiction. The two axes of one
gauge, exchanged, make the same wire, and nothing shows it.
"""

from __future__ import annotations

from itertools import combinations

import polars as pl

from pipeline.contradictions import Contradiction
from pipeline.messages import Message, message
from pipeline.products.product import Product
from pipeline.sheets.line_sheet import LineSheet

DIAMETERS = ("conductor_mm", "hot_diameter_mm", "diameter_x_mm", "diameter_y_mm")
# Two axes of sound wire differ by less than this share of the diameter, or by six uncertainties (chosen here).
AXES_APART, AXES_SIGMA = 0.012, 6.0
# Conductors stand this near their nominal, as shares (common practice, no source).
CONDUCTOR_APART = 0.06
# Speed under this share of the usual one is a line that stands or creeps.
SLOW_SHARE = 0.1
FEWEST, FEWEST_SLOW = 20, 3


def exchanged(readings: pl.DataFrame, line: LineSheet, product: Product) -> tuple[Message, ...]:
    """Two columns that are likely under each other's name; empty where none are.

    Args:
        readings: readings as logged (columns.LOGGED).
        line: the line sheet.
        product: what was made.
    """
    middles = {name: one for name in DIAMETERS if (one := _middle(readings, name)) is not None}
    if not _contradicted(middles, line, product):
        return ()
    cures = []
    for first, second in combinations(middles, 2):
        swapped = {**middles, first: middles[second], second: middles[first]}
        if {first, second} != {"diameter_x_mm", "diameter_y_mm"} and not _contradicted(
            swapped, line, product
        ):
            cures.append((first, second))
    # Which of two axes was exchanged with another column may stay open; that one was is enough.
    if not cures:
        return ()
    first, second = cures[0]
    return (message(Contradiction.COLUMNS_EXCHANGED, first=first, second=second),)


def melt_exchanged(readings: pl.DataFrame) -> bool:
    """Whether what is called melt temperature falls away as the line stops, and what is called pressure does not."""
    names = ("line_speed_m_s", "melt_temperature_c", "melt_pressure_bar")
    if any(name not in readings.columns for name in names):
        return False
    known = readings.select(pl.col(list(names)).cast(pl.Float64)).drop_nulls().drop_nans()
    usual = known.filter(pl.col(names[0]) > 0.0)[names[0]].median()
    if not isinstance(usual, float):
        return False
    slow = known.filter(pl.col(names[0]) < SLOW_SHARE * usual)
    running = known.filter(pl.col(names[0]) > 0.8 * usual)
    if slow.height < FEWEST_SLOW or running.height < FEWEST:
        return False
    shares = []
    for name in names[1:]:
        low, high = slow[name].quantile(0.1), running[name].median()
        if low is None or not isinstance(high, float) or high <= 0.0:
            return False
        shares.append(float(low) / high)
    return shares[0] < 0.6 and shares[1] > 0.85


def _middle(readings: pl.DataFrame, name: str) -> float | None:
    if name not in readings.columns:
        return None
    known = readings[name].cast(pl.Float64).drop_nulls().drop_nans()
    middle = known.median() if known.len() >= FEWEST else None
    return middle if isinstance(middle, float) else None


def _contradicted(middles: dict[str, float], line: LineSheet, product: Product) -> bool:
    """Whether the middles of the diameters contradict what must hold between them."""
    x, y = middles.get("diameter_x_mm"), middles.get("diameter_y_mm")
    cold = [one for one in (x, y) if one is not None]
    gauge = line.instrument("cold diameter gauge")
    sd = gauge.uncertainty_mm if gauge is not None else 0.0
    bare, hot = middles.get("conductor_mm"), middles.get("hot_diameter_mm")
    if bare is not None and abs(bare / product.conductor_mm - 1.0) > CONDUCTOR_APART:
        return True
    if x is not None and y is not None and abs(x - y) > max(AXES_APART * min(x, y), AXES_SIGMA * sd):
        return True
    # A covering may be put on after the hot gauge, and then the cold wire is the larger.
    if hot is not None and cold and product.covering_mm is None and hot < min(cold) - 3.0 * sd:
        return True
    return bool(cold) and min(cold) < product.conductor_mm

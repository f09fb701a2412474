"""What do lobes of the outside do to a gauge with few sensors? They pass for an offset, or are not seen at all.

N equally spaced sensors see order j as order j mod N. Below five sensors an oval is not seen in full and, on four,
three lobes pass for an offset one for one. The thinnest wall is then given as mean - offset - largest lobes seen in
cut samples (derived).
"""

from __future__ import annotations

import polars as pl

from pipeline.quantity import Quantity, asks
from pipeline.results import Refused
from pipeline.sheets.line_sheet import LineSheet
from pipeline.wall.offset import lowest_sensor_overstates_by_mm, order_seen_as

# Fewest sensors that see an oval beside the mean and the offset.
SEES_OVAL = 5


def orders_taken_for_offset(sensors: int, up_to: int = 9) -> tuple[int, ...]:
    """Orders of lobes that `sensors` equally spaced sensors take for an offset of the centre.

    Args:
        sensors: N.
        up_to: highest order looked at.
    """
    return tuple(order for order in range(2, up_to + 1) if order_seen_as(order, sensors) == 1)


def few_sensors_unknown(line: LineSheet) -> Refused | None:
    """The refusal of a thinnest wall from few sensors where the line sheet does not say how large lobes get."""
    gauge = line.instrument("wall gauge")
    if (
        gauge is None
        or gauge.sensors is None
        or gauge.sensors >= SEES_OVAL
        or gauge.largest_lobes_mm is not None
    ):
        return None
    return Refused(
        asks(Quantity.WALL_MINIMUM),
        "wall sensors around the section",
        f"{gauge.id} has {gauge.sensors} wall sensors, too few to see lobes of the outside, and the line sheet does "
        "not say how large they get: how thin the wall is between the sensors cannot be known. Give 'largest_lobes_mm' "
        "from cut samples.",
        0,
    )


def few_sensors_told(line: LineSheet, frame: pl.DataFrame) -> tuple[str, ...]:
    """What a reader must know of thinnest walls from fewer than five sensors.

    Args:
        line: the line sheet.
        frame: the run measured (columns.MEASURED).
    """
    gauge = line.instrument("wall gauge")
    if gauge is None or gauge.sensors is None:
        return ()
    few = frame.filter((pl.col("sensors_used") > 0) & (pl.col("sensors_used") < SEES_OVAL))
    lobes = gauge.largest_lobes_mm
    if few.height == 0:
        return ()
    if gauge.sensors >= SEES_OVAL:
        done = "no thinnest wall is told there, since the line sheet gives no 'largest_lobes_mm'"
        if lobes is not None:
            done = f"their thinnest wall is given {lobes:.3f} mm thinner"
        told = (
            f"{few.height} readings of {gauge.id} stand on fewer than {SEES_OVAL} working sensors, which do not see an "
            f"oval: {done}."
        )
        return (told,)
    offsets = few["eccentricity_mm"].drop_nulls().to_numpy()
    thick = lowest_sensor_overstates_by_mm(float(offsets.mean()) if offsets.size else 0.0, gauge.sensors)
    orders = " and ".join(str(one) for one in orders_taken_for_offset(gauge.sensors))
    less = "" if lobes is None else f" The thinnest wall is given {lobes:.3f} mm thinner for it."
    told = (
        f"{gauge.id} has {gauge.sensors} wall sensors: an oval is not seen in full, lobes of order {orders} pass for "
        f"an offset, and the lowest sensor alone would read up to {thick:.3f} mm too thick.{less}"
    )
    return (told,)

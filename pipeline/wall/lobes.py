"""What do lobes of the outside do to a gauge with few sensors? They pass for an offset, or are not seen at all.

N equally spaced sensors see order j as order j mod N. Below five sensors an oval is not seen in full and, on four,
three lobes pass for an offset one for one. The thinnest wall is then given as mean - offset - largest lobes seen in
cut samples (derived).
"""

from __future__ import annotations

import polars as pl

from pipeline.messages import Measure, Message, message
from pipeline.methods import Method
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused
from pipeline.sheets.line_sheet import LineSheet
from pipeline.wall.offset import lowest_sensor_overstates_by_mm, order_seen_as
from pipeline.warned import Warned

HIGHEST_ORDER = 9  # of lobes looked at (chosen here)

# Fewest sensors that see an oval beside the mean and the offset.
SEES_OVAL = 5


def orders_taken_for_offset(sensors: int) -> tuple[int, ...]:
    """Orders of lobes that `sensors` equally spaced sensors take for an offset of the centre.

    Args:
        sensors: N.
    """
    return tuple(order for order in range(2, HIGHEST_ORDER + 1) if order_seen_as(order, sensors) == 1)


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
        message(Method.WALL_SENSORS_AROUND),
        message(Reason.TOO_FEW_SENSORS_FOR_LOBES, gauge=gauge.id, sensors=gauge.sensors),
        0,
    )


def few_sensors_told(line: LineSheet, frame: pl.DataFrame) -> tuple[Message, ...]:
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
    thinner = {} if lobes is None else {"lobes": Measure(lobes, "mm")}
    if gauge.sensors >= SEES_OVAL:
        code = Warned.FEW_WORKING_SENSORS if lobes is None else Warned.FEW_WORKING_SENSORS_LOBES
        return (message(code, n=few.height, instrument=gauge.id, sensors=SEES_OVAL, **thinner),)
    offsets = few["eccentricity_mm"].drop_nulls().to_numpy()
    thick = lowest_sensor_overstates_by_mm(float(offsets.mean()) if offsets.size else 0.0, gauge.sensors)
    orders = " and ".join(str(one) for one in orders_taken_for_offset(gauge.sensors))
    told = message(
        Warned.FEW_SENSORS if lobes is None else Warned.FEW_SENSORS_LOBES,
        instrument=gauge.id,
        sensors=gauge.sensors,
        orders=orders,
        thick=Measure(thick, "mm"),
        **thinner,
    )
    return (told,)

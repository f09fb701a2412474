"""What data contradict in themselves, in words."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.contradictions import Contradiction, Unseen

CONTRADICTIONS: Mapping[str, tuple[str, ...]] = {
    Contradiction.RING_ORDER: (
        (
            "{instrument}: the wall sensors make a smooth wall only in another order. Column by column, the log "
            "likely holds sensors {order}; the first sensor and the direction are not known. Correct 'walls' in "
            "the run sheet. Until then only the mean wall is judged."
        ),
    ),
    Contradiction.SENSOR_OFF: (
        (
            "{instrument}: sensor {sensor} reads up to {size:+.2} off the wall its neighbors make, over {rows:#reading|"
            "readings}. It is not used there. Check the sensor."
        ),
    ),
    Contradiction.SENSOR_OFF_THIN: (
        (
            "{instrument}: sensor {sensor} reads up to {size:+.2} off the wall its neighbors make, over {rows:#reading|"
            "readings}. It is kept, because a narrow thin place looks the same. Check the sensor and a cut sample."
        ),
    ),
    Contradiction.RING_NOT_SMOOTH: (
        (
            "{instrument}: the sensors make no smooth wall over {rows:#reading|readings}, and no one sensor explains "
            "it. That wire counts as not monitored. Check the sensors and their order."
        ),
    ),
    Contradiction.LONE_AXIS: (
        (
            "{instrument}: {rows:#single reading|single readings} of one axis, up to {size:+.2} away, that the other "
            "axis and the gauges on the same wire do not show. They count as instrument events and hold no reel. "
            "Clean the gauge and look at its record."
        ),
    ),
    Contradiction.COLUMNS_EXCHANGED: (
        (
            "The columns mapped as {first:channel} and {second:channel} look exchanged: their figures fit the product "
            "and each other only the other way round. Correct [run.logs.channels] and load the run again."
        ),
    ),
    Contradiction.MELT_EXCHANGED: (
        (
            "The columns mapped as melt temperature and melt pressure look exchanged: the temperature falls away when "
            "the line stops and the pressure does not. Correct [run.logs.channels]. No reel is judged by either."
        ),
    ),
    Contradiction.CLOCK_SET: (
        (
            "The logger's clock was set {steps:#time|times}, the largest step {seconds:+.1f} s. "
            "{events:#event has|events have} more than one possible place on the wire; each reel concerned is held."
        ),
    ),
    Contradiction.GAUGE_QUIET: (
        (
            "{rows:#reading|readings} of {channel:channel} are far quieter than usual: the gauge repeats a figure with "
            "noise, or averages. They judge nothing. Check the gauge."
        ),
    ),
    Contradiction.ROWS_REPEATED: (
        (
            "{instruments}: {rows:#row repeats|rows repeat} the figures of earlier rows to the last digit, from "
            "{at:place} on. That wire counts as not monitored. Look at the logger's buffer."
        ),
    ),
    Unseen.SENSOR_LEAST: (
        (
            "Smallest error of one wall sensor of {instrument} that this run shows nine times in ten: {offset:.2} "
            "all through, {drift:.2} as a drift over the run. A smaller one is not seen."
        ),
    ),
    Unseen.SENSORS_NOT_COMPARED: (
        "The wall sensors of {instrument} were not compared with each other: a sensor that reads off is not seen.",
    ),
    Unseen.GAUGES_LEAST: (
        (
            "Smallest bias that this run shows nine times in ten: {ring:.2} of the wall gauge, {diameter:.2} of a "
            "diameter. Smallest drift over the run: {ring_drift:.2} and {diameter_drift:.2}. Smaller ones are "
            "not seen."
        ),
    ),
    Unseen.GAUGES_LEAST_CONDUCTOR_UNREAD: (
        (
            "Smallest bias that this run shows nine times in ten, with no conductor gauge: {ring:.2} of the wall "
            "gauge, {diameter:.2} of the diameter. Smallest drift over the run: {ring_drift:.2} and "
            "{diameter_drift:.2}. Smaller ones are not seen."
        ),
    ),
    Unseen.GAUGES_NOT_COMPARED: (
        "No bias or drift of a gauge is seen in this run: wall and diameter were not both read on the same wire.",
    ),
    Unseen.LAG_LEAST: (
        "A delay between {one} and {other} shows in this run from {lag:.2} to {most:.2} of wire. No other is seen.",
    ),
    Unseen.LAG_NOT_SEEN: (
        "{one} and {other} do not vary together in this run: one that is logged late is not seen.",
    ),
    Unseen.NEVER: (
        (
            "Not seen by any run: a ring read backwards or from another first sensor, the two axes of a gauge "
            "exchanged, two gauges off alike, counter and line speed off by the same factor, a fault shorter than the "
            "wire a reading is the mean of. Errors of spark voltage, hot diameter, screw speed and melt are looked for "
            "by unit, order and range only; of these, reels are judged by the spark voltage."
        ),
    ),
}

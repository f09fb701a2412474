"""What data contradict in themselves, in words."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.contradictions import Contradiction

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
}

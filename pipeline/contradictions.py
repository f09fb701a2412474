"""What the data of a run contradict in themselves; the words stand in ``english/contradictions.json``."""

from __future__ import annotations

from pipeline.messages import Code


class Contradiction(Code):
    """What one instrument's readings say against another's, or against themselves."""

    RING_ORDER = "contradiction/ring order"
    SENSOR_OFF = "contradiction/sensor off"
    SENSOR_OFF_THIN = "contradiction/sensor off, thin"
    RING_NOT_SMOOTH = "contradiction/ring not smooth"
    LONE_AXIS = "contradiction/lone axis"
    COLUMNS_EXCHANGED = "contradiction/columns exchanged"
    MELT_EXCHANGED = "contradiction/melt exchanged"
    CLOCK_SET = "contradiction/clock set"
    GAUGE_QUIET = "contradiction/gauge quiet"
    ROWS_REPEATED = "contradiction/rows repeated"
    RING_NOT_TOGETHER = "contradiction/ring not together"
    FILLED_IN = "contradiction/filled in"
    FIGURES_HELD = "contradiction/figures held"
    LOG_PIECED = "contradiction/log pieced"
    LOG_PIECED_BY_COUNTER = "contradiction/log pieced by counter"
    LOG_PIECED_IN_GAP = "contradiction/log pieced in gap"


class Unseen(Code):
    """What a run's data could have shown of its gauges, and what they could not."""

    SENSOR_LEAST = "unseen/sensor least"
    SENSORS_NOT_COMPARED = "unseen/sensors not compared"
    GAUGES_LEAST = "unseen/gauges least"
    GAUGES_LEAST_CONDUCTOR_UNREAD = "unseen/gauges least, conductor unread"
    GAUGES_ALIKE_LEAST = "unseen/gauges alike least"
    GAUGES_NOT_COMPARED = "unseen/gauges not compared"
    FAULT_CLOCK = "unseen/fault clock"
    COARSE_LOG = "unseen/coarse log"
    REEL_ENDS = "unseen/reel ends"
    RUN_TOGETHER = "unseen/run together"
    COVERING_AS_STATED = "unseen/covering as stated"
    COVERING_LEAST = "unseen/covering least"
    LAG_LEAST = "unseen/lag least"
    LAG_NOT_SEEN = "unseen/lag not seen"
    NEVER = "unseen/never"

"""What a run's readings tell of its length, clocks, gauges and wire nobody saw; words in ``english/warned.json``."""

from __future__ import annotations

from pipeline.messages import Between, Code, Message, Place, Slot


class Counted(Code):
    """What the length counter did."""

    LEAP = "counter/leap"
    WRAP = "counter/wrap"
    RESET = "counter/reset"
    RESET_BY_SPEED = "counter/reset by speed"
    GLITCH = "counter/glitch"
    REVERSAL = "counter/reversal"
    SLIP = "counter/slip"
    GAP = "counter/gap"


class Warned(Code):
    """What must be told of where a run's readings lie and of what its gauges read."""

    SPEED_BACKWARDS = "warned/speed backwards"
    SPEED_NEGATIVE = "warned/speed negative"
    SPEED_STUCK = "warned/speed stuck"
    NO_COUNTER = "warned/no counter"
    TWO_COUNTERS = "warned/two counters"
    COUNTER_SCALE = "warned/counter scale"
    COUNTS_WITHOUT_PLACE = "warned/counts without place"
    SETTLED_LATE = "warned/settled late"
    CONTRADICTED_LEFT_OUT = "warned/contradicted left out"
    CONDUCTOR_NOMINAL = "warned/conductor nominal"
    CONDUCTOR_NOMINAL_IN_WALL = "warned/conductor nominal in wall"
    FEW_WORKING_SENSORS = "warned/few working sensors"
    FEW_WORKING_SENSORS_LOBES = "warned/few working sensors, lobes"
    FEW_SENSORS = "warned/few sensors"
    FEW_SENSORS_LOBES = "warned/few sensors, lobes"
    SENSOR_OUT_ALONE = "warned/sensor out alone"
    SENSOR_SILENT = "warned/sensor silent"
    RING_STANDS = "warned/ring stands"
    SPLICE = "warned/splice"
    STATION_UNSURE = "warned/station unsure"
    STRAY_END = "warned/stray end"
    ENDS_BESIDE_STOPS = "warned/ends beside stops"
    CLOCKS_OF_LOGS = "warned/clocks of logs"


class Station(Code):
    """How far apart two gauges stand, by their own readings."""

    AGREES = "station/agrees"
    DISAGREES = "station/disagrees"
    DRIFTS = "station/drifts"
    NOT_CHECKED = "station/not checked"
    NO_COMMON_WIRE = "station/no common wire"
    NOT_TOGETHER = "station/not together"
    TOO_FEW_STRETCHES = "station/too few stretches"


class Clock(Code):
    """How two loggers' clocks stand."""

    AGREE = "clock/agree"
    AHEAD = "clock/ahead"
    BEHIND = "clock/behind"


class Agrees(Code):
    """How instruments that see the same wire agree."""

    AGREE = "agreement/agree"
    NOT_ALL_KNOWN = "agreement/not all known"
    DRIFTS = "agreement/drifts"
    OVER_READ = "agreement/over read"
    COVERING_THICKER = "agreement/covering thicker"
    COVERING_THINNER = "agreement/covering thinner"
    SUSPECT = "agreement/suspect"
    UNKNOWN = "agreement/unknown"
    SUSPECT_SETTLE = "agreement/suspect, settle first"
    UNKNOWN_SETTLE = "agreement/unknown, settle first"


class Calibration(Code):
    """The state of an instrument's calibration on a day."""

    NOT_ON_FILE = "calibration/not on file"
    NOT_YET = "calibration/not yet"
    LAPSED = "calibration/lapsed"
    IN_DATE = "calibration/in date"


class NotSeen(Code):
    """Wire on a reel that the evidence does not reach."""

    WALL = "not seen/wall"
    DIAMETER = "not seen/diameter"
    CONDUCTOR = "not seen/conductor"
    SPARK = "not seen/spark"
    SPARK_NOT_LOGGED = "not seen/spark not logged"
    EITHER_REEL = "not seen/either reel"


def place_of(told: Message) -> float | None:
    """The first place on the wire that a message names [m]; None where it names none."""
    return next((found for _, value in told.slots if (found := _place_in(value)) is not None), None)


def _place_in(value: Slot) -> float | None:
    if isinstance(value, Place):
        return value.at_m
    if isinstance(value, Between):
        return value.from_m
    if isinstance(value, Message):
        return place_of(value)
    if isinstance(value, tuple):
        return next((found for one in value if (found := _place_in(one)) is not None), None)
    return None

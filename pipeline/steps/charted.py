"""What is charted of the reels of a line, and on which kinds of chart."""

from __future__ import annotations

from pipeline.messages import Code


class Charted(Code):
    """One value of each reel, or what is counted over reels."""

    MEAN_WALL = "mean wall"
    THINNEST_WALL = "thinnest wall"
    WALL_SPREAD = "wall spread within a reel"
    DIAMETER = "diameter"
    STRETCH_MEANS = "mean wall of stretches"
    STRETCH_SPREAD = "wall spread between stretches"
    WALL_VECTOR = "mean wall and offset"
    WALL_SENSORS = "wall sensors"
    FAULT_RATE = "spark fault rate"
    FAULT_GAP = "wire between spark faults"
    GOOD_REELS = "reels between reels with a fault"
    REELS_WITH_FAULT = "share of reels with a fault"


class ChartFamily(Code):
    """A kind of chart; a phase I and a phase II of the same kind and value belong together."""

    INDIVIDUALS = "individuals chart"
    EWMA = "EWMA chart"
    CUSUM = "CUSUM chart"
    RESIDUAL = "residual chart"
    MEAN = "mean chart"
    SPREAD = "s chart"
    T2 = "T^2 chart"
    MEWMA = "multivariate EWMA"
    T2_BY_ORDER = "T^2 of wall sensors by order around the wire"
    U = "u-chart"
    LANEY = "u'-chart"
    GAP_CUSUM = "CUSUM of gaps between faults"
    GAP = "t-chart"
    GEOMETRIC = "g-chart"
    SHARE = "p-chart"


# What of a reel is charted, by its name in the records.
VALUE_OF = {
    Charted.MEAN_WALL: "mean_wall_mm",
    Charted.THINNEST_WALL: "thinnest_wall_mm",
    Charted.WALL_SPREAD: "wall_sd_mm",
    Charted.DIAMETER: "diameter_mm",
    Charted.STRETCH_MEANS: "mean_wall_mm",
    Charted.STRETCH_SPREAD: "mean_wall_mm",
    Charted.WALL_VECTOR: "wall_vector_mm",
    Charted.WALL_SENSORS: "wall_sensors_mm",
    Charted.FAULT_RATE: "spark_faults",
    Charted.FAULT_GAP: "fault_gap_m",
    Charted.GOOD_REELS: "good_reels",
    Charted.REELS_WITH_FAULT: "reels_with_fault",
}

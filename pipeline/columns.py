"""The data dictionary: every column once, with its unit, meaning and plausible range.

A logged channel's name is what a mapping in a run sheet may ask for. Ranges are wide plausibility bounds for
building wire from 14 AWG to 1000 kcmil (common practice, no source); the product's own limits are elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

MAX_WALL_SENSORS = 16


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the store.

    Args:
        name: the column's name, which carries its unit.
        unit: unit in the store, "" for none.
        meaning: one sentence.
        low: least plausible value, None where there is none.
        high: greatest plausible value, None where there is none.
    """

    name: str
    unit: str
    meaning: str
    low: float | None = None
    high: float | None = None


def _wall(number: int) -> Column:
    return Column(
        f"wall_{number}_mm",
        "mm",
        f"Wall as read by sensor {number} of the wall gauge, counted by angle from the first sensor.",
        0.05,
        6.0,
    )


CHANNELS: tuple[Column, ...] = (
    Column("counter_m", "m", "Length counter as logged; it may reset or wrap.", 0.0, 1.0e7),
    Column("line_speed_m_s", "m/s", "Line speed.", -1.0, 40.0),
    Column("hot_diameter_mm", "mm", "Diameter over the hot insulation, near the die.", 0.5, 60.0),
    *(_wall(number) for number in range(1, MAX_WALL_SENSORS + 1)),
    Column("diameter_x_mm", "mm", "Cold overall diameter on the gauge's first axis.", 0.5, 60.0),
    Column("diameter_y_mm", "mm", "Cold overall diameter on the axis at 90 degrees to it.", 0.5, 60.0),
    Column("conductor_mm", "mm", "Diameter of the bare conductor before the crosshead.", 0.5, 40.0),
    Column("screw_speed_rpm", "rpm", "Screw speed of the insulation extruder.", 0.0, 400.0),
    Column("covering_screw_speed_rpm", "rpm", "Screw speed of the covering (nylon) extruder.", 0.0, 400.0),
    Column("melt_temperature_c", "degC", "Melt temperature at the insulation crosshead.", 0.0, 450.0),
    Column("melt_pressure_bar", "bar", "Melt pressure at the insulation crosshead.", 0.0, 1500.0),
    Column("spark_kv", "kV", "Spark-test voltage.", 0.0, 40.0),
    Column("spark_counts", "", "Spark faults counted since the counter was last cleared.", 0.0, 1.0e6),
    Column("flaw_size_mm", "mm", "Size of a surface flaw as the vision system gives it.", 0.0, 1000.0),
)
CHANNEL_BY_NAME: dict[str, Column] = {column.name: column for column in CHANNELS}
WALL_CHANNELS: tuple[str, ...] = tuple(f"wall_{number}_mm" for number in range(1, MAX_WALL_SENSORS + 1))

LOGGED: tuple[Column, ...] = (
    Column("row", "", "Number of the reading in the run, in the order of time."),
    Column("file_no", "", "Number of the log file in the run, from 0, in the order of the run sheet."),
    Column("line", "", "Line of that file the reading stands on, from 1, the header counted."),
    Column("time_utc", "UTC", "Instant the logger gave the reading, microseconds."),
    *CHANNELS,
)

FLAGGED: tuple[Column, ...] = (
    Column("row", "", "Number of the reading in the run."),
    Column("channel", "", "Channel the reason is about; 'time_utc' for the row's clock."),
    Column("flag", "", "Code of the reason (pipeline.flags)."),
)

EVENTS: tuple[Column, ...] = (
    Column("event", "", "Number of the event in the run, in the order of the wire."),
    Column("file_no", "", "Number of the log file in the run."),
    Column("line", "", "Line of that file."),
    Column("kind", "", "'spark fault' or 'surface flaw'."),
    Column("time_utc", "UTC", "Instant logged, if the log gives times."),
    Column("counter_m", "m", "Length counter logged, if the log gives lengths.", 0.0, 1.0e7),
    Column("spark_kv", "kV", "Test voltage at the event.", 0.0, 40.0),
    Column("flaw_size_mm", "mm", "Size of the flaw.", 0.0, 1000.0),
    Column("flaw_class", "", "Class the vision system gave the flaw, as logged."),
)

PLACED: tuple[Column, ...] = (
    Column("row", "", "Number of the reading in the run."),
    Column("front_m", "m", "Length made at the die when this row was logged, resets and slips repaired."),
    Column("speed_m_s", "m/s", "Line speed used to place the reading."),
    Column("phase", "", "Code of the line's phase at the die (pipeline.length.steady_state)."),
)

PLACED_EVENTS: tuple[Column, ...] = (
    *EVENTS,
    Column("at_m", "m", "Position on the wire, from the first meter made in the run."),
    Column("at_sd_m", "m", "Standard uncertainty of that position."),
)

MEASURED: tuple[Column, ...] = (
    Column("row", "", "Number of the reading in the run."),
    Column("wall_at_m", "m", "Position on the wire of the spot the wall gauge saw."),
    Column("mean_wall_mm", "mm", "Mean insulation wall around the section."),
    Column("ecc_cos_mm", "mm", "First harmonic of the wall, cosine part."),
    Column("ecc_sin_mm", "mm", "First harmonic of the wall, sine part."),
    Column("eccentricity_mm", "mm", "Offset of the conductor from the center: size of the first harmonic."),
    Column("thin_angle_deg", "deg", "Direction of the thinnest wall, from the first sensor."),
    Column("thinnest_wall_mm", "mm", "Thinnest insulation wall around the section, between sensors too."),
    Column("concentricity_pct", "%", "100 x thinnest wall / thickest wall."),
    Column("sensors_used", "", "Wall sensors that gave a usable reading."),
    Column("diameter_at_m", "m", "Position on the wire of the spot the cold diameter gauge saw."),
    Column("diameter_mm", "mm", "Cold overall diameter, mean of the axes."),
    Column("ovality_mm", "mm", "Difference between the two diameter axes, without sign."),
)
# A kept frame of these also says which readings count in statistics: ``wall_counts`` and ``diameter_counts``.

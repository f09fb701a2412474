"""A wrong unit is caught by what the product implies, and the likely one named."""

from typing import Any

import polars as pl
import pytest

from pipeline.logs.plausible_units import implausible_units
from tests.logs.sheets import log_file

# 14 AWG solid, 0.38 mm wall: conductor 1.628 mm (ASTM B258: 0.0641 in), so 2.4 mm over the insulation.
EXPECTED = {
    "wall_1_mm": (0.2, 1.0),
    "wall_2_mm": (0.2, 1.0),
    "conductor_mm": (1.3, 2.0),
    "diameter_x_mm": (1.9, 3.2),
    "line_speed_m_s": (0.5, 25.0),
}


def said(channel: str, unit: str, stored: list[float | None]) -> list[str]:
    """Complaints about one channel mapped in `unit`, whose values in the store are `stored`."""
    walls: dict[str, Any] | None = None
    channels = {channel: {"column": "col", "unit": unit}}
    if channel.startswith("wall_"):
        walls, channels = {"columns": ["col", "col2"], "unit": unit}, {}
    log = log_file(walls=walls, channels=channels)
    frame = pl.DataFrame({channel: stored}, schema={channel: pl.Float64})
    if walls:
        frame = frame.with_columns(wall_2_mm=pl.col("wall_1_mm"))
    return [str(complaint) for complaint in implausible_units(frame, EXPECTED, [log])]


def test_right_units_pass() -> None:
    assert said("wall_1_mm", "mm", [0.44, 0.45, None]) == []
    assert said("line_speed_m_s", "ft/min", [0.0, 0.0, 0.0, 8.0, 8.1]) == []
    assert said("conductor_mm", "in", [1.628]) == []
    assert said("diameter_x_mm", "mm", [None]) == []


def test_mil_mapped_as_millimetres() -> None:
    assert said("wall_1_mm", "mm", [17.2, 17.4, 17.3]) == [
        (
            "gauge.csv: column 'col': read as 'wall_1_mm' in mm, its median is 17.3 mm; this product has 0.2 to 1 mm. "
            "The figures would be right in mil; correct 'unit' in the mapping if that is so."
        )
    ]


def test_millimetres_mapped_as_mil() -> None:
    assert said("wall_1_mm", "mil", [0.44 * 0.0254]) == [
        (
            "gauge.csv: column 'col': read as 'wall_1_mm', its median 0.44 mil is 0.01118 mm; this product has "
            "0.2 to 1 mm. The figures would be right in mm; correct 'unit' in the mapping if that is so."
        )
    ]


@pytest.mark.parametrize(
    ("channel", "mapped_as", "stored", "likely"),
    [
        ("conductor_mm", "mm", 0.0641, "in"),
        ("conductor_mm", "mm", 64.1, "mil"),
        ("diameter_x_mm", "in", 2.5 * 25.4, "mm"),
        ("diameter_x_mm", "mm", 2500.0, "um"),
        ("line_speed_m_s", "m/s", 480.0, "m/min or ft/min"),
        ("line_speed_m_s", "m/s", 1200.0, "m/min or ft/min"),
        ("melt_temperature_c", "degC", 470.0, "degF or K"),
        ("melt_pressure_bar", "bar", 3000.0, "psi or kPa"),
        ("spark_kv", "kV", 7500.0, "V"),
    ],
)
def test_the_likely_unit_is_named(channel: str, mapped_as: str, stored: float, likely: str) -> None:
    (sentence,) = said(channel, mapped_as, [stored] * 3)
    assert f"The figures would be right in {likely}; correct 'unit'" in sentence


def test_a_column_that_fits_no_unit() -> None:
    assert said("conductor_mm", "mm", [777.0]) == [
        (
            "gauge.csv: column 'col': read as 'conductor_mm' in mm, its median is 777 mm; this product has 1.3 to "
            "2 mm. Check which column this is, its unit, and the product named in the run sheet."
        )
    ]

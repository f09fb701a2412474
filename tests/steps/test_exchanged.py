"""Columns under each other's name. Figures are invented; insulation shrinks as it cools (common practice)."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.contradictions import Contradiction
from pipeline.products.product import find_product
from pipeline.simulator.lines import line_l1
from pipeline.steps.exchanged import exchanged, melt_exchanged

PRODUCT = find_product("XHHW-2", "12 AWG", "solid")
RIGHT = {"conductor_mm": 2.052, "hot_diameter_mm": 3.85, "diameter_x_mm": 3.72, "diameter_y_mm": 3.73}


def _readings(middles: dict[str, float]) -> pl.DataFrame:
    rng = np.random.default_rng(0)
    return pl.DataFrame({name: value + 0.003 * rng.standard_normal(100) for name, value in middles.items()})


def test_columns_in_their_place_are_not_accused() -> None:
    assert exchanged(_readings(RIGHT), line_l1(), PRODUCT) == ()
    # An oval of half a percent and a conductor two percent off are none of it.
    oval = {**RIGHT, "diameter_x_mm": 3.71, "diameter_y_mm": 3.73, "conductor_mm": 2.09}
    assert exchanged(_readings(oval), line_l1(), PRODUCT) == ()


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("hot_diameter_mm", "diameter_x_mm"),
        ("conductor_mm", "diameter_y_mm"),
        ("conductor_mm", "hot_diameter_mm"),
    ],
)
def test_an_exchange_is_named(first: str, second: str) -> None:
    swapped = {**RIGHT, first: RIGHT[second], second: RIGHT[first]}
    (told,) = exchanged(_readings(swapped), line_l1(), PRODUCT)
    assert told.code == Contradiction.COLUMNS_EXCHANGED
    assert set(told.arguments.values()) == {first, second}


def test_a_wrong_size_is_no_exchange() -> None:
    assert exchanged(_readings({**RIGHT, "conductor_mm": 2.588}), line_l1(), PRODUCT) == ()


def test_a_melt_whose_temperature_stops_with_the_line_is_a_pressure() -> None:
    speed = np.r_[np.zeros(10), np.full(100, 5.0), np.zeros(10)]
    temperature, pressure = np.full(120, 178.0), np.where(speed > 0, 125.0, 6.0)
    made = pl.DataFrame(
        {"line_speed_m_s": speed, "melt_temperature_c": temperature, "melt_pressure_bar": pressure}
    )
    assert not melt_exchanged(made)
    swapped = made.with_columns(
        melt_temperature_c=pl.Series(pressure), melt_pressure_bar=pl.Series(temperature)
    )
    assert melt_exchanged(swapped)
    assert not melt_exchanged(swapped.filter(pl.col("line_speed_m_s") > 0))

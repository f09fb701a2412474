"""Figures that cannot be: no quantity is without bounds or a reason to have none, and no answer passes by them."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from pipeline.possible import POSSIBLE, WALLS, possible, possible_readings
from pipeline.quantity import Quantity, asks
from pipeline.reasons import Reason
from pipeline.results import Refused, Result
from pipeline.store.answer_columns import columns_of


def answer(quantity: Quantity, estimate: float, low: float, high: float, unit: str = "mm") -> Result:
    return Result(asks(quantity, "x"), estimate, low, high, 0.95, unit, "a method", 30, None, None, "reading")


def test_every_quantity_says_what_is_possible() -> None:
    assert set(POSSIBLE) == set(Quantity)
    assert all(low < high for low, high in POSSIBLE.values())


@pytest.mark.parametrize("quantity", sorted(WALLS))
@pytest.mark.parametrize(
    ("low", "high", "overall_mm", "right"),
    [(0.30, 0.45, 2.7, True), (-0.01, 0.45, 2.7, False), (0.4, 11.6, 2.7, False), (0.4, 1.5, 2.7, False),
     (-math.inf, 0.45, 2.7, True), (0.3, 30.0, math.inf, False)],
)  # fmt: skip
def test_a_wall_is_positive_and_within_the_wire(
    quantity: Quantity, low: float, high: float, overall_mm: float, right: bool
) -> None:
    found = possible(answer(quantity, 0.4, low, high), overall_mm)
    assert isinstance(found, Result) == right
    if isinstance(found, Refused):
        assert found.reason.code == Reason.IMPOSSIBLE_FIGURE  # type: ignore[union-attr]


def test_what_cannot_be_is_refused_at_the_door_of_the_store() -> None:
    stored = columns_of(answer(Quantity.RETURN_LEVEL, -38.0, -40.0, 1.0))
    assert stored["estimate"] is None
    assert json.loads(stored["refusal"])["code"] == Reason.IMPOSSIBLE_FIGURE
    whole = answer(Quantity.FAULT_RATE, 1.0, 0.0, 3.0, "1/km")
    assert columns_of(whole)["refusal"] is None
    assert columns_of(replace(whole, low=-0.5))["refusal"] is not None


def test_differences_may_have_either_sign() -> None:
    change = answer(Quantity.DRIFT, -0.01, -0.02, 0.01)
    assert possible(change) is change


def test_no_reading_of_a_wall_is_under_nothing() -> None:
    values = np.array([-0.2, 0.0, 0.4, math.nan])
    assert possible_readings("thinnest_wall_mm", values) == pytest.approx(
        [0.0, 0.0, 0.4, math.nan], nan_ok=True
    )
    assert possible_readings("concentricity_pct", np.array([-5.0, 70.0])).tolist() == [0.0, 70.0]
    # Differences and what has no bounds stay as they are.
    assert possible_readings("ecc_cos_mm", values) == pytest.approx(values, nan_ok=True)

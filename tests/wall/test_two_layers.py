"""Insulation under a covering: bounds, refusals, and the covering's wall from its flow."""

import numpy as np
import pytest
from invented_walls import covering, invented_line

from pipeline.wall.two_layers import (
    covering_minimum,
    insulation_bounds,
    insulation_unknown,
)
from tests.said import said


def test_bounds_of_the_thinnest_insulation() -> None:
    """Derived: offsets 45 um in the total and 25 um at most in the covering: 0.345 at best, 0.295 at worst."""
    told = covering(mean_mm=0.116, offset_mm=0.025, uncertainty_mm=0.0024)
    bounds = insulation_bounds(0.481, 0.045, told, total_sd_mm=0.001)
    assert bounds.mean_wall_mm == pytest.approx(0.365)
    assert bounds.mean_sd_mm == pytest.approx(0.0026)
    assert bounds.thinnest_at_best_mm == pytest.approx(0.345)
    assert bounds.thinnest_at_worst_mm == pytest.approx(0.295)
    assert bounds.status == "bounded, not measured"


def test_bounds_hold_for_every_direction_of_the_covering() -> None:
    """Offsets add as vectors: no direction of the covering's own offset leaves the bounds."""
    told = covering(mean_mm=0.116, offset_mm=0.025, uncertainty_mm=0.0)
    bounds = insulation_bounds(0.481, 0.045, told)
    turn = np.radians(np.arange(0, 360))
    thinnest = bounds.mean_wall_mm - np.hypot(0.045 - 0.025 * np.cos(turn), 0.025 * np.sin(turn))
    assert thinnest.min() == pytest.approx(bounds.thinnest_at_worst_mm, abs=1e-9)
    assert thinnest.max() == pytest.approx(bounds.thinnest_at_best_mm, abs=1e-9)
    assert np.all(thinnest >= bounds.thinnest_at_worst_mm - 1e-12)
    assert np.all(thinnest <= bounds.thinnest_at_best_mm + 1e-12)


def test_the_covering_minimum_is_refused() -> None:
    refused = covering_minimum()
    assert said(refused.reason) == (
        "The gauge reads insulation and covering as one wall: where the covering is thin cannot be seen in "
        "it. Measure the covering on cut samples, or with a gauge that separates the layers."
    )


def test_a_covering_nobody_mentions_refuses_the_insulation_wall() -> None:
    line = invented_line(sees="insulation and covering")
    refused = insulation_unknown(line, None, product_has_covering=True)
    assert refused is not None
    assert said(refused.reason) == (
        "The product has a covering, the instruments read it together with the insulation, and the run sheet "
        "says nothing of it: taking the total for insulation would pass thin wire. Give [run.covering]."
    )
    assert insulation_unknown(line, covering(), product_has_covering=True) is None
    assert insulation_unknown(line, None, product_has_covering=False) is None
    assert insulation_unknown(invented_line(), None, product_has_covering=True) is None
    assert insulation_unknown(invented_line(wall_gauge=False), None, product_has_covering=True) is not None

"""Samples against limits and the line: random samples, impossible values, and the normalized difference."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest

from pipeline.nonconformance.decision import DecisionRule
from pipeline.products.product import find_product
from pipeline.record.samples_judged import judged_sample
from pipeline.record.samples_on_file import build_of
from pipeline.trust.against_line import normalized_difference
from pipeline.trust.sampled import SAMPLED, Build, average_below_thinnest, impossible

BUILD = Build("wire", 1.628, 2.593, True)


def judged(value: float, u: float | None, limit: float, rule: DecisionRule, sense: str = "at least") -> str:
    row = {
        "sample_id": "R-S01", "reel_id": "A", "from_outer_m": 2.0, "quantity": "thinnest_wall_mm", "value": value,
        "uncertainty": u, "measured_by": "a", "instrument": "b", "entry_no": 1,
    }  # fmt: skip
    limits = [
        {
            "requirement": "minimum wall at any point",
            "requirement_set": "UL 83",
            "sense": sense,
            "value": limit,
        }
    ]
    return judged_sample(row, limits, rule).verdict


def test_no_random_sample_below_its_limit_or_within_the_guard_band_conforms() -> None:
    """JCGM 106:2012, 8.3 (clause from memory): w = 1.645 u at 95 %, by the standard library's normal distribution."""
    rng = np.random.default_rng(16)
    z = NormalDist().inv_cdf(0.95)
    for _ in range(2000):
        limit, u = float(rng.uniform(0.1, 2.5)), float(rng.uniform(0.0005, 0.02))
        sign = float(rng.choice([-1.0, 1.0]))
        away = float(rng.normal(0.0, 3.0)) * u
        said = judged(
            limit + sign * away, u, limit, DecisionRule("guard band"), "at least" if sign > 0 else "at most"
        )
        wanted = (
            "does not conform" if away < -1e-6 else "conforms" if away > z * u + 1e-6 else "indeterminate"
        )
        if min(abs(away), abs(away - z * u)) > 1e-6:
            assert said == wanted
        simple = judged(limit + away, u, limit, DecisionRule("simple acceptance"))
        if abs(away) > 1e-6:
            assert simple == ("conforms" if away > 0 else "does not conform")


def test_a_sample_without_an_uncertainty_shows_nothing_by_a_guard_band_and_fails_below_the_limit() -> None:
    guard = DecisionRule("guard band")
    assert judged(0.400, None, 0.330, guard) == "not judged"
    assert judged(0.290, None, 0.330, guard) == "does not conform"
    assert judged(0.400, None, 0.330, DecisionRule("simple acceptance")) == "conforms"


@pytest.mark.parametrize("quantity", list(SAMPLED))
@pytest.mark.parametrize("value", [0.0, -0.33, math.nan, math.inf])
def test_a_value_that_is_not_above_0_cannot_be(quantity: str, value: float) -> None:
    assert impossible(quantity, value, BUILD) != ""


def test_a_wall_above_half_the_diameter_cannot_be() -> None:
    assert impossible("thinnest_wall_mm", 13.0, BUILD) != ""
    assert impossible("thinnest_wall_mm", 0.290, BUILD) == ""
    assert impossible("concentricity_pct", 101.0, BUILD) != ""
    assert average_below_thinnest(0.35, 0.36, 0.001)
    assert not average_below_thinnest(0.359, 0.36, 0.001)


def test_the_normalized_difference_by_hand() -> None:
    """ISO 13528, E_n with k = 2 (from memory): 0.010 over 2 sqrt(0.003^2 + 0.004^2) = 0.010 is 1, by hand."""
    assert normalized_difference(0.410, 0.003, 0.400, 0.004) == pytest.approx(1.0)
    assert normalized_difference(0.400, 0.004, 0.410, 0.003) == pytest.approx(-1.0)
    assert normalized_difference(0.4, 0.0, 0.4, 0.0) == 0.0
    assert normalized_difference(0.4, 0.0, 0.3, 0.0) == math.inf


@pytest.mark.parametrize("size", ["14 AWG", "1/0 AWG", "500 kcmil"])
def test_a_covering_in_mil_read_as_millimeters_is_refused(size: str) -> None:
    """Under the largest wire a covering of 8 mm fits into half of the diameter, and would meet any limit."""
    build = build_of(find_product("THHN/THWN-2", size, "concentric"))
    for mil in (3.0, 6.0, 9.0):
        assert impossible("covering_mm", mil, build).endswith("that it covers")
        assert impossible("covering_mm", mil * 0.0254, build) == ""

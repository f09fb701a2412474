"""What is only known to lie between two bounds is judged at the worse one, whatever the decision rule."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from runs import PLANT, done, made

from pipeline.found import Found
from pipeline.messages import Measure, message
from pipeline.nonconformance.decision import DecisionRule, Verdict, decide_bounded
from pipeline.sheets.line_sheet import Instrument
from pipeline.sheets.plant_rules import DecisionSheet
from pipeline.sheets.plant_sheet import PlantSheet, read_plant_sheet
from pipeline.sheets.run_sheet import Covering
from pipeline.wall.two_layers import insulation_between
from pipeline.wording.say import plain
from tests.said import said

POINT = "minimum wall at any point"
BOTH_RULES = ("simple acceptance", "guard band")


@pytest.mark.parametrize("kind", BOTH_RULES)
def test_a_lower_bound_under_the_limit_does_not_conform_by_any_rule(kind: str) -> None:
    """Derivation: of a wall between 0.326 and 0.344 mm nothing shows that it keeps 0.330 mm."""
    found = decide_bounded(0.326, 0.344, 0.0, 0.330, "at least", DecisionRule(kind))  # type: ignore[arg-type]
    assert said(found.verdict) is Verdict.CANNOT_BE_TOLD
    assert found.conformance_probability == 0.0 and found.risk is None
    both = decide_bounded(0.326, 0.328, 0.0, 0.330, "at least", DecisionRule(kind))  # type: ignore[arg-type]
    assert said(both.verdict) is Verdict.DOES_NOT_CONFORM
    above = decide_bounded(0.331, 0.344, 0.0, 0.330, "at least", DecisionRule(kind))  # type: ignore[arg-type]
    assert said(above.verdict) is Verdict.CONFORMS


def test_the_guard_band_is_taken_at_the_worse_bound_too() -> None:
    """JCGM 106:2012, 8.3: 1.645 x 0.004 = 0.0066 mm of guard over 0.330 mm."""
    rule = DecisionRule()
    assert rule.kind == "guard band" and rule.confidence == 0.95
    near = decide_bounded(0.336, 0.350, 0.004, 0.330, "at least", rule)
    assert said(near.verdict) is Verdict.CANNOT_BE_TOLD
    assert said(decide_bounded(0.337, 0.350, 0.004, 0.330, "at least", rule).verdict) is Verdict.CONFORMS


def test_the_bounds_of_a_section_by_hand() -> None:
    """Thinnest 0.335 and thickest 0.415 mm, offset 0.040, the covering's 0.009: 0.326 to 0.344; 0.326/0.424 in all."""
    frame = pl.DataFrame(
        {
            "thinnest_wall_mm": [0.335, None],
            "concentricity_pct": [100.0 * 0.335 / 0.415, None],
            "eccentricity_mm": [0.040, None],
        },
        schema_overrides={"thinnest_wall_mm": pl.Float64},
    )
    gauge = Instrument(id="W", kind="wall gauge", station_m=5.0, sensors=8, sees="insulation and covering")
    told = Covering(mean_mm=0.118, uncertainty_mm=0.003, offset_mm=0.009, basis="cut samples")
    found = insulation_between(frame, gauge, told)
    low, high = found["thinnest_wall_mm"]
    assert (low[0], high[0]) == pytest.approx((0.326, 0.344))
    assert np.isnan(low[1])
    worst, best = found["concentricity_pct"]
    assert (worst[0], best[0]) == pytest.approx((100 * 0.326 / 0.424, 100 * 0.344 / 0.406))
    alone = gauge.model_copy(update={"sees": "insulation"})
    assert insulation_between(frame, alone, told) == {}


def test_a_covering_whose_offset_nobody_saw_may_be_bare_on_one_side() -> None:
    """Derivation: a covering is nowhere thinner than nothing, so its offset is at most its mean wall."""
    told = Covering(mean_mm=0.118, uncertainty_mm=0.003, basis="a guess")  # type: ignore[call-arg]
    assert told.offset_mm == 0.118


def plant(rule: str) -> PlantSheet:
    sheet = read_plant_sheet(PLANT)
    chosen = {**sheet.decision, POINT: DecisionSheet.model_validate({"rule": rule})}
    return sheet.model_copy(update={"decision": chosen})


@pytest.mark.parametrize("rule", BOTH_RULES)
def test_a_reel_is_held_where_the_lower_bound_is_under_the_limit(rule: str) -> None:
    """The same wire, of which the covering's offset is known less well: no reading changed, and it may not leave."""
    run = made("14 AWG")
    known = done(run, plant=plant(rule))
    assert known.verdict(POINT)[0] == "conforms"
    worst = next(x.worst for x in known.judged.requirements if x.reel_id == "A" and x.requirement == POINT)
    assert worst is not None and worst > 0.3302
    loose = {
        "mean_mm": 0.118,
        "uncertainty_mm": 0.003,
        "offset_mm": 0.009 + worst - 0.326,
        "basis": "invented",
    }
    found = done(run, plant=plant(rule), covering=loose)
    verdict, sentence = found.verdict(POINT)
    row = next(x for x in found.judged.requirements if x.reel_id == "A" and x.requirement == POINT)
    assert row.worst == pytest.approx(0.326, abs=1e-6)
    assert verdict == "indeterminate"
    assert "0.326 mm (worse bound)" in sentence
    assert next(one for one in found.judged.reels if one.reel.id == "A").standing == "held"


def test_a_requirement_the_sheet_leaves_out_is_judged_with_a_guard_band() -> None:
    sheet = read_plant_sheet(PLANT).model_copy(update={"decision": {}})
    found = done(made(), plant=sheet)
    assert {plain(one.decided_by) for one in found.judged.requirements if one.limit_id} == {
        "guard band: conformity must be shown with 95 %"
    }


def test_a_bound_keeps_its_side_of_the_limit_in_words() -> None:
    limit = Measure(70.0, "%")
    assert "69.95" in plain(message(Found.BOUNDED, value=Measure(69.951, "%"), limit=limit))

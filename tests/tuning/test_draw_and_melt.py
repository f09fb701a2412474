"""Draw ratios, shear figures, settings and ceilings: against worked numbers, hand derivations and published weights."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import MethodRefusal
from pipeline.messages import message
from pipeline.products.materials import material_named
from pipeline.products.product import find_product
from pipeline.sheets.line_sheet import Ceilings, Tooling
from pipeline.tuned import Tuned
from pipeline.tuning.draw import (
    DRAW_BALANCE,
    draw_balance,
    draw_down_ratio,
    draw_of,
    tooling_for,
)
from pipeline.tuning.giveaway import Price, giveaway
from pipeline.tuning.settings import held_to_ceiling, pressure_at_output, ways_to_target
from tests.said import said

TABLES = Path(__file__).parents[2] / "pipeline" / "products" / "tables"


def tube(die_mm: float, tip_mm: float) -> Tooling:
    return Tooling(
        layer="covering",
        construction="THHN/THWN-2",
        size="14 AWG",
        method="tube",
        die_mm=die_mm,
        tip_mm=tip_mm,
    )


def test_draw_ratios() -> None:
    # A general calculator page: die 5, tip 3, over 2 and under 1 gives 5.33.
    assert draw_down_ratio(5.0, 3.0, 2.0, 1.0) == pytest.approx(16.0 / 3.0)
    # An independent script: nylon skin 6.0/5.4 on 2.59/2.39 gives DDR 6.867 and DRB 1.0253 (by hand: 6.84/0.996 and
    # 2.3166/2.2594).
    assert draw_down_ratio(6.0, 5.4, 2.59, 2.39) == pytest.approx(6.867469879518078, rel=1e-9)
    assert draw_balance(6.0, 5.4, 2.59, 2.39) == pytest.approx(1.0253110253110254, rel=1e-9)
    # DDR 7, DRB 1.05 asks for a die of 5.5341 on a tip of 4.8636.
    die, tip = tooling_for(7.0, 1.05, 2.59, 2.39)
    assert (die, tip) == (
        pytest.approx(5.534148915467425, rel=1e-9),
        pytest.approx(4.863620484635832, rel=1e-9),
    )


@given(
    st.floats(1.5, 60.0),
    st.floats(1.001, 1.4),
    st.floats(0.5, 20.0),
    st.floats(1.02, 3.0),
    st.floats(0.5, 5.0),
)
def test_tooling_gives_back_the_ratios_and_scale_does_not_matter(down, balance, inner, over, scale) -> None:
    outer = inner * over
    die, tip = tooling_for(down, balance, outer, inner)
    assert draw_down_ratio(die, tip, outer, inner) == pytest.approx(down, rel=1e-6)
    assert draw_balance(die, tip, outer, inner) == pytest.approx(balance, rel=1e-9)
    assert draw_down_ratio(scale * die, scale * tip, scale * outer, scale * inner) == pytest.approx(
        down, rel=1e-6
    )


def test_a_tenth_of_a_millimetre_of_tip() -> None:
    found = draw_of(tube(6.0, 5.4), 2.59, 2.39)
    down, balance = found.ratios
    # The slope told is the slope there is: central difference over 0.1 mm.
    for one, ratio in ((down, draw_down_ratio), (balance, draw_balance)):
        tip = ratio(6.0, 5.45, 2.59, 2.39) - ratio(6.0, 5.35, 2.59, 2.39)
        die = ratio(6.05, 5.4, 2.59, 2.39) - ratio(5.95, 5.4, 2.59, 2.39)
        assert one.for_larger_tip == pytest.approx(tip, rel=2e-3)
        assert one.for_larger_die == pytest.approx(die, rel=2e-3)
    assert balance.usual == DRAW_BALANCE
    assert balance.inside is False
    assert said(found.told)[:2] == (
        (
            "Draw-down ratio 6.867, inside the usual 3 to 10 (common practice for nylon, no source; sources "
            "vary widely)."
        ),
        (
            "Draw balance 1.025, below the usual 1.05 to 1.15 (Society of Plastics Engineers, section "
            "technical column Draw Down Ratios (excerpt))."
        ),
    )


def test_pressure_tooling() -> None:
    tooling = Tooling(
        layer="insulation",
        construction="THHN/THWN-2",
        size="14 AWG",
        method="pressure",
        die_mm=2.45,
        tip_mm=1.68,
    )
    found = draw_of(tooling, 2.39, 1.628)
    assert [one.name for one in found.ratios] == ["sizing ratio", "tip clearance"]
    assert found.ratios[0].value == pytest.approx(2.45 / 2.39)
    assert found.ratios[1].value == pytest.approx(0.052)
    assert all(
        one.usual is not None and one.usual.source == "common practice, no source" for one in found.ratios
    )
    tight = draw_of(tooling.model_copy(update={"tip_mm": 1.60}), 2.39, 1.628)
    assert said(tight.told)[-1] == (
        "The tip's bore of 1.6 mm does not clear the conductor of 1.628 mm: check the sheet."
    )
    unset = draw_of(tooling, 2.39, 1.628, usual=())
    assert said(unset.told)[0] == "Sizing ratio 1.025; no usual range is set."


def test_tooling_that_cannot_be_is_refused() -> None:
    with pytest.raises(MethodRefusal) as told:
        draw_down_ratio(5.0, 5.0, 2.0, 1.0)
    assert str(told.value) == (
        "draw: tip 5 and die 5 mm, under 1 and over 2 mm. The tip must be smaller than the die and the "
        "inner diameter smaller than the outer."
    )
    with pytest.raises(MethodRefusal) as told:
        tooling_for(5.0, 0.4, 2.0, 1.0)
    assert str(told.value) == (
        "balance: 0.4 on 2 over 1 mm would need a tip as large as the die. Ask for a larger draw balance."
    )


def test_mass_per_metre_against_published_weights() -> None:
    # Published net less copper weights (products/tables/published_masses.csv names the documents): polymer of 4/0
    # THHN at minimum walls, PVC 1.40 and nylon 1.14. The giveaway of a wall is the difference of two such masses.
    with (TABLES / "published_masses.csv").open(encoding="utf-8") as file:
        printed = {
            row["quantity"]: float(row["value"]) * 453.59237 / 304.8
            for row in csv.DictReader(file)
            if (row["family"], row["size"]) == ("THHN/THWN-2", "4/0 AWG")
        }
    net = next(value for name, value in printed.items() if "net" in name)
    copper = next(value for name, value in printed.items() if "conductor" in name)
    product = find_product("THHN/THWN-2", "4/0 AWG", "concentric")
    d, t, c = product.conductor_mm, product.average_wall_mm, product.covering_mm or 0.0
    pvc = giveaway(t, 0.0, d, Price(material_named("PVC, heat resistant").density.value)).kg_km
    nylon = giveaway(c, 0.0, d + 2.0 * t, Price(material_named("nylon").density.value)).kg_km
    assert pvc + nylon == pytest.approx(net - copper, rel=0.03)  # 92.2 against 93.8 g/m


def test_pressure_follows_the_output() -> None:
    # n 0.35: 2.9 % more output is 1 % more pressure.
    assert pressure_at_output(265.0, 1.02857142857, 0.35) == pytest.approx(265.0 * 1.0099, rel=1e-4)


def test_recommendations_stop_at_the_plants_ceilings() -> None:
    # Trap: direction and size, and no further than what the plant entered.
    free = ways_to_target(0.44, 0.40, 1.628, 10.0, 60.0, 265.0, Ceilings(line_speed_m_s=15.0))
    speed, screw = free
    assert speed.change.allowed == pytest.approx(11.217, abs=5e-4)
    assert speed.reaches_target
    assert said(speed.told) == (
        "Line speed from 600 m/min to 673 m/min (+12.2 %), under the plant's ceiling of 900 m/min.",
        said(message(Tuned.SETTING_CAUTION)),
    )
    # The other way lowers the screw: nothing goes up, so no ceiling is needed.
    assert screw.change.allowed == pytest.approx(60.0 * 10.0 / 11.217, abs=5e-3)
    assert screw.follows == ()
    stopped = ways_to_target(0.44, 0.40, 1.628, 10.0, None, None, Ceilings(line_speed_m_s=10.5))[0]
    assert stopped.change.allowed == 10.5
    assert not stopped.reaches_target
    assert said(stopped.told)[0] == (
        "Line speed would have to go from 600 m/min to 673 m/min; the plant's ceiling is 630 m/min, and the "
        "recommendation stops there."
    )
    unknown = ways_to_target(0.44, 0.40, 1.628, 10.0, None, None, None)[0]
    assert np.isnan(unknown.change.allowed)
    assert said(unknown.told)[0] == (
        "Line speed would have to go up, and the line sheet has no ceiling for it. Enter it under [line.ceilings]."
    )


def test_pressure_follows_the_screw_and_has_its_own_ceiling() -> None:
    ceilings = Ceilings(screw_speed_rpm=100.0, melt_pressure_bar=270.0)
    screw = ways_to_target(0.40, 0.44, 1.628, 10.0, 60.0, 265.0, ceilings, exponent=0.4)[1]
    pressure = screw.follows[0]
    assert pressure.wanted == pytest.approx(265.0 * (11.217 / 10.0) ** 0.4, rel=1e-4)
    assert pressure.allowed == 270.0
    assert pressure.stopped_by == "ceiling"
    assert not screw.reaches_target
    # Without the exponent the pressure is bounded by the output itself.
    bounded = ways_to_target(0.40, 0.44, 1.628, 10.0, 60.0, 265.0, ceilings)[1]
    assert bounded.follows[0].wanted == pytest.approx(265.0 * 1.1217, rel=1e-4)


def test_a_setting_already_above_its_ceiling_is_not_raised() -> None:
    found = held_to_ceiling("melt_temperature_c", 200.0, 205.0, Ceilings(melt_temperature_c=190.0))
    assert found.allowed == 200.0
    assert found.stopped_by == "ceiling"

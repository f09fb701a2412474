"""The whole of tuning put together, on simulated runs of one line."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from pipeline.errors import MethodRefusal
from pipeline.products.limits import limits_in_force, missing_requirements
from pipeline.products.product import find_product
from pipeline.results import Refused
from pipeline.sheets.line_sheet import Bolt, Ceilings, Tooling
from pipeline.sheets.run_sheet import Covering
from pipeline.simulator.lines import line_l1, line_l2
from pipeline.simulator.speed import plain_plan
from pipeline.tuning.covering_target import CoveringTarget, covering_target
from pipeline.tuning.giveaway import Price
from pipeline.tuning.line_tuning import LineTuning, tuning_of_line
from pipeline.tuning.target import Target
from pipeline.tuning.tuning_question import TuningQuestion, noise_from_stops
from pipeline.tuning.what_if import HALF_CENTRED, WhatIf
from tests.said import said
from tests.simulator.in_memory import short_scenario, simulate_in_memory
from tests.tuning.invented_limits import PRICE, THHN, XHHW, limit
from tests.tuning.simulated import l1_run, l2_run, reels_of, tuning_run

BOLTS = tuple(
    Bolt(id=f"B{n}", angle_deg=90.0 * n, sense="in pushes away", um_per_turn=150.0) for n in range(4)
)


@pytest.fixture(scope="module")
def l2_tuning() -> LineTuning:
    return tuning_of_l2(2)


def tuning_of_l2(many: int) -> LineTuning:
    """The tuning of an invented line from so many runs."""
    line = line_l2().model_copy(
        update={
            "bolts": BOLTS,
            "ceilings": Ceilings(line_speed_m_s=1.5),
            "tooling": (
                Tooling(
                    layer="insulation",
                    construction="XHHW-2",
                    size="1/0 AWG",
                    method="pressure",
                    die_mm=12.6,
                    tip_mm=9.55,
                ),
                Tooling(
                    layer="insulation",
                    construction="XHHW-2",
                    size="2 AWG",
                    method="pressure",
                    die_mm=9.0,
                    tip_mm=6.6,
                ),
            ),
        }
    )
    runs = [l2_run(40 + n, 6, f"R-{n}")[0] for n in range(many)]
    runs = [replace(run, started=run.started.replace(hour=6 + 2 * n)) for n, run in enumerate(runs)]
    return tuning_of_line(
        runs, TuningQuestion(line, XHHW, PRICE, noise_mm=0.005, draws=100, changed=runs[1].started)
    )


def test_everything_is_answered_or_refused_with_a_reason(l2_tuning: LineTuning) -> None:
    assert isinstance(l2_tuning.target, Target)
    assert l2_tuning.target.binding == "minimum average wall"
    # 1.465 mm against 1.4258: about 39 um of overwall, 1.6 kg/km.
    assert l2_tuning.overwall is not None
    assert l2_tuning.overwall.wall_mm == pytest.approx(0.039, abs=0.005)
    assert l2_tuning.overwall.money_per_month == pytest.approx(
        l2_tuning.overwall.kg_km * 300.0 * 2.4, rel=1e-12
    )
    assert l2_tuning.overwall_interval is not None
    low, high = l2_tuning.overwall_interval
    assert low.kg_km < l2_tuning.overwall.kg_km < high.kg_km
    assert {one.element for one in l2_tuning.periods if one.channel == "mean wall"} == {
        "L2-screw",
        "L2-capstan",
    }
    assert isinstance(l2_tuning.bolts, Refused)
    assert isinstance(l2_tuning.good_starts, Refused)
    assert len(l2_tuning.starts) == 2
    assert len(l2_tuning.before_after) == 5
    # The simulated wall answers no setting.
    assert all(one.kind == "not shown" for one in l2_tuning.answers if not isinstance(one, Refused))
    assert l2_tuning.covering is None
    assert l2_tuning.balance == ()


def test_shares_add_up(l2_tuning: LineTuning) -> None:
    shares = l2_tuning.shares
    assert shares is not None
    total = shares.mean + shares.eccentricity + shares.slow_drift + shares.periodic + shares.fast
    assert total == pytest.approx(1.0, abs=1e-9)
    # Centre wanders by 10.8 um, wall by 9.1: most of the thinnest wall's spread is eccentricity.
    assert shares.eccentricity > shares.slow_drift > shares.periodic
    # By hand: swings of 3 and 2 um make 6.5 um2 of the variance.
    assert shares.periodic * (1000.0 * shares.sd_mm) ** 2 == pytest.approx(6.5, rel=0.25)
    assert shares.noise == pytest.approx(25.0 * 3.0 / 8.0 / (1000.0 * shares.sd_mm) ** 2, rel=1e-9)


def test_centring_tells_the_way_and_that_it_saves_nothing(l2_tuning: LineTuning) -> None:
    advice = l2_tuning.centring_now
    assert advice is not None
    assert advice.known_from == "line sheet"
    assert any("the target could not fall: minimum average wall binds" in one for one in said(advice.told))
    half = next(one for one in l2_tuning.what_ifs if isinstance(one, WhatIf) and one.remedy == HALF_CENTRED)
    assert half.saving_mm == 0.0


def test_settings_stop_at_the_ceiling(l2_tuning: LineTuning) -> None:
    # Two runs leave the target too wide for anything to be moved; five do not.
    assert l2_tuning.settings == ()
    l2_tuning = tuning_of_l2(5)
    # Down to the advised target takes about 2 % more speed: under the ceiling of 1.5 m/s; tooling of the size only.
    speed, screw = l2_tuning.settings
    assert isinstance(l2_tuning.target, Target)
    assert speed.change.allowed <= 1.5
    assert speed.reaches_target
    assert screw.change.wanted < screw.change.now
    assert [one.tooling.size for one in l2_tuning.draws] == ["1/0 AWG"]


def test_two_layers() -> None:
    covering = Covering(mean_mm=0.118, uncertainty_mm=0.003, offset_mm=0.009, basis="invented cut samples")
    limits = (*THHN, limit("covering at any point", 0.1016))
    runs = [l1_run(7, 4)[0]]
    asked = TuningQuestion(
        line_l1(),
        limits,
        Price(1.4, 1.8, 4000.0, "USD", 400.0),
        covering,
        Price(1.14, 3.6, 4000.0, "USD"),
        draws=60,
    )
    found = tuning_of_line(runs, asked)
    assert isinstance(found.target, Target)
    assert isinstance(found.covering, CoveringTarget)
    # 101.6 + 9 + 3.09 x 3 um: 119.9 um are needed and 118 stated, so the statement does not carry the limit.
    assert found.covering.needed_mm == pytest.approx(0.11987, abs=5e-5)
    assert found.covering.margin_mm < 0.0
    assert found.covering.status == "stated, not measured"
    assert said(found.covering.told) == (
        "By its stated mean of 118.0 \u00b5m, offset up to 9.0 \u00b5m and uncertainty of 3.0 \u00b5m the covering "
        "needs 119.9 \u00b5m on average. That is stated, not measured (invented cut samples): cut samples before "
        "changing it."
    )
    assert found.noise_mm == pytest.approx(0.004, rel=0.10)  # the line stands for 5 s at the end of the log
    assert said(found.target.warnings)[0].startswith("All reels come from one run")
    assert isinstance(covering_target(None, limits, 2.4, PRICE), Refused)
    assert isinstance(covering_target(covering, THHN, 2.4, PRICE), Refused)


@pytest.mark.parametrize(
    ("type_name", "requirement_set"), [("USE-2", "UL 854"), ("RW90-1000V", "CSA C22.2 No. 38, 1000 V")]
)
def test_a_wall_nobody_entered_a_limit_for_leaves_no_target(type_name: str, requirement_set: str) -> None:
    """A code gives an average; a point to the set was seen nowhere, so no target may be advised."""
    wire = find_product(type_name, "1/0 AWG", "concentric")
    on = date(2026, 3, 3)
    missing = tuple(
        said(one.told)
        for one in missing_requirements(wire, on)
        if one.requirement == "minimum wall at any point"
    )
    asked = TuningQuestion(
        line_l2(), limits_in_force(wire, on), PRICE, noise_mm=0.005, draws=60, missing=missing
    )
    found = tuning_of_line([l2_run(40, 6, "R-0")[0]], asked)
    assert isinstance(found.target, Refused)
    assert said(found.target.reason) == (
        f"Not judged: no limit on file for minimum wall at any point of {type_name} 1/0 AWG, concentric copper to "
        f"{requirement_set} on 2026-03-03. A target would say nothing about it; enter it first."
    )
    assert found.loss is None


def test_noise_of_the_gauge_from_standing_wire() -> None:
    # The simulator's gauge has 5 um a sensor; a stop of a minute and a half shows it.
    plan = plain_plan(1.4, 1000.0, 40.0, stops=((500.0, 90.0),))
    made = simulate_in_memory(
        short_scenario("1/0 AWG", plan=plan, reels=reels_of(200.0, 300.0, 2, "N"), run_id="N"), 4
    )
    noise = noise_from_stops([tuning_run(made)], 8)
    assert noise == pytest.approx(0.005, rel=0.05)
    never = replace(l2_run(0)[0], phase=np.full_like(l2_run(0)[0].phase, 5))
    assert noise_from_stops([never], 8) is None


def test_runs_of_several_products_are_not_mixed() -> None:
    with pytest.raises(MethodRefusal) as told:
        tuning_of_line([l1_run(7, 4)[0], l2_run(0)[0]], TuningQuestion(line_l2(), XHHW, PRICE))
    assert str(told.value) == (
        "tuning: runs: 2 runs of 2 products were given (THHN/THWN-2 14 AWG solid copper, XHHW-2 1/0 AWG "
        "concentric copper). Ask for one product at a time; what one teaches does not hold for another."
    )
    with pytest.raises(MethodRefusal) as told:
        tuning_of_line([], TuningQuestion(line_l2(), XHHW, PRICE))
    assert str(told.value) == (
        "tuning: runs: 0 runs of 0 products were given. Ask for one product at a time; what one teaches "
        "does not hold for another."
    )

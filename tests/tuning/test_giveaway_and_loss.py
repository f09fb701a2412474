"""Arithmetic of overwall and one-sided loss, against numbers of an independent script and by hand."""

import math

import pytest

from pipeline.errors import MethodRefusal
from pipeline.statistics.level_crossings import crossings_expected
from pipeline.tuned import Tuned
from pipeline.tuning.giveaway import Over, Price, giveaway, speed_for_wall
from pipeline.tuning.loss import least_loss_target, optimum_per_item
from pipeline.tuning.settings import ways_to_target
from pipeline.wall.mass import mass_per_um_g_km

D = 1.628  # 14 AWG solid, r = 0.814 mm, as the independent script takes it
PVC = Price(1.35, 1.8, 100_000.0 / 12.0, "USD")


def test_giveaway_in_plastic_and_money() -> None:
    # t 0.44 against 0.40 mm: 3.8591 - 3.4404 = 0.4187 kg/km.
    found = giveaway(0.44, 0.40, D, PVC)
    assert found.kg_km == pytest.approx(0.4187, abs=5e-5)
    assert found.wall_mm == pytest.approx(0.04)
    # Each micrometre costs 10.6 g/km there.
    assert mass_per_um_g_km(0.44, D, 1.35) == pytest.approx(10.6, abs=0.05)
    # 20 um x 10.6 g x 100 000 km x 1.8 a kg = 38 k a year.
    year = giveaway(0.45, 0.43, D, PVC).money_per_month
    assert year is not None
    assert 12.0 * year == pytest.approx(38293.2, abs=1.8)  # 10.637 g, rounded there
    # Turning from and to about only turns the sign; without a price there is mass and no money.
    assert giveaway(0.40, 0.44, D, PVC).kg_km == pytest.approx(-found.kg_km)
    assert giveaway(0.44, 0.40, D, Price(1.35)).money_per_month is None


def test_speed_and_wall() -> None:
    # 0.44 mm at 10 m/s: 0.400 mm needs 11.217 m/s; 1 % more speed takes 3.597 um.
    assert speed_for_wall(0.44, 0.400, D, 10.0) == pytest.approx(11.216962524654836, rel=1e-9)
    assert speed_for_wall(0.44, 0.44 - 3.597308428556989e-3, D, 10.0) == pytest.approx(10.1, rel=1e-9)
    with pytest.raises(MethodRefusal) as told:
        speed_for_wall(0.44, 0.0, D, 10.0)
    assert str(told.value) == "wanted_mm: 0 mm was given. Give a finite number above 0."


def test_the_unit_of_loss_is_the_reel() -> None:
    # c_m 28.72 a mm and reel, c_f 400, s 6 um: per item 3.696, per reel 5.593 with 7.7e-5 bad reels (independent
    # script; a reel passes its mean level 477.5 times, Rice: L/(2 pi a)); the optimum per reading lies 11 um too thin.
    item = optimum_per_item(28.71937189761567, 400.0, 0.006)
    assert item == pytest.approx(3.6962, abs=5e-5)
    crossings = crossings_expected(0.0, 1500.0, 0.5)
    assert crossings == pytest.approx(477.5, abs=0.05)
    reel = least_loss_target(
        lambda t: -math.expm1(-crossings * math.exp(-0.5 * (t / 0.006) ** 2)),
        28.71937189761567,
        400.0,
        0.02,
        0.06,
    )
    assert reel.target_mm / 0.006 == pytest.approx(5.5928, abs=2e-3)
    assert reel.chance == pytest.approx(7.702857e-05, rel=2e-2)
    assert 1000.0 * reel.target_mm - 6.0 * item == pytest.approx(11.4, abs=0.05)
    # Plastic dearer than any failure: no margin pays.
    assert optimum_per_item(1e9, 1.0, 0.006) == 0.0


def test_least_loss_finds_the_optimum_of_a_known_loss() -> None:
    # exp(-(t - 1)/s) failures: derivative c_m = c_f/s exp(-(t - 1)/s) gives t by hand.
    s, slope, cost = 0.004, 30.0, 400.0
    found = least_loss_target(lambda t: min(math.exp(-(t - 1.0) / s), 1.0), slope, cost, 0.99, 1.06)
    assert found.target_mm == pytest.approx(1.0 + s * math.log(cost / (slope * s)), abs=2e-5)
    assert found.loss_if_thinner > found.loss_per_reel
    assert found.loss_if_thicker > found.loss_per_reel
    # One-sided: 5 um too thin costs more than 5 um too thick.
    assert found.loss_if_thinner > found.loss_if_thicker


def test_a_covering_shrinks_with_the_insulation() -> None:
    # By hand: nylon of 0.11 mm, 1.14 g/cm3, 4.2 a kg over 14 AWG. 0.02 mm less insulation takes 2 pi 0.11 0.02 mm2 of
    # it: 0.013823 mm2, 0.015758 kg/km; of insulation 2 pi (0.814 + 0.44) 0.02 x 1.35 = 0.212736 kg/km at 1.8 a kg.
    both = Price(1.35, 1.8, 1.0, "USD", over=Over(0.11, 1.14, 4.2))
    found = giveaway(0.45, 0.43, D, both)
    assert found.kg_km == pytest.approx(0.212736 + 0.015758, abs=2e-6)
    assert found.money_per_month == pytest.approx(0.212736 * 1.8 + 0.015758 * 4.2, abs=5e-6)
    # 17 % more than the insulation alone.
    assert found.money_per_month == pytest.approx(1.173 * 0.212736 * 1.8, rel=1e-3)


def test_a_faster_line_thins_the_covering() -> None:
    # By hand: 0.44 to 0.40 mm is 12.17 % faster; a covering of 0.110 mm over 2.508 mm has 0.9047 mm2, then 0.8066 mm2
    # over 2.428 mm: 0.10150 mm. To keep 0.110 mm there its screw gives 0.8771 mm2 12.17 % faster: 8.7 % more.
    way = ways_to_target(0.44, 0.40, D, 10.0, None, None, None, covering_mm=0.11)[0]
    thinned = next(one for one in way.told if one.code == Tuned.SPEED_THINS_COVERING)
    told = dict(thinned.slots)
    assert told["then"].value == pytest.approx(101.50, abs=0.05)
    assert told["screw"].value == pytest.approx(8.74, abs=0.05)
    alone = ways_to_target(0.44, 0.40, D, 10.0, None, None, None)[0]
    assert all(one.code != Tuned.SPEED_THINS_COVERING for one in alone.told)

"""The true wire: its statistics are those asked for, and how it is cut into pieces changes nothing.

The simulator's truth is ours: these tests prove that it is what its data say, and nothing about real wire.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from pipeline.simulator.products_made import PRODUCTS, thhn_14_solid
from pipeline.simulator.randomness import Wander, WanderSource, stream
from pipeline.simulator.troubles import CentreDrift, ThinAllRound, ThinOneSide
from pipeline.simulator.true_wire import Ribbon, bump, extreme_walls_mm
from tests.simulator.in_memory import short_scenario, simulate_in_memory


def test_solid_conductor_has_the_diameter_of_its_gauge() -> None:
    # ASTM B258: d = 0.005 in x 92^((36 - n)/39); 14 AWG is printed as 0.0641 in, which the plant draws to.
    formula_mm = 0.005 * 25.4 * 92 ** ((36 - 14) / 39)
    assert thhn_14_solid().conductor_mm == pytest.approx(formula_mm, abs=0.00005 * 25.4)


@pytest.mark.parametrize(("product", "wires", "cmil"), [("12 AWG", 7, 6530), ("1/0 AWG", 19, 105600)])
def test_strand_circle_follows_from_area_and_number_of_wires(product: str, wires: int, cmil: int) -> None:
    # Geometry of concentric strand, equal wires: circle = 3 d for 7 and 5 d for 19; areas in circular mil from
    # NFPA 70-2014, chapter 9, table 8.
    across = {7: 3, 19: 5}[wires]
    circle_mm = across * (cmil / wires) ** 0.5 * 0.0254
    assert PRODUCTS[product]().conductor_mm == pytest.approx(circle_mm, abs=0.00005 * 25.4)


def test_wandering_has_its_spread_and_its_reach() -> None:
    # Ornstein-Uhlenbeck: stationary sd as asked, correlation exp(-h/reach) at distance h. Standard errors of
    # 400,000 values whose effective number is n (1 - phi) / (1 + phi), Bayley & Hammersley 1946 (from memory).
    values = WanderSource((Wander(0.004, 5.0),), 0.2, 1, "test").take(400_000)
    phi = np.exp(-0.2 / 5.0)
    effective = 400_000 * (1 - phi**2) / (1 + phi**2)
    assert values.std() == pytest.approx(0.004, rel=4 / np.sqrt(2 * effective))
    for steps in (1, 10, 25):
        found = np.corrcoef(values[:-steps], values[steps:])[0, 1]
        assert found == pytest.approx(np.exp(-0.2 * steps / 5.0), abs=4 / np.sqrt(effective))


def test_wandering_does_not_depend_on_how_it_is_cut() -> None:
    whole = WanderSource((Wander(1.0, 3.0), Wander(0.5, 40.0)), 0.1, 7, "cut").take(1000)
    source = WanderSource((Wander(1.0, 3.0), Wander(0.5, 40.0)), 0.1, 7, "cut")
    parts = np.concatenate([source.take(count) for count in (1, 0, 499, 500)])
    assert np.array_equal(whole, parts)


def test_streams_of_different_causes_differ_and_the_same_cause_repeats() -> None:
    one = stream(1, "R-1", "noise").standard_normal(50)
    assert np.array_equal(one, stream(1, "R-1", "noise").standard_normal(50))
    for other in (stream(2, "R-1", "noise"), stream(1, "R-2", "noise"), stream(1, "R-1", "wall")):
        assert not np.array_equal(one, other.standard_normal(50))


def test_ribbon_gives_means_over_windows_and_values_at_points() -> None:
    ribbon = Ribbon(("line", "square"), -100, 0.1)
    for to_m in (3.0, 3.05, 40.0):
        s_m = ribbon.nodes_to(to_m)
        ribbon.extend(np.stack([2.0 * s_m + 1.0, s_m**2]))
    ribbon.let_go(-2.0)
    from_m, to_m = np.array([1.0, 5.0, 7.25]), np.array([2.0, 5.0, 30.75])
    seen = ribbon.seen(from_m, to_m)
    assert seen["line"] == pytest.approx(from_m + to_m + 1.0, abs=1e-9)
    # Mean of s^2 over a window: (b^3 - a^3) / (3 (b - a)); trapezia of 0.1 m add 0.1^2 / 6 at most.
    assert seen["square"][2] == pytest.approx((30.75**3 - 7.25**3) / (3 * 23.5), abs=0.01)
    assert seen["square"][1] == pytest.approx(25.0, abs=1e-9)


def test_extreme_walls_are_those_a_minimiser_finds() -> None:
    draw = np.random.default_rng(5)
    names = ("mean_mm", "c1_mm", "s1_mm", "c2_mm", "s2_mm")
    coat = dict(zip(names, draw.normal([[0.4], [0], [0], [0], [0]], 0.02, (5, 20)), strict=True))
    thinnest, thickest = extreme_walls_mm(coat)
    for number in range(20):
        mean, c1, s1, c2, s2 = (float(coat[name][number]) for name in names)

        def wall(theta: float, mean=mean, c1=c1, s1=s1, c2=c2, s2=s2) -> float:
            return float(
                mean
                + c1 * np.cos(theta)
                + s1 * np.sin(theta)
                + c2 * np.cos(2 * theta)
                + s2 * np.sin(2 * theta)
            )

        starts = np.linspace(0, 2 * np.pi, 13)
        pairs = list(pairwise(starts))
        least = min(minimize_scalar(wall, bounds=pair, method="bounded").fun for pair in pairs)
        most = -min(minimize_scalar(lambda x: -wall(x), bounds=pair, method="bounded").fun for pair in pairs)
        # A grid of 4 degrees misses at most (1 - cos 2 deg)(e + 4 c2), about 0.1 um here.
        assert thinnest[number] == pytest.approx(least, abs=2e-4)
        assert thickest[number] == pytest.approx(most, abs=2e-4)
        assert thinnest[number] >= least - 1e-9


def test_bump_is_nought_outside_and_one_in_the_middle() -> None:
    heights = bump(np.array([9.9, 10.0, 11.0, 15.0, 19.0, 20.0, 20.1]), 10.0, 10.0)
    assert heights == pytest.approx([0, 0, 0.5, 1, 0.5, 0, 0], abs=1e-12)


def test_troubles_change_the_wire_where_they_are_and_nowhere_else() -> None:
    sound = simulate_in_memory(short_scenario(length_m=2500.0), 3).wire
    troubles = (ThinAllRound(900.0, 10.0, 0.06), ThinOneSide(1200.0, 20.0, 0.08, 90.0))
    spoilt = simulate_in_memory(short_scenario(length_m=2500.0, troubles=troubles), 3).wire
    assert sound is not None and spoilt is not None
    s_m = sound["s_m"].to_numpy()
    thinner = (sound["mean_mm"] - spoilt["mean_mm"]).to_numpy()
    moved = (sound["s1_mm"] - spoilt["s1_mm"]).to_numpy()
    assert thinner.max() == pytest.approx(0.06) and moved.max() == pytest.approx(0.08)
    assert not thinner[(s_m < 900.0) | (s_m > 910.0)].any()
    assert np.abs(moved[(s_m < 1200.0) | (s_m > 1220.0)]).max() == 0.0
    # Thin at 90 degrees: the cosine part stays.
    assert (sound["c1_mm"] - spoilt["c1_mm"]).abs().max() < 1e-15


def test_a_drifting_centre_grows_steadily_and_stays() -> None:
    sound = simulate_in_memory(short_scenario(length_m=2500.0), 3).wire
    drift = CentreDrift(800.0, 1800.0, 0.1, 0.0)
    moved = simulate_in_memory(short_scenario(length_m=2500.0, troubles=(drift,)), 3).wire
    assert sound is not None and moved is not None
    s_m = sound["s_m"].to_numpy()
    offset = (sound["c1_mm"] - moved["c1_mm"]).to_numpy()
    assert offset == pytest.approx(np.interp(s_m, [800.0, 1800.0], [0.0, 0.1]), abs=1e-12)


@pytest.mark.parametrize("product", ["14 AWG", "1/0 AWG"])
def test_a_run_does_not_depend_on_how_it_is_cut_into_pieces(product: str) -> None:
    length_m = 1500.0 if product == "14 AWG" else 160.0
    scenario = short_scenario(product, length_m=length_m)
    whole = simulate_in_memory(scenario, 11)
    parts = simulate_in_memory(scenario, 11, rows_at_once=137)
    assert whole.readings is not None and parts.readings is not None
    assert whole.wire is not None and parts.wire is not None
    assert whole.wire["s_m"].to_numpy() == pytest.approx(parts.wire["s_m"].to_numpy(), abs=1e-9)
    for name in whole.wire.columns:
        assert whole.wire[name].to_numpy() == pytest.approx(parts.wire[name].to_numpy(), abs=1e-9), name
    resolution = {"counter_m": 0.031, "hot_diameter_mm": 0.0011}
    for name in whole.readings.columns[4:]:
        one, other = whole.readings[name].to_numpy(), parts.readings[name].to_numpy()
        # A value on the edge of two steps of resolution may fall either way.
        close = np.isclose(one, other, atol=1e-8)
        assert close.mean() > 0.999, name
        assert np.abs(one - other).max() <= resolution.get(name, 0.0011), name


def test_other_seed_other_wire_and_same_seed_same_wire() -> None:
    scenario = short_scenario(length_m=900.0)
    one, again, other = (simulate_in_memory(scenario, seed) for seed in (1, 1, 2))
    assert one.readings is not None and again.readings is not None and other.readings is not None
    assert one.readings.equals(again.readings)
    assert not one.readings.equals(other.readings)
    assert one.truth == again.truth


def test_wire_is_conserved() -> None:
    # Every metre that the counter makes is on the wire exactly once, at any speed.
    for speed in (100.0, 1200.0):
        run = simulate_in_memory(short_scenario(length_m=1400.0, speed_m_min=speed), 4)
        assert run.wire is not None and run.true_x_m is not None
        s_m = run.wire["s_m"].to_numpy()
        step = run.scenario.wire.step_m
        assert np.diff(s_m) == pytest.approx(step, abs=1e-9)
        assert run.true_x_m[-1] - step < s_m[-1] <= run.true_x_m[-1]


def test_wire_made_slowly_carries_the_screw_at_a_shorter_pitch() -> None:
    # The screw's mark is locked to time: its pitch on the wire is speed x period (derived).
    wire = replace(thhn_14_solid(), wall_wanders=(), screw_mm=0.01, capstan_mm=0.0)
    for speed_m_s in (5.0, 13.0):
        scenario = replace(
            short_scenario(length_m=3000.0, speed_m_min=60 * speed_m_s),
            wire=replace(wire, speed_m_s=speed_m_s),
        )
        made = simulate_in_memory(scenario, 2).wire
        assert made is not None
        steady = made.filter((made["s_m"] > 800.0) & (made["s_m"] < 2600.0))
        mark = steady["mean_mm"].to_numpy() - wire.wall_mm
        crossings = np.count_nonzero((mark[:-1] < 0) & (mark[1:] >= 0))
        assert 1800.0 / crossings == pytest.approx(speed_m_s * 1.0003 * wire.screw_period_s, rel=0.005)

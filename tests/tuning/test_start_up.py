"""Scrap of a start: against the simulator's own start-up, and what short starts share, with made starts."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.results import Refused
from pipeline.simulator.speed import plain_plan
from pipeline.simulator.troubles import StopMark
from pipeline.tuning.good_starts import GoodStarts, good_starts, slope_interval
from pipeline.tuning.start_up import BY_RULE, GOOD_FOR_M, Start, starts_of
from tests.said import said
from tests.simulator.in_memory import short_scenario, simulate_in_memory
from tests.tuning.simulated import enough, l1_run, reels_of, tuning_run


def test_scrap_of_a_simulated_start() -> None:
    # The wire at the die is 0.17 mm off centre at first, e^(-s/60 m) of it at s: the true first good metre is where the
    # true thinnest wall stays at or over 0.3302 mm.
    for seed in range(4):
        made = l1_run(seed)[1]
        run = tuning_run(made, by_wire=True)
        starts = starts_of(run, 0.3302, 0.381, {"shift": "day"})
        assert len(starts) == 1
        one = starts[0]
        assert made.wire is not None
        s, thin = made.wire["s_m"].to_numpy(), made.wire["thinnest_mm"].to_numpy()
        true = float(s[(s >= 0.0) & (thin < 0.3302)].max())
        assert one.good_m == pytest.approx(true, abs=15.0)
        # Speed: a 30 s ramp to 13.33 m/s is 200 m; the 400 m of the 30 s after it are the program's, and no scrap.
        assert one.steady_m == pytest.approx(220.0, abs=20.0)
        assert one.settled_m < 400.0
        assert one.scrap_m == max(one.steady_m, one.settled_m, one.good_m)
        assert one.held_by in {"speed", "settling"}
        assert one.figures["ramp_s"] == pytest.approx(30.0, abs=5.0)
        assert one.labels == {"shift": "day"}


def test_every_restart_is_a_start() -> None:
    plan = plain_plan(1.4, 1400.0, 40.0, stops=((600.0, 90.0),))
    made = simulate_in_memory(
        short_scenario(
            "1/0 AWG",
            plan=plan,
            reels=reels_of(200.0, 300.0, 3, "S"),
            run_id="S",
            troubles=(StopMark(8.0, 0.3),),
        ),
        2,
    )
    first, second = starts_of(tuning_run(made), 1.27, 1.397)
    assert first.from_m < 1.0
    assert second.from_m == pytest.approx(made.truth.stops_m[0], abs=1.0)
    assert second.figures["stood_s"] == pytest.approx(90.0, abs=3.0)
    # The neck of 8 m at the stop is off the limits.
    assert 0.0 < second.good_m < 20.0


def test_a_start_that_never_ends_is_not_counted() -> None:
    run, _ = l1_run(0)
    one = starts_of(run, 9.9, None)[0]
    assert np.isnan(one.scrap_m)
    assert one.held_by == "not over"
    assert starts_of(replace(run, die_m=run.die_m * 1e-3), None, None) == ()
    assert GOOD_FOR_M == 100.0


def made_starts(n: int, slope: float, seed: int) -> list[Start]:
    """Starts whose scrap grows with the melt's shortfall of temperature by `slope` m a degree."""
    random = np.random.default_rng(seed)
    starts = []
    for k in range(n):
        melt = 182.0 + 4.0 * random.standard_normal()
        scrap = 500.0 - slope * (melt - 182.0) + 40.0 * random.standard_normal()
        figures = {"melt_temperature_c at the start": melt, "stood_s": float(random.uniform(60.0, 600.0))}
        shift = str(random.choice(["day", "night"]))
        starts.append(Start(f"R{k}", 0.0, scrap, 0.0, 0.0, scrap, "speed", figures, {"shift": shift}))
    return starts


def test_what_good_starts_have_in_common_is_found() -> None:
    hits = 0
    for seed in range(10):
        found = good_starts(made_starts(20, 25.0, seed))
        assert isinstance(found, GoodStarts)
        hits += [one.name for one in found.common] == ["melt_temperature_c at the start"]
    assert hits >= 8
    assert found.common[0].correlation < -0.5
    assert said(found.told)[-1] == (
        "Association does not show cause. Try it on the next starts, within the plant's procedure."
    )


def test_the_interval_of_what_a_circumstance_costs() -> None:
    # By hand: y = 3 - 2 x without error; no order but the data and its mirror has a slope that may stand beside -2.
    x, orders = np.arange(10.0), np.random.default_rng(0).permuted(np.tile(np.arange(10), (2000, 1)), axis=1)
    assert slope_interval(x, 3.0 - 2.0 * x, orders, 0.05) == pytest.approx((-2.0, -2.0, -2.0))
    # Four starts have 24 orders, a twelfth of them the data or its mirror: nothing is refuted at 1 in 20.
    few = np.random.default_rng(0).permuted(np.tile(np.arange(4), (2000, 1)), axis=1)
    assert slope_interval(x[:4], x[:4] ** 2, few, 0.05)[1:] == (-np.inf, np.inf)
    held, random = 0, np.random.default_rng(11)
    for _ in range(100):
        x = random.standard_normal(12)
        y = 500.0 - 25.0 * x + 40.0 * random.standard_exponential(12)
        orders = random.permuted(np.tile(np.arange(12), (400, 1)), axis=1)
        slope, low, high = slope_interval(x, y, orders, 0.05)
        held += low <= -25.0 <= high
        assert low <= slope <= high
    assert held >= enough(100)


def test_differences_smaller_than_settling_is_known_to_are_none() -> None:
    starts = [
        Start(f"R{k}", 0.0, 72.0, 0.0, 0.0, 71.0 + 0.1 * k, "speed", {"ramp_s": 70.0 + 0.1 * k}, {}) for k in range(12)
    ]  # fmt: skip
    found = good_starts(starts)
    assert isinstance(found, GoodStarts)
    assert found.common == ()


def test_a_start_whose_length_is_the_program_s_blames_no_lot() -> None:
    # Starts of 30 s at the lot's own speed, where the wire could not tell: longer on one lot, and none of its making.
    random = np.random.default_rng(5)
    lots = ("A", "B")
    by_rule = [
        Start(f"R{k}", 0.0, 40.0, long, 0.0, long, BY_RULE, {}, {"lot": lots[k % 2]})
        for k, long in enumerate([300.0, 500.0] * 8)
    ]  # fmt: skip
    told = good_starts(by_rule)
    assert isinstance(told, Refused) and told.n == 0
    shown = [
        Start(f"S{k}", 0.0, 40.0, 0.0, 0.0, float(60.0 + 20.0 * random.random()), "speed", {}, {"lot": lots[k % 2]})
        for k in range(12)
    ]  # fmt: skip
    found = good_starts([*by_rule, *shown])
    assert isinstance(found, GoodStarts)
    assert (found.common, found.starts) == ((), 12)
    assert said(found.told)[-1] == (
        "16 starts are not compared: the wire could not show when it had settled, and the length is only the "
        "time allowed at steady speed."
    )


def test_chance_is_not_named() -> None:
    named = 0
    for seed in range(40):
        found = good_starts(made_starts(12, 0.0, 100 + seed))
        assert isinstance(found, GoodStarts)
        named += bool(found.common)
    assert named <= 6  # 5 % over all looked at, plus two and a half deviations
    nothing = good_starts(made_starts(12, 0.0, 101))
    assert isinstance(nothing, GoodStarts)
    if not nothing.common:
        assert said(nothing.told)[-1] == (
            "None of the 3 circumstances looked at goes with short starts beyond chance; that does not "
            "show that none matters."
        )


def test_a_label_that_matters_is_found() -> None:
    random = np.random.default_rng(7)
    starts = [
        Start(f"R{k}", 0.0, 1.0, 0.0, 0.0, float(300.0 + 300.0 * (k % 2) + 20.0 * random.standard_normal()), "speed",
              {}, {"operator role": ("setter", "operator")[k % 2]})
        for k in range(16)
    ]  # fmt: skip
    found = good_starts(starts)
    assert isinstance(found, GoodStarts)
    assert (found.common[0].name, found.common[0].good) == ("operator role", "setter")


def test_few_starts_are_only_listed() -> None:
    few = good_starts(made_starts(5, 25.0, 0))
    assert isinstance(few, Refused)
    assert said(few.reason) == (
        "5 starts on record showed when they were over, 8 are needed to say what the good ones have in "
        "common; until then they are listed side by side."
    )

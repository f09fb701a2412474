"""Speed plans, the raw counter with its faults, and when each fault on the wire is counted."""

import numpy as np
import pytest

from pipeline.simulator.speed import Leg, LineDrive, SpeedPlan, plain_plan
from pipeline.simulator.troubles import (
    DropOut,
    EncoderReset,
    EncoderSlip,
    SparkFaults,
    Spikes,
    Stuck,
    SurfaceFlaws,
)
from tests.simulator.in_memory import SimulatedRun, short_scenario, simulate_in_memory


def test_a_plan_makes_the_length_asked_for() -> None:
    plan = plain_plan(10.0, 5000.0, 30.0, dips=((1000.0, 0.5, 20.0),), stops=((3000.0, 60.0),))
    assert plan.length_m == pytest.approx(5000.0, abs=1e-6)
    assert [leg.phase for leg in plan.legs] == [
        "start-up", "steady", "dip", "dip", "dip", "steady", "slow-down", "stop", "restart", "steady", "slow-down",
        "stop",
    ]  # fmt: skip


def test_the_line_makes_what_the_plan_says_within_its_wobble() -> None:
    plan = plain_plan(10.0, 3000.0, 30.0)
    drive = LineDrive(plan, 0.1, 1.0, 3, "R-1")
    motion = drive.take(drive.rows)
    # Wobble: sd 0.1 % with a reach of 2 s; over T the length varies by v sd sqrt(2 x 2 s x T) (derived).
    assert motion.x_m[-1] == pytest.approx(3000.0, abs=4 * 10 * 0.001 * np.sqrt(4 * 330.0) + 0.01)
    assert motion.t_s[-1] == pytest.approx(plan.times_s[-1], abs=0.1)
    assert np.diff(motion.x_m).min() >= 0.0
    assert np.trapezoid(motion.v_m_s, motion.t_s) == pytest.approx(motion.x_m[-1], rel=1e-12)


def test_a_line_pulled_back_makes_no_new_wire() -> None:
    plan = SpeedPlan((Leg("start-up", 10.0, 2.0), Leg("slow-down", 10.0, -0.5), Leg("stop", 10.0, 0.0)))
    drive = LineDrive(plan, 0.1, 1.0, 3, "R-1")
    motion = drive.take(drive.rows)
    assert motion.x_m[-1] < motion.x_m.max()
    assert motion.front_m[-1] == motion.x_m.max()


def counter(run: SimulatedRun) -> np.ndarray:
    assert run.readings is not None
    return run.readings["counter_m"].to_numpy()


def test_a_reset_counter_starts_again_and_misses_nothing_but_a_scan() -> None:
    run = simulate_in_memory(short_scenario(length_m=1500.0, troubles=(EncoderReset(800.0),)), 1)
    shown, x_m = counter(run), run.true_x_m
    assert x_m is not None
    before = x_m < 800.0
    assert np.abs(shown - x_m)[before].max() <= 0.03048 + 1e-9
    assert np.abs(shown - (x_m - 800.0))[~before].max() <= 0.03048 + 1e-9
    assert np.count_nonzero(np.diff(shown) < -1.0) == 1


def test_a_slipping_counter_loses_the_metres_it_missed() -> None:
    run = simulate_in_memory(short_scenario(length_m=1500.0, troubles=(EncoderSlip(600.0, 700.0, 12.0),)), 1)
    shown, x_m = counter(run), run.true_x_m
    assert x_m is not None
    assert np.abs(x_m - shown)[x_m < 600.0].max() < 0.04
    assert (x_m - shown)[x_m > 700.0] == pytest.approx(12.0, abs=0.04)


def test_each_fault_is_counted_while_it_is_in_the_electrode() -> None:
    places = (500.0, 812.5, 1300.0)
    troubles = (SparkFaults("random", places), SparkFaults("single", (1000.0,), counts=3))
    run = simulate_in_memory(short_scenario(length_m=1800.0, troubles=troubles), 1)
    assert run.events is not None and run.true_x_m is not None and run.readings is not None
    times = run.readings["time_utc"].dt.epoch("us").to_numpy()
    at_x_m = np.interp(run.events["time_utc"].dt.epoch("us").to_numpy(), times, run.true_x_m)
    true_m = np.array([one.wire_m for one in run.truth.events])
    into_m = at_x_m - (true_m + 1.0003 * (78.0 - 0.45))
    assert ((into_m > -0.01) & (into_m < 0.91)).all()
    assert sorted(set(true_m)) == sorted((*places, 1000.0))
    triple = np.sort(at_x_m[true_m == 1000.0])
    assert triple.size == 3
    # Dead time of 5 ms at 13.33 m/s is 0.067 m of wire.
    assert (np.diff(triple) >= 0.067).all()
    counts = run.readings["spark_counts"].to_numpy()
    assert counts[-1] == 6 and (np.diff(counts) >= 0).all()


def test_flaws_are_reported_when_they_pass_the_camera() -> None:
    troubles = (SurfaceFlaws((150.0, 200.0), (0.3, 0.6), ("pit", "lump")), EncoderReset(260.0))
    run = simulate_in_memory(short_scenario("1/0 AWG", length_m=400.0, troubles=troubles), 1)
    assert run.events is not None
    assert run.events["flaw_class"].to_list() == ["pit", "lump"]
    # Station 98 m: counter 150 + 98.03 before the reset, 200 + 98.03 - 260 after it; counter in steps of 1 cm.
    assert run.events["counter_m"].to_numpy() == pytest.approx([248.03, 38.03], abs=0.011)


def test_instrument_faults_are_where_they_were_put() -> None:
    troubles = (
        DropOut("L1-WG", 600.0, 700.0),
        Stuck("diameter_x_mm", 800.0, 900.0),
        Spikes("wall_2_mm", (1000.0, 1100.0), -0.09),
    )
    sound = simulate_in_memory(short_scenario(length_m=1500.0), 1)
    spoilt = simulate_in_memory(short_scenario(length_m=1500.0, troubles=troubles), 1, rows_at_once=300)
    assert sound.readings is not None and spoilt.readings is not None and sound.true_x_m is not None
    seen_m = sound.true_x_m - 1.0003 * 62.0
    missing = spoilt.readings["wall_4_mm"].is_null().to_numpy()
    assert (missing == ((seen_m >= 600.0) & (seen_m <= 700.0))).all()
    at_axis_m = sound.true_x_m - 1.0003 * 64.0
    held = spoilt.readings["diameter_x_mm"].to_numpy()[(at_axis_m >= 800.0) & (at_axis_m <= 900.0)]
    assert held.size > 70 and np.ptp(held) == 0.0
    moved = spoilt.readings["wall_2_mm"].to_numpy() - sound.readings["wall_2_mm"].to_numpy()
    spiked = np.flatnonzero(np.abs(np.nan_to_num(moved)) > 0.05)
    assert spiked.size == 2
    step_m = 13.4 * 0.1
    assert seen_m[spiked] == pytest.approx([1000.0, 1100.0], abs=step_m)
    assert spoilt.readings["wall_3_mm"].null_count() == missing.sum()


def test_spark_patterns_do_not_hide_a_fault_at_a_stop() -> None:
    # A fault that reaches the electrode while the line slows to a stop is counted once, not at every reading.
    plan = plain_plan(1.4, 420.0, 40.0, stops=((200.0, 30.0),))
    run = simulate_in_memory(
        short_scenario("1/0 AWG", plan=plan, troubles=(SparkFaults("single", (131.0,)),)), 1
    )
    assert run.events is not None
    assert run.events.height == 1

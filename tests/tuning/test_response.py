"""Delay and gain from set steps; closed loops and settings moved together are associations."""

import math

import numpy as np
import pytest
from scipy import signal

from pipeline.results import Refused
from pipeline.simulator.speed import plain_plan
from pipeline.tuning.response import SettingAnswer, answer_to, at_the_die
from pipeline.tuning.setting_steps import SettingStep, levels_held, steps_in_log
from pipeline.tuning.step_delay import Shape, delay_of_steps, lag, ramp
from tests.said import said
from tests.simulator.in_memory import short_scenario, simulate_in_memory
from tests.tuning.simulated import enough, l2_run, reels_of, seeds, tuning_run

STEP_S = 0.5


def wander(n: int, phi: float, random: np.random.Generator) -> np.ndarray:
    return signal.lfilter([np.sqrt(1.0 - phi**2)], [1.0, -phi], random.standard_normal(n + 500))[500:]


def stepped(seed: int, delay: int = 7, gain: float = -0.040) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """A line with five set steps of speed [m/s] and a wall [mm] that answers late and through a first-order lag."""
    random = np.random.default_rng(seed)
    levels = np.array([10.0, 10.6, 10.1, 10.7, 10.2, 10.5])
    held = np.repeat(levels, 800)
    speed = held + 0.01 * wander(held.size, 0.9, random)
    late = np.concatenate((np.full(delay, speed[0]), speed[:-delay]))
    answer = signal.lfilter([0.2], [1.0, -0.8], late - 10.0)
    wall = 0.44 + gain * answer + 0.002 * wander(held.size, 0.95, random)
    return np.arange(held.size) * STEP_S, speed, wall


def found(answer: SettingAnswer | Refused) -> SettingAnswer:
    assert isinstance(answer, SettingAnswer)
    return answer


def test_gain_and_delay_from_set_steps() -> None:
    # Issue's check: delay within one reading; the gain within its interval, over seeds. Of a lag that keeps 0.8 a
    # reading half has come after ln 2/ln(1/0.8) = 3.106 readings, here after 7; it was set half a reading before.
    half_s = (7.0 - 0.5 + math.log(2.0) / math.log(1.0 / 0.8)) * STEP_S
    inside = late = 0
    for seed in seeds(5):
        one = found(answer_to(*stepped(seed), "line_speed_m_s", "mean wall", "mm per m/s"))
        assert one.kind == "response"
        assert len(one.steps) == 5
        assert not one.output_leads
        assert abs(one.delay_s - half_s) <= STEP_S
        assert abs(one.begins_s - 3.5) <= 2.0 * STEP_S
        late += one.delay_low_s <= half_s <= one.delay_high_s
        inside += one.gain.low <= -0.040 <= one.gain.high
    assert min(inside, late) >= enough(len(seeds(5)))
    assert said(one.told)[0] == "Response, from 5 steps of the setting."


def test_a_controlled_line_returns_the_controller() -> None:
    # Trap: speed follows the wall with gain 1/0.05 m/s per mm, so the data say +20 where the plant has -0.040.
    random = np.random.default_rng(3)
    n = 6000
    disturbance = 0.01 * wander(n, 0.98, random)
    speed, wall = np.full(n, 10.0), np.full(n, 0.44)
    for t in range(1, n):
        # The control reads the wall five samples late, when the wire reaches the gauge.
        seen = wall[t - 5] if t >= 5 else 0.44
        speed[t] = (
            speed[t - 1]
            + 0.08 * 20.0 * (seen - 0.44)
            - 0.05 * (speed[t - 1] - 10.0)
            + 0.004 * random.standard_normal()
        )
        wall[t] = 0.44 - 0.040 * (speed[t] - 10.0) + disturbance[t]
    one = found(answer_to(np.arange(n) * STEP_S, speed, wall, "line_speed_m_s", "mean wall", "mm per m/s"))
    assert one.output_leads
    assert one.kind == "association"
    assert not one.gain.low <= -0.040 <= one.gain.high  # the plant is not in it
    assert said(one.told)[0] == "Association, not a response: do not set the line by it."
    assert (
        "The setting follows the output: a control was at work, and such data return the controller, not "
        "the line. Make steps of the set point with the control off, as the plant's procedure allows."
    ) in said(one.told)
    # What the engineer knows of the loop counts: steps under a closed loop stay an association.
    closed = found(answer_to(*stepped(1), "line_speed_m_s", "mean wall", "mm per m/s", loop="closed"))
    assert closed.kind == "association"


def test_settings_that_move_together_are_not_told_apart() -> None:
    seconds, speed, wall = stepped(4)
    one = found(
        answer_to(
            seconds,
            speed,
            wall,
            "line_speed_m_s",
            "mean wall",
            "mm per m/s",
            others={"screw_speed_rpm": 6.0 * speed},
        )
    )
    assert one.kind == "association"
    assert (
        "Other settings moved at the same steps, so their effects cannot be separated: screw speed."
        in said(one.told)
    )


def test_the_balance_is_held_against_the_answer() -> None:
    seconds, speed, wall = stepped(5)
    one = found(
        answer_to(seconds, speed, wall, "line_speed_m_s", "mean wall", "mm per m/s", by_balance=-0.080)
    )
    assert said(one.told)[-1] == (
        "The mass balance alone would make it -1.333 \u00b5m per m/min: look at the output of the screw."
    )


def test_simulated_line_whose_screw_follows_the_speed() -> None:
    # The simulator's screw follows the line, so the wall must not answer: speed and screw move together.
    plan = plain_plan(1.4, 2000.0, 40.0, dips=((600.0, 0.7, 500.0), (1300.0, 0.8, 400.0)))
    made = simulate_in_memory(
        short_scenario("1/0 AWG", plan=plan, reels=reels_of(300.0, 300.0, 5, "D"), run_id="D"), 3
    )
    run = tuning_run(made)
    seconds, wall = at_the_die(run)
    assert made.wire is not None
    # What was at the die: within the gauge's noise of the true wire there.
    row = 9000
    true = np.interp(run.die_m[row], made.wire["s_m"].to_numpy(), made.wire["mean_mm"].to_numpy())
    assert wall[row] == pytest.approx(true, abs=0.008)
    others = {"screw_speed_rpm": run.machine["screw_speed_rpm"]}
    one = found(
        answer_to(seconds, run.speed_m_s, wall, "line_speed_m_s", "mean wall", "mm per m/s", others=others)
    )
    assert one.kind == "not shown"
    assert (
        "Other settings moved at the same steps, so their effects cannot be separated: screw speed."
        in said(one.told)
    )
    assert one.gain.low <= 0.0 <= one.gain.high or abs(one.gain.estimate) < 0.02


def test_steps_and_levels_in_a_log() -> None:
    seconds, speed, wall = stepped(2)
    held = levels_held(seconds, speed)
    assert [round(level, 1) for _, _, level in held] == [10.0, 10.6, 10.1, 10.7, 10.2, 10.5]
    steps = steps_in_log(seconds, speed, wall)
    assert [one.at_s for one in steps] == pytest.approx([400.0, 800.0, 1200.0, 1600.0, 2000.0], abs=6.0)
    assert [one.size for one in steps] == pytest.approx([0.6, -0.5, 0.6, -0.5, 0.3], abs=0.02)
    # A setting that was never moved has no steps, and no gain is claimed from them.
    assert steps_in_log(seconds, np.full(seconds.size, 10.0), wall) == ()


def test_no_steps_is_no_response() -> None:
    random = np.random.default_rng(9)
    n = 3000
    x = wander(n, 0.9, random)
    y = 0.3 * np.concatenate((np.zeros(4), x))[:n] + 0.5 * wander(n, 0.9, random)
    one = found(answer_to(np.arange(n) * 1.0, x, y, "melt_temperature_c", "mean wall", "mm per degC"))
    assert one.kind == "association"
    assert said(one.told)[-1] == "0 steps of the setting found, 2 are needed for a response."
    assert abs(one.delay_s - 4.0) <= 1.0
    still = answer_to(
        np.arange(n) * 1.0, np.full(n, 5.0), y, "melt_temperature_c", "mean wall", "mm per degC"
    )
    assert isinstance(still, Refused)
    assert said(still.reason) == "A series that does not vary cannot answer."
    run = l2_run(0)[0]
    assert np.isfinite(at_the_die(run, "diameter_mm")[1]).mean() > 0.8


def test_two_wanders_that_have_nothing_to_do_with_each_other_are_no_association() -> None:
    # The interval holds nothing in 95 of 100, and a claim is made of hardly any.
    random = np.random.default_rng(4)
    held = claimed = 0
    for memory_s in (60.0, 300.0):
        for _ in range(40):
            x, y = (wander(1200, math.exp(-1.0 / memory_s), random) for _ in range(2))
            x += 0.3 * random.standard_normal(x.size)
            one = found(answer_to(np.arange(1200.0), x, y, "melt_temperature_c", "mean wall", "mm per degC"))
            held += one.gain.low <= 0.0 <= one.gain.high
            claimed += one.kind != "not shown"
    assert held >= enough(80)
    assert claimed == 0
    assert said(one.told)[0] == (
        f"Nothing beyond chance (p = {one.gain.details['p_value']:.2g}): the interval only says how large an "
        "answer may hide."
    )


def test_steps_at_which_nothing_else_moved_are_enough() -> None:
    seconds, speed, wall = stepped(4)
    screw = np.where(seconds < 1600.0, 60.0, 66.0)  # with the fourth step alone
    one = found(
        answer_to(
            seconds,
            speed,
            wall,
            "line_speed_m_s",
            "mean wall",
            "mm per m/s",
            others={"screw_speed_rpm": screw},
        )
    )
    assert one.kind == "response"
    assert len(one.steps) == 4
    assert one.gain.low <= -0.040 <= one.gain.high


def steps_and_answer(
    seed: int, share: Shape, length_s: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, list[SettingStep]]:
    """Two steps of a setting read ten times a second; half of the answer comes 6 s later, under drift and a swing."""
    random = np.random.default_rng(seed)
    seconds = np.arange(0.0, 600.0, 0.1)
    steps = [SettingStep(at, 25.0, 26.0, 1.45, 1.508, 0.001, ()) for at in (150.05, 400.05)]
    setting, output = 25.0 + 0.02 * random.standard_normal((2, seconds.size))
    output = 1.45 + 0.003 * np.sin(2.0 * np.pi * (seconds / 2.4 + random.random()))
    output += 0.004 * wander(seconds.size, 0.999, random) + 0.001 * random.standard_normal(seconds.size)
    for one in steps:
        setting += seconds > one.at_s
        output += 0.058 * share(seconds - one.at_s - 6.0, length_s)
    return seconds, setting, output, steps


@pytest.mark.parametrize(
    ("share", "length_s"), [(ramp, 0.1), (ramp, 1.4), (ramp, 8.0), (lag, 0.5), (lag, 4.0)]
)
def test_half_of_an_answer_of_any_shape_is_found(share: Shape, length_s: float) -> None:
    errors = []
    for seed in range(4):
        late = delay_of_steps(*steps_and_answer(seed, share, length_s))
        assert late is not None
        assert late.steps == 2
        assert late.low_s < late.half_s < late.high_s
        errors.append(late.half_s - 6.0)
    assert np.sqrt(np.mean(np.square(errors))) <= 0.05 + 0.04 * length_s


def test_readings_that_are_missing_or_say_nothing() -> None:
    seconds, setting, output, steps = steps_and_answer(3, ramp, 1.4)
    whole = delay_of_steps(seconds, setting, output, steps)
    # A gap of two seconds beside the answer, and rows that the logger left out.
    gap = np.where((seconds > 160.0) & (seconds < 162.0), np.nan, output)
    kept = np.ones(seconds.size, dtype=bool)
    kept[4100:4120] = False
    late = delay_of_steps(seconds[kept], setting[kept], gap[kept], steps)
    assert whole is not None
    assert late is not None
    assert late.half_s == pytest.approx(whole.half_s, abs=0.05)
    # No answer, one step, nothing known after a step: nothing is told.
    silent = output - 0.058 * sum(ramp(seconds - one.at_s - 6.0, 1.4) for one in steps)
    assert delay_of_steps(seconds, setting, silent, steps) is None
    assert delay_of_steps(seconds, setting, output, steps[:1]) is None
    assert delay_of_steps(seconds, setting, np.where(seconds > 395.0, np.nan, output), steps) is None


def test_a_setting_stepped_to_and_fro_is_not_taken_for_one_that_wanders() -> None:
    random = np.random.default_rng(1)
    held = np.repeat(np.tile([25.0, 26.0], 7), 1400)
    seconds = np.arange(held.size) * 0.1
    assert len(levels_held(seconds, held + 0.12 * random.standard_normal(held.size))) == 14
    # A melt temperature wanders by half a degree over minutes and has no steps.
    melt = 182.0 + 0.5 * wander(held.size, math.exp(-0.1 / 200.0), random)
    assert steps_in_log(seconds, melt, 0.44 + 0.002 * wander(held.size, 0.95, random)) == ()

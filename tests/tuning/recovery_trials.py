"""Is the simulator's truth found again? One simulated log a trial and seed: truth, estimate, interval.

``recovery_found.csv`` keeps what a long run gave, a row a trial and seed; `test_recovery.py` holds the claims to it and
makes the first rows again. The truth is ours: agreement shows consistency and nothing more. Lengths are mm, delays s,
angles deg, periods m.

``python -m tests.tuning.recovery_trials 60 > tests/tuning/recovery_found.csv`` makes the table anew from 60 seeds a
trial (six minutes); names after the number make those trials only.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from scipy import optimize, stats

from pipeline.simulator.demo_plant import planned_runs, scenario_of
from pipeline.simulator.lines import LINES
from pipeline.simulator.products_made import PRODUCTS
from pipeline.simulator.scenario import RunScenario, WireModel
from pipeline.simulator.troubles import ScrewStep
from pipeline.tuning.centring import Centring, centring_of_run
from pipeline.tuning.needed_mean import Unknowns
from pipeline.tuning.periods import periods_of_run
from pipeline.tuning.reel_wall import reel_walls
from pipeline.tuning.requirement_rules import AVERAGE, POINT
from pipeline.tuning.response import at_the_die
from pipeline.tuning.setting_steps import steps_in_log
from pipeline.tuning.step_delay import delay_of_steps
from pipeline.tuning.target import Risks, Target, smallest_target
from tests.simulator.in_memory import short_scenario, simulate_in_memory
from tests.tuning.invented_limits import THHN, XHHW
from tests.tuning.simulated import l1_run, l2_run, reels_of, tuning_run

LATE_M, LINE_M_S = 8.4, 1.4  # the wall follows the screw of L2 by so much wire, at so much speed
# The counter of L2 reads 0.03 % more than the wire, so that the gauge stands so much further off than the sheet says.
FURTHER_M = 70.0 * 0.0003


@dataclass(frozen=True, slots=True)
class Row:
    """What one trial gave at one seed; the interval is NaN where the method gives none."""

    truth: float
    estimate: float
    low: float
    high: float

    @property
    def holds(self) -> bool:
        """Whether the interval holds the truth."""
        return self.low <= self.truth <= self.high

    @property
    def error(self) -> float:
        """Estimate less truth."""
        return self.estimate - self.truth


@lru_cache(maxsize=1)
def three_steps() -> RunScenario:
    """The trial of settings among the sample runs: the screw set faster, back, and faster again."""
    return scenario_of(next(one for one in planned_runs() if one.number == "0516"))


@lru_cache(maxsize=1)
def twelve_steps() -> RunScenario:
    """A longer trial on the same line: the screw set faster and back, six times."""
    steps = tuple(ScrewStep(400.0 * n, 400.0 * n + 200.0, 0.04, LATE_M) for n in range(1, 7))
    reels = reels_of(200.0, 304.8, 8, "T")
    return short_scenario("1/0 AWG", 2800.0, troubles=steps, reels=reels, run_id="R-twelve")


def delay(scenario: Callable[[], RunScenario], seed: int) -> Row:
    """Time from the screw's step until half of the wall's answer has come [s]."""
    run = tuning_run(simulate_in_memory(scenario(), seed))
    seconds, wall = at_the_die(run)
    screw = run.machine["screw_speed_rpm"]
    found = delay_of_steps(seconds, screw, wall, steps_in_log(seconds, screw, wall))
    assert found is not None
    return Row((LATE_M + FURTHER_M) / LINE_M_S, found.half_s, found.low_s, found.high_s)


def angle(seed: int) -> Row:
    """Direction of the thin side against that of the true wire that was read [deg]; the interval is the line's own."""
    run, made = l2_run(seed, 6)
    found = centring_of_run(run, 0.0, 0.005, 8)
    assert isinstance(found, Centring)
    assert made.wire is not None
    counted = run.wall_at_m[run.wall_counts]
    here = made.wire.filter(made.wire["s_m"].is_between(counted.min(), counted.max()))
    true = math.degrees(math.atan2(-float(here["s1_mm"].mean()), -float(here["c1_mm"].mean()))) % 360.0
    return Row(true, found.thin_deg, math.nan, math.nan)


def period(line_id: str, element: str, true_m: float, seed: int) -> Row:
    """Length at which the mean wall repeats with one element [m]; NaN where it is not named."""
    run = (l1_run if line_id == "L1" else l2_run)(seed)[0]
    found = periods_of_run(run, LINES[line_id]())
    walls = [one for one in found.swings if one.channel == "mean wall" and one.element == element]
    return Row(true_m, walls[0].period_m if walls else math.nan, math.nan, math.nan)


def average_depth_mm(wire: WireModel, risk: float = 0.001) -> float:
    """Depth under the mean wall that a share `risk` of sections lies beyond [mm].

    Derived: the wall is a sum of normal wanderings and two swings, whose phases are spread evenly.
    """
    turn = 2.0 * np.pi * (np.arange(64) + 0.5) / 64.0
    swings = np.add.outer(wire.screw_mm * np.sin(turn), wire.capstan_mm * np.sin(turn))
    spread = math.sqrt(sum(one.sd**2 for one in wire.wall_wanders))
    return float(
        optimize.brentq(lambda depth: stats.norm.cdf((-depth - swings) / spread).mean() - risk, 0.0, 0.1)
    )


# Kept: depth of the true thinnest point of a reel under the true mean wall that 1 % of reels pass [mm], from the
# simulator's true wire of 650 runs of twelve reels (1/0 AWG) and 900 runs of six (14 AWG).
POINT_DEPTH_MM = {"1/0 AWG": 0.1065, "14 AWG": 0.0462}
LIMITS = {"1/0 AWG": XHHW, "14 AWG": THHN}
UNKNOWNS = {
    "1/0 AWG": Unknowns(noise_mm=0.005),
    "14 AWG": Unknowns(noise_mm=0.004, level_mm=0.003, offset_mm=0.009),
}


def true_target_mm(product: str, rule: str) -> float:
    """Mean wall that a rule truly asks for: 1 in 1000 cut samples, 1 % of reels [mm]."""
    limit = next(one.value for one in LIMITS[product] if one.requirement == rule)
    return limit + (average_depth_mm(PRODUCTS[product]()) if rule == AVERAGE else POINT_DEPTH_MM[product])


@lru_cache(maxsize=6)
def target(product: str, runs: int, seed: int) -> Target:
    """Target from some runs of six reels (one layer) or four (under a covering); no two seeds share a run."""
    numbers = [1000 + 6 * seed + n for n in range(runs)]
    if product == "1/0 AWG":
        read = [l2_run(n, 6, f"R-{n}")[0] for n in numbers]
    else:
        read = [l1_run(n, 4, f"R-{n}")[0] for n in numbers]
    reels = reel_walls(read)[0]
    found = smallest_target(reels, LIMITS[product], Risks(reel=0.01), UNKNOWNS[product], sensors=8, draws=200)
    assert isinstance(found, Target)
    return found


def needed(product: str, rule: str, runs: int, seed: int) -> Row:
    """Mean wall that one rule asks for [mm]."""
    found = next(one.needed for one in target(product, runs, seed).rules if one.rule == rule)
    return Row(true_target_mm(product, rule), found.estimate, found.low, found.high)


TRIALS: dict[str, Callable[[int], Row]] = {
    "delay, three steps": partial(delay, three_steps),
    "delay, twelve steps": partial(delay, twelve_steps),
    "angle of the offset": angle,
    "period, L1 screw": partial(period, "L1", "L1-screw", 0.62 * 800.0 / 60.0),
    "period, L1 capstan": partial(period, "L1", "L1-capstan", 3.77),
    "period, L2 screw": partial(period, "L2", "L2-screw", 2.4 * LINE_M_S),
    "period, L2 capstan": partial(period, "L2", "L2-capstan", 6.283),
} | {
    f"target, {rule}, {layers}, {runs} runs": partial(needed, product, rule, runs)
    for layers, product in (("one layer", "1/0 AWG"), ("under a covering", "14 AWG"))
    for rule in (AVERAGE, POINT)
    for runs in (2, 3, 6)
}


def row_text(name: str, seed: int, row: Row) -> str:
    """One row of the table."""
    figures = [
        f"{one:.6g}" if math.isfinite(one) else "" for one in (row.truth, row.estimate, row.low, row.high)
    ]
    return f'"{name}",{seed},' + ",".join(figures)


if __name__ == "__main__":
    names = sys.argv[2:] or list(TRIALS)
    print("trial,seed,truth,estimate,low,high")
    # Seed by seed, since trials of one seed share runs.
    for seed in range(int(sys.argv[1])):
        for name in names:
            print(row_text(name, seed, TRIALS[name](seed)), flush=True)

"""What each reel's wall did: readings that count, the level of each reel, and how levels differ.

The reel is the unit of every risk here: a reel is sold, judged and scrapped as one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from pipeline.messages import Message, message
from pipeline.statistics.variance_components import nested_table, satterthwaite_interval
from pipeline.tuned import Tuned
from pipeline.tuning.line_run import LineRun

Floats = NDArray[np.float64]

# A reel of whose wire less than this share was read at steady speed tells too little of itself (chosen here).
LEAST_KNOWN = 0.5
FEWEST_READINGS = 200
# Runs that do not differ beyond this probability are one pool (Bancroft's rule of 0.25, from memory).
POOLED_P = 0.25


@dataclass(frozen=True, slots=True)
class ReelWall:
    """Readings of one reel that count, in the order of the wire.

    Args:
        reel_id: the reel.
        run_id: the run it was made in.
        length_m: length of the reel [m].
        step_m: wire between two readings [m].
        at_m: place of each wall reading on the wire [m].
        made_s: when that wire was at the die, from the run's first row [s].
        mean_mm: mean wall [mm].
        cos_mm: first harmonic, cosine part [mm]; NaN where the line does not see it.
        sin_mm: first harmonic, sine part [mm].
        thinnest_mm: thinnest wall around the section [mm].
        diameter_at_m: place of each diameter reading [m].
        diameter_mm: overall diameter [mm].
    """

    reel_id: str
    run_id: str
    length_m: float
    step_m: float
    at_m: Floats
    made_s: Floats
    mean_mm: Floats
    cos_mm: Floats
    sin_mm: Floats
    thinnest_mm: Floats
    diameter_at_m: Floats
    diameter_mm: Floats

    @property
    def known_m(self) -> float:
        """Wire whose wall was read [m]."""
        return self.at_m.size * self.step_m


@dataclass(frozen=True, slots=True)
class Levels:
    """How the levels of reels differ.

    Args:
        mean: mean of the levels.
        sd: standard deviation of the level of a reel drawn from any run; reels and runs both in it.
        freedom: degrees of freedom behind the deviation (Satterthwaite where there are several runs).
        reels: number of reels.
        runs: number of runs.
    """

    mean: float
    sd: float
    freedom: float
    reels: int
    runs: int

    @property
    def mean_sd(self) -> float:
        """Standard error of the mean level; runs, not reels, are counted where they are several."""
        return self.sd / math.sqrt(self.runs if self.runs > 1 else self.reels)


def reel_walls(runs: Sequence[LineRun]) -> tuple[tuple[ReelWall, ...], tuple[Message, ...]]:
    """The reels of the runs with enough steady wire, and what is said of those left out.

    Args:
        runs: runs of one product.
    """
    kept, told = [], []
    for run in runs:
        step = run.step_m
        front = np.maximum.accumulate(run.die_m)
        for reel in run.reels:
            wall = _within(run.wall_at_m, run.wall_counts, reel.from_m, reel.to_m)
            over = _within(run.diameter_at_m, run.diameter_counts, reel.from_m, reel.to_m)
            known = wall.size * step / reel.length_m if wall.size else 0.0
            if wall.size < FEWEST_READINGS or known < LEAST_KNOWN:
                told.append(
                    message(
                        Tuned.REEL_LEFT_OUT,
                        reel=reel.id,
                        known=100.0 * known,
                        least=100.0 * LEAST_KNOWN,
                        readings=FEWEST_READINGS,
                    )
                )
                continue
            kept.append(
                ReelWall(
                    reel.id,
                    run.run_id,
                    reel.length_m,
                    step,
                    run.wall_at_m[wall],
                    np.interp(run.wall_at_m[wall], front, run.seconds),
                    run.mean_mm[wall],
                    run.cos_mm[wall],
                    run.sin_mm[wall],
                    run.thinnest_mm[wall],
                    run.diameter_at_m[over],
                    run.diameter_mm[over],
                )
            )
    return tuple(kept), tuple(told)


def _within(at_m: Floats, counts: NDArray[np.bool_], from_m: float, to_m: float) -> NDArray[np.int64]:
    inside = np.flatnonzero(counts & (at_m >= from_m) & (at_m < to_m))
    return inside[np.argsort(at_m[inside], kind="stable")]


def levels_of(levels: Sequence[float], runs: Sequence[str]) -> Levels:
    """Mean and spread of reel levels, runs taken into account.

    With several runs the variance of a reel's level is that of runs plus that of reels within a run:
    MS_reel (1 - 1/n0) + MS_run/n0, with Satterthwaite's degrees of freedom.

    Args:
        levels: one level a reel.
        runs: run of each reel.

    Source: Searle, Casella and McCulloch, Variance Components (1992), table 3.1 (from memory).
    """
    values = np.asarray(levels, dtype=np.float64)
    names = list(runs)
    count, groups = values.size, len(set(names))
    mean = float(values.mean())
    if groups < 2 or groups == count:
        # One run, or one reel a run: the reels' own scatter is all there is.
        sd = float(values.std(ddof=1)) if count > 1 else float("nan")
        return Levels(mean, sd, float(count - 1), count, groups)
    within, between = nested_table(values, names).lines
    weight = nested_table(values, names).reel_weight
    squares = (between.mean_square, within.mean_square)
    freedoms = (float(between.freedom), float(within.freedom))
    if float(stats.f.sf(squares[0] / squares[1], *freedoms)) > POOLED_P:
        return Levels(mean, float(values.std(ddof=1)), float(count - 1), count, 1)
    value, freedom, _, _ = satterthwaite_interval(squares, freedoms, (1.0 / weight, 1.0 - 1.0 / weight))
    # A run set apart counts as one draw of a run, so the mean of runs is the level to expect.
    by_run = [float(np.mean(values[np.asarray([n == one for n in names])])) for one in dict.fromkeys(names)]
    return Levels(float(np.mean(by_run)), math.sqrt(value), freedom, count, groups)

"""A run as averages over equal stretches of its wire, so that runs can be laid over each other metre by metre."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.length.steady_state import STEADY
from pipeline.tuning.line_run import LineRun

Floats = NDArray[np.float64]

WALL, ECCENTRICITY, DIAMETER = "mean_wall_mm", "eccentricity_mm", "diameter_mm"


@dataclass(frozen=True, slots=True)
class RunProfile:
    """Averages of steady wire over stretches from the run's first metre on.

    Args:
        run_id: the run.
        step_m: length of each stretch [m].
        means: channel (of wall, diameter and `pipeline.tuning.line_run.MACHINE`) -> its average over each stretch, in
            the store's unit; NaN where nothing counts.
        overall: channel -> its average over all of the steady wire.
    """

    run_id: str
    step_m: float
    means: Mapping[str, Floats]
    overall: Mapping[str, float]


def run_profile(run: LineRun, step_m: float) -> RunProfile:
    """The averages of a run.

    Each stretch weighs alike, so that slow wire counts no more than fast. The eccentricity is that of the average
    section: noise of single readings is no eccentricity.

    Args:
        run: the run.
        step_m: length of each stretch [m].
    """
    begun, count = _begun_m(run), int(made_m(run) // step_m) + 1
    steady = run.phase == STEADY
    means: dict[str, Floats] = {}
    means[WALL] = _averages(run.wall_at_m - begun, run.mean_mm, run.wall_counts, step_m, count)
    cos, sin = (
        _averages(run.wall_at_m - begun, one, run.wall_counts, step_m, count)
        for one in (run.cos_mm, run.sin_mm)
    )
    means[ECCENTRICITY] = np.hypot(cos, sin)
    means[DIAMETER] = _averages(
        run.diameter_at_m - begun, run.diameter_mm, run.diameter_counts, step_m, count
    )
    for name, values in run.machine.items():
        means[name] = _averages(run.die_m - begun, values, steady, step_m, count)
    known = {name: one for name, one in means.items() if np.isfinite(one).any()}
    return RunProfile(
        run.run_id, step_m, known, {name: float(np.nanmean(one)) for name, one in known.items()}
    )


def _begun_m(run: LineRun) -> float:
    return float(np.nanmin(run.die_m))


def made_m(run: LineRun) -> float:
    """Wire made in a run [m]."""
    return float(np.nanmax(run.die_m)) - _begun_m(run)


def _averages(at_m: Floats, values: Floats, counts: NDArray[np.bool_], step_m: float, count: int) -> Floats:
    fit = counts & np.isfinite(at_m) & np.isfinite(values) & (at_m >= 0.0)
    place = np.minimum((at_m[fit] // step_m).astype(np.int64), count - 1)
    number = np.bincount(place, minlength=count)
    total = np.bincount(place, weights=values[fit], minlength=count)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def spread_of(profiles: tuple[RunProfile, ...], channel: str) -> tuple[Floats, Floats]:
    """The lowest and the highest average of some runs on each stretch; NaN where none of them has wire.

    Args:
        profiles: the runs, with stretches of one length.
        channel: one that at least one of them has.
    """
    columns = [one.means[channel] for one in profiles if channel in one.means]
    longest = max(one.size for one in columns)
    rows = np.full((len(columns), longest), np.nan)
    for row, one in zip(rows, columns, strict=True):
        row[: one.size] = one
    some = np.isfinite(rows).any(axis=0)
    low, high = np.full(longest, np.nan), np.full(longest, np.nan)
    low[some], high[some] = np.nanmin(rows[:, some], axis=0), np.nanmax(rows[:, some], axis=0)
    return low, high

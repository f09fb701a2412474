"""How many metres does a start cost? The wire from the standing line on until it is steady, settled and in limits.

When the wire had settled is told by wall, centre and diameter, as for judging and capability. Time that those allow
besides at a new speed is the program's and no scrap; where the wire cannot tell it stands in, and that is told.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.length.settling import SettlingTrace
from pipeline.length.settling import settled as settled_by_wire
from pipeline.length.steady_state import SETTLE, STEADY, STOP
from pipeline.tuning.line_run import LineRun

Floats = NDArray[np.float64]

SAME_M = 1e-6  # what a place keeps of itself through the store [m]
BY_RULE = "time allowed"
GOOD_FOR_M = 100.0  # wire that has to stay good before a start counts as over [m] (chosen here)


@dataclass(frozen=True, slots=True)
class Start:
    """One start of the line.

    Args:
        run_id: the run.
        from_m: metre of wire at the die when the line started [m].
        steady_m: wire made until the speed was reached [m]; NaN if it never was.
        settled_m: wire made until it had settled [m]; NaN likewise.
        good_m: wire made until it stayed within the limits [m]; NaN likewise.
        scrap_m: the greatest of them: wire lost to this start [m]; NaN where the run ended before it was over.
        held_by: what the end of the start waited for: 'speed', 'settling', 'limits', `BY_RULE` where the wire could not
            tell when it had settled, or 'not over'.
        figures: circumstances as numbers, unit in the name.
        labels: circumstances as words.
    """

    run_id: str
    from_m: float
    steady_m: float
    settled_m: float
    good_m: float
    scrap_m: float
    held_by: str
    figures: Mapping[str, float]
    labels: Mapping[str, str]


def starts_of(
    run: LineRun,
    point_limit_mm: float | None,
    average_limit_mm: float | None,
    labels: Mapping[str, str] | None = None,
) -> tuple[Start, ...]:
    """The starts of a run: its beginning and every stop it ran again from.

    Args:
        run: the run.
        point_limit_mm: minimum wall at any point [mm]; None leaves it out.
        average_limit_mm: minimum average wall [mm]; None leaves it out.
        labels: shift, operator role, product and the like.
    """
    standing = run.phase == STOP
    edges = np.flatnonzero(np.diff(standing.astype(np.int8)))
    first_rows = [int(one) + 1 for one in edges if standing[one]]
    if not standing[0]:
        first_rows.insert(0, 0)
    front = np.maximum.accumulate(run.die_m)
    begins = [float(front[row]) for row in first_rows]
    found = []
    for place, (row, from_m) in enumerate(zip(first_rows, begins, strict=True)):
        to_m = begins[place + 1] if place + 1 < len(begins) else float(front[-1])
        if to_m - from_m < GOOD_FOR_M:
            continue  # a touch of the line, not a start
        stood = _stood_s(run, row)
        found.append(_start(run, row, from_m, to_m, stood, point_limit_mm, average_limit_mm, labels or {}))
    return tuple(found)


def _stood_s(run: LineRun, row: int) -> float:
    """How long the line stood before a row [s]; NaN where the log begins with it."""
    before = np.flatnonzero(run.phase[:row] != STOP)
    if before.size == 0:
        return float("nan")
    return float(run.seconds[row] - run.seconds[before[-1] + 1])


def _start(
    run: LineRun,
    row: int,
    from_m: float,
    to_m: float,
    stood_s: float,
    point_mm: float | None,
    average_mm: float | None,
    labels: Mapping[str, str],
) -> Start:
    front = np.maximum.accumulate(run.die_m)
    here = (front >= from_m) & (front < to_m)
    held_rows = np.flatnonzero(np.isin(run.phase, (SETTLE, STEADY)) & here)
    rule_rows = np.flatnonzero((run.phase == STEADY) & here)
    inside = np.isfinite(run.mean_mm) & (run.wall_at_m >= from_m) & (run.wall_at_m < to_m)
    order = np.argsort(run.wall_at_m[inside], kind="stable")
    at = run.wall_at_m[inside][order]
    mean, thinnest = run.mean_mm[inside][order], run.thinnest_mm[inside][order]
    nan = float("nan")
    steady = float(front[held_rows[0]]) - from_m if held_rows.size else nan
    good = _good_from(at, mean, thinnest, point_mm, average_mm) - from_m if at.size else nan
    begins = run.steady_m[(run.steady_m[:, 0] >= from_m) & (run.steady_m[:, 0] < to_m)]
    by_wire, settled = False, nan
    if begins.size and held_rows.size and at.size:
        settled = float(begins[0, 0]) - from_m
        by_wire = not rule_rows.size or settled + from_m > float(front[rule_rows[0]]) + SAME_M
        if not by_wire:
            told = settled_by_wire(settling_traces(run), float(front[held_rows[0]]), float(begins[0, 1]))
            by_wire = told is not None
            settled = settled if told is None else told - from_m
    waits = {"speed": steady, "settling": settled, "limits": good}
    over = all(math.isfinite(one) for one in waits.values())
    scrap = max(waits.values()) if over else nan
    held = max(waits, key=lambda name: waits[name]) if over else "not over"
    if held == "settling" and not by_wire:
        held = BY_RULE
    return Start(
        run.run_id,
        from_m,
        steady,
        settled,
        good,
        scrap,
        held,
        _figures(run, row, held_rows, stood_s),
        labels,
    )


def settling_traces(run: LineRun) -> tuple[SettlingTrace, ...]:
    """What of a run shows when its wire had settled."""
    return (
        SettlingTrace(run.wall_at_m, run.mean_mm),
        SettlingTrace(run.wall_at_m, run.cos_mm, centre=True),
        SettlingTrace(run.wall_at_m, run.sin_mm, centre=True),
        SettlingTrace(run.diameter_at_m, run.diameter_mm),
    )


def _good_from(
    at_m: Floats, mean: Floats, thinnest: Floats, point_mm: float | None, average_mm: float | None
) -> float:
    """First metre from which the wall stays within the limits for `GOOD_FOR_M`; NaN if there is none."""
    bad = np.zeros(at_m.size, dtype=np.bool_)
    if point_mm is not None:
        bad |= thinnest < point_mm
    if average_mm is not None:
        bad |= mean < average_mm
    places = np.concatenate(([at_m[0] - 1e-9], at_m[bad], [at_m[-1] + 1e-9]))
    free = np.flatnonzero(np.diff(places) >= GOOD_FOR_M)
    if free.size == 0:
        return float("nan")
    first = int(free[0])
    return float(at_m[0]) if first == 0 else float(places[first])


def _figures(run: LineRun, row: int, held_rows: NDArray[np.int64], stood_s: float) -> dict[str, float]:
    """Circumstances of a start as numbers."""
    figures = {"stood_s": stood_s}
    last = int(held_rows[0]) if held_rows.size else min(row + 600, run.seconds.size - 1)
    figures["ramp_s"] = float(run.seconds[last] - run.seconds[row])
    for name, values in run.machine.items():
        if name == "line_speed_m_s":
            continue
        early = values[row : max(last, row + 1)]
        if np.isfinite(early).any():
            figures[f"{name} at the start"] = float(np.nanmean(early[: max(early.size // 4, 1)]))
    if held_rows.size:
        figures["line_speed_m_s when steady"] = float(np.median(run.speed_m_s[held_rows]))
    return {name: value for name, value in figures.items() if math.isfinite(value)}

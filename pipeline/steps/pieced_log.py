"""Were two runs' rows put into one log? Where its clock or counter leaps while the line runs, its gauges must go on.

A clock that is set and a counter that is reset change no reading. Where the level of the gauges leaps in the very row
in which they do, the rows before and after are of two wires, and which of them is the run's is not known.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.contradictions import Contradiction
from pipeline.flags import ALL, COUNTER_RESET
from pipeline.length.log_gaps import spacing_s
from pipeline.length.placement import Placement, clock_seconds
from pipeline.logs.row_checks.every_check import GAUGES
from pipeline.messages import Measure, Message, message
from pipeline.steps.evidence import Floats, Mask
from pipeline.steps.frozen_ring import running_rows

_MASKING = [flag.code for flag in ALL if flag.masks_conformity]
# Steps of a clock looked at [s]; one that leaps further than any zone or typing error in mid-run is another run's
# (chosen here).
LEAST_S, FAR_S = 10.0, 43_200.0
# Share of the usual speed at which a line runs as it does in mid reel (chosen here).
AT_SPEED = 0.9
# A line ran at more than this share of its usual speed beside missing rows, of at least so long and so many of the
# log's steps (chosen here).
RAN, LEAST_GAP_S, GAP_STEPS = 0.5, 10.0, 5.0
# Readings on either side whose means are compared.
BESIDE = 20
# A leap counts beyond this quantile of what the gauge does elsewhere; one gauge so many times as far, or two gauges
# (chosen here: on sound lines 2 of 100 clock steps anywhere are called a leap).
USUAL, FAR, FEWEST = 0.99, 1.5, 2
FEWEST_PLACES = 20


def pieced_told(readings: pl.DataFrame, flagged: pl.DataFrame, placement: Placement) -> tuple[Message, ...]:
    """What is said of a log whose clock or counter leaps as no one run's does; nothing of any other.

    Args:
        readings: readings as logged (columns.LOGGED).
        flagged: reasons not to use readings (columns.FLAGGED).
        placement: the run on the wire.
    """
    running = running_rows(placement)
    resets = flagged.filter((pl.col("flag") == COUNTER_RESET.code) & (pl.col("channel") == "counter_m"))[
        "row"
    ]
    rows = np.searchsorted(readings["row"].to_numpy(), resets.to_numpy())
    clock = placement.clock
    steps: dict[int, float] = {}
    if clock is not None:
        steps = dict(zip(clock.rows.tolist(), clock.by_s.tolist(), strict=True))
    if not bool(running.any()) or (rows.size == 0 and not steps):
        return ()
    speed = placement.readings["speed_m_s"].to_numpy()
    usual = float(np.median(speed[running]))
    lost = _reset_in_gap(rows, clock_seconds(readings), speed, usual)
    if lost is not None:
        row, gap_s = lost
        at_row = int(readings["row"][row])
        return (message(Contradiction.LOG_PIECED_IN_GAP, at_row=at_row, gap=Measure(gap_s, "s")),)
    near = {row: by for row, by in steps.items() if abs(by) >= LEAST_S}
    # At a change of reel the counter may be reset while the line slows, and then the wall moves of itself.
    full = speed > AT_SPEED * usual
    near |= {row: 0.0 for row in rows.tolist() if bool(full[max(row - BESIDE, 0) : row + BESIDE].all())}
    near = {row: by for row, by in near.items() if bool(running[max(row - 3, 0) : row + 3].all())}
    values = _read(readings, flagged) if near else np.zeros((0, 0))
    for row, by in sorted(near.items()):
        leaping = _leaping(values, row, running)
        if abs(by) > FAR_S or leaping:
            what = Contradiction.LOG_PIECED if by else Contradiction.LOG_PIECED_BY_COUNTER
            said = {"step": Measure(by, "s")} if by else {}
            return (message(what, at_row=int(readings["row"][row]), gauges=leaping, **said),)
    return ()


def _reset_in_gap(
    rows: NDArray[np.intp], clock_s: Floats, speed: Floats, usual: float
) -> tuple[int, float] | None:
    """The first row at which the counter starts again while rows of a running line are missing, and the gap [s].

    How much wire passed in such a gap no counter tells, and the rows after it may be another run's. A clock that goes
    back in the very row in which the counter starts again needs no long step: two leaps at once are no chance.
    """
    shortest = GAP_STEPS * spacing_s(np.maximum.accumulate(clock_s))
    for row in rows[rows > 0].tolist():
        gap = float(clock_s[row] - clock_s[row - 1])
        ran = max(float(speed[row - 1]), float(speed[row])) > RAN * usual
        if ran and (gap < -shortest or gap > max(LEAST_GAP_S, shortest)):
            return row, abs(gap)
    return None


def _read(readings: pl.DataFrame, flagged: pl.DataFrame) -> Floats:
    """What the gauges read, a channel a row; NaN where a reading may not be used."""
    names = [name for name in GAUGES if name in readings.columns]
    values: Floats = readings.select(pl.col(names).cast(pl.Float64)).to_numpy().T.copy()
    bad = flagged.filter(pl.col("channel").is_in(names) & pl.col("flag").is_in(_MASKING))
    if bad.height:
        at = np.searchsorted(readings["row"].to_numpy(), bad["row"].to_numpy())
        values[[names.index(one) for one in bad["channel"].to_list()], at] = np.nan
    return values


def _leaping(values: Floats, row: int, running: Mask) -> int:
    """How many gauge channels leap at a row further than elsewhere in the run; 0 where chance may do it."""
    n = values.shape[1]
    places = np.arange(BESIDE, n - BESIDE, max(BESIDE // 4, n // 20_000))
    stood = np.concatenate(([0], np.cumsum(~running)))
    steady = stood[places + BESIDE] == stood[places - BESIDE]
    places = places[steady & (np.abs(places - row) > 2 * BESIDE)]
    if places.size < FEWEST_PLACES or not BESIDE <= row <= n - BESIDE:
        return 0
    known = np.isfinite(values)
    zero = np.zeros((values.shape[0], 1))
    summed = np.concatenate((zero, np.cumsum(np.where(known, values, 0.0), axis=1)), axis=1)
    counted = np.concatenate((zero, np.cumsum(known, axis=1)), axis=1)

    def leap(at: NDArray[np.int64]) -> Floats:
        with np.errstate(invalid="ignore", divide="ignore"):
            before = (summed[:, at] - summed[:, at - BESIDE]) / (counted[:, at] - counted[:, at - BESIDE])
            after = (summed[:, at + BESIDE] - summed[:, at]) / (counted[:, at + BESIDE] - counted[:, at])
        return np.asarray(np.nan_to_num(np.abs(after - before)), dtype=np.float64)

    usual = np.maximum(np.quantile(leap(places), USUAL, axis=1), 1e-9)
    beyond = leap(np.array([row], dtype=np.int64))[:, 0] / usual
    many = int((beyond > 1.0).sum())
    return many if many >= FEWEST or bool((beyond > FAR).any()) else 0

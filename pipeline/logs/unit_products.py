"""Do the units of a mapping fit each other? What must hold between columns, whatever the product.

The counter gains what the speed makes in the time that passes, and the wall is half of what the diameter has over the
conductor. Where a unit was guessed from figures alone and another makes this hold, that other is proposed; where names
gave the units, a doubt is told.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.logs.column_guess import ColumnGuess, unit_by_name
from pipeline.logs.plausible_units import CANDIDATES
from pipeline.units import scale_and_offset

# Counters and speeds are calibrated to a few per cent; a wall gauge may see the covering or not (chosen here).
LENGTH_FITS, WALL_FITS = 0.05, 1.7
FEWEST_ROWS = 20


def fitted_units(
    rows: pl.DataFrame, columns: tuple[ColumnGuess, ...]
) -> tuple[tuple[ColumnGuess, ...], tuple[str, ...]]:
    """The columns with units that fit each other, and what stays in doubt.

    Args:
        rows: the first rows as the mapping reads them, in the units of the store, with ``time``.
        columns: the columns as guessed.
    """
    by_channel = {one.channel: one for one in columns if one.channel}
    changed: dict[str, str] = {}
    doubts: list[str] = []
    gained = _gained(rows)
    if gained is not None and abs(gained - 1.0) > LENGTH_FITS:
        pair = (by_channel["counter_m"], by_channel["line_speed_m_s"])
        units = _length_units(*pair, gained)
        if units is None:
            doubts.append(
                f"Columns '{pair[0].name}' and '{pair[1].name}': the counter gains {gained:.3g} times what the speed "
                "makes in the same time. One of the two units is wrong."
            )
        else:
            changed |= dict(zip((one.name for one in pair), units, strict=True))
    share = _wall_share(rows)
    walls = [one for one in columns if (one.channel or "").startswith("wall_")]
    if share is not None and not 1.0 / WALL_FITS < share < WALL_FITS:
        now = _factor(walls[0].unit, "mm")
        fit = [
            unit
            for unit in CANDIDATES["mm"]
            if 1.0 / WALL_FITS < share * _factor(unit, "mm") / now < WALL_FITS
        ]
        if fit and unit_by_name(walls[0].name) is None:
            changed |= {one.name: fit[0] for one in walls}
        else:
            doubts.append(
                f"Column '{walls[0].name}': its walls are {share:.3g} times half of what the diameter has over the "
                "conductor. One of the three units is wrong."
            )
    told = tuple(
        replace(one, unit=changed[one.name], doubt="")
        if one.name in changed and changed[one.name] != one.unit
        else one
        for one in columns
    )
    return told, tuple(doubts)


def _gained(rows: pl.DataFrame) -> float | None:
    """Counter gained over what the speed makes in the time; None where that cannot be told."""
    if any(name not in rows.columns for name in ("time", "counter_m", "line_speed_m_s")):
        return None
    known = rows.select(
        pl.col("time").cast(pl.Int64), pl.col("counter_m", "line_speed_m_s").cast(pl.Float64)
    ).drop_nulls()
    seconds, counter, speed = (known[name].to_numpy() for name in known.columns)
    seconds = seconds / 1e6
    if seconds.size < FEWEST_ROWS:
        return None
    step, took = np.diff(counter), np.diff(seconds)
    # Resets, gaps and steps back say nothing.
    good = (
        (step >= 0.0)
        & (took > 0.0)
        & (took < 20.0 * np.median(took))
        & (step < 50.0 * np.median(step) + 1e-9)
    )
    made = float((0.5 * (speed[1:] + speed[:-1]) * took)[good].sum())
    gained = float(step[good].sum())
    smallest = step[step > 0.0].min(initial=np.inf)
    return gained / made if made > 0.0 and gained > FEWEST_ROWS * smallest else None


def _length_units(counter: ColumnGuess, speed: ColumnGuess, gained: float) -> tuple[str, str] | None:
    """Units of counter and speed that fit each other; a unit in a column's name stays. None where there is none."""
    now = _factor(counter.unit, "m") / _factor(speed.unit, "m/s")
    of_counter = [counter.unit] if unit_by_name(counter.name) else list(CANDIDATES["m"])
    of_speed = [speed.unit] if unit_by_name(speed.name) else list(CANDIDATES["m/s"])
    # As guessed first: one unit changed is likelier than two.
    pairs = sorted(
        ((a, b) for a in of_counter for b in of_speed),
        key=lambda pair: (pair[0] != counter.unit) + (pair[1] != speed.unit),
    )
    for a, b in pairs:
        if abs(gained * _factor(a, "m") / _factor(b, "m/s") / now - 1.0) <= LENGTH_FITS:
            return a, b
    return None


def _wall_share(rows: pl.DataFrame) -> float | None:
    """Mean wall over half of what the diameter has over the conductor; None where one of them is not read."""
    walls = [name for name in rows.columns if name.startswith("wall_")]
    if not walls or any(name not in rows.columns for name in ("diameter_x_mm", "conductor_mm")):
        return None
    middles = [rows[name].cast(pl.Float64).median() for name in (*walls, "diameter_x_mm", "conductor_mm")]
    figures = [one for one in middles if isinstance(one, float)]
    if len(figures) < len(middles) or figures[-2] <= figures[-1]:
        return None
    return float(np.mean(figures[:-2])) / (0.5 * (figures[-2] - figures[-1]))


def _factor(unit: str, store: str) -> float:
    return scale_and_offset(unit, store, "")[0]

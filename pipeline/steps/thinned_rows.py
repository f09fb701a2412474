"""Thin old readings: which rows stay at full rate, and what of the others is kept for every step of wire.

Every step keeps the lowest and highest reading of every quantity as it stood, with its row, and the mean and number
of all. Sums run in the order of the rows, so that the same readings give the same figures on any machine.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import polars as pl

from pipeline.columns import CHANNELS

Window = tuple[float, float]
STEP_COLUMNS = {
    "quantity": pl.String,
    "from_m": pl.Float64,
    "to_m": pl.Float64,
    "low": pl.Float64,
    "low_row": pl.UInt32,
    "high": pl.Float64,
    "high_row": pl.UInt32,
    "mean": pl.Float64,
    "readings": pl.UInt32,
}


def places_of(frame: pl.DataFrame) -> dict[str, str]:
    """Each quantity of a placed or measured frame, and the column of its place: the last one before it.

    An angle is none: its mean and its extremes say nothing.
    """
    pairs: dict[str, str] = {}
    place = ""
    for name, kind in frame.schema.items():
        if name.endswith("_at_m") or name == "front_m":
            place = name
        elif place and kind.is_float() and not name.endswith("_deg"):
            pairs[name] = place
    return pairs


def steps_of(frame: pl.DataFrame, places: dict[str, str], step_m: float) -> pl.DataFrame:
    """The readings of `frame` in steps of wire.

    Args:
        frame: full-rate readings with ``row`` and the columns named in `places`.
        places: quantity -> column of its place on the wire [m].
        step_m: length of a step [m].

    Returns:
        A row a quantity and step: from, to [m], lowest and highest reading with their rows, mean, number.
    """
    rows = frame["row"].to_numpy()
    parts = [
        _steps(name, rows, _numbers(frame, place), _numbers(frame, name), step_m)
        for name, place in places.items()
    ]
    whole = pl.concat(parts) if parts else pl.DataFrame(schema=STEP_COLUMNS)
    return whole.cast(STEP_COLUMNS)  # type: ignore[arg-type]


def _numbers(frame: pl.DataFrame, name: str) -> np.ndarray:
    return frame[name].cast(pl.Float64).to_numpy()


def _steps(name: str, rows: np.ndarray, place: np.ndarray, value: np.ndarray, step_m: float) -> pl.DataFrame:
    known = np.isfinite(place) & np.isfinite(value)
    row, value = rows[known], value[known]
    step = np.floor(place[known] / step_m).astype(np.int64)
    if not row.size:
        return pl.DataFrame(schema=STEP_COLUMNS)
    along = np.lexsort((row, step))
    starts = np.flatnonzero(np.r_[True, np.diff(step[along]) != 0])
    counts = np.diff(np.r_[starts, row.size])
    ranked = np.lexsort((row, value, step))
    lowest, highest = ranked[starts], ranked[starts + counts - 1]
    return pl.DataFrame(
        {
            "quantity": [name] * starts.size,
            "from_m": step[along][starts] * step_m,
            "to_m": (step[along][starts] + 1) * step_m,
            "low": value[lowest],
            "low_row": row[lowest],
            "high": value[highest],
            "high_row": row[highest],
            "mean": np.add.reduceat(value[along], starts) / counts,
            "readings": counts,
        }
    ).cast(STEP_COLUMNS)  # type: ignore[arg-type]


def channel_steps(logged: pl.DataFrame, placed: pl.DataFrame, step_m: float) -> pl.DataFrame:
    """The logged channels in steps of wire at the die; see `steps_of`."""
    names = [channel.name for channel in CHANNELS if channel.name in logged.columns]
    frame = logged.select("row", *names).join(
        placed.select("row", "front_m"), on="row", how="left", maintain_order="left"
    )
    known = [name for name in names if frame[name].null_count() < frame.height]
    return steps_of(frame, dict.fromkeys(known, "front_m"), step_m)


def rows_kept(
    frames: Sequence[pl.DataFrame],
    steps: Sequence[pl.DataFrame],
    windows: Iterable[Window],
    more: Iterable[int],
) -> pl.Series:
    """The rows that stay: in a window by any of their places, an extreme of a step, or named.

    Args:
        frames: placed and measured frames.
        steps: their steps.
        windows: lengths of wire kept at full rate, from and to [m].
        more: further rows, such as the worst reading of a finding.
    """
    listed = list(windows)
    kept = [pl.Series("row", list(more), pl.UInt32)]
    for frame in frames:
        row = frame["row"].cast(pl.UInt32)
        for place in {*places_of(frame).values()}:
            at = _numbers(frame, place)
            inside = np.zeros(at.size, dtype=bool)
            for from_m, to_m in listed:
                inside |= (at >= from_m) & (at <= to_m)
            kept.append(row.filter(pl.Series(inside)).alias("row"))
    for part in steps:
        kept += [part["low_row"].alias("row"), part["high_row"].alias("row")]
    return pl.concat(kept).unique().sort()

"""What was measured, summed up along the wire and for each reel, as the store keeps it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from pipeline.columns import WALL_CHANNELS
from pipeline.steps.evidence import Floats, Seen
from pipeline.steps.measure import STRETCH_M, Measured
from pipeline.steps.place import Placed


def stretches(measured: Measured, made_m: float, start_m: float = 0.0) -> pl.DataFrame:
    """The wire of the run in stretches of equal length: what each held (table measured.stretch)."""
    count = max(1, int(np.ceil((made_m - start_m) / STRETCH_M)))
    base = pl.DataFrame(
        {
            "stretch": np.arange(count, dtype=np.int32),
            "from_m": start_m + STRETCH_M * np.arange(count),
            "to_m": np.minimum(start_m + STRETCH_M * (np.arange(count) + 1), made_m),
        }
    )
    wall = _rolled(
        measured.wall,
        measured.frame,
        start_m,
        [
            pl.len().cast(pl.Int32).alias("wall_readings"),
            pl.col("width").sum().alias("wall_known_m"),
            _per_metre("mean_wall_mm"),
            pl.col("mean_wall_mm").min().alias("mean_wall_low_mm"),
            pl.col("mean_wall_mm").max().alias("mean_wall_high_mm"),
            pl.col("thinnest_wall_mm").min(),
            _per_metre("ecc_cos_mm"),
            _per_metre("ecc_sin_mm"),
            pl.col("eccentricity_mm").max().alias("eccentricity_high_mm"),
            pl.col("concentricity_pct").min().alias("concentricity_low_pct"),
        ],
    )
    diameter = _rolled(
        measured.diameter,
        measured.frame,
        start_m,
        [
            pl.len().cast(pl.Int32).alias("diameter_readings"),
            pl.col("width").sum().alias("diameter_known_m"),
            _per_metre("diameter_mm"),
            pl.col("diameter_mm").min().alias("diameter_low_mm"),
            pl.col("diameter_mm").max().alias("diameter_high_mm"),
            pl.col("ovality_mm").max().alias("ovality_high_mm"),
        ],
    )
    for part in (wall, diameter):
        if part is not None:
            base = base.join(part, on="stretch", how="left", maintain_order="left")
    for name, kind in (
        ("wall_readings", pl.Int32),
        ("wall_known_m", pl.Float64),
        ("diameter_readings", pl.Int32),
        ("diameter_known_m", pl.Float64),
    ):
        if name not in base.columns:
            base = base.with_columns(pl.lit(0).cast(kind).alias(name))
    return base.with_columns(
        pl.col("wall_readings", "wall_known_m", "diameter_readings", "diameter_known_m").fill_null(0)
    )


def _per_metre(name: str) -> pl.Expr:
    """Mean of a column over the wire its readings speak for; over readings where they speak for none."""
    known = pl.col(name).is_not_null()
    total = pl.col("width").filter(known).sum()
    return (
        pl.when(total > 0.0)
        .then((pl.col(name) * pl.col("width")).sum() / total)
        .otherwise(pl.col(name).mean())
    ).alias(name)


def _rolled(
    seen: Seen | None, frame: pl.DataFrame, start_m: float, wanted: list[pl.Expr]
) -> pl.DataFrame | None:
    if seen is None:
        return None
    number = np.floor((np.nan_to_num(seen.at_m, nan=-1e9) - start_m) / STRETCH_M).astype(np.int32)
    return (
        frame.with_columns(pl.Series("stretch", number), pl.Series("width", seen.widths()))
        .filter(pl.Series(seen.fit))
        .group_by("stretch", maintain_order=True)
        .agg(wanted)
        .sort("stretch")
    )


def _sensors(measured: Measured, readings: pl.DataFrame) -> dict[str, Seen]:
    """Each wall sensor as it was logged, on the wire that the mean wall is known of."""
    mean = measured.seen.get("mean_wall_mm")
    if mean is None or mean.instrument.kind != "wall gauge":
        return {}
    fitted = [one for one in WALL_CHANNELS[: mean.instrument.sensors or 0] if one in readings.columns]
    values = {one: readings[one].cast(pl.Float64).to_numpy() for one in fitted}
    return {one: _sensor(mean, one, value) for one, value in values.items()}


def _sensor(mean: Seen, name: str, value: Floats) -> Seen:
    read = np.isfinite(value)
    fit = mean.fit & read
    return replace(
        mean,
        name=name,
        value=value,
        fit=mean.fit if np.array_equal(fit, mean.fit) else fit,
        fit_for_statistics=mean.fit_for_statistics & read,
        like=mean,
    )


def reel_summaries(measured: Measured, placed: Placed, readings: pl.DataFrame) -> pl.DataFrame:
    """Each quantity and wall sensor on each reel: number, mean, spread, extremes, known length (measured.reel)."""
    rows = []
    every = {**measured.seen, **_sensors(measured, readings)}
    for reel in placed.reels:
        # Quantities of one instrument mostly have the same known wire.
        lengths: dict[int, float] = {}
        for name, seen in every.items():
            here = seen.rows_within(reel.from_m, reel.to_m)
            values = seen.value[here]
            counted = here[seen.fit_for_statistics[here] & seen.steady[here]]
            mean, sd = seen.per_metre(counted) if counted.size else (None, None)
            low, high = (here[values.argmin()], here[values.argmax()]) if here.size else (None, None)
            if id(seen.known) not in lengths:
                lengths[id(seen.known)] = seen.known_m(reel.from_m, reel.to_m)
            known = lengths[id(seen.known)]
            rows.append(
                {
                    "reel_id": reel.id,
                    "quantity": name,
                    "unit": seen.unit,
                    "readings": int(here.size),
                    "steady_readings": int(counted.size),
                    "mean": mean,
                    "sd": sd if counted.size > 1 else None,
                    "low": None if low is None else float(seen.value[low]),
                    "low_at_m": None if low is None else float(seen.at_m[low]),
                    "high": None if high is None else float(seen.value[high]),
                    "high_at_m": None if high is None else float(seen.at_m[high]),
                    "known_m": known,
                    "unknown_m": reel.length_m - known,
                }
            )
    return pl.DataFrame(
        rows,
        schema={
            "reel_id": pl.String,
            "quantity": pl.String,
            "unit": pl.String,
            "readings": pl.Int64,
            "steady_readings": pl.Int64,
            "mean": pl.Float64,
            "sd": pl.Float64,
            "low": pl.Float64,
            "low_at_m": pl.Float64,
            "high": pl.Float64,
            "high_at_m": pl.Float64,
            "known_m": pl.Float64,
            "unknown_m": pl.Float64,
        },
    )

"""Long tables, one value a line with its tag, turned into readings with a column a channel."""

from __future__ import annotations

import polars as pl

from pipeline.logs.log_plan import LogPlan

_TIME = "_time_us"


def by_channel(rows: pl.DataFrame, plan: LogPlan) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Lines of mapped tags with channel and value in the store's unit, and a count of the others by tag.

    Args:
        rows: ``line``, time, ``tag`` and ``value`` as text that can be read as a number where the tag is mapped.
        plan: which tag holds which channel, in which unit.
    """
    tags = pl.DataFrame(
        {
            "tag": [one.name for one in plan.numbers],
            "channel": [one.channel for one in plan.numbers],
            "factor": [one.factor for one in plan.numbers],
            "offset": [one.offset for one in plan.numbers],
        },
        schema_overrides={"channel": pl.Enum([one.channel for one in plan.numbers])},
    )
    joined = rows.drop("quality", strict=False).join(tags, on="tag", how="left", maintain_order="left")
    figure = pl.col("value").str.strip_chars(" \t")
    if plan.decimal == ",":
        figure = figure.str.replace(",", ".", literal=True)
    known = joined.filter(pl.col("channel").is_not_null())
    value = figure.cast(pl.Float64, strict=False).fill_nan(None) * pl.col("factor") + pl.col("offset")
    others = joined.filter(pl.col("channel").is_null())
    return (
        known.select(pl.exclude("tag", "value", "channel", "factor", "offset"), "channel", value=value),
        others.group_by("tag").len("lines").sort("tag").with_columns(pl.col("lines").cast(pl.UInt32)),
    )


def one_row_an_instant(lines: pl.DataFrame, channels: list[str], slot_s: float) -> pl.DataFrame:
    """Readings: the values of one instant side by side, in the order of time.

    A tag that stands several times at one instant gives as many readings, in the order of the file.

    Args:
        lines: ``file_no``, ``line``, time [us of UTC], ``channel`` and ``value``.
        channels: every mapped channel; one without a value is an empty column.
        slot_s: lines in the same slot of this many seconds are one instant; 0 for the same time exactly.
    """
    slot = pl.col(_TIME) if slot_s == 0.0 else pl.col(_TIME) // max(1, round(slot_s * 1e6))
    keyed = lines.with_columns(_slot=slot).with_columns(_nth=pl.int_range(pl.len()).over("_slot", "channel"))
    first = keyed.group_by("_slot", "_nth").agg(pl.col("file_no", "line").first(), pl.col(_TIME).min())
    wide = keyed.with_columns(pl.col("channel").cast(pl.String)).pivot(
        on="channel", index=["_slot", "_nth"], values="value", aggregate_function="first"
    )
    empty = [pl.lit(None, pl.Float64).alias(name) for name in channels if name not in wide.columns]
    return (
        first.join(wide.with_columns(empty), on=["_slot", "_nth"], how="left")
        .sort("_slot", "_nth")
        .select("file_no", "line", _TIME, *channels)
    )


def late_lines(lines: pl.DataFrame) -> int:
    """How many lines are earlier than the line of the same tag before them."""
    if lines.height == 0:
        return 0
    return int(lines.select((pl.col(_TIME).diff().over("file_no", "channel") < 0).sum()).item())

"""Event lists of a run, spark faults and surface flaws, as one table in the order of the wire."""

from __future__ import annotations

import polars as pl

EVENT_SCHEMA: dict[str, pl.DataType] = {
    "event": pl.UInt32(),
    "file_no": pl.UInt16(),
    "line": pl.UInt32(),
    "kind": pl.String(),
    "time_utc": pl.Datetime("us", "UTC"),
    "counter_m": pl.Float64(),
    "spark_kv": pl.Float64(),
    "flaw_size_mm": pl.Float64(),
    "flaw_class": pl.String(),
}
_KINDS = {"spark faults": "spark fault", "surface flaws": "surface flaw"}


def events_of(lists: list[tuple[str, pl.DataFrame]]) -> pl.DataFrame:
    """The events of every list, numbered in the order of time, or of length where a list gives no times.

    Args:
        lists: kind of the list as the run sheet says it, and its rows.
    """
    parts = [pl.DataFrame(schema=EVENT_SCHEMA)]
    for kind, rows in lists:
        if rows.height == 0:
            continue
        have = rows.rename({"class": "flaw_class"}, strict=False)
        parts.append(
            have.select(
                *(
                    pl.col(name).cast(dtype) if name in have.columns else pl.lit(None, dtype).alias(name)
                    for name, dtype in EVENT_SCHEMA.items()
                    if name not in {"event", "kind"}
                ),
                kind=pl.lit(_KINDS[kind]),
            )
        )
    whole = pl.concat(parts, how="diagonal")
    by_time = whole["time_utc"].null_count() <= whole["counter_m"].null_count()
    order = ["time_utc", "counter_m"] if by_time else ["counter_m", "time_utc"]
    return (
        whole.sort(*order, "file_no", "line", nulls_last=True, maintain_order=True)
        .with_columns(event=pl.int_range(pl.len(), dtype=pl.UInt32))
        .select(list(EVENT_SCHEMA))
    )

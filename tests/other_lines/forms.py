"""The same log in another form: as Parquet, or as a long table with one value a line."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import polars as pl

from tests.other_lines.lines import OtherLine

Form = Literal["csv", "parquet", "long"]


def in_form(folder: Path, line: OtherLine, form: Form) -> None:
    """Write ``log.csv`` of a folder in another form, and its run sheet to match."""
    if form == "csv":
        return
    frame = pl.read_csv(folder / "log.csv", separator=line.delimiter, infer_schema=False)
    sheet = (folder / "run.toml").read_text()
    head, rest = sheet.split('[[run.logs]]\nkind = "readings"', 1)
    if form == "parquet":
        values = [name for name in frame.columns if name != "Stamp"]
        frame.with_columns(
            pl.col(name).str.replace(",", ".").cast(pl.Float64, strict=False) for name in values
        ).write_parquet(folder / "log.parquet")
        rest = rest.replace('"log.csv"', '"log.parquet"', 1)
    else:
        long = frame.unpivot(index="Stamp", variable_name="Tag", value_name="Value").drop_nulls("Value")
        # A historian writes what it got, value by value, in the order of time.
        long = long.with_row_index("n").with_columns(pl.col("n") % frame.height)
        long.sort("n", maintain_order=True).drop("n").write_csv(
            folder / "log.csv", separator=line.delimiter, quote_style="never"
        )
        rest = rest.replace("\ntime = ", '\nlong = { tag = "Tag", value = "Value" }\ntime = ', 1)
    (folder / "run.toml").write_text(head + '[[run.logs]]\nkind = "readings"' + rest)

"""From the log's own line to the judged figure: the worst reading of a finding as logged, and each step after it."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from dashboards.fillers.run_book import Row, RunBook
from dashboards.records import LoggedValue, LogWalk
from pipeline.columns import CHANNEL_BY_NAME, WALL_CHANNELS
from pipeline.length.reel_places import place_on_reel
from pipeline.nonconformance.rules import RULE_BY_ID
from pipeline.record.genealogy_of_store import sheets_of
from pipeline.sheets.run_sheet import LogFile, RunSheet
from pipeline.units import scale_and_offset

_WALL = ("thinnest_wall_mm", "mean_wall_mm", "concentricity_pct")


def log_walk(
    book: RunBook, row: Row, logged: pl.DataFrame, placed: pl.DataFrame, judgement: Row | None
) -> LogWalk | None:
    """The way from the log to a finding's worst figure; None where no reading stands behind it.

    Args:
        book: the run.
        row: the finding.
        logged: the run's readings as logged.
        placed: its readings as placed and measured.
        judgement: the requirement as judged on the finding's reel.
    """
    if row["row"] is None or row["worst"] is None:
        return None
    line = logged.filter(pl.col("row") == row["row"])
    here = placed.filter(pl.col("row") == row["row"])
    rule = RULE_BY_ID[row["rule"]]
    if line.height != 1 or here.height != 1 or here[rule.at_column][0] is None:
        return None
    run, sheet = sheets_of(book.store, book.head)
    file = next((one for one in book.files if one["file_no"] == line["file_no"][0]), {})
    at_m = float(here[rule.at_column][0])
    reel = book.place_of_reel.get(row["reel_id"])
    gauge = sheet.instrument("wall gauge")
    both = gauge is not None and gauge.sees == "insulation and covering" and rule.column in _WALL
    covering = run.covering if both else None
    rings = [name for name in WALL_CHANNELS if name in line.columns and line[name][0] is not None]
    of_wall = rule.column in _WALL
    measured = here[rule.column][0] if rule.column in here.columns else None
    return LogWalk(
        file=file.get("name", ""),
        line=int(line["line"][0]),
        sha256=file.get("sha256", ""),
        at_utc=line["time_utc"][0],
        values=_as_logged(run, file.get("name", ""), line.row(0, named=True)),
        front_m=float(here["front_m"][0]) if here["front_m"][0] is not None else None,
        at_m=at_m,
        outer_m=None if reel is None else place_on_reel(at_m, reel["to_m"]),
        sensors=len(rings) if of_wall else 0,
        sensors_mean_mm=float(np.mean([line[name][0] for name in rings])) if of_wall and rings else None,
        covering_mm=None if covering is None else covering.mean_mm,
        covering_basis="" if covering is None else covering.basis,
        mean_wall_mm=here["mean_wall_mm"][0] if of_wall else None,
        eccentricity_mm=here["eccentricity_mm"][0] if of_wall else None,
        measured=None if measured is None else float(measured),
        quantity=rule.column,
        worst=row["worst"],
        unit=row["unit"],
        uncertainty=None if judgement is None else judgement["uncertainty"],
    )


def _as_logged(run: RunSheet, file: str, stored: dict[str, Any]) -> tuple[LoggedValue, ...]:
    """The line's values in the units and under the names of the log itself, in the order of the data dictionary."""
    log = next((one for one in run.logs if any(name.endswith(file) for name in one.files) and file), None)
    if log is None:
        return ()
    values = []
    for channel, (column, unit) in _mapped(log).items():
        value = stored.get(channel)
        store_unit = CHANNEL_BY_NAME[channel].unit
        as_logged = None
        if value is not None:
            factor, offset = scale_and_offset(unit, store_unit, channel) if unit else (1.0, 0.0)
            # The store keeps the converted figure; ten digits give back what was written.
            as_logged = float(f"{(float(value) - offset) / factor:.10g}")
        values.append(LoggedValue(channel, column, as_logged, unit, value, store_unit))
    return tuple(values)


def _mapped(log: LogFile) -> dict[str, tuple[str, str]]:
    """Channel -> the log's own column and unit, in the order of the data dictionary."""
    found = {name: (one.column, one.unit) for name, one in log.channels.items()}
    if log.walls is not None:
        found |= {
            name: (column, log.walls.unit)
            for name, column in zip(WALL_CHANNELS, log.walls.columns, strict=False)
        }
    return {name: found[name] for name in CHANNEL_BY_NAME if name in found}

"""The runs of one line and product as tuning takes them, read back from what is sealed on file."""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl

from pipeline.length.counter import CounterEvent
from pipeline.length.placement import Placement, clock_seconds
from pipeline.length.reels import PlacedReel
from pipeline.products.product import Product, find_product
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.store.readings import read_frame, scan_frame
from pipeline.tuning.line_run import MACHINE, LineRun, line_run

if TYPE_CHECKING:
    from pipeline.store.database import Store

Head = dict[str, Any]
_MEASURED = (
    "row", "wall_at_m", "mean_wall_mm", "thinnest_wall_mm", "ecc_cos_mm", "ecc_sin_mm", "diameter_at_m", "diameter_mm",
    "wall_counts", "diameter_counts",
)  # fmt: skip


def sheet_on_file(store: Store, sha256: str) -> dict[str, Any]:
    """A sheet as data, by the hash of its text."""
    return tomllib.loads(store.ask("questions/sheet", sha256=sha256)[0]["text"])


def line_sheet_of(store: Store, head: Head) -> LineSheet:
    """The line sheet a run was loaded with."""
    return LineSheet.model_validate(sheet_on_file(store, head["line_sheet_sha256"])["line"])


def run_sheet_of(store: Store, head: Head) -> RunSheet:
    """A run's own sheet."""
    return RunSheet.model_validate(sheet_on_file(store, head["run_sheet_sha256"])["run"])


def plant_sheet_of(store: Store, head: Head) -> PlantSheet:
    """The plant sheet a run was judged by."""
    return PlantSheet.model_validate(sheet_on_file(store, head["judged_plant_sheet_sha256"]))


def product_of(head: Head) -> Product:
    """The product a run made."""
    return find_product(head["construction"], head["size"], head["conductor"], head["metal"])


def product_named(head: Head) -> str:
    """The product of a run in words, as ``THHN/THWN-2 14 AWG solid copper``."""
    return f"{head['construction']} {head['size']} {head['conductor']} {head['metal']}"


def tuning_run(store: Store, head: Head) -> LineRun:
    """One judged run, from its sealed readings; nothing is placed or measured again.

    Args:
        store: the store, open to read.
        head: the run's row of the question ``current_runs``.
    """
    line = line_sheet_of(store, head)
    logged = _columns(store, head["load_folder"], "logged", ("row", "time_utc", *MACHINE))
    measured = _columns(store, head["assessment_folder"], "measured", _MEASURED)
    placed = read_frame(store, head["assessment_folder"], "placed")
    return line_run(
        head["run_id"],
        logged["time_utc"][0],
        product_named(head),
        product_of(head).conductor_mm,
        logged,
        measured,
        read_frame(store, head["load_folder"], "flagged"),
        _placement(store, head, line, logged, measured, placed),
        line,
        _reels(store, head),
    )


def _columns(store: Store, folder: str, file: str, wanted: tuple[str, ...]) -> pl.DataFrame:
    """Those of the wanted columns that a frame on file has; the others are not read."""
    frame = scan_frame(store, folder, file)
    have = set(frame.collect_schema().names())
    return frame.select([name for name in wanted if name in have]).collect()


def _placement(
    store: Store,
    head: Head,
    line: LineSheet,
    logged: pl.DataFrame,
    measured: pl.DataFrame,
    placed: pl.DataFrame,
) -> Placement:
    """The run on the wire as it was judged, with the phases the measured wall had its say in."""
    phases = store.ask("questions/phases_of_assessment", assessment_id=head["assessment_id"])
    gauge = line.instrument("wall gauge")
    column = "wall_at_m" if gauge is not None else "diameter_at_m"
    seen = gauge if gauge is not None else line.instrument("cold diameter gauge")
    at_m = measured[column].cast(pl.Float64).to_numpy() + (seen.station_m if seen is not None else 0.0)
    front = placed["front_m"].to_numpy()
    return Placement(
        readings=placed,
        counter_events=pl.DataFrame(schema=dict.fromkeys(CounterEvent.__slots__, pl.String)),
        phases=pl.DataFrame(
            {name: [row[name] for row in phases] for name in ("from_m", "to_m", "phase")},
            schema={"from_m": pl.Float64, "to_m": pl.Float64, "phase": pl.String},
        ),
        at_m=at_m,
        seconds=np.maximum.accumulate(clock_seconds(logged)),
        start_m=float(front[0]),
        made_m=float(front[-1]),
        resolution_m=0.0,
    )


def _reels(store: Store, head: Head) -> tuple[PlacedReel, ...]:
    return tuple(
        PlacedReel(row["reel_id"], row["from_m"], row["to_m"], row["from_counter_m"], row["to_counter_m"])
        for row in store.ask("questions/places_of_assessment", assessment_id=head["assessment_id"])
    )

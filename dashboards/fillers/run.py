"""The record of the run page: every channel along the wire, at full rate, with limits and findings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import polars as pl

from dashboards.fillers.process_values import process_values
from dashboards.fillers.rows import GAP_KIND, fault_marks, finding_row, lot_rows, stamp_of
from dashboards.fillers.run_rows import run_row
from dashboards.fillers.unseen import unseen_of_run
from dashboards.records import CounterEvent, Interval, LogFileRow, PanelLimit, Phase, Plant, RunReview, Trace
from pipeline.length.steady_state import PHASE_NAMES, STEADY
from pipeline.nonconformance.rules import RULES
from pipeline.products.limits import limit_on_file
from pipeline.record.genealogy_of_store import sheets_of
from pipeline.store.readings import read_frame
from pipeline.wall.two_layers import insulation_between

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from numpy.typing import NDArray

    from dashboards.records import PanelName
from dashboards.fillers.run_book import RunBook
from pipeline.store.said_columns import told_of

# Column of the measured or placed readings -> title, unit, panel, and the column of its place on the wire.
TRACES: tuple[tuple[str, str, str, PanelName, str], ...] = (
    ("mean_wall_mm", "Mean wall", "mm", "wall", "wall_at_m"),
    ("thinnest_wall_mm", "Thinnest wall", "mm", "wall", "wall_at_m"),
    ("diameter_mm", "Overall diameter, cold", "mm", "diameter", "diameter_at_m"),
    ("conductor_mm", "Conductor diameter", "mm", "conductor", "conductor_at_m"),
    ("eccentricity_mm", "Eccentricity", "mm", "eccentricity", "wall_at_m"),
    ("ovality_mm", "Ovality", "mm", "eccentricity", "diameter_at_m"),
    ("concentricity_pct", "Concentricity, thinnest/thickest", "%", "shape", "wall_at_m"),
    ("speed_m_s", "Line speed", "m/s", "speed", "front_m"),
)
TRACE_COLUMNS = frozenset(column for name, _, _, _, place in TRACES for column in (name, place))
PANEL_OF: dict[str, PanelName] = {
    "minimum average wall": "wall",
    "minimum wall at any point": "wall",
    "overall diameter": "diameter",
    "conductor diameter": "conductor",
    "concentricity": "shape",
}


@dataclass(frozen=True, slots=True)
class Places:
    """Where the readings of a frame lie on the wire by one of its columns of places.

    Args:
        at_m: the places known, in the order of the wire [m].
        taken: the rows they are of; None for all of them as they stand.
        first_row: number in the run of the first reading whose place is known.
    """

    at_m: NDArray[np.float64]
    taken: NDArray[np.intp] | None
    first_row: int


def places_of(frame: pl.DataFrame, column: str) -> Places:
    """The places in a column of the frame of `measured_and_placed`, which has a row at least."""
    at = np.asarray(frame[column].to_numpy(), dtype=np.float64)
    taken = None
    known = np.isfinite(at)
    first = int(np.argmax(known))
    if not known.all():
        taken = np.flatnonzero(known)
        at = at[taken]
    if not (at[1:] >= at[:-1]).all():
        order = np.argsort(at, kind="stable")
        at, taken = at[order], order if taken is None else taken[order]
    return Places(at, taken, int(frame["row"][first]))


def trace_of(
    frame: pl.DataFrame, places: Places, name: str, title: str, unit: str, panel: PanelName
) -> Trace | None:
    """One quantity along the wire from the frame of `measured_and_placed`; None where the run has none of it."""
    if name not in frame.columns:
        return None
    values = np.asarray(frame[name].to_numpy(), dtype=np.float64)
    if places.taken is not None:
        values = values[places.taken]
    if not np.isfinite(values).any():
        return None
    return Trace(name, title, unit, panel, places.at_m, values, first_row=places.first_row)


def measured_and_placed(book: RunBook, only: Collection[str] = ()) -> pl.DataFrame:
    """Every reading of the run as judged newest: what was measured, and where it lies on the wire.

    Of a thinned run those that are left: all around findings, elsewhere the lowest and highest of each step.

    Args:
        book: the run.
        only: the columns wanted beside `row`; none for every one.
    """
    folder = book.head["assessment_folder"]
    wanted = {"row", *only} if only else ()
    measured = read_frame(book.store, folder, "measured", or_thinned=True, only=wanted)
    placed = read_frame(book.store, folder, "placed", or_thinned=True, only=wanted)
    if measured["row"].equals(placed["row"]):
        return _with_logged(book, measured.hstack(placed.drop("row")))
    return _with_logged(book, measured.join(placed, on="row", how="left", maintain_order="left"))


# Quantities judged as they are logged, where a limit on them is on file: requirement -> the instrument that reads it.
AS_LOGGED = {"conductor diameter": "conductor gauge", "spark test voltage": "spark tester"}


def _with_logged(book: RunBook, frame: pl.DataFrame) -> pl.DataFrame:
    """The frame with what is judged as it is logged, each on the wire that it was read on; flagged readings are not."""
    for name in AS_LOGGED.keys() & {row["requirement"] for row in book.limits}:
        rule = next(one for one in RULES if one.requirement == name)
        gauge = sheets_of(book.store, book.head)[1].instrument(AS_LOGGED[name])
        folder = book.head["load_folder"]
        logged = read_frame(book.store, folder, "logged", or_thinned=True, only={"row", rule.column})
        if gauge is None or rule.column not in logged.columns:
            continue
        flagged = read_frame(book.store, folder, "flagged", or_thinned=True)
        sound = logged.join(flagged.filter(pl.col("channel") == rule.column), on="row", how="anti")
        frame = frame.join(sound, on="row", how="left", maintain_order="left").with_columns(
            (pl.col("front_m") - gauge.station_m).alias(rule.at_column)
        )
    return frame


def judged_traces(book: RunBook, frame: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, str]]:
    """The frame of `measured_and_placed` as it is judged, and the titles of its traces.

    What a gauge that reads insulation and covering as one leaves between bounds stands at the worse one, and says so.
    """
    run, line = sheets_of(book.store, book.head)
    gauge = line.instrument("wall gauge")
    between = insulation_between(frame, gauge, run.covering) if gauge is not None and frame.height else {}
    titles = {name: f"{title} (worse bound)" if name in between else title for name, title, *_ in TRACES}
    return frame.with_columns(pl.Series(name, low) for name, (low, _) in between.items()), titles


def _traces(frame: pl.DataFrame, titles: Mapping[str, str]) -> tuple[Trace, ...]:
    """Every quantity of the run page; those read at the same places share these."""
    columns = {place for *_, place in TRACES if place in frame.columns} if frame.height else set()
    places = {column: places_of(frame, column) for column in columns}
    found = (
        trace_of(frame, places[place], name, titles[name], unit, panel)
        for name, _, unit, panel, place in TRACES
        if place in places
    )
    return tuple(one for one in found if one is not None)


def run_review(plant: Plant, book: RunBook) -> RunReview:
    """Everything the run page shows; the readings are read from the run's Parquet."""
    traces: tuple[Trace, ...] = ()
    process = None
    if book.is_judged and book.head["assessment_folder"]:
        traces = _traces(*judged_traces(book, measured_and_placed(book, TRACE_COLUMNS)))
        process = process_values(book)
    return RunReview(
        plant=plant,
        run=run_row(book),
        traces=traces,
        limits=tuple(
            PanelLimit(PANEL_OF[row["requirement"]], limit_on_file(row))
            for row in book.limits
            if row["requirement"] in PANEL_OF
        ),
        phases=tuple(
            Phase(
                row["from_m"],
                row["to_m"],
                row["phase"].lower().replace("-", " "),
                row["phase"] == PHASE_NAMES[STEADY],
            )
            for row in book.phases
        ),
        findings=tuple(finding_row(book, row) for row in book.findings),
        faults=fault_marks(book),
        gaps=tuple(
            Interval(row["from_m"], row["to_m"], GAP_KIND[row["kind"]], told_of(row)) for row in book.gaps
        ),
        counter_events=tuple(
            CounterEvent(row["kind"], row["at_m"], row["size_m"], told_of(row)) for row in book.counter_events
        ),
        files=tuple(
            LogFileRow(
                row["name"],
                row["kind"],
                row["sha256"],
                row["bytes"],
                row["rows_read"],
                row["rows_kept"],
                row["rows_set_aside"],
            )
            for row in book.files
        ),
        lots=lot_rows(book),
        process=process,
        shift_id=book.shift_id,
        stamp=replace(stamp_of([book]), unseen=unseen_of_run(book)),
    )

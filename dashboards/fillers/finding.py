"""The record of one finding's page: what was found, how sure it is, the way back to the log, and what was decided."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import polars as pl

from dashboards.fillers.decisions import disposition_rows
from dashboards.fillers.log_walk import log_walk
from dashboards.fillers.rows import fault_marks, finding_row, lot_rows, product_row, stamp_of
from dashboards.fillers.run import PANEL_OF, TRACES, judged_traces, measured_and_placed, places_of, trace_of
from dashboards.fillers.run_book import Row, RunBook
from dashboards.page_notes import PageNote
from dashboards.records import (
    Evidence,
    FindingReview,
    FindingRow,
    LotRow,
    PanelLimit,
    Plant,
    SectionProfile,
    Trace,
)
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.decision import false_events_per_km
from pipeline.nonconformance.rules import RULE_BY_ID
from pipeline.products.limits import limit_on_file
from pipeline.products.product import find_product
from pipeline.record.genealogy_of_store import sheets_of
from pipeline.record.how_sure import chance_it_conforms, chance_shown
from pipeline.store.readings import read_frame
from pipeline.store.said_columns import first_advice, rule_of

# Log lines shown behind a finding: the worst readings of its column.
LINES_SHOWN = 20
# Rarer than this nothing is told apart [per km].
RARELY_PER_KM = 0.001


def finding_review(plant: Plant, book: RunBook, row: Row, books: list[RunBook]) -> FindingReview:
    """Everything the page of one finding shows.

    Args:
        plant: the plant.
        book: its run.
        row: the finding, as `RunBook.findings` gives it.
        books: every run on file, to look for the same cause.
    """
    frame = _measured(book) if book.head["assessment_folder"] else None
    requirement = _requirement(book, row)
    return FindingReview(
        plant=plant,
        finding=finding_row(book, row),
        product=product_row(book),
        window=_window(book, frame, row) if frame is not None else (),
        limits=tuple(
            PanelLimit(PANEL_OF[one["requirement"]], limit_on_file(one))
            for one in book.limits
            if one["requirement"] in PANEL_OF
        ),
        faults=fault_marks(book, row["evidence_from_m"], row["evidence_to_m"]),
        section=_section(book, row, frame) if frame is not None else None,
        how_sure=_how_sure(row, requirement, _averaged_m(row, frame), _noise_told(book, row, requirement)),
        evidence=_log_lines(book, row, frame) if frame is not None else (),
        walk=log_walk(book, row, _logged(book), frame, requirement) if frame is not None else None,
        same_cause=_same_cause(row, books),
        dispositions=disposition_rows(book, row["finding_id"]),
        lots=_lots_there(book, row),
        repair_guide=(first_advice(row), message(PageNote.REPAIR)),
        stamp=stamp_of([book], {row["reel_id"]}),
    )


# The findings of a run come one after the other, so the readings of the run before need not be kept.
_LAST: dict[str, tuple[tuple[str, str], pl.DataFrame]] = {}


def _measured(book: RunBook) -> pl.DataFrame:
    key = (str(book.store.folder), book.head["assessment_folder"])
    return _kept("measured", key, lambda: measured_and_placed(book))


def _kept(name: str, key: tuple[str, str], read: Callable[[], pl.DataFrame]) -> pl.DataFrame:
    # Pages are composed on several threads: what is given back is what was compared, whatever another keeps meanwhile.
    known = _LAST.get(name)
    if known is None or known[0] != key:
        known = _LAST[name] = (key, read())
    return known[1]


def _logged(book: RunBook) -> pl.DataFrame:
    key = (str(book.store.folder), book.head["load_folder"])
    return _kept(
        "logged", key, lambda: read_frame(book.store, book.head["load_folder"], "logged", or_thinned=True)
    )


def _requirement(book: RunBook, row: Row) -> Row | None:
    """The judgement of the finding's limit on its reel."""
    return next(
        (
            one
            for one in book.requirements
            if one["reel_id"] == row["reel_id"] and one["limit_id"] and one["limit_id"] == row["limit_id"]
        ),
        None,
    )


def _window(book: RunBook, measured: pl.DataFrame, row: Row) -> tuple[Trace, ...]:
    """Quantities over the evidence window, at full rate; each by its own place on the wire."""
    traces = []
    frame, titles = judged_traces(book, measured)
    for name, _, unit, panel, place in TRACES:
        if place in frame.columns:
            inside = frame.filter(pl.col(place).is_between(row["evidence_from_m"], row["evidence_to_m"]))
            if inside.height == 0:
                continue
            trace = trace_of(inside, places_of(inside, place), name, titles[name], unit, panel)
            if trace is not None:
                traces.append(trace)
    return tuple(traces)


def _section(book: RunBook, row: Row, frame: pl.DataFrame) -> SectionProfile | None:
    """The wall around the wire at the worst reading, as the wall gauge read it."""
    if row["row"] is None or "wall" not in row["families"]:
        return None
    run, line = sheets_of(book.store, book.head)
    gauge = line.instrument("wall gauge")
    here = frame.filter(pl.col("row") == row["row"])
    if gauge is None or not gauge.sensors or here.height == 0 or here["thin_angle_deg"][0] is None:
        return None
    logged = _logged(book).filter(pl.col("row") == row["row"])
    names = [f"wall_{number}_mm" for number in range(1, gauge.sensors + 1)]
    covering = run.covering.mean_mm if run.covering and gauge.sees == "insulation and covering" else 0.0
    walls = np.array([_figure(logged, name) - covering for name in names])
    limits = [one["value"] for one in book.limits if one["requirement"] == "minimum wall at any point"]
    return SectionProfile(
        at_m=float(here["wall_at_m"][0]),
        conductor_mm=_conductor_mm(book),
        mean_wall_mm=float(here["mean_wall_mm"][0]),
        eccentricity_mm=float(here["eccentricity_mm"][0]),
        thin_angle_deg=(gauge.first_angle_deg + float(here["thin_angle_deg"][0])) % 360.0,
        sensor_angles_deg=(gauge.first_angle_deg + 360.0 * np.arange(gauge.sensors) / gauge.sensors) % 360.0,
        sensor_walls_mm=walls,
        limit_mm=max(limits) if limits else None,
    )


def _figure(frame: pl.DataFrame, name: str) -> float:
    value = frame[name][0] if name in frame.columns and frame.height else None
    return float("nan") if value is None else float(value)


def _conductor_mm(book: RunBook) -> float:
    head = book.head
    return find_product(head["construction"], head["size"], head["conductor"], head["metal"]).conductor_mm


def _averaged_m(row: Row, frame: pl.DataFrame | None) -> float | None:
    """Wire that the worst reading averages over, by the distance to its neighbours [m]; None if not known."""
    if frame is None or row["row"] is None or "wall" not in row["families"]:
        return None
    near = frame.filter(pl.col("row").is_between(max(row["row"] - 1, 0), row["row"] + 1))[
        "wall_at_m"
    ].drop_nulls()
    return float(np.diff(near.sort().to_numpy()).mean()) if near.len() > 1 else None


def _noise_told(book: RunBook, row: Row, requirement: Row | None) -> tuple[Message, ...]:
    """How many readings noise alone would put beyond the limit on wire like the rest of the reel."""
    if requirement is None or not requirement["uncertainty"] or row["limit_value"] is None:
        return ()
    column = RULE_BY_ID[row["rule"]].column
    reel = next(
        (one for one in book.reel_summaries if (one["reel_id"], one["quantity"]) == (row["reel_id"], column)),
        None,
    )
    if reel is None or reel["mean"] is None or not reel["known_m"]:
        return ()
    away = reel["mean"] - row["limit_value"]
    margin = away if requirement["sense"] == "at least" else -away
    dense = reel["readings"] / reel["known_m"]
    rates = {
        name: false_events_per_km(margin, requirement["uncertainty"], dense, k)
        for name, k in (("single", 1), ("pair", 2))
    }
    told = {
        name if rate >= RARELY_PER_KM else f"{name}_under": Measure(max(rate, RARELY_PER_KM), "per km")
        for name, rate in rates.items()
    }
    return (message(PageNote.NOISE, **told),)


def _how_sure(
    row: Row, requirement: Row | None, averaged_m: float | None = None, noise: tuple[Message, ...] = ()
) -> tuple[Message, ...]:
    """The decision rule, and how likely the wire conforms at the worst reading (JCGM 106:2012, 7.3).

    Args:
        row: the finding.
        requirement: the judgement of its limit on its reel.
        averaged_m: wire that one reading averages over, which its uncertainty says nothing of [m].
        noise: what noise alone would do.
    """
    if requirement is None:
        return ()
    rule, u = message(PageNote.RULE, rule=rule_of(requirement) or ""), requirement["uncertainty"]
    if row["worst"] is None or row["limit_value"] is None:
        return (rule,)
    if not u:
        return rule, message(PageNote.NO_UNCERTAINTY)
    likely = chance_it_conforms(row["worst"], row["limit_value"], u, requirement["sense"])
    chance = "not known" if likely is None else chance_shown(likely)
    told = [rule, message(PageNote.PROBABILITY, u=Measure(u, row["unit"]), chance=chance)]
    if averaged_m is not None:
        told.append(message(PageNote.AVERAGED, length=Measure(averaged_m, "m")))
    return *told, *noise


def _log_lines(book: RunBook, row: Row, frame: pl.DataFrame) -> tuple[Evidence, ...]:
    """The log lines behind the finding: of a measured quantity its worst readings, worst first."""
    rule = RULE_BY_ID[row["rule"]]
    files = {one["file_no"]: one for one in book.files}
    if not rule.column or rule.column not in frame.columns:
        return tuple(
            _evidence(book, row, files, one["file_no"], one["line"], one["at_m"], None)
            for one in book.events
            if row["from_m"] <= one["at_m"] <= row["to_m"]
        )
    sense = next((one["sense"] for one in book.limits if one["limit_id"] == row["limit_id"]), "at least")
    inside = (
        frame.filter(pl.col(rule.at_column).is_between(row["from_m"], row["to_m"]))
        .select("row", rule.at_column, rule.column)
        .drop_nulls()
        .sort(rule.column, descending=sense == "at most", maintain_order=True)
        .head(LINES_SHOWN)
    )
    logged = _logged(book).select("row", "file_no", "line")
    lines = inside.join(logged, on="row", how="left", maintain_order="left")
    return tuple(
        _evidence(book, row, files, one["file_no"], one["line"], one[rule.at_column], one["row"])
        for one in lines.iter_rows(named=True)
    )


def _evidence(
    book: RunBook,
    row: Row,
    files: dict[int, dict[str, Any]],
    file_no: int,
    line: int,
    at_m: float,
    reading: int | None,
) -> Evidence:
    file = files.get(file_no, {})
    return Evidence(
        assessment_id=str(book.head["assessment_id"]),
        run_id=book.run_id,
        at_m=at_m,
        row=reading,
        instrument_id=row["instruments"],
        file=file.get("name", ""),
        line=line,
        file_sha256=file.get("sha256", ""),
        finding_id=row["finding_id"],
        limit_id=row["limit_id"],
    )


def same_cause(row: Row, other: Row) -> bool:
    """Whether two findings point to the same roll, instrument, change or phase; a finding is not its own other."""
    alike = (other["cause"], other["cause_of"]) == (row["cause"], row["cause_of"])
    return bool(row["cause_of"]) and alike and other["finding_id"] != row["finding_id"]


def _same_cause(row: Row, books: list[RunBook]) -> tuple[FindingRow, ...]:
    return tuple(finding_row(book, one) for book in books for one in book.findings if same_cause(row, one))


def _lots_there(book: RunBook, row: Row) -> tuple[LotRow, ...]:
    """Material lots that served the wire of the finding."""
    return tuple(
        lot
        for lot in lot_rows(book)
        if (lot.from_m is None or lot.from_m < row["to_m"]) and (lot.to_m is None or lot.to_m > row["from_m"])
    )

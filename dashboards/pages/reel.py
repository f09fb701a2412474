"""The reel page: may it leave, what is where on it, and where it would be cut.

The record of the reel page: a map of the reel with its findings, its roll-ups and the lots in it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dashboards.figures.along import along_figure, is_band, own_limits
from dashboards.fillers.decisions import disposition_rows
from dashboards.fillers.rows import finding_row, lot_rows, product_row, reel_row, stamp_of
from dashboards.fillers.run import PANEL_OF
from dashboards.fillers.run_book import Row, RunBook
from dashboards.fillers.unseen import unseen_of_reel
from dashboards.pages.run_summary import requirements_of, results_by_topic, unanswered
from dashboards.pages.shift import point_limit
from dashboards.records import (
    GATE_OF,
    ChildLength,
    CutPiece,
    CuttingPlan,
    DispositionRow,
    LotRow,
    PanelLimit,
    Plant,
    ReelReview,
    RollUp,
    SampleRow,
)
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.errors import MethodRefusal, ReelproofError, in_words
from pipeline.length.reel_places import place_on_reel
from pipeline.messages import Said
from pipeline.nonconformance.cut_instructions import CAUTION, counter_start
from pipeline.nonconformance.cutting_plan import Piece
from pipeline.nonconformance.cutting_rules import Unit
from pipeline.products.limits import limit_on_file
from pipeline.record.cutting_on_file import NothingToCut, plan_for_reel
from pipeline.record.genealogy_of_store import sheets_of
from pipeline.record.sample_say import NOTHING
from pipeline.steps.measure import STRETCH_M
from pipeline.units import foot_from_m

# What a length on file is in a plan; one rewound whole is shown as the lengths wound from it.
CUT_USE = {"package": "ship", "stock": "remnant", "scrap": "scrap"}

# Column with the mean of a stretch, its lowest and highest, the title and the unit.
ROLL_UPS: tuple[tuple[str, str, str, str, str, str], ...] = (
    (
        "mean_wall_mm",
        "mean_wall_mm",
        "mean_wall_low_mm",
        "mean_wall_high_mm",
        "Mean insulation wall",
        "mm",
    ),
    (
        "thinnest_wall_mm",
        "thinnest_wall_mm",
        "thinnest_wall_mm",
        "thinnest_wall_mm",
        "Thinnest insulation wall",
        "mm",
    ),
    ("diameter_mm", "diameter_mm", "diameter_low_mm", "diameter_high_mm", "Overall diameter, cold", "mm"),
    (
        "concentricity_pct",
        "concentricity_low_pct",
        "concentricity_low_pct",
        "concentricity_low_pct",
        "Lowest concentricity, thinnest/thickest",
        "%",
    ),
)


def reel_review(plant: Plant, book: RunBook, reel: Row) -> ReelReview:
    """Everything the reel page shows of one reel."""
    plan, no_plan = plan_of(book, reel)
    return ReelReview(
        plant=plant,
        reel=reel_row(book, reel),
        product=product_row(book),
        roll_ups=_roll_ups(book, reel),
        limits=tuple(
            PanelLimit(PANEL_OF[row["requirement"]], limit_on_file(row))
            for row in book.limits
            if row["requirement"] in PANEL_OF
        ),
        findings=tuple(finding_row(book, row) for row in book.findings if row["reel_id"] == reel["reel_id"]),
        dispositions=_dispositions(book, reel["reel_id"]),
        answers=book.answers("reel", reel["reel_id"]),
        plan=plan,
        no_plan=no_plan,
        lots=_lots_of(book, reel),
        children=_children(book, reel),
        shift_id=book.shift_id,
        stamp=replace(stamp_of([book], {reel["reel_id"]}), unseen=unseen_of_reel(book, reel)),
        samples=_samples(book, reel["reel_id"]),
    )


def _samples(book: RunBook, reel_id: str) -> tuple[SampleRow, ...]:
    """Laboratory samples that bear on the reel, its own first."""
    said = book.shelf.samples(book.run_id).get(reel_id, NOTHING)
    return tuple(
        SampleRow(
            one.sample_id,
            one.reel_id,
            one.from_outer_m,
            one.quantity.told,
            one.quantity.unit,
            one.value,
            one.uncertainty,
            one.line.line if one.line else None,
            one.verdict,
            one.measured_by,
            one.instrument,
            one.withdrawn,
        )
        for one in (*said.own, *said.others)
    )


def _dispositions(book: RunBook, reel_id: str) -> tuple[DispositionRow, ...]:
    """Every decision on the reel and on what was found on it, oldest first."""
    subjects = [reel_id, *(name for name, reel in book.decided.reel_of.items() if reel == reel_id)]
    rows = [row for subject in subjects for row in disposition_rows(book, subject)]
    return tuple(sorted(rows, key=lambda row: int(row.journal_entry)))


def _children(book: RunBook, reel: Row) -> tuple[ChildLength, ...]:
    """Lengths cut from the reel, from its outer end."""
    now = {one.length_id: one.headline for one in book.standings[reel["reel_id"]].lengths}
    return tuple(
        ChildLength(
            row["length_id"],
            row["from_outer_m"],
            row["to_outer_m"],
            f"shipped in {row['shipment']} to {row['to_place']}" if row["shipment"] else "",
            now[row["length_id"]],
            row["turned"],
            row["source_id"],
        )
        for row in book.cuts
        if row["reel_id"] == reel["reel_id"]
    )


def plan_of(book: RunBook, reel: Row) -> tuple[CuttingPlan | None, tuple[Said, ...]]:
    """The cutting plan of a reel with lengths that must go, or why none can be made; neither where none is needed."""
    if GATE_OF[book.standings[reel["reel_id"]].code] not in ("held", "left") or not book.is_judged:
        return None, ()
    try:
        planned = plan_for_reel(book.store, reel["reel_id"])
    except NothingToCut as refused:
        return None, refused.why
    except MethodRefusal as refused:
        return None, tuple(f"{in_words(one.found)}." for one in refused.complaints)
    except ReelproofError:
        return None, ()  # nothing of it is left to cut
    if not planned.bad:
        return None, ()
    pieces = [
        CutPiece(
            one.from_m,
            one.to_m,
            {"sale": "ship", "remnant": "remnant", "scrap": "scrap"}[one.kind],
            _label(one, planned.plan.unit),
        )
        for one in planned.plan.pieces
    ]
    pieces += [
        CutPiece(
            row["from_outer_m"],
            row["to_outer_m"],
            CUT_USE[row["use"]],
            f"{row['length_id']}, cut",
        )
        for row in book.cuts
        if row["reel_id"] == reel["reel_id"] and row["use"] in CUT_USE
    ]
    plan = CuttingPlan(
        pieces=tuple(sorted(pieces, key=lambda one: one.from_m)),
        value=planned.plan.value,
        naive_value=planned.naive.value,
        value_unit=planned.currency or "in the plant's currency",
        told=planned.told,
        counter=counter_start(planned.begun_m, planned.plan.unit),
        instructions=(*(one.sentence for one in planned.steps), CAUTION),
        gone=planned.gone,
    )
    return plan, ()


def _label(piece: Piece, unit: Unit) -> str:
    """What a piece becomes, in the unit of the plant's counter."""
    if piece.kind == "scrap":
        return ""
    length = piece.sold_m if piece.kind == "sale" else piece.to_m - piece.from_m
    figure = foot_from_m(length) if unit == "ft" else length
    return f"{figure:,.1f}".removesuffix(".0") + f"\u00a0{unit}"


def _lots_of(book: RunBook, reel: Row) -> tuple[LotRow, ...]:
    """Lots that served the reel's stretch of the counter."""
    start, end = reel.get("from_counter_m", 0.0), reel.get("to_counter_m", float("inf"))
    return tuple(
        lot
        for lot in lot_rows(book)
        if (lot.from_m is None or lot.from_m < end) and (lot.to_m is None or lot.to_m > start)
    )


def _roll_ups(book: RunBook, reel: Row) -> tuple[RollUp, ...]:
    inside = [row for row in book.stretches if row["to_m"] > reel["from_m"] and row["from_m"] < reel["to_m"]]
    if not inside:
        return ()

    def column(name: str) -> NDArray[np.float64]:
        return np.array([row[name] if row[name] is not None else np.nan for row in inside])

    # The reel's wire lies on it the other way round: what was made last comes off first.
    inside = inside[::-1]
    # A step of the run may begin on the reel before.
    from_m = np.array([max(place_on_reel(row["to_m"], reel["to_m"]), 0.0) for row in inside])
    worse_mm = _worse_by_mm(book)
    made = []
    for name, mean, low, high, title, unit in ROLL_UPS:
        if np.isfinite(column(mean)).any():
            figures = [column(one) for one in (low, mean, high)]
            if worse_mm and name == "thinnest_wall_mm":
                title, figures = f"{title} (worse bound)", [one - worse_mm for one in figures]
            made.append(RollUp(name, title, unit, from_m, STRETCH_M, *figures))
    return tuple(made)


def _worse_by_mm(book: RunBook) -> float:
    """How far the thinnest wall's worse bound lies below its reading [mm]; 0 where the gauge reads the insulation."""
    run, line = sheets_of(book.store, book.head)
    gauge = line.instrument("wall gauge")
    is_bounded = run.covering is not None and gauge is not None and gauge.sees == "insulation and covering"
    return run.covering.offset_mm if is_bounded and run.covering else 0.0


def _drawn(roll_up: RollUp, record: ReelReview) -> str:
    """What the figure of a quantity shows, as its caption ends."""
    drawn = "band from lowest to highest reading, line the mean" if is_band(roll_up) else "one value per step"
    return drawn + ("; limits dashed" if own_limits(roll_up, record.limits) else "")


def write_reel_page(record: ReelReview, site: Site) -> WrittenFile:
    """Writes the reel page.

    Args:
        record: what it shows.
        site: where.
    """
    length_m = record.reel.to_m - record.reel.from_m
    figures = [
        (f"along-{number}", roll_up, along_figure(roll_up, record.limits, length_m), _drawn(roll_up, record))
        for number, roll_up in enumerate(record.roll_ups)
    ]
    return write_page(
        site,
        "reel",
        record.reel.reel_id,
        "reel.html.j2",
        record,
        plots=bool(figures),
        figures=figures,
        requirements=requirements_of(record.answers, (record.reel,)),
        topics=results_by_topic(record.answers),
        unanswered=unanswered(record.answers),
        point_limit=point_limit(record.reel),
        kinds=sorted({one.kind for one in record.reel.intervals}),
    )

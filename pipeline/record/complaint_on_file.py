"""A complaint names a reel or a shipped length and a footage mark: the whole record of the wire around it."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import polars as pl

from pipeline.errors import Complaint, NotFoundError
from pipeline.length.reel_places import Unit, in_unit, metres
from pipeline.length.reels import PlacedReel
from pipeline.lots.complaint import (
    BOUNDED,
    WORSE_BOUND,
    ComplaintRecord,
    CutFrom,
    Marks,
    WirePlace,
    complaint_record,
    findings_at,
    wire_at_mark,
)
from pipeline.lots.field_damage import GUIDE, DamageRule
from pipeline.messages import Measure, Message, message
from pipeline.products.product import find_product
from pipeline.record.decided import acts_of_run
from pipeline.record.finding_on_file import finding_of
from pipeline.record.lengths import GONE, lengths_of_reel, lengths_on_file, marks_told
from pipeline.record.not_found import not_on_file, reel_not_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.printed_mark import wire_at_printed
from pipeline.record.reel_and_lot import end_unsure_m
from pipeline.record.standing import standing_of
from pipeline.record.which_wire import check_known
from pipeline.sheets.line_sheet import LineSheet
from pipeline.sheets.run_sheet import RunSheet
from pipeline.store.readings import read_frame
from pipeline.store.said_columns import reason_of
from pipeline.wall.two_layers import insulation_between
from pipeline.why import AtMark
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.nonconformance.finding import Finding
    from pipeline.store.database import Store

Row = dict[str, Any]
REACH_M = 10.0


@dataclass(frozen=True, slots=True)
class AnsweredComplaint:
    """What is on record about the wire a complaint is about.

    Args:
        name: the reel or length asked about.
        reel: its reel, as the newest judgement shows it.
        record: the record around the mark.
        finding_ids: names on file of the findings that meet the wire, those near it, and those of the same cause.
        lots: material lots in the wire there.
        decisions: what was decided about the reel and its findings, a sentence each.
        whereabouts: where the wire went, a sentence; "" where nothing is on file.
        length_told: of a length, how it lies on its reel and by which marks it was gone; None for a reel.
        guide: what is usual about damage in the field.
        unit: the plant's unit of length.
        standing: how the reel or length stands now.
        alarms: wire of the reel that is out and might not have left.
    """

    name: str
    reel: Row
    record: ComplaintRecord
    finding_ids: dict[str, tuple[str, ...]]
    lots: tuple[Row, ...]
    decisions: tuple[str, ...]
    whereabouts: str
    length_told: Message | None
    guide: tuple[DamageRule, ...]
    unit: Unit
    standing: str
    alarms: tuple[Message, ...]


def answer_complaint(
    store: Store,
    name: str,
    mark: float,
    marks: Marks,
    reach_m: float = REACH_M,
    *,
    printed: bool = False,
    as_told: bool = False,
    from_core: bool = False,
) -> AnsweredComplaint:
    """The whole record of the wire around a footage mark.

    Args:
        store: the store, open to read.
        name: a reel, or a length cut from one.
        mark: the mark as read off the wire.
        marks: how the marks run on it.
        reach_m: how far to either side to look [m].
        as_told: True to go by the marks told when a length was rewound, where any were.
        from_core: True where `mark` is a place counted from the core end of the reel or length.
        printed: True where `mark` is the printed length, to be found by the marks surveyed on the run.

    Raises:
        NotFoundError: the reel, its readings or the mark is not on file.
    """
    check_known(store, name)
    reel, cut = _reel_and_cut(store, name)
    plant, _ = plant_sheet_of(store, reel["run_id"])
    unit = plant.unit
    if reel["from_m"] is None or reel["outcome"] != "judged":
        why = reason_of(reel)
        why_told = "it was never assessed" if why is None else plain(why, "us" if unit == "ft" else "si")
        raise NotFoundError(
            Complaint(
                f"reel {reel['reel_id']}",
                f"no reading of it has a place on the wire: {why_told.rstrip('.')}",
                "Mend what the reason names, load the run again and assess it",
            )
        )
    unsure = end_unsure_m(store, reel["assessment_id"]).get(reel["reel_id"], 0.0)
    placed = PlacedReel(reel["reel_id"], reel["from_m"], reel["to_m"], 0.0, 0.0, unsure)
    (head,) = store.ask("questions/judged_run", run_id=reel["run_id"])
    if from_core:
        length_m = placed.length_m if cut is None else cut.to_m - cut.from_m
        marks = Marks(in_unit(length_m, marks.unit), rising=False, unit=marks.unit)
    told = _marks_told(store, name) if as_told and not printed else None
    run, line = _sheets(store, head)
    if printed:
        printed_m = metres(mark, marks.unit)
        place = wire_at_printed(run, placed, line.take_up_station_m, printed_m, cut, unit)
    else:
        if told is not None:
            mark, marks = in_unit(metres(mark, marks.unit), told.unit), told
        place = wire_at_mark(placed, mark, marks, cut=cut)
    rows = store.ask("questions/findings_of_assessment", assessment_id=reel["assessment_id"])
    findings = [finding_of(row) for row in rows]
    elsewhere = _findings_elsewhere(store, reel["run_id"], findings_at(place, findings))
    record = complaint_record(
        place,
        _with_worse_bound(
            read_frame(store, head["assessment_folder"], "measured", or_thinned=True), run, line
        ),
        store.ask_frame("questions/events_of_assessment", assessment_id=reel["assessment_id"]),
        findings,
        [finding_of(row) for row in elsewhere],
        reach_m=reach_m,
    )
    ids = {(row["run_id"], row["number"]): row["finding_id"] for row in (*rows, *elsewhere)}
    return AnsweredComplaint(
        name,
        reel,
        record,
        {
            "here": tuple(ids[one.run_id, one.number] for one in record.findings),
            "near": tuple(ids[one.run_id, one.number] for one in record.near),
            "same cause": tuple(ids[one.run_id, one.number] for one in record.same_cause),
        },
        _lots_at(store, head["load_id"], place.wire_m, place.unsure_m),
        _decisions(store, reel, {ids[one.run_id, one.number] for one in (*record.findings, *record.near)}),
        _whereabouts(store, name, place, plant.zone),
        _length_told(cut, reel["reel_id"], told),
        _guide_for(head),
        unit,
        *_standing(store, name, reel["reel_id"]),
    )


def _with_worse_bound(measured: pl.DataFrame, run: RunSheet, line: LineSheet) -> pl.DataFrame:
    """Measured readings, with the worse bound of the thinnest wall where it is known between bounds only."""
    gauge = line.instrument("wall gauge")
    between = insulation_between(measured, gauge, run.covering) if gauge is not None else {}
    if BOUNDED not in between:
        return measured
    return measured.with_columns(pl.Series(WORSE_BOUND, between[BOUNDED][0]).fill_nan(None))


def _reel_and_cut(store: Store, name: str) -> tuple[Row, CutFrom | None]:
    cuts = {row["length_id"]: row for row in lengths_on_file(store)}
    cut = cuts.get(name)
    reel_id = cut["reel_id"] if cut else name
    found = store.ask("questions/reel", reel_id=reel_id)
    if not found:
        if store.ask("questions/reels_no_longer_judged", reels=[reel_id]):
            raise reel_not_on_file(store, reel_id)
        known = [row["reel_id"] for row in store.ask("questions/reel_ids")]
        raise not_on_file("reel or cut length", name, [*known, *cuts])
    if cut is None:
        return found[0], None
    return found[0], CutFrom(name, cut["from_outer_m"], cut["to_outer_m"], cut["turned"])


def _length_told(cut: CutFrom | None, reel_id: str, marks: Marks | None) -> Message | None:
    """How a length lies on its reel, and the marks told of it where these were gone by."""
    if cut is None:
        return None
    gone_by = ""
    if marks is not None:  # as they stand on the wire, in their own unit
        run = f"{'rise' if marks.rising else 'fall'} to the core from {marks.outer_mark:.1f} {marks.unit}"
        gone_by = f" By what was told when it was rewound, marks {run}."
    outer = Measure(cut.to_m if cut.turned else cut.from_m, "m")
    code = AtMark.TURNED_LENGTH if cut.turned else AtMark.LENGTH
    return message(code, length=cut.name, outer=outer, reel=reel_id, marks=gone_by)


def _marks_told(store: Store, name: str) -> Marks | None:
    told = marks_told(store, name)
    return None if told is None else Marks(told[0], told[1], "m" if told[2] == "m" else "ft")


def _is_gone(store: Store, name: str) -> bool:
    """Whether a length holds nothing any more, all of it being rewound."""
    return any(row["length_id"] == name and row["use"] == GONE for row in lengths_on_file(store))


def _standing(store: Store, name: str, reel_id: str) -> tuple[str, tuple[Message, ...]]:
    """How the reel or length stands now, and every alarm about the reel's wire."""
    now = standing_of(store, reel_id)
    return next((one.code for one in now.lengths if one.length_id == name), now.code), now.alarms


def _guide_for(head: Row) -> tuple[DamageRule, ...]:
    """The guide's rows for the wire's build: rows about a covering only where it has one."""
    product = find_product(head["construction"], head["size"], head["conductor"], head["metal"])
    return tuple(one for one in GUIDE if product.covering is not None or one.reaches != "covering")


def _findings_elsewhere(store: Store, run_id: str, here: Iterable[Finding]) -> list[Row]:
    """Findings of the newest judgement of every other run that point to the cause of any of these."""
    causes = sorted({(one.cause.kind, one.cause.of) for one in here if one.cause.of})
    if not causes:
        return []
    kinds, of = zip(*causes, strict=True)
    return store.ask("questions/findings_elsewhere", run_id=run_id, causes=kinds, causes_of=of)


def _sheets(store: Store, head: Row) -> tuple[RunSheet, LineSheet]:
    """The run's own sheet and its line's, as they were loaded."""
    run, line = (
        tomllib.loads(store.ask("questions/sheet", sha256=head[f"{kind}_sheet_sha256"])[0]["text"])
        for kind in ("run", "line")
    )
    return RunSheet.model_validate(run["run"]), LineSheet.model_validate(line["line"])


def _lots_at(store: Store, load_id: int, wire_m: float, unsure_m: float) -> tuple[Row, ...]:
    """Material lots that served the line when the wire was at the die."""
    return tuple(
        row
        for row in store.ask("questions/materials_of_load", load_id=load_id)
        if (row["from_m"] is None or row["from_m"] <= wire_m + unsure_m)
        and (row["to_m"] is None or row["to_m"] >= wire_m - unsure_m)
    )


def _decisions(store: Store, reel: Row, findings: set[str]) -> tuple[str, ...]:
    decided = acts_of_run(store, reel["run_id"])
    return tuple(
        f"{subject}: {act}."
        for subject in (reel["reel_id"], *sorted(findings))
        for act in decided.on(subject)
    )


def _whereabouts(store: Store, name: str, place: WirePlace, zone: str) -> str:
    """Where the wire at the place went, as far as it is on file."""
    held = [place.reel_id] if _is_gone(store, name) else [name, place.reel_id]
    cut = [
        row["length_id"]
        for row in lengths_of_reel(store, place.reel_id)
        if row["from_outer_m"] <= place.from_outer_m <= row["to_outer_m"] and row["use"] != GONE
    ]
    told = f"It is on length {cut[0]} by what is on file. " if cut and cut[0] != name else ""
    for row in store.ask("questions/shipments"):
        if row["item"] in (*cut, *held):
            at = row["at_utc"] and row["at_utc"].replace(tzinfo=UTC).astimezone(ZoneInfo(zone))
            when = f" on {at:%Y-%m-%d}" if at else ""
            return f"{told}{row['item']} left{when} in shipment {row['shipment']} for {row['to_place']}."
    return told.rstrip()

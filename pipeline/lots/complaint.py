"""A complaint names a reel and a footage mark: what is on record of that wire and of wire like it?

The record is what in-line instruments saw while the wire was made. It can show a cause in the plant; it cannot
show that there was none, nor what happened to the wire since.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import polars as pl

from pipeline.errors import Complaint, NotFoundError
from pipeline.length.reel_places import (
    Unit,
    from_other_end,
    metres,
    place_on,
    told_on_reel,
    wire_of_place,
)
from pipeline.length.reels import PlacedReel
from pipeline.lots.field_damage import CAUTIONS
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.finding import Finding
from pipeline.why import AtMark


@dataclass(frozen=True, slots=True)
class Marks:
    """How the footage marks printed on the wire run.

    Args:
        outer_mark: the mark at the end that comes off the reel first, in `unit`.
        rising: True if marks rise towards the core.
        unit: ft or m.
    """

    outer_mark: float
    rising: bool = True
    unit: Unit = "ft"


@dataclass(frozen=True, slots=True)
class CutFrom:
    """A shipped length's place on its reel, from the reel's outer end [m].

    Args:
        name: the length.
        from_m: where it begins on the reel [m].
        to_m: where it ends [m].
        turned: True if it was rewound since, so that its own outer end lies at `to_m`.
    """

    name: str
    from_m: float
    to_m: float
    turned: bool = False


@dataclass(frozen=True, slots=True)
class WirePlace:
    """The wire a complaint is about.

    Args:
        reel_id: the reel.
        from_outer_m: place on the reel, from its outer end [m].
        from_core_m: the same from its core end [m].
        wire_m: place on the wire of the run [m].
        unsure_m: how well that is known [m].
        why_unsure: what that comes from.
    """

    reel_id: str
    from_outer_m: float
    from_core_m: float
    wire_m: float
    unsure_m: float
    why_unsure: tuple[Message, ...] = ()


def wire_at_mark(
    reel: PlacedReel, mark: float, marks: Marks, *, cut: CutFrom | None = None, unsure_m: float = 1.0
) -> WirePlace:
    """The wire at a footage mark.

    Args:
        reel: the reel as placed.
        mark: the mark read off the wire, in the marks' unit.
        marks: how the marks run on this reel, or on the shipped length where `cut` is given and carries its own.
        cut: the shipped length, if the mark counts along it and not along the reel.
        unsure_m: how well a mark is read and places are known [m].

    Raises:
        NotFoundError: the mark lies outside the reel or the length.
    """
    along = metres(mark - marks.outer_mark if marks.rising else marks.outer_mark - mark, marks.unit)
    length = reel.length_m if cut is None else cut.to_m - cut.from_m
    name = f"reel {reel.id}" if cut is None else f"length {cut.name}"
    if not -unsure_m <= along <= length + unsure_m:
        ends = [
            marks.outer_mark,
            marks.outer_mark + (1 if marks.rising else -1) * length / metres(1, marks.unit),
        ]
        raise NotFoundError(
            Complaint(
                name,
                f"the mark {mark:g} {marks.unit} is not on it",
                f"Its marks run from {min(ends):.0f} to {max(ends):.0f} {marks.unit}; read the mark again",
            )
        )
    along = min(max(along, 0.0), length)
    if cut is not None:
        along = cut.to_m - along if cut.turned else cut.from_m + along
    why = message(AtMark.READING, unsure=Measure(unsure_m, "m"))
    return WirePlace(
        reel.id,
        along,
        from_other_end(along, reel.length_m),
        wire_of_place(along, reel.to_m),
        unsure_m + reel.end_unsure_m,
        (why, *end_unsure_told(reel)),
    )


def end_unsure_told(reel: PlacedReel) -> tuple[Message, ...]:
    """What an accumulator leaves unsure about the ends of a reel, to end a list of reasons; none where nothing."""
    if reel.end_unsure_m <= 0.0:
        return ()
    return (message(AtMark.ACCUMULATOR, unsure=Measure(reel.end_unsure_m, "m")),)


def readings_around(readings: pl.DataFrame, at_column: str, place: WirePlace, reach_m: float) -> pl.DataFrame:
    """The readings of the wire around a place, within reach and the doubt about the place itself.

    Args:
        readings: measured readings of the run.
        at_column: their place on the wire [m].
        place: the wire asked about.
        reach_m: how far to either side [m].
    """
    reach = reach_m + place.unsure_m
    inside = pl.col(at_column).is_between(place.wire_m - reach, place.wire_m + reach)
    return readings.filter(inside).sort(at_column, maintain_order=True)


@dataclass(frozen=True, slots=True)
class ComplaintRecord:
    """The record of the wire a complaint is about.

    Args:
        place: where on the wire.
        around: tables of readings and events around it, by name.
        figures: least, mean and greatest of each measured quantity there, by column.
        findings: findings that meet the wire asked about.
        near: findings on the same reel within reach.
        same_cause: findings elsewhere with the same likely cause.
        told: what a reader must know.
        cautions: cautions for whoever handles the wire.
    """

    place: WirePlace
    around: Mapping[str, pl.DataFrame]
    figures: pl.DataFrame
    findings: tuple[Finding, ...]
    near: tuple[Finding, ...]
    same_cause: tuple[Finding, ...]
    told: tuple[Message, ...]
    cautions: tuple[str, ...]


FIGURES = {
    "mean_wall_mm": "wall_at_m",
    "thinnest_wall_mm": "wall_at_m",
    "eccentricity_mm": "wall_at_m",
    "diameter_mm": "diameter_at_m",
    "ovality_mm": "diameter_at_m",
}
# Under a covering the thinnest wall is known between bounds: as a requirement is judged, the worse one is told.
BOUNDED, WORSE_BOUND = "thinnest_wall_mm", "thinnest_wall_low_mm"


def _figures(measured: pl.DataFrame, place: WirePlace, reach_m: float) -> pl.DataFrame:
    rows = []
    for named, at_column in FIGURES.items():
        column = WORSE_BOUND if named == BOUNDED and WORSE_BOUND in measured.columns else named
        if column not in measured.columns:
            continue
        values = readings_around(measured, at_column, place, reach_m)[column].drop_nulls().drop_nans()
        rows.append(
            {
                "quantity": column,
                "readings": values.len(),
                "least": values.min(),
                "mean": values.mean(),
                "greatest": values.max(),
            }
        )
    schema = {
        "quantity": pl.String,
        "readings": pl.Int64,
        "least": pl.Float64,
        "mean": pl.Float64,
        "greatest": pl.Float64,
    }
    return pl.DataFrame(rows, schema=schema)


def _seen_m(at: pl.Series, low: float, high: float, hole_m: float) -> float:
    """Wire between two places that lies no further than half a hole from a reading [m]."""
    if at.len() == 0:
        return 0.0
    starts = (at - hole_m / 2.0).clip(low, high)
    ends = (at + hole_m / 2.0).clip(low, high)
    # Readings are in order, so what a reading adds begins where the one before it ended.
    begun = pl.select(pl.max_horizontal(starts, ends.shift(1, fill_value=low))).to_series()
    return float((ends - begun).clip(0.0).sum())


def findings_at(place: WirePlace, findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """The findings that meet a place on the wire, as far as it is known where that is."""
    low, high = place.wire_m - place.unsure_m, place.wire_m + place.unsure_m
    return tuple(one for one in findings if one.from_m <= high and one.to_m >= low)


def complaint_record(
    place: WirePlace,
    measured: pl.DataFrame,
    events: pl.DataFrame,
    findings: Sequence[Finding],
    elsewhere: Sequence[Finding] = (),
    *,
    reach_m: float = 10.0,
    hole_m: float = 2.0,
) -> ComplaintRecord:
    """Everything on record around a place on the wire.

    Args:
        place: the wire asked about.
        measured: measured readings of the run, with their worse bound (`WORSE_BOUND`) where only bounds are known.
        events: spark faults and surface flaws placed on the wire (column ``at_m``).
        findings: findings of the run.
        elsewhere: findings of other runs, to look for the same cause.
        reach_m: how far to either side to look [m].
        hole_m: distance between readings beyond which the wire between is not known [m].

    Returns:
        the record; a place without a reading is told as not known, never as sound.
    """
    reach = reach_m + place.unsure_m
    low, high = place.wire_m - reach, place.wire_m + reach
    seen_here = (
        measured.filter(pl.col("thinnest_wall_mm").is_not_null())
        if "thinnest_wall_mm" in measured
        else measured
    )
    around = {
        "wall": readings_around(measured, "wall_at_m", place, reach_m),
        "diameter": readings_around(measured, "diameter_at_m", place, reach_m),
        "events": readings_around(events, "at_m", place, reach_m),
    }
    own = findings_at(place, findings)
    near = tuple(one for one in findings if one not in own and one.from_m <= high and one.to_m >= low)
    causes = {(one.cause.kind, one.cause.of) for one in own if one.cause.of}
    alike = tuple(
        one for one in (*findings, *elsewhere) if (one.cause.kind, one.cause.of) in causes and one not in own
    )
    seen = _seen_m(readings_around(seen_here, "wall_at_m", place, reach_m)["wall_at_m"], low, high, hole_m)
    return ComplaintRecord(
        place,
        around,
        _figures(measured, place, reach_m),
        own,
        near,
        alike,
        _told(place, own, around["events"].height, seen, high - low),
        CAUTIONS,
    )


def _told(
    place: WirePlace, own: Sequence[Finding], events: int, seen_m: float, asked_m: float
) -> tuple[Message, ...]:
    length_m = place.from_outer_m + place.from_core_m
    told = [
        message(
            AtMark.LIES,
            place=place_on(place.from_outer_m, length_m),
            reel=place.reel_id,
            wire=Measure(place.wire_m, "m"),
            unsure=Measure(place.unsure_m, "m"),
            why=place.why_unsure,
        )
    ]
    told += [
        told_on_reel(one.told, place.wire_m + place.from_outer_m)
        if one.reel_id == place.reel_id
        else one.told
        for one in own
    ]
    if not own:
        told.append(message(AtMark.NO_FINDING))
    told.append(message(AtMark.EVENTS, events=events, reach=Measure(asked_m / 2.0, "m")))
    if seen_m < asked_m - 1e-6:
        unseen = Measure(asked_m - seen_m, "m")
        told.append(message(AtMark.NOT_SEEN, unseen=unseen, asked=Measure(asked_m, "m")))
    return (*told, message(AtMark.RECORD))

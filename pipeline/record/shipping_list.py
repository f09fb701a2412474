"""What a plant tells of cuts and shipments, as a TOML sheet or a CSV table, checked as a whole.

Places on a reel are counted from its outer end, as the counter at the rewinder shows them, unless a cut says otherwise.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError, model_validator

from pipeline.errors import Complaint, SheetError
from pipeline.sheets.csv_sheet import read_csv
from pipeline.sheets.run_sheet import Identifier
from pipeline.sheets.toml_file import AnySheet, Sheet, read_sheet, remedy_of
from pipeline.units import m_from_foot

NotNegative = Annotated[float, Field(ge=0)]
Use = Literal["package", "stock", "scrap"]
End = Literal["outer end", "core end"]
CSV_COLUMNS = (
    "reel",
    "length",
    "from_ft",
    "to_ft",
    "from_m",
    "to_m",
    "use",
    "counted_from",
    "cut_at",
    "shipment",
    "to",
    "shipped_at",
)


class CutLength(Sheet):
    """A length cut from a reel, in feet or metres from one of its ends.

    Args:
        reel: the reel.
        length: the plant's number of the length.
        from_ft: where it starts [ft].
        to_ft: where it ends [ft].
        from_m: where it starts [m].
        to_m: where it ends [m].
        use: sold as a package, kept as stock, or scrapped.
        counted_from: the end its places count from.
        at: when it was cut, with an offset.
    """

    reel: Identifier
    length: Identifier
    from_ft: NotNegative | None = None
    to_ft: NotNegative | None = None
    from_m: NotNegative | None = None
    to_m: NotNegative | None = None
    use: Use = "package"
    counted_from: End = "outer end"
    at: datetime | None = None

    @model_validator(mode="after")
    def _one_unit(self) -> CutLength:
        feet = [one is not None for one in (self.from_ft, self.to_ft)]
        metres = [one is not None for one in (self.from_m, self.to_m)]
        if sorted([feet, metres]) != [[False, False], [True, True]]:
            raise ValueError(
                f"length {self.length}: give 'from_ft' and 'to_ft', or 'from_m' and 'to_m', and not both"
            )
        if self.metres[1] <= self.metres[0]:
            raise ValueError(f"length {self.length} ends where it starts or before")
        _with_offset(self.at, f"length {self.length}")
        return self

    @property
    def metres(self) -> tuple[float, float]:
        """Start and end from the end its places count from [m]."""
        if self.from_ft is not None and self.to_ft is not None:
            return m_from_foot(self.from_ft), m_from_foot(self.to_ft)
        return self.from_m or 0.0, self.to_m or 0.0


class Rewound(Sheet):
    """A length wound from one package onto another: from its outer end, so that it then lies the other way round.

    Args:
        source: the cut length, rewound length or reel that was paid off.
        onto: the plant's number of the new length.
        take_ft: how much was taken [ft]; all that was left where neither is given.
        take_m: how much was taken [m].
        outer_mark_ft: the footage mark at the new length's outer end, where it is known.
        outer_mark_m: the same of marks in metres.
        marks: whether marks rise or fall from there to its core.
        use: sold as a package, kept as stock, or scrapped.
        at: when, with an offset.
    """

    source: Identifier
    onto: Identifier
    take_ft: Annotated[float, Field(gt=0)] | None = None
    take_m: Annotated[float, Field(gt=0)] | None = None
    outer_mark_ft: NotNegative | None = None
    outer_mark_m: NotNegative | None = None
    marks: Literal["rising", "falling"] = "rising"
    use: Use = "package"
    at: datetime | None = None

    @model_validator(mode="after")
    def _whole(self) -> Rewound:
        what = f"rewinding of {self.source} onto {self.onto}"
        for one, other in (("take_ft", "take_m"), ("outer_mark_ft", "outer_mark_m")):
            if getattr(self, one) is not None and getattr(self, other) is not None:
                raise ValueError(f"{what}: give '{one}' or '{other}', and not both")
        if self.source == self.onto:
            raise ValueError(f"{what}: it is wound onto itself; give the new length a number of its own")
        _with_offset(self.at, what)
        return self

    @property
    def taken_m(self) -> float | None:
        """How much was taken [m]; None for all that was left."""
        return self.take_m if self.take_ft is None else m_from_foot(self.take_ft)

    @property
    def mark(self) -> tuple[float | None, Literal["ft", "m"]]:
        """The mark at the new outer end, None where it is not told, and its unit."""
        if self.outer_mark_m is not None:
            return self.outer_mark_m, "m"
        return self.outer_mark_ft, "ft"

    @property
    def at_utc(self) -> datetime | None:
        """When, UTC without zone; None where it is not told."""
        return None if self.at is None else self.at.astimezone(UTC).replace(tzinfo=None)


class Shipment(Sheet):
    """What left the plant together.

    Args:
        id: the plant's number of the shipment.
        to: where it went, in the plant's words.
        contents: cut lengths, or reels that were not cut.
        at: when it left, with an offset.
    """

    id: Identifier
    to: Annotated[str, Field(min_length=1)]
    contents: Annotated[tuple[Identifier, ...], Field(min_length=1)]
    at: datetime | None = None

    @model_validator(mode="after")
    def _whole(self) -> Shipment:
        twice = sorted({one for one in self.contents if self.contents.count(one) > 1})
        if twice:
            raise ValueError(f"shipment {self.id} names {', '.join(twice)} more than once")
        _with_offset(self.at, f"shipment {self.id}")
        return self


class ShippingList(Sheet):
    """Cuts, rewindings in the order they were done, and shipments told together."""

    cuts: tuple[CutLength, ...] = ()
    rewinds: tuple[Rewound, ...] = ()
    shipments: tuple[Shipment, ...] = ()


def _with_offset(at: datetime | None, what: str) -> None:
    if at is not None and at.utcoffset() is None:
        raise ValueError(f"{what}: the time has no offset from UTC; write it like 2026-03-05T10:00:00-06:00")


def read_shipping_list(path: Path) -> ShippingList:
    """The cuts and shipments in a file: TOML, or CSV where the name ends in ``.csv``.

    Rewindings stand in TOML only. A line of the CSV is a cut length, with its shipment where it has left; a line
    without places is a reel shipped as it is.

    Raises:
        SheetError: the file cannot be read or is not whole; every complaint is told.
    """
    told = _read_csv(path) if path.suffix.lower() == ".csv" else read_sheet(path, ShippingList)
    if not told.cuts and not told.rewinds and not told.shipments:
        raise SheetError(
            Complaint(
                str(path),
                "no cut, no rewinding and no shipment stands in it",
                "Add [[cuts]], [[rewinds]] or [[shipments]]",
            )
        )
    return told


def _read_csv(path: Path) -> ShippingList:
    _, rows = read_csv(path)
    complaints: list[Complaint] = []
    unknown = sorted({str(name) for row in rows for name in row} - set(CSV_COLUMNS))
    if unknown:
        complaints.append(
            Complaint(
                f"{path}:1", f"column '{unknown[0]}' is not known", f"It may be {', '.join(CSV_COLUMNS)}"
            )
        )
    cuts: list[CutLength] = []
    leaving: dict[str, list[tuple[int, dict[str, str]]]] = {}
    for line, row in enumerate(rows, start=2):
        cells = {name: (value or "").strip() for name, value in row.items() if name in CSV_COLUMNS}
        if any(cells.get(name) for name in ("length", "from_ft", "from_m", "to_ft", "to_m")):
            given = {
                ours: cells[name]
                for name, ours in (*((one, one) for one in CSV_COLUMNS[:8]), ("cut_at", "at"))
                if cells.get(name)
            }
            _add(cuts, CutLength, given, f"{path}:{line}", complaints)
        if cells.get("shipment"):
            leaving.setdefault(cells["shipment"], []).append((line, cells))
    shipments: list[Shipment] = []
    for name, lines in leaving.items():
        first, cells = lines[0]
        given = {
            "id": name,
            "to": cells.get("to", ""),
            "contents": tuple(one.get("length") or one.get("reel", "") for _, one in lines),
            **({"at": cells["shipped_at"]} if cells.get("shipped_at") else {}),
        }
        _add(shipments, Shipment, given, f"{path}:{first}", complaints)
        complaints += [
            Complaint(
                f"{path}:{line}",
                f"shipment {name} goes to '{one.get('to', '')}' here and to '{cells.get('to', '')}' in line {first}",
                "A shipment has one destination and one time; correct the line",
            )
            for line, one in lines[1:]
            if (one.get("to"), one.get("shipped_at")) != (cells.get("to"), cells.get("shipped_at"))
        ]
    if complaints:
        raise SheetError(complaints)
    return ShippingList(cuts=tuple(cuts), shipments=tuple(shipments))


def _add(
    made: list[AnySheet],
    model: type[AnySheet],
    given: dict[str, Any],
    where: str,
    complaints: list[Complaint],
) -> None:
    try:
        made.append(model.model_validate(given))
    except ValidationError as fault:
        for one in fault.errors():
            key = ".".join(str(part) for part in one["loc"])
            if one["type"] == "value_error":
                found, remedy = str(one["ctx"]["error"]), "Mend the line and try again"
            elif one["type"] == "missing":
                found, remedy = "this cell is empty", "Fill it in"
            else:
                found, remedy = f"found {one['input']!r}", remedy_of(one)
            complaints.append(Complaint(f"{where}: {key}" if key else where, found, remedy))

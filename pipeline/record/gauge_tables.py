"""Plain tables a plant hands in about its gauges: a study of parts, operators and trials; laboratory samples."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pipeline.errors import Complaint, SheetError
from pipeline.sheets.csv_sheet import read_csv
from pipeline.trust.sampled import SAMPLED
from pipeline.units import m_from_foot, mm_from_mil

STUDY_COLUMNS = ("part", "operator", "trial", "value_mm", "value_mil")
SAMPLE_COLUMNS = (
    *("reel", "at_m", "at_ft", "quantity", "value_mm", "value_mil", "value_pct", "sd_mm", "sd_mil", "sd_pct"),
    *("measured_by", "instrument"),
)
Row = dict[str, str]


@dataclass(frozen=True, slots=True)
class Sample:
    """One laboratory result of a cut sample.

    Args:
        where: file and line.
        reel: the reel.
        from_outer_m: place from the end that comes off first [m].
        quantity: a key of `pipeline.trust.sampled.SAMPLED`.
        value: the laboratory's result [mm, or % for a concentricity].
        sd: its standard uncertainty [same unit]; None where the laboratory gives none.
        measured_by: role of whoever measured; "" where the table does not say.
        instrument: the laboratory's instrument; "" where the table does not say.
    """

    where: str
    reel: str
    from_outer_m: float
    quantity: str
    value: float
    sd: float | None
    measured_by: str = ""
    instrument: str = ""


def read_study(path: Path) -> NDArray[np.float64]:
    """Readings of a crossed gauge study, shape (parts, operators, trials) [mm]; NaN where one is missing.

    Args:
        path: CSV with the columns part, operator, trial and value_mm or value_mil.

    Raises:
        SheetError: the table cannot be read, or a cell stands twice; every complaint is told.
    """
    complaints: list[Complaint] = []
    cells: dict[tuple[str, str, str], float] = {}
    for where, row in _rows(path, STUDY_COLUMNS, ("part", "operator", "trial"), complaints):
        value = _length(row, "value", where, complaints)
        key = (row["part"], row["operator"], row["trial"])
        if key in cells:
            complaints.append(
                Complaint(
                    where,
                    f"part {key[0]}, operator {key[1]}, trial {key[2]} stands twice",
                    "Number the trials",
                )
            )
        if value is not None:
            cells[key] = value
    if complaints:
        raise SheetError(complaints)
    axes = [list(dict.fromkeys(key[place] for key in cells)) for place in range(3)]
    cube = np.full(tuple(len(axis) for axis in axes), np.nan)
    for key, value in cells.items():
        cube[tuple(axis.index(name) for axis, name in zip(axes, key, strict=True))] = value
    return cube


def read_samples(path: Path) -> tuple[Sample, ...]:
    """The laboratory samples in a table.

    Args:
        path: CSV with the columns reel, at_m or at_ft, quantity, a value and, where known, its standard uncertainty (in
            mm, mil or, of a concentricity, %), measured_by and instrument; places count from the end that comes off
            first.

    Raises:
        SheetError: the table cannot be read or a line is not whole; every complaint is told.
    """
    complaints: list[Complaint] = []
    found = []
    for where, row in _rows(path, SAMPLE_COLUMNS, ("reel", "quantity"), complaints):
        one = sample_of(where, row, complaints)
        if one is not None:
            found.append(one)
    if complaints:
        raise SheetError(complaints)
    return tuple(found)


def sample_of(where: str, row: Row, complaints: list[Complaint]) -> Sample | None:
    """One laboratory result from its cells, each of `SAMPLE_COLUMNS`; None where something in it cannot stand.

    Args:
        where: file and line, for the complaint.
        row: the cells; "" for an empty one.
        complaints: gets what is wrong.
    """
    quantity = SAMPLED.get(row["quantity"])
    if quantity is None:
        complaints.append(
            Complaint(where, f"'{row['quantity']}' is not compared", f"It may be {', '.join(SAMPLED)}")
        )
        return None
    value = _figure(row, "value", quantity.unit, where, complaints)
    sd = _figure(row, "sd", quantity.unit, where, complaints, needed=False)
    if sd == 0.0:
        complaints.append(
            Complaint(where, "an uncertainty of 0 is given", "Leave it empty where it is not known")
        )
    at_m, at_ft = (_number(row, name, where, complaints) for name in ("at_m", "at_ft"))
    if (at_m is None) == (at_ft is None):
        complaints.append(
            Complaint(
                where,
                "it has no place, or two",
                "Give 'at_m' or 'at_ft' from the end that comes off first",
            )
        )
        return None
    if value is None:
        return None
    place = at_m if at_m is not None else m_from_foot(at_ft or 0.0)
    told = row["measured_by"], row["instrument"]
    return Sample(where, row["reel"], place, quantity.name, value, sd, *told)


def _figure(
    row: Row, name: str, unit: str, where: str, complaints: list[Complaint], *, needed: bool = True
) -> float | None:
    """A value or uncertainty in the unit of its quantity."""
    if unit == "mm":
        if row[f"{name}_pct"]:
            complaints.append(
                Complaint(where, f"'{name}_pct' is given for a length", f"Give '{name}_mm' or '{name}_mil'")
            )
            return None
        return _length(row, name, where, complaints, needed=needed)
    if row[f"{name}_mm"] or row[f"{name}_mil"] or (needed and not row[f"{name}_pct"]):
        complaints.append(Complaint(where, f"a concentricity has no {name} in %", f"Give '{name}_pct'"))
        return None
    return _number(row, f"{name}_pct", where, complaints)


def _rows(
    path: Path, known: tuple[str, ...], needed: tuple[str, ...], complaints: list[Complaint]
) -> Iterator[tuple[str, Row]]:
    """The lines of a table with where each stands; lines without a needed cell are complained of."""
    names, rows = read_csv(path)
    if not rows:
        raise SheetError(
            Complaint(str(path), "no line of figures stands in it", f"Give lines under {', '.join(known)}")
        )
    wrong = [name for name in names if name not in known]
    missing = [name for name in needed if name not in names]
    if wrong or missing:
        what = f"column '{wrong[0]}' is not known" if wrong else f"column '{missing[0]}' is missing"
        raise SheetError(Complaint(f"{path}:1", what, f"The columns are {', '.join(known)}"))
    for line, raw in enumerate(rows, start=2):
        row = {name: (raw.get(name) or "").strip() for name in known}
        where = f"{path}:{line}"
        empty = [name for name in needed if not row[name]]
        if empty:
            complaints.append(Complaint(where, f"'{empty[0]}' is empty", "Fill it in, or take the line out"))
        else:
            yield where, row


def _number(row: Row, name: str, where: str, complaints: list[Complaint]) -> float | None:
    text = row.get(name, "")
    if not text:
        return None
    try:
        figure = float(text)
    except ValueError:
        figure = math.nan
    if not math.isfinite(figure) or figure < 0:
        complaints.append(
            Complaint(f"{where}: {name}", f"'{text}' is no figure from 0 up", "Write it like 0.412")
        )
        return None
    return figure


def _length(
    row: Row, name: str, where: str, complaints: list[Complaint], *, needed: bool = True
) -> float | None:
    """A small length given in mm or mil [mm]."""
    before = len(complaints)
    mm, mil = (_number(row, f"{name}_{unit}", where, complaints) for unit in ("mm", "mil"))
    if len(complaints) > before:
        return None
    if (mm is not None and mil is not None) or (needed and mm is None and mil is None):
        complaints.append(
            Complaint(where, f"it has no {name}, or two", f"Give '{name}_mm' or '{name}_mil', and not both")
        )
        return None
    return mm if mil is None else mm_from_mil(mil)

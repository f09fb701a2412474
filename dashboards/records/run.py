"""Records of the run page: the wire from start to end, every channel against its limits."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from dashboards.records.every_page import FaultMark, Interval, Plant, Stamp
from dashboards.records.finding_row import FindingRow
from dashboards.records.process_values import ProcessValues
from dashboards.records.shift import RunRow
from pipeline.messages import Said
from pipeline.products.limits import Limit

PanelName = Literal["wall", "diameter", "conductor", "eccentricity", "shape", "speed", "extruder", "spark"]


@dataclass(frozen=True, slots=True)
class Trace:
    """One quantity along the wire, at full rate, in the order of the wire.

    Args:
        name: column of the data dictionary, for example ``thinnest_wall_mm``.
        title: what a reader calls it, for example ``Thinnest wall``.
        unit: unit of `values`: ``mm``, ``m/s``, ``degC``, ``bar``, ``kV``, ``rpm``, ``%``.
        panel: panel of the page it is drawn in; all traces of a panel share a unit.
        at_m: place of each reading on the wire [m], never decreasing.
        values: readings in `unit`; NaN where there is none or it is flagged (the line breaks there).
        instrument_id: instrument that read it.
        standard_uncertainty: of one reading, in `unit`; None if unknown.
        first_row: number in the run of the first reading where the readings follow each other without a
            break, so that a page can name each one; None where they do not.
    """

    name: str
    title: str
    unit: str
    panel: PanelName
    at_m: NDArray[np.float64]
    values: NDArray[np.float64]
    instrument_id: str = ""
    standard_uncertainty: float | None = None
    first_row: int | None = None


@dataclass(frozen=True, slots=True)
class PanelLimit:
    """A limit drawn across a panel; `limit.value` is in the panel's unit."""

    panel: PanelName
    limit: Limit


@dataclass(frozen=True, slots=True)
class Phase:
    """A phase of the line, as the wire saw it at the die.

    Args:
        from_m: start [m].
        to_m: end [m].
        name: phase name of the length room, for example ``steady``.
        is_steady: whether capability may use it.
    """

    from_m: float
    to_m: float
    name: str
    is_steady: bool


@dataclass(frozen=True, slots=True)
class LogFileRow:
    """A log file of the run; rows_read = rows_kept + rows_set_aside."""

    name: str
    kind: str
    sha256: str
    bytes: int
    rows_read: int
    rows_kept: int
    rows_set_aside: int


@dataclass(frozen=True, slots=True)
class LotRow:
    """A material lot that went into the run, over a stretch of it where known [m]."""

    material: str
    lot_id: str
    from_m: float | None = None
    to_m: float | None = None


@dataclass(frozen=True, slots=True)
class CounterEvent:
    """Something the length counter did: reset, reversal, slip.

    Args:
        kind: its name.
        at_m: where on the wire [m].
        size_m: how much [m].
        sentence: what was done about it.
    """

    kind: str
    at_m: float
    size_m: float
    sentence: Said


@dataclass(frozen=True, slots=True)
class RunReview:
    """Everything the run page shows.

    Args:
        plant: plant.
        run: the run, its reels and answers.
        traces: quantities along the wire, at full rate.
        limits: limits to draw.
        phases: phases, in order.
        findings: findings of the run.
        faults: spark faults and surface flaws.
        gaps: stretches with no trustworthy reading, and other stretches to mark.
        counter_events: resets, reversals, slips.
        files: log files.
        lots: material lots.
        shift_id: shift page to link to.
        stamp: assessments, limits and rules.
        process: what the line logged besides the wall; None where it logged none or nothing is placed.
    """

    plant: Plant
    run: RunRow
    traces: tuple[Trace, ...]
    limits: tuple[PanelLimit, ...] = ()
    phases: tuple[Phase, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    faults: tuple[FaultMark, ...] = ()
    gaps: tuple[Interval, ...] = ()
    counter_events: tuple[CounterEvent, ...] = ()
    files: tuple[LogFileRow, ...] = ()
    lots: tuple[LotRow, ...] = ()
    shift_id: str = ""
    stamp: Stamp = field(default_factory=Stamp)
    process: ProcessValues | None = None

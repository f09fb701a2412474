"""Records of the lot page: where a lot came from and went, and everything that happened to it, in order."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from dashboards.records.every_page import Evidence, Plant, Stamp
from dashboards.records.finding_row import DispositionRow, FindingRow
from dashboards.records.shift import ReelRow
from pipeline.messages import Said

NodeKind = Literal["material lot", "run", "reel", "cut length", "shipment", "gauge", "limits", "software"]


@dataclass(frozen=True, slots=True)
class Node:
    """Something in a lot's family tree.

    Args:
        node_id: its key in the tree; reels, runs and lots use their own id.
        kind: what it is.
        label: what a reader calls it.
        note: a short fact, for example a length or a supplier's certificate number.
    """

    node_id: str
    kind: NodeKind
    label: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Edge:
    """A node went into another, over a stretch of wire where known [m]."""

    from_node: str
    to_node: str
    from_m: float | None = None
    to_m: float | None = None


@dataclass(frozen=True, slots=True)
class LotEvent:
    """One thing that happened.

    Args:
        at: when.
        kind: for example ``received``, ``extruded``, ``assessed``, ``finding``.
        sentence: what happened.
        role: role that did it.
        evidence: the way back.
        node_id: node of the tree it is about.
        digest: hash of its journal entry.
    """

    at: datetime
    kind: str
    sentence: Said
    role: str = ""
    evidence: Evidence = field(default_factory=Evidence)
    node_id: str = ""
    digest: str = ""


@dataclass(frozen=True, slots=True)
class CalibrationRow:
    """An instrument's calibration when the run ran."""

    instrument_id: str
    kind: str
    calibrated: str
    due: str
    in_date: bool | None


@dataclass(frozen=True, slots=True)
class JudgementEdition:
    """An earlier or current judgement of the lot: assessment, when, by which revision, with what outcome."""

    assessment_id: str
    assessed_at: datetime | None
    revision: str
    program: str
    outcome: str
    is_current: bool


@dataclass(frozen=True, slots=True)
class LotHistory:
    """Everything the lot page shows.

    Args:
        plant: plant.
        lot_id: lot.
        title: what it is, for example ``Insulation compound lot PVC-2291``.
        nodes: its family.
        edges: how they hang together.
        reels: reels of the lot, with their standing.
        events: everything in order of time.
        findings: findings.
        dispositions: decisions.
        calibrations: instruments behind the evidence.
        editions: judgements under earlier and present revisions.
        covered_m: length with trustworthy evidence [m].
        unmonitored_m: length without [m].
        manifest: (file name, SHA-256) of the exported pack, empty where none was made.
        stamp: assessments, limits and rules.
    """

    plant: Plant
    lot_id: str
    title: str
    nodes: tuple[Node, ...]
    edges: tuple[Edge, ...]
    reels: tuple[ReelRow, ...] = ()
    events: tuple[LotEvent, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    dispositions: tuple[DispositionRow, ...] = ()
    calibrations: tuple[CalibrationRow, ...] = ()
    editions: tuple[JudgementEdition, ...] = ()
    covered_m: float = 0.0
    unmonitored_m: float = 0.0
    manifest: tuple[tuple[str, str], ...] = ()
    stamp: Stamp = field(default_factory=Stamp)

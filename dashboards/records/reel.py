"""Records of the reel page: a map of the reel with its findings, its cuts and what is left over."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from dashboards.records.every_page import AnswerGroup, Plant, ProductRow, Stamp
from dashboards.records.finding_row import DispositionRow, FindingRow
from dashboards.records.run import LotRow, PanelLimit
from dashboards.records.shift import ReelRow
from pipeline.messages import Message, Said


@dataclass(frozen=True, slots=True)
class CutPiece:
    """A piece of a cutting plan, in order as it comes off the reel.

    Args:
        from_m: start, from the reel's outer end [m].
        to_m: end [m].
        use: ``ship``, ``remnant`` or ``scrap``.
        label: what it becomes, for example ``500 ft``.
    """

    from_m: float
    to_m: float
    use: str
    label: str = ""


@dataclass(frozen=True, slots=True)
class CuttingPlan:
    """What to cut, and what it is worth.

    Args:
        pieces: pieces in order.
        value: value of the plan, in `value_unit`.
        naive_value: value of cutting from the start and throwing away what is bad.
        value_unit: for example ``USD`` or ``m sold``.
        told: how it was found and what it assumes.
        instructions: one sentence a cut.
        counter: how the rewinder's counter is set before the first.
        gone: what must go, where and why.
    """

    pieces: tuple[CutPiece, ...]
    value: float
    naive_value: float
    value_unit: str
    told: tuple[Said, ...]
    instructions: tuple[str, ...] = ()
    counter: str = ""
    gone: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True)
class RollUp:
    """A quantity in equal steps of length along the reel: lowest, mean and highest of each step.

    Args:
        name: column of the data dictionary.
        title: what a reader calls it.
        unit: unit of the figures.
        from_m: start of each step, from the reel's outer end [m].
        step_m: length of a step [m].
        low: lowest in each step; NaN where nothing is known.
        mean: mean in each step.
        high: highest in each step.
    """

    name: str
    title: str
    unit: str
    from_m: NDArray[np.float64]
    step_m: float
    low: NDArray[np.float64]
    mean: NDArray[np.float64]
    high: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ChildLength:
    """A length cut from the reel, or rewound from `source`: its place from the outer end and how it stands."""

    length_id: str
    from_m: float
    to_m: float
    shipment: str = ""
    standing: Said = ""
    turned: bool = False
    source: str = ""


@dataclass(frozen=True, slots=True)
class SampleRow:
    """A laboratory sample that bears on the reel.

    Args:
        sample_id: its number.
        reel_id: the reel it was cut from.
        from_outer_m: place from that reel's outer end [m].
        quantity: what was measured.
        unit: unit of the figures.
        value: the result.
        uncertainty: its standard uncertainty; None where the laboratory gives none.
        line: the line's reading of the same wire; None where there is none.
        verdict: what is said of it.
        measured_by: role of whoever measured.
        instrument: the laboratory's instrument, "" where none is named.
        withdrawn: who withdrew it, when it was, and why; None for one that judges.
    """

    sample_id: str
    reel_id: str
    from_outer_m: float
    quantity: str
    unit: str
    value: float
    uncertainty: float | None
    line: float | None
    verdict: str
    measured_by: str
    instrument: str
    withdrawn: Message | None = None


@dataclass(frozen=True, slots=True)
class ReelReview:
    """Everything the reel page shows.

    Args:
        plant: plant.
        reel: the reel; its intervals and faults are on the wire of the run.
        product: what it is.
        roll_ups: quantities along the reel.
        limits: limits to draw.
        findings: findings that touch it.
        dispositions: every decision on it, oldest first.
        answers: results for this reel, for example the probability of a point under the limit.
        plan: cutting plan, None where none is needed or asked for.
        no_plan: why none can be made of a held reel.
        lots: material lots in it.
        children: lengths cut from it.
        shift_id: shift page to link to.
        stamp: assessments, limits and rules.
        samples: laboratory samples that bear on it, its own first.
    """

    plant: Plant
    reel: ReelRow
    product: ProductRow
    roll_ups: tuple[RollUp, ...] = ()
    limits: tuple[PanelLimit, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    dispositions: tuple[DispositionRow, ...] = ()
    answers: tuple[AnswerGroup, ...] = ()
    plan: CuttingPlan | None = None
    lots: tuple[LotRow, ...] = ()
    children: tuple[ChildLength, ...] = ()
    shift_id: str = ""
    stamp: Stamp = field(default_factory=Stamp)
    samples: tuple[SampleRow, ...] = ()
    no_plan: tuple[Said, ...] = ()

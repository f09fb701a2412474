"""Records of the pages about a line over time: capability, faults, centring and data quality."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

import numpy as np
from numpy.typing import NDArray

from dashboards.records.every_page import Answer, FaultMark, Plant, QualityState, Stamp
from pipeline.messages import Message, Said
from pipeline.products.limits import Limit


@dataclass(frozen=True, slots=True)
class CapabilityPoint:
    """One run's index, for the trend: when, how much, and its interval."""

    run_id: str
    at: datetime
    answer: Answer


@dataclass(frozen=True, slots=True)
class CapabilityCell:
    """One line, product and requirement.

    Args:
        line_id: line.
        product: product label.
        requirement: requirement.
        limit: limit.
        answer: the index with its interval, or why it is refused.
        below_limit_normal: probability that a reel has a point under the limit, by the normal figure.
        below_limit_extremes: the same by the extremes of the dependent series.
        trend: runs in order of time.
        target: index the plant asks for; None where it names none.
        reels: number of reels behind it.
        beside: what stands beside the index under a name of its own: the index within reels, the limit most reels
            keep, the share of bad reels, the risk by other methods, the shape of the readings.
        observed: the reels on file found bad by the limit; stands beside every predicted share.
    """

    line_id: str
    product: str
    requirement: str
    limit: Limit | None
    answer: Answer
    below_limit_normal: Answer | None = None
    below_limit_extremes: Answer | None = None
    trend: tuple[CapabilityPoint, ...] = ()
    target: float | None = None
    reels: int = 0
    beside: tuple[Answer, ...] = ()
    observed: Message | None = None


@dataclass(frozen=True, slots=True)
class CapabilityMatrix:
    """Everything the capability page shows: line by product, with intervals and trends."""

    plant: Plant
    title: str
    cells: tuple[CapabilityCell, ...]
    from_day: date | None = None
    to_day: date | None = None
    stamp: Stamp = field(default_factory=Stamp)


@dataclass(frozen=True, slots=True)
class FaultRateRow:
    """Spark faults of one line, shift or run.

    Args:
        heading: what is counted, for example ``L1`` or ``Shift 2``.
        by: ``line``, ``shift``, ``run``, ``product``.
        faults: faults, repeats at one spot merged.
        counts: counts of the detector before merging.
        tested_m: length spark-tested at full exposure [m].
        untested_m: length not [m].
        rate: faults per km of tested length, with its interval.
        run_id: run to link to.
    """

    heading: str
    by: str
    faults: int
    counts: int
    tested_m: float
    untested_m: float
    rate: Answer
    run_id: str = ""


@dataclass(frozen=True, slots=True)
class RepeatRow:
    """Faults that repeat along the length, and the element they fit.

    Args:
        run_id: run.
        period: the repeat length [m] with its interval, or why none is claimed.
        element_id: element of the line that fits; "" for ``no listed element fits``.
        element_m: its circumference, or the wire it sees in one turn [m].
        sentence: how sure that is.
    """

    run_id: str
    period: Answer
    element_id: str
    element_m: float | None
    sentence: Said


@dataclass(frozen=True, slots=True)
class FaultWire:
    """Faults of one run on a map along its length."""

    run_id: str
    line_id: str
    made_m: float
    faults: tuple[FaultMark, ...]


@dataclass(frozen=True, slots=True)
class FaultReview:
    """Everything the faults page shows; `answers` holds comparisons, clustering and coincidence."""

    plant: Plant
    title: str
    rates: tuple[FaultRateRow, ...]
    wires: tuple[FaultWire, ...] = ()
    repeats: tuple[RepeatRow, ...] = ()
    answers: tuple[Answer, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)


@dataclass(frozen=True, slots=True)
class CentringReview:
    """Everything the centring page of a run shows.

    Args:
        plant: plant.
        run_id: run.
        line_id: line.
        product: product label.
        at_m: middle of each averaged stretch [m].
        ecc_cos_mm: mean of the cosine part over the stretch [mm].
        ecc_sin_mm: mean of the sine part [mm].
        stretch_m: length each mean is taken over [m].
        size: size of the run's mean offset [mm], with its interval.
        angle_deg: direction of the thin side of the mean offset [deg].
        angle_half_width_deg: half width of its interval [deg]; None if unknown.
        dead_zone_mm: offset below which moving the die would act on noise [mm].
        binding_mm: offset above which the point minimum binds instead of the average [mm].
        advice: geometry; the plant's own procedure decides.
        answers: drift, steadiness.
        stamp: assessments, limits and rules.
        steady: whether each averaged stretch lies in wire made at steady speed; None takes all as steady.
        first_angle_deg: where the first sensor stands, from twelve o'clock [deg]; the parts count from it.
    """

    plant: Plant
    run_id: str
    line_id: str
    product: str
    at_m: NDArray[np.float64]
    ecc_cos_mm: NDArray[np.float64]
    ecc_sin_mm: NDArray[np.float64]
    stretch_m: float
    size: Answer
    angle_deg: float
    angle_half_width_deg: float | None = None
    dead_zone_mm: float | None = None
    binding_mm: float | None = None
    advice: tuple[Said, ...] = ()
    answers: tuple[Answer, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)
    steady: NDArray[np.bool_] | None = None
    first_angle_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class InstrumentRow:
    """An instrument and how far it can be trusted.

    Args:
        instrument_id: plant's number.
        line_id: line.
        kind: what it is.
        calibrated: date of the last calibration; None if unknown.
        calibration_due: last day it holds.
        in_date: whether it held during every run shown.
        noise: spread of readings of one spot (line stops), or why it is not known.
        bias: difference to laboratory samples, or why it is not known.
        coverage_share: share of the wire made with a trustworthy reading, 0 to 1.
        flagged: (reason, number of readings) for each reason it has.
    """

    instrument_id: str
    line_id: str
    kind: str
    calibrated: date | None
    calibration_due: date | None
    in_date: bool | None
    noise: Answer | None = None
    bias: Answer | None = None
    coverage_share: float | None = None
    flagged: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class RunQualityRow:
    """The data of one run: state, rows (read = kept + set aside), length known and not [m]."""

    run_id: str
    line_id: str
    state: QualityState
    sentences: tuple[Said, ...]
    rows_read: int
    rows_kept: int
    rows_set_aside: int
    known_m: float
    unmonitored_m: float
    untested_m: float | None = None
    limits: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True)
class SetAsideRow:
    """A log line that was set aside, as it stands, with the reason."""

    run_id: str
    file: str
    line: int
    reason: Message
    text: str


@dataclass(frozen=True, slots=True)
class DataQualityReview:
    """Everything the data quality page shows; at most the first thousand set-aside lines are listed."""

    plant: Plant
    title: str
    instruments: tuple[InstrumentRow, ...]
    runs: tuple[RunQualityRow, ...]
    set_aside: tuple[SetAsideRow, ...] = ()
    set_aside_total: int = 0
    answers: tuple[Answer, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)

"""Records of the pages that are not about one run: the index, the construction comparison, the guides."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from dashboards.records.every_page import Answer, Plant, Stamp, Standing
from pipeline.messages import Said


@dataclass(frozen=True, slots=True)
class ShiftEntry:
    """A shift in the index."""

    shift_id: str
    shift: str
    day: date
    lines: tuple[str, ...]
    reels_releasable: int
    reels_held: int
    reels_no_conclusion: int
    open_findings: int = 0
    reels_released: int = 0
    reels_gone: int = 0
    reels_left: int = 0


@dataclass(frozen=True, slots=True)
class RunEntry:
    """A run in the index."""

    run_id: str
    line_id: str
    product: str
    day: date
    shift_id: str
    made_m: float


@dataclass(frozen=True, slots=True)
class ReelEntry:
    """A reel in the index."""

    reel_id: str
    run_id: str
    product: str
    day: date
    standing: Standing
    length_m: float
    lot_ids: tuple[str, ...] = ()
    headline: Said = ""


@dataclass(frozen=True, slots=True)
class LotEntry:
    """A lot in the index."""

    lot_id: str
    material: str
    reels: int
    first_day: date | None = None


@dataclass(frozen=True, slots=True)
class FindingEntry:
    """A finding in the index: ``open`` or ``closed``, what it is against and its likely cause."""

    finding_id: str
    status: str
    requirement: str
    cause: str
    reel_id: str
    severity: str


@dataclass(frozen=True, slots=True)
class LengthEntry:
    """A cut length in the index, and the reel it was cut from."""

    length_id: str
    reel_id: str
    use: str
    standing: Standing


@dataclass(frozen=True, slots=True)
class ShipmentEntry:
    """A reel or cut length that left in a shipment."""

    shipment: str
    item: str
    reel_id: str
    to_place: str
    day: date | None


@dataclass(frozen=True, slots=True)
class PageEntry:
    """Another page to list, for example a month's nonconformance summary.

    Args:
        href: address relative to the site's root, as the page's writer returned it.
        title: its title.
        sentence: which question it answers.
    """

    href: str
    title: str
    sentence: str


@dataclass(frozen=True, slots=True)
class SiteIndex:
    """Everything the index page shows; newest first."""

    plant: Plant
    shifts: tuple[ShiftEntry, ...]
    runs: tuple[RunEntry, ...] = ()
    reels: tuple[ReelEntry, ...] = ()
    lots: tuple[LotEntry, ...] = ()
    pages: tuple[PageEntry, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)
    findings: tuple[FindingEntry, ...] = ()
    lengths: tuple[LengthEntry, ...] = ()
    shipments: tuple[ShipmentEntry, ...] = ()


@dataclass(frozen=True, slots=True)
class ConstructionRow:
    """One property of two constructions side by side.

    Args:
        group: heading it stands under, for example ``Walls``.
        property: what it is.
        unit: metric unit of `left` and `right`, "" for text.
        left: value of the first construction; a text, a number or None where no source was seen.
        right: value of the second.
        left_range: lowest and highest that `left` may be, in its unit; None where one value stands.
        right_range: the same of `right`.
        left_source: document, edition, table or the formula.
        right_source: the same for the second.
        note: caution or explanation.
    """

    group: str
    property: str
    unit: str
    left: float | str | None
    right: float | str | None
    left_source: str = ""
    right_source: str = ""
    note: str = ""
    left_range: tuple[float, float] | None = None
    right_range: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class ConstructionComparison:
    """Everything the construction comparison shows.

    Args:
        plant: plant.
        comparison_id: names the page's file.
        left: first construction.
        right: second construction.
        left_radii_mm: radii of conductor, insulation, covering [mm], inside out.
        right_radii_mm: the same for the second.
        left_layers: names of those layers.
        right_layers: names of those layers.
        rows: properties.
        answers: computed quantities with an interval.
        stamp: limits and documents.
        sources: short names that the rows use, each with its document.
    """

    plant: Plant
    comparison_id: str
    left: str
    right: str
    left_radii_mm: tuple[float, ...]
    right_radii_mm: tuple[float, ...]
    left_layers: tuple[str, ...]
    right_layers: tuple[str, ...]
    rows: tuple[ConstructionRow, ...]
    answers: tuple[Answer, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)
    sources: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class GuideStep:
    """One step of a guide: what to look at, what it means there, and the page to open."""

    title: str
    sentences: tuple[Said, ...]
    href: str = ""
    link_text: str = ""


@dataclass(frozen=True, slots=True)
class Guides:
    """Steps through this plant's own findings, one tuple a reader; the texts around them are the house's.

    Args:
        plant: plant.
        quality_engineer: steps for the quality engineer at the start of the shift.
        process_engineer: steps for the process engineer at the line.
        auditor: steps for the auditor.
        applications_engineer: steps for the applications engineer.
        stamp: assessments behind the examples.
    """

    plant: Plant
    quality_engineer: tuple[GuideStep, ...] = ()
    process_engineer: tuple[GuideStep, ...] = ()
    auditor: tuple[GuideStep, ...] = ()
    applications_engineer: tuple[GuideStep, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)

"""What a plant decides for itself: limits it enters, how it judges, when it holds, what it sells.

Nothing here is built in: a limit that no public source shows, a listing option or a rule of release stands
in the plant's own file, with who entered it and who checked it.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, model_validator

from pipeline.errors import SheetError
from pipeline.products.limit_rows import LimitRow
from pipeline.products.listing import ListingOption
from pipeline.products.requirement_sets import Certificate
from pipeline.products.sizes import size_named
from pipeline.sheets.plant_limits import (
    EnteredLimit,
    Listing,
    Requirement,
    Told,
    limit_complaints,
    limit_row,
    name_complaints,
)
from pipeline.sheets.plant_response import FindingResponse
from pipeline.sheets.plant_rules import (
    DecisionSheet,
    Findings,
    Holds,
    NotNegative,
    Positive,
    Power,
    SecondPerson,
    Severity,
    Share,
    SparkTest,
)
from pipeline.sheets.plant_samples import Samples, sample_complaints
from pipeline.sheets.plant_tags import Tags
from pipeline.sheets.toml_file import Sheet, read_sheet
from pipeline.units import m_from_foot


class SaleableLength(Sheet):
    """A length the plant sells, in metres or feet, and what it is worth in the plant's currency.

    Args:
        length_m: the length [m]; this or the next.
        length_ft: the length [ft].
        value: what it is worth, in the plant's currency.
    """

    length_m: Positive | None = None
    length_ft: Positive | None = None
    value: Positive

    @model_validator(mode="after")
    def _one_unit(self) -> SaleableLength:
        if (self.length_m is None) == (self.length_ft is None):
            raise ValueError("give either 'length_m' or 'length_ft', and not both")
        return self

    @property
    def metres(self) -> float:
        """The length [m]."""
        return self.length_m if self.length_m is not None else m_from_foot(self.length_ft or 0.0)


class Cutting(Sheet):
    """What a cutting plan may use.

    Args:
        minimum_remnant_m: shortest remnant kept as stock [m]; shorter ones are scrap.
        remnant_value_per_m: what a kept remnant is worth per metre.
        cut_cost: cost of one cut.
        clearance_m: sound wire cut away on each side of a length that must go [m].
        unread_up_to_m: longest gap in the evidence that may stay in a piece [m]; none may where it is left out.
        stays_after: dispositions after which the wire of a closed finding may stay in a piece, where the decision
            names its evidence; after none where it is left out.
        lengths: lengths the plant sells.
    """

    minimum_remnant_m: NotNegative = 0.0
    remnant_value_per_m: NotNegative = 0.0
    cut_cost: NotNegative = 0.0
    clearance_m: NotNegative = 0.0
    unread_up_to_m: NotNegative = 0.0
    stays_after: tuple[Literal["release", "concession", "rework", "repair"], ...] = ()
    lengths: tuple[SaleableLength, ...] = ()


class Prices(Sheet):
    """What material and failure cost, where the plant gives it.

    Args:
        currency: currency of every price of this sheet.
        insulation_per_kg: by construction, for example ``"THHN/THWN-2" = 1.8``.
        covering_per_kg: by construction.
        km_per_month: by construction, length made a month [km].
        failed_reel: cost of one reel found nonconforming after release.
    """

    currency: Told
    insulation_per_kg: dict[str, Positive] = Field(default_factory=dict)
    covering_per_kg: dict[str, Positive] = Field(default_factory=dict)
    km_per_month: dict[str, Positive] = Field(default_factory=dict)
    failed_reel: Positive | None = None


class AcceptedRisks(Sheet):
    """How often a requirement may fail when a target is sought, and what cut slices show.

    Args:
        cut_sample: accepted share of cut samples whose average is under the limit.
        reel: accepted share of reels with a point under the minimum at any point.
        plant_rule: accepted share of reels that break a rule of the plant itself.
        small_scale_um: standard deviation between neighbouring cut slices [um], where it was measured.
    """

    cut_sample: Share = 0.001
    reel: Share = 0.001
    plant_rule: Share = 0.01
    small_scale_um: Positive | None = None


class Charts(Sheet):
    """How often control charts may alarm for nothing, and which reels set their limits.

    Args:
        false_alarms: false alarms the plant accepts on all charts of a line and product together.
        days: in how many days [d].
        reels_per_day: reels a line makes a day [1/d].
        baseline_reels: first reels of a product on a line that set the limits; later ones are held against them.
        newest_reels: newest reels that are held against them, and that indices over reels stand on; those between were
            looked at in their time. Whole runs are taken.
        rules: runs of reels that the individuals charts watch for besides their limits, none unless named. Each costs
            false alarms, told beside the chart.

    One a week, 60 reels a day, 20 and 1000 reels are this program's choice; a plant sets its own.
    """

    false_alarms: Positive = 1.0
    days: Positive = 7.0
    reels_per_day: Positive = 60.0
    baseline_reels: Annotated[int, Field(ge=8)] = 20
    newest_reels: Annotated[int, Field(ge=50)] = 1000
    rules: tuple[Literal["two of three", "four of five", "eight in a row"], ...] = ()


class Retention(Sheet):
    """How long readings are kept at full rate.

    Wire around findings and reels that are held or have an open finding stay at full rate whatever stands here.

    Args:
        full_rate_months: months after a shift during which all its readings stay.
        step_m: wire a step [m], of which lowest, highest, mean and number of readings are kept afterwards.
        keep_whole: reels whose readings stay at full rate: those that were shipped, those a declaration was drafted
            for, those of a run whose record was handed out.
        may_thin: roles that may thin them; any role where it is left out.
    """

    full_rate_months: Annotated[int, Field(ge=1)]
    step_m: Annotated[float, Field(ge=1.0)] = 50.0
    keep_whole: tuple[Literal["shipped", "declared", "handed out"], ...] = (
        "shipped",
        "declared",
        "handed out",
    )
    may_thin: tuple[Told, ...] = ()


class PlantPart(Sheet):
    """Who the plant is.

    Args:
        name: its name.
        zone: IANA time zone of its clocks.
        units: units its pages and cut instructions use first.
        demo: True if the plant and all it enters is invented.
        revision: revision of this sheet, as findings by its own rules name it.
    """

    name: Told
    zone: str
    units: Literal["imperial", "metric"] = "imperial"
    demo: bool = False
    revision: str = ""

    @model_validator(mode="after")
    def _zone_known(self) -> PlantPart:
        try:
            ZoneInfo(self.zone)
        except (ZoneInfoNotFoundError, ValueError):
            raise ValueError(
                f"'{self.zone}' is not a time zone; write an IANA name like America/Chicago"
            ) from None
        return self


class PlantSheet(Sheet):
    """A plant's sheet as a whole.

    Args:
        plant: who the plant is.
        decision: decision rule by requirement; guard band with 95 % where one is left out.
        holds: when a reel is held.
        findings: how readings become findings.
        severity: severity by rule; as the program ships it where one is left out.
        spark_test: what is asked of the in-line spark test.
        second_person: which acts need a second person.
        may_decide: the roles that may decide, confirm or complete each disposition, put a hold ("hold"), lift one
            ("lift hold"), ship wire that is held ("ship held") or withdraw a laboratory sample ("withdraw sample");
            nobody where one is left out. Those that may ship or cut ("ship") or hand in a laboratory sample ("hand in
            sample"): any role where one is left out.
        certified: by type, or types joined by ``/``, the requirement sets lots are certified to; every set on file
            for a type left out. The sets that the type letters call for are judged whatever stands here.
        limits: limits the plant enters.
        listings: options of the plant's listing.
        cutting: what a cutting plan may use.
        prices: prices, where the plant gives them.
        risks: how often a requirement may fail when a target is sought.
        charts: alarm budget of the control charts and the reels that set their limits.
        retention: how long readings are kept at full rate; for ever where left out.
        samples: requirements shown by laboratory samples, and how often one is asked for.
        response: whom to call about a finding, and by when it is to be decided.
        tags: what the code on a reel's tag leads to.
    """

    plant: PlantPart
    decision: dict[Requirement, DecisionSheet] = Field(default_factory=dict)
    holds: Holds = Holds()
    findings: Findings = Findings()
    severity: dict[str, Severity] = Field(default_factory=dict)
    spark_test: SparkTest = SparkTest()
    second_person: SecondPerson = SecondPerson()
    may_decide: dict[Power, tuple[Told, ...]] = Field(default_factory=dict)
    certified: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    limits: tuple[EnteredLimit, ...] = ()
    listings: tuple[Listing, ...] = ()
    cutting: Cutting = Cutting()
    prices: Prices | None = None
    risks: AcceptedRisks = AcceptedRisks()
    charts: Charts = Charts()
    retention: Retention | None = None
    samples: Samples = Samples()
    response: FindingResponse = FindingResponse()
    tags: Tags = Tags()

    @property
    def name(self) -> str:
        """The plant's name."""
        return self.plant.name

    @property
    def zone(self) -> str:
        """IANA time zone of the plant's clocks."""
        return self.plant.zone

    @property
    def units(self) -> Literal["imperial", "metric"]:
        """Units the plant's pages and cut instructions use first."""
        return self.plant.units

    @property
    def unit(self) -> Literal["ft", "m"]:
        """The plant's unit of length."""
        return "ft" if self.units == "imperial" else "m"

    @property
    def system(self) -> Literal["us", "si"]:
        """The unit system in which the plant is told anything."""
        return "us" if self.units == "imperial" else "si"

    @property
    def demo(self) -> bool:
        """True if the plant and all it enters is invented."""
        return self.plant.demo

    @property
    def limit_rows(self) -> tuple[LimitRow, ...]:
        """The plant's limits in the form `pipeline.products.limits.limits_in_force` takes."""
        return tuple(limit_row(one) for one in self.limits)

    def decision_for(self, requirement: str) -> DecisionSheet:
        """The decision rule for a requirement; guard band with 95 % where the sheet gives none."""
        return next((rule for name, rule in self.decision.items() if name == requirement), DecisionSheet())

    @property
    def certificate(self) -> Certificate:
        """What the plant's lots are certified to, by type; every set on file for a type the sheet does not name."""
        entered = {(one.requirement_set, name) for one in self.limit_rows for name in one.types}
        return Certificate(self.certified, frozenset(entered))

    def listings_for(self, types: Sequence[str], size: str) -> tuple[ListingOption, ...]:
        """The options of the plant's listing that cover a wire of these types and this size."""
        order = size_named(size).order
        return tuple(
            ListingOption(one.option, one.size_from, one.size_to, one.conditions, one.source)
            for one in self.listings
            if set(types) & set(one.types)
            and size_named(one.size_from).order <= order <= size_named(one.size_to).order
        )


def read_plant_sheet(path: Path) -> PlantSheet:
    """The plant sheet in the TOML file `path`.

    Raises:
        SheetError: the sheet cannot be read, is not whole, or holds limits that cannot stand.
    """
    sheet = read_sheet(path, PlantSheet)
    complaints = name_complaints(path, sheet.limits, sheet.listings, sheet.certified)
    complaints += sample_complaints(path, sheet.samples)
    if not complaints:
        complaints = limit_complaints(path, sheet.limits, sheet.second_person.limits)
    if complaints:
        raise SheetError(complaints)
    return sheet

"""Where a reel on file would be cut: the plan of greatest value by the plant's own lengths and clearance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, MethodRefusal, NotFoundError
from pipeline.length.reel_places import CORE, OUTER, Span, length_told, place_on, span_from_other_end
from pipeline.messages import Between, Measure, Message, message
from pipeline.nonconformance.cut_instructions import RewinderStep, cut_instructions
from pipeline.nonconformance.cutting_plan import CuttingPlan, cutting_plan, naive_plan
from pipeline.nonconformance.cutting_rules import CuttingRules, MasterReel, SaleLength
from pipeline.nonconformance.going import Going, covered_m
from pipeline.record.lengths import SAME_M, lengths_of_reel
from pipeline.record.plant_sheet_on_file import unit_of_plant
from pipeline.record.standing_told import told_once
from pipeline.record.stretches_that_go import UNSURE_M, ReelFacts, against_the_whole, going_of
from pipeline.why import Cuts

if TYPE_CHECKING:
    from pipeline.sheets.plant_sheet import PlantSheet
    from pipeline.store.database import Store
    from pipeline.wording.kinds import System


class NothingToCut(MethodRefusal):
    """No length of a reel may be sold or kept.

    Args:
        reel_id: the reel.
        why: why, in codes.
        remedy: what to do.
        system: the plant's unit system.
    """

    def __init__(self, reel_id: str, why: tuple[Message, ...], remedy: str, system: System) -> None:
        self.why = tuple(dict.fromkeys(why))
        where = f"reel {reel_id}"
        super().__init__(Complaint(where, one.rstrip("."), remedy) for one in told_once(self.why, system))


@dataclass(frozen=True, slots=True)
class ReelPlan:
    """A plan for one reel.

    Args:
        reel_id: the reel.
        length_m: wire on the reel when it was made [m]; all places count from the outer end it had then.
        begun_m: wire already cut from that end, and so not planned [m].
        bad: stretches that must go, from the reel's outer end.
        kept: findings that are closed so that the plant's sheet lets their wire stay.
        splices: splices that stay in what is sold, since the plant's own rule lets them; from the outer end.
        plan: the plan of greatest value.
        naive: what cutting longest lengths first would bring.
        steps: the plan as steps at the rewinder.
        clearance_m: sound wire that goes with each side of a stretch that must go [m].
        currency: the plant's currency, "" where it gives none.
    """

    reel_id: str
    length_m: float
    begun_m: float
    bad: tuple[Going, ...]
    kept: tuple[str, ...]
    splices: tuple[Span, ...]
    plan: CuttingPlan
    naive: CuttingPlan
    steps: tuple[RewinderStep, ...]
    clearance_m: float
    currency: str

    @property
    def told(self) -> tuple[Message, ...]:
        """How the plan was found and what it assumes."""
        said = [
            message(
                Cuts.GRID,
                step="foot" if self.plan.unit == "ft" else "meter",
                clearance=Measure(self.clearance_m, "m"),
            )
        ]
        if self.begun_m:
            said.append(message(Cuts.BEGUN, begun=Measure(self.begun_m, "m")))
        if self.splices:
            places = tuple(place_on(0.5 * (low + high), self.length_m) for low, high in self.splices)
            said.append(message(Cuts.SPLICE if len(places) == 1 else Cuts.SPLICES, places=places))
        return tuple(said)

    @property
    def gone(self) -> tuple[Message, ...]:
        """What must go, where from either end, and why."""
        return tuple(
            message(
                Cuts.GOES,
                outer=Between(one.from_m, one.to_m, OUTER),
                core=Between(*span_from_other_end((one.from_m, one.to_m), self.length_m), CORE),
                kind=f"{one.kind} {one.finding_id}".rstrip(),
                why=one.told,
            )
            for one in self.bad
        )


def plan_for_reel(store: Store, reel_id: str) -> ReelPlan:
    """The cutting plan of greatest value for a reel on file.

    Every stretch of `stretches_that_go` goes; with none of the reel left, or where something without a place speaks
    against it, there is no plan.

    Args:
        store: the store.
        reel_id: the reel.

    Raises:
        NotFoundError: there is no such reel, or nothing of it is left to cut.
        MethodRefusal: the plant sells no lengths, or the reel cannot be planned; with every reason.
    """
    facts = ReelFacts(store, reel_id)
    system = facts.plant.system
    against = tuple(told for _, told in against_the_whole(facts))
    if against:
        remedy = "No length of it is shown to be sound; settle this first"
        raise NothingToCut(reel_id, against, remedy, system)
    begun_m = _begun(store, reel_id, facts.length_m)
    going = going_of(facts)
    if covered_m(going, begun_m, facts.length_m) >= facts.length_m - begun_m - SAME_M:
        told = tuple(one.told for one in sorted(going, key=lambda one: not one.finding_id))
        raise NothingToCut(reel_id, told, "No wire of it may be sold or kept", system)
    bad = tuple(one for one in going if one.to_m > begun_m)
    master = MasterReel(
        reel_id,
        facts.length_m,
        tuple((one.from_m, one.to_m) for one in bad),
        begun_m,
        UNSURE_M + facts.end_unsure_m,
    )
    lengths, rules = _of_sheet(facts.plant)
    plan = cutting_plan((master,), lengths, rules)
    return ReelPlan(
        reel_id,
        facts.length_m,
        begun_m,
        bad,
        tuple(sorted(row["finding_id"] for row in facts.findings if facts.stays(row))),
        tuple(
            facts.on_reel(row["from_m"], row["to_m"])
            for row in facts.findings
            if row["rule"] == "splice" and not row["holds_release"]
        ),
        plan,
        naive_plan((master,), lengths, rules),
        cut_instructions(plan),
        rules.clearance_m,
        facts.plant.prices.currency if facts.plant.prices else "",
    )


def _of_sheet(plant: PlantSheet) -> tuple[list[SaleLength], CuttingRules]:
    sheet = plant.cutting
    return [SaleLength(one.metres, one.value) for one in sheet.lengths], CuttingRules(
        clearance_m=sheet.clearance_m,
        cut_cost=sheet.cut_cost,
        minimum_remnant_m=sheet.minimum_remnant_m,
        remnant_value_per_m=sheet.remnant_value_per_m,
        unit=plant.unit,
    )


def _begun(store: Store, reel_id: str, length_m: float) -> float:
    """How much was cut from the outer end already [m].

    Raises:
        NotFoundError: all of it was cut or it left whole.
        MethodRefusal: a length in the middle was cut and one before it was not told.
    """
    shipped = [row for row in store.ask("questions/shipments") if row["item"] == reel_id]
    if shipped:
        raise NotFoundError(
            Complaint(f"reel {reel_id}", f"it left in shipment {shipped[0]['shipment']}", "Plan another reel")
        )
    at, unit = 0.0, unit_of_plant(store)
    for row in lengths_of_reel(store, reel_id):
        if row["from_outer_m"] > at + UNSURE_M:
            raise MethodRefusal(
                Complaint(
                    f"reel {reel_id}",
                    f"length {row['length_id']} was cut at {length_told(row['from_outer_m'], unit)} and nothing is on "
                    f"file of the wire from {length_told(at, unit)} to there",
                    "Tell that length with 'reelproof ship', as stock or scrap, then plan again",
                )
            )
        at = max(at, row["to_outer_m"])
    if at >= length_m - UNSURE_M:
        raise NotFoundError(Complaint(f"reel {reel_id}", "all of it was cut already", "Plan another reel"))
    return at

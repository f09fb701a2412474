"""Where a reel on file would be cut: the plan of greatest value by the plant's own lengths and clearance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.errors import Complaint, MethodRefusal, NotFoundError
from pipeline.length.reels import PlacedReel
from pipeline.nonconformance.cut_instructions import Step, cut_instructions, off_first
from pipeline.nonconformance.cutting_plan import CuttingPlan, cutting_plan, naive_plan
from pipeline.nonconformance.cutting_rules import CuttingRules, MasterReel, SaleLength
from pipeline.review.lengths import lengths_of_reel
from pipeline.review.not_found import not_on_file
from pipeline.review.plant_units import plant_sheet_of
from pipeline.review.shipping import reel_and_findings

if TYPE_CHECKING:
    from pipeline.sheets.plant_sheet import PlantSheet
    from pipeline.store.database import Store

# Places on the wire are known to a reading or two and the counter's step [m]; each sound stretch shrinks by it.
UNSURE_M = 1.0


@dataclass(frozen=True, slots=True)
class BadLength:
    """A length that must go.

    Args:
        finding_id: the finding that says so.
        from_m: start, from the end that comes off first [m].
        to_m: end [m].
        sentence: what was found.
    """

    finding_id: str
    from_m: float
    to_m: float
    sentence: str


@dataclass(frozen=True, slots=True)
class ReelPlan:
    """A plan for one reel.

    Args:
        reel_id: the reel.
        length_m: wire planned, from the end that comes off first now [m].
        begun_m: wire already cut from that end, and so not planned [m].
        bad: lengths that must go.
        kept: findings that are closed without cutting, so that their wire is planned as sound.
        splices: splices that stay in what is sold, since the plant's own rule lets them.
        plan: the plan of greatest value.
        naive: what cutting longest lengths first would bring.
        steps: the plan as steps at the rewinder.
        clearance_m: sound wire that goes with each side of a length that must go [m].
        currency: the plant's currency, "" where it gives none.
    """

    reel_id: str
    length_m: float
    begun_m: float
    bad: tuple[BadLength, ...]
    kept: tuple[str, ...]
    splices: tuple[BadLength, ...]
    plan: CuttingPlan
    naive: CuttingPlan
    steps: tuple[Step, ...]
    clearance_m: float
    currency: str

    @property
    def sentence(self) -> str:
        """How the plan was found and what it assumes."""
        if not self.bad:
            gone = "no length must go"
        elif len(self.bad) == 1:
            gone = f"one length must go, with {self.clearance_m:g} m clear on each side"
        else:
            gone = f"{len(self.bad)} lengths must go, with {self.clearance_m:g} m clear on each side"
        begun = f" {self.begun_m:.1f} m were cut already and are left out." if self.begun_m else ""
        return (
            f"The plan of greatest value ({self.plan.method}): {gone}, and places on the wire are taken as known to "
            f"{UNSURE_M:g} m.{begun}{self._splices_told}"
        )

    @property
    def _splices_told(self) -> str:
        if not self.splices:
            return ""
        places = ", ".join(f"{(one.from_m + one.to_m) / 2.0:.1f} m" for one in self.splices)
        which = f" A splice at {places}" if len(self.splices) == 1 else f" Splices at {places}"
        return (
            f"{which} from the end that comes off first may stay in what is sold: by the plant's sheet it holds no "
            "release. Whether a length may hold one is for the adopted standard and the order too."
        )


def plan_for_reel(store: Store, reel_id: str) -> ReelPlan:
    """The cutting plan of greatest value for a reel on file.

    Lengths of findings that hold a release go, unless a person closed the finding otherwise than by scrap. So does a
    splice, unless the plant's sheet lets it stay (``[severity.splice]`` with ``holds_release = false``).

    Args:
        store: the store.
        reel_id: the reel.

    Raises:
        NotFoundError: there is no such reel.
        MethodRefusal: the plant sells no lengths, or the reel cannot be planned; with every reason.
    """
    found = store.ask("questions/reel", reel_id=reel_id)
    if not found:
        raise not_on_file("reel", reel_id, [row["reel_id"] for row in store.ask("questions/reel_ids")])
    if found[0]["from_m"] is None or found[0]["outcome"] != "judged":
        raise MethodRefusal(
            Complaint(
                f"reel {reel_id}",
                f"nothing can be concluded about it: {found[0]['reason'].rstrip('.')}",
                "Mend what the reason names, load the run again and assess it",
            )
        )
    reel, findings, states, _ = reel_and_findings(store, reel_id)
    plant, _ = plant_sheet_of(store, reel["run_id"])
    placed = PlacedReel(reel_id, reel["from_m"], reel["to_m"], 0.0, 0.0)
    begun_m = _begun(store, placed)
    closed = {name for name, one in states.items() if one.standing == "closed" and one.disposition != "scrap"}
    going = [row for row in findings if row["holds_release"] and row["finding_id"] not in closed]
    bad = _bad(placed, going, begun_m)
    staying = [row for row in findings if row["rule"] == "splice" and not row["holds_release"]]
    master = MasterReel(reel_id, placed.length_m - begun_m, tuple((one.from_m, one.to_m) for one in bad))
    lengths, rules = _of_sheet(plant)
    plan = cutting_plan((master,), lengths, rules)
    return ReelPlan(
        reel_id,
        master.length_m,
        begun_m,
        bad,
        tuple(sorted(closed)),
        _bad(placed, staying, begun_m),
        plan,
        naive_plan((master,), lengths, rules),
        cut_instructions(plan),
        rules.clearance_m,
        plant.prices.currency if plant.prices else "",
    )


def _of_sheet(plant: PlantSheet) -> tuple[list[SaleLength], CuttingRules]:
    sheet = plant.cutting
    return [SaleLength(one.metres, one.value) for one in sheet.lengths], CuttingRules(
        clearance_m=sheet.clearance_m,
        unsure_m=UNSURE_M,
        cut_cost=sheet.cut_cost,
        minimum_remnant_m=sheet.minimum_remnant_m,
        remnant_value_per_m=sheet.remnant_value_per_m,
        unit="ft" if plant.units == "imperial" else "m",
    )


def _begun(store: Store, reel: PlacedReel) -> float:
    """How much was cut from the outer end already [m].

    Raises:
        NotFoundError: all of it was cut or it left whole.
        MethodRefusal: a length in the middle was cut and one before it was not told.
    """
    shipped = [row for row in store.ask("questions/shipments") if row["item"] == reel.id]
    if shipped:
        raise NotFoundError(
            Complaint(f"reel {reel.id}", f"it left in shipment {shipped[0]['shipment']}", "Plan another reel")
        )
    at = 0.0
    for row in lengths_of_reel(store, reel.id):
        if row["from_outer_m"] > at + UNSURE_M:
            raise MethodRefusal(
                Complaint(
                    f"reel {reel.id}",
                    f"length {row['length_id']} was cut at {row['from_outer_m']:.1f} m and nothing is on file of the "
                    f"wire from {at:.1f} m to there",
                    "Tell that length with 'reelproof ship', as stock or scrap, then plan again",
                )
            )
        at = max(at, row["to_outer_m"])
    if at >= reel.length_m - UNSURE_M:
        raise NotFoundError(Complaint(f"reel {reel.id}", "all of it was cut already", "Plan another reel"))
    return at


def _bad(reel: PlacedReel, findings: list[dict[str, Any]], begun_m: float) -> tuple[BadLength, ...]:
    made = []
    for row in findings:
        for start, end in off_first(reel, [(row["from_m"], row["to_m"])]):
            if end > begun_m:
                made.append(
                    BadLength(row["finding_id"], max(start - begun_m, 0.0), end - begun_m, row["sentence"])
                )
    return tuple(sorted(made, key=lambda one: (one.from_m, one.to_m, one.finding_id)))

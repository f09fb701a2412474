"""Which stretches of a reel on file may be neither sold nor kept, and what speaks against all of it?

Taken from the newest judgement: findings, wire nobody read or tested, instruments that contradict each other, ends
that may be on either reel, persons' holds, and the zone of a cause that repeats. A decision lets wire stay only where
the plant's sheet names the disposition and the decision names its evidence.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from pipeline.found import together
from pipeline.length.reel_places import span_on_reel, told_on_reel
from pipeline.messages import Message, message
from pipeline.nonconformance.disposition import state_of
from pipeline.nonconformance.going import Going, GoingKind, repeat_zones, widened, wire_stays
from pipeline.nonconformance.rules import rule_for
from pipeline.record.decided import finding_state
from pipeline.record.genealogy_of_store import sheets_of
from pipeline.record.not_found import not_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.reel_and_lot import end_unsure_m
from pipeline.record.run_facts import facts_of_runs
from pipeline.record.sample_say import NOTHING
from pipeline.store.said_columns import about_of, reason_of, told_of
from pipeline.why import Goes

if TYPE_CHECKING:
    from pipeline.nonconformance.hold import Hold
    from pipeline.record.run_facts import Facts
    from pipeline.sheets.plant_sheet import PlantSheet
    from pipeline.store.database import Store

Row = Mapping[str, Any]
# Places whose own uncertainty is not on file are taken as known to this [m]; findings carry theirs in their extent.
UNSURE_M = 1.0
GAP_KIND: dict[str, GoingKind] = {
    "wall unmonitored": "unmonitored",
    "diameter unmonitored": "unmonitored",
    "conductor unmonitored": "unmonitored",
    "spark untested": "untested",
    "either reel": "either reel",
}
# Verdicts that leave a requirement not shown to be met.
UNMET = frozenset({"does not conform", "indeterminate", "no conclusion"})


class ReelFacts:
    """One reel of a run with everything that may speak against wire of it.

    Args:
        store: the store.
        reel_id: the reel.

    Raises:
        NotFoundError: there is no such reel.
    """

    def __init__(self, store: Store, reel_id: str) -> None:
        found = store.ask("questions/reel", reel_id=reel_id)
        if not found:
            raise not_on_file("reel", reel_id, [row["reel_id"] for row in store.ask("questions/reel_ids")])
        (run,) = facts_of_runs(store, (found[0]["run_id"],))
        self._take(store, run, found[0])

    @classmethod
    def of_run(cls, run: Facts, reel: Row) -> ReelFacts:
        """One reel of a run whose facts are at hand.

        Args:
            run: the facts of the run.
            reel: the reel as judged newest.
        """
        made = cls.__new__(cls)
        made._take(run.shelf.store, run, reel)
        return made

    def _take(self, store: Store, run: Facts, reel: Row) -> None:
        self.store = store
        self.run = run
        self.reel = reel
        self.name: str = reel["reel_id"]
        (self.head,) = store.ask("questions/current_run", run_id=run.run_id)
        self.plant: PlantSheet = plant_sheet_of(store, run.run_id)[0]
        self.end_unsure_m = end_unsure_m(store, reel["assessment_id"]).get(self.name, 0.0)

    @property
    def is_placed(self) -> bool:
        """Whether its wire has places and was judged."""
        return self.reel["from_m"] is not None and self.reel["outcome"] == "judged"

    @property
    def length_m(self) -> float:
        """Wire on it [m]."""
        return float(self.reel["to_m"] - self.reel["from_m"])

    @property
    def findings(self) -> list[Row]:
        """Its findings."""
        return [row for row in self.run.findings if row["reel_id"] == self.name]

    @property
    def holds(self) -> tuple[Hold, ...]:
        """Persons' holds in force on it."""
        return self.run.shelf.holds_on(self.name, self.run.zone)

    def stays(self, finding: Row) -> bool:
        """Whether a decision lets a finding's wire stay: the sheet names the disposition, the decision its evidence."""
        acts = self.run.decided.on(finding["finding_id"])
        return wire_stays(finding_state(dict(finding), acts), acts, self.plant.cutting.stays_after)

    def on_reel(self, from_m: float, to_m: float) -> tuple[float, float]:
        """A stretch of the run on this reel, from its outer end [m]."""
        return span_on_reel(from_m, to_m, self.reel["from_m"], self.reel["to_m"])

    def meets(self, row: Row) -> bool:
        """Whether a stretch of the run meets this reel's wire."""
        return bool(row["from_m"] <= self.reel["to_m"] and row["to_m"] >= self.reel["from_m"])


def stretches_that_go(store: Store, reel_id: str) -> tuple[Going, ...]:
    """The stretches of a reel that may be neither sold nor kept, as they come off; they may overlap.

    Args:
        store: the store.
        reel_id: the reel.

    Returns:
        places from the outer end; one stretch over all of it where its wire has no places or was not judged, or where
        something without a place speaks against it.

    Raises:
        NotFoundError: there is no such reel.
    """
    facts = ReelFacts(store, reel_id)
    against = against_the_whole(facts)
    if against or not facts.is_placed:
        length = facts.length_m if facts.reel["from_m"] is not None else float(facts.reel["length_m"])
        return tuple(Going(0.0, length, kind, told) for kind, told in against)
    return going_of(facts)


def going_of(facts: ReelFacts) -> tuple[Going, ...]:
    """The stretches of a judged reel that go, by what has a place on it.

    Args:
        facts: the reel.
    """
    known = [
        Going(
            *facts.on_reel(row["from_m"], row["to_m"]), "nonconforming", _told(facts, row), row["finding_id"]
        )
        for row in facts.findings
        if (row["holds_release"] or not row["confirmed"]) and not facts.stays(row)
    ]
    held = [
        Going(max(one.from_outer_m, 0.0), min(one.to_outer_m, facts.length_m), "held", one.told)
        for one in facts.holds
        if one.from_outer_m is not None and one.to_outer_m is not None
    ]
    placed = widened((*known, *widened(held, UNSURE_M, facts.length_m)), facts.end_unsure_m, facts.length_m)
    return widened((*placed, *doubted(facts)), 0.0, facts.length_m)


def doubted(facts: ReelFacts) -> tuple[Going, ...]:
    """The stretches of a judged reel that nobody saw, that instruments contradict, or that a repeating cause reaches.

    Args:
        facts: the reel.
    """
    loose = (*_gaps(facts), *_contradicted(facts), *_zones(facts))
    return widened(loose, UNSURE_M + facts.end_unsure_m, facts.length_m)


def _told(facts: ReelFacts, row: Row) -> Message:
    return told_on_reel(told_of(row), facts.reel["to_m"])


def _gaps(facts: ReelFacts) -> list[Going]:
    """Wire that no instrument read or tested, and wire that may lie on the next reel."""
    allowed = facts.plant.cutting.unread_up_to_m
    return [
        Going(*facts.on_reel(row["from_m"], row["to_m"]), GAP_KIND[row["kind"]], told_of(row))
        for row in facts.run.gaps
        if row["reel_id"] == facts.name
        and (row["kind"] == "either reel" or row["to_m"] - row["from_m"] > allowed)
    ]


def _contradicted(facts: ReelFacts) -> list[Going]:
    """Wire on which the instruments contradict each other."""
    return [
        Going(*facts.on_reel(row["from_m"], row["to_m"]), "contradicted", _told(facts, row))
        for row in facts.run.contradictions
        if facts.meets(row)
    ]


def _zones(facts: ReelFacts) -> list[Going]:
    """Wire between the marks of a cause that repeats."""
    open_ones = [row for row in facts.run.findings if not facts.stays(row)]
    _, line = sheets_of(facts.store, facts.head)
    # What is driven by its own motor has no length of its own on the sheet; it gets the longest that is on it.
    turns = {one.id: one.circumference_m for one in line.elements if one.circumference_m is not None}
    found = []
    for (low, high), element, count in repeat_zones(open_ones, turns):
        if facts.meets({"from_m": low, "to_m": high}):
            found.append(
                Going(
                    *facts.on_reel(low, high),
                    "repeating cause",
                    message(Goes.REPEATS, element=element, n=count),
                )
            )
    return found


def against_the_whole(facts: ReelFacts) -> tuple[tuple[GoingKind, Message], ...]:
    """What speaks against every length of a reel because it has no place on it; nothing for none.

    Args:
        facts: the reel.
    """
    name, reel = facts.name, facts.reel
    if not facts.is_placed:
        why = reason_of(reel) or message(Goes.NEVER_JUDGED)
        return (("unmonitored", together(message(Goes.NOTHING_CONCLUDED, reel=name), why)),)
    acts = facts.run.decided.on(name)
    state = state_of(name, acts) if acts else None
    said: list[tuple[GoingKind, Message]] = [
        ("held", one) for one in facts.run.shelf.not_known_which(facts.run.run_id, name)
    ]
    if state is not None and state.disposition == "scrap" and state.standing in ("closed", "decided"):
        said.append(("held", message(Goes.SCRAP, reel=name)))
    said += [("held", one.told) for one in facts.holds if one.from_outer_m is None or one.to_outer_m is None]
    samples = facts.run.shelf.samples(facts.run.run_id).get(name, NOTHING)
    said += [("nonconforming", one) for one in samples.fails]
    said += [("contradicted", one) for one in samples.contradicts]
    said += [("nonconforming", one) for one in samples.doubts]
    found_rules = {rule for row in facts.findings for rule in row["rules"]}
    lacks = {one["about"] for one in facts.run.lacks_by_reel.get(name, ())}
    for row in facts.run.requirements_by_reel.get(name, ()):
        if row["verdict"] == "not judged" and about_of(row) in lacks:
            if (row["requirement"], row["requirement_set"]) not in samples.shown:
                said.append(("unmonitored", told_of(row)))
        elif row["verdict"] in UNMET and (row["known_m"] <= 0.0 or _unplaced(row, found_rules)):
            said.append(("unmonitored", told_of(row)))
    return tuple(dict.fromkeys(said))


def _unplaced(row: Row, found_rules: set[str]) -> bool:
    """Whether a requirement fails and no finding says where."""
    rule = rule_for(row["requirement"])
    return row["verdict"] == "does not conform" and (rule is None or rule.rule_id not in found_rules)

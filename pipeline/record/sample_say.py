"""What do laboratory samples on file say of each reel of a run?"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.messages import Message, message
from pipeline.nonconformance.decision import DecisionRule
from pipeline.products.product import find_product
from pipeline.record.samples_beside import beside_the_line
from pipeline.record.samples_elsewhere import Elsewhere, lots_of_runs, same_lots, samples_elsewhere
from pipeline.record.samples_judged import JudgedSample, judged_sample
from pipeline.record.samples_on_file import has_samples, withdrawn_of_runs
from pipeline.sheets.plant_samples import ShownBySamples
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.trust.sampled import QUANTITY_OF, SAMPLED
from pipeline.why import SampleSays

if TYPE_CHECKING:
    from pipeline.store.database import Store

Row = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SampleSay:
    """What samples say of one reel.

    Args:
        fails: why the reel is held: a sample cut from it is below a limit, or is not shown to meet it.
        doubts: why it is in doubt until someone decides: a sample of another reel of its run or lot is below a limit.
        shown: requirement and requirement set that samples on file show as met.
        missing: samples that the plant's sheet asks for and that are not on file.
        contradicts: where the laboratory contradicts the line by more than the uncertainties of both.
        last_entry: journal entry of the newest sample behind `fails`, `doubts` or `contradicts`; 0 for none. A decision
            made after it settles a doubt, one made before it does not.
        own: the samples cut from the reel, judged; those withdrawn come last.
        others: samples of other reels that bear on it.
    """

    fails: tuple[Message, ...] = ()
    doubts: tuple[Message, ...] = ()
    shown: frozenset[tuple[str, str]] = frozenset()
    missing: tuple[Message, ...] = ()
    contradicts: tuple[Message, ...] = ()
    last_entry: int = 0
    own: tuple[JudgedSample, ...] = ()
    others: tuple[JudgedSample, ...] = ()

    @property
    def against(self) -> tuple[Message, ...]:
        """Everything that samples say against releasing the reel."""
        return (*self.fails, *self.contradicts, *self.doubts, *self.missing)


NOTHING = SampleSay()


def samples_on_run(store: Store, run_id: str) -> Mapping[str, SampleSay]:
    """What samples say of the run's reels; a reel that is not named has nothing said of it.

    Args:
        store: the store.
        run_id: the run.
    """
    return samples_on_runs(store, (run_id,))[run_id]


def samples_on_runs(store: Store, runs: Iterable[str]) -> dict[str, Mapping[str, SampleSay]]:
    """What samples say of the reels of each of some runs, as of `samples_on_run`, by run; asked for together."""
    asked = tuple(dict.fromkeys(runs))
    said: dict[str, Mapping[str, SampleSay]] = {run_id: {} for run_id in asked}
    newest = store.ask_of_each("questions/judged_run", "run_id", asked)
    own: dict[str, list[dict[str, Any]]] = {}
    like: dict[str, list[dict[str, Any]]] = {}
    if has_samples(store):
        own, like = (
            store.ask_of_each(f"questions/{question}", "run_id", asked)
            for question in ("samples_of_run", "runs_with_samples_of_like_lots")
        )
    plants: dict[str, PlantSheet] = {}
    heads: dict[str, Row] = {}
    for run_id, rows in newest.items():
        head = _judged_head(store, rows[0], own.get(run_id, ())) if rows else None
        if head is not None:
            sheet = head["plant_sheet_sha256"]
            if sheet not in plants:
                text = store.ask("questions/sheet", sha256=sheet)[0]["text"]
                plants[sheet] = PlantSheet.model_validate(tomllib.loads(text))
            if own.get(run_id) or like.get(run_id) or plants[sheet].samples.shown:
                heads[run_id] = head
    facts = _Facts(store, tuple(heads.values()))
    for run_id, head in heads.items():
        others = [row["other_id"] for row in like.get(run_id, ())]
        plant = plants[head["plant_sheet_sha256"]]
        said[run_id] = _Run(store, head, plant, own.get(run_id, ()), others, facts).said()
    return said


def _judged_head(store: Store, newest: Row, own: Sequence[Row]) -> Row | None:
    """The judgement that samples are held against: the newest, else the last that concluded something.

    A sheet or log that lets nothing be concluded of a run takes no laboratory result away.
    """
    if newest["outcome"] == "judged":
        return newest
    if not own:
        return None
    every = store.ask("questions/assessments_of_run", run_id=newest["run_id"])
    earlier = [row for row in every if row["outcome"] == "judged"]
    if not earlier:
        return None
    named = {name: earlier[-1][name] for name in ("assessment_id", "plant_sheet_sha256")}
    return {**newest, **named, "assessment_folder": earlier[-1]["folder"]}


class _Facts:
    """What is asked of some judged runs together before their samples speak."""

    def __init__(self, store: Store, heads: Sequence[Row]) -> None:
        judged = [head["assessment_id"] for head in heads]
        runs = [head["run_id"] for head in heads]
        self.limits, self.requirements, self.places = (
            store.ask_of_each(f"questions/{question}", "assessment_id", judged)
            for question in ("limits_of_assessment", "requirements_of_assessment", "places_of_assessment")
        )
        self.lots = lots_of_runs(store, runs)
        self.withdrawn = withdrawn_of_runs(store, runs)


class _Run:
    """A judged run while its samples are made to speak."""

    def __init__(
        self,
        store: Store,
        head: Row,
        plant: PlantSheet,
        own: Sequence[Row],
        like: Sequence[str],
        facts: _Facts,
    ) -> None:
        self.store = store
        self.head = head
        self.plant = plant
        self.product = find_product(head["construction"], head["size"], head["conductor"], head["metal"])
        self.types = [one.name for one in self.product.types]
        judged, run_id = head["assessment_id"], head["run_id"]
        self.limits = facts.limits[judged]
        self.requirements: dict[str, list[Row]] = {}
        every = facts.requirements[judged]
        for row in every:
            self.requirements.setdefault(row["reel_id"], []).append(row)
        self.reels = [row["reel_id"] for row in facts.places[judged]]
        self.lots = facts.lots[run_id]
        withdrawn = facts.withdrawn[run_id]
        self.withdrawn = [
            replace(
                judged_sample(row, self.limits, self.rule(row["quantity"])),
                limits=(),
                withdrawn=withdrawn[row["sample_id"]],
            )
            for row in own
            if row["sample_id"] in withdrawn
        ]
        own = [row for row in own if row["sample_id"] not in withdrawn]
        self.beside = beside_the_line(store, head, own, every, plant.samples)
        self.own = [
            judged_sample(
                row, self.limits, self.rule(row["quantity"]), self.beside.lines.get(row["sample_id"])
            )
            for row in own
        ]
        self.elsewhere = samples_elsewhere(store, head, like, self.limits, self.rule)

    def rule(self, quantity: str) -> DecisionRule:
        """The plant's decision rule for what a quantity shows."""
        chosen = self.plant.decision_for(SAMPLED[quantity].requirement)
        return DecisionRule(chosen.rule, chosen.confidence)

    def said(self) -> dict[str, SampleSay]:
        """What samples say of every reel."""
        contradicting = [one for one in self.own if one.sample_id in self.beside.samples]
        return {reel: self._of_reel(reel, contradicting) for reel in self.reels}

    def _of_reel(self, reel: str, contradicting: Sequence[JudgedSample]) -> SampleSay:
        own = [one for one in self.own if one.reel_id == reel]
        failing = [one for one in own if one.is_below or one.verdict == "indeterminate"]
        of_run = [one for one in self.own if one.reel_id != reel and one.is_below]
        of_lots = [one for one in self.elsewhere if one.there.is_below and self._shared(reel, one)]
        doubts = [message(SampleSays.DOUBT_OF_RUN, told=told) for one in of_run for told in _below(one)]
        doubts += [
            message(
                SampleSays.DOUBT_OF_LOT, lots=sorted(lot for _, lot in self._shared(reel, one)), told=told
            )
            for one in of_lots
            for told in _below(one.there)
        ]
        shown: set[tuple[str, str]] = set()
        missing: list[Message] = []
        others: dict[str, JudgedSample] = {
            one.sample_id: one for one in (*of_run, *(each.there for each in of_lots))
        }
        for requirement in QUANTITY_OF:
            asked = self.plant.samples.asked_of(requirement, self.types)
            if asked is not None:
                met, told, counted = self._shown(reel, asked)
                shown |= met
                missing += told
                others |= {one.sample_id: one for one in counted if one.reel_id != reel}
        behind = [*failing, *of_run, *(one.there for one in of_lots), *contradicting]
        return SampleSay(
            tuple(one.told for each in failing for one in each.limits if one.told),
            tuple(doubts),
            frozenset(shown),
            tuple(missing),
            self.beside.told,
            max((one.entry_no for one in behind), default=0),
            (*own, *(one for one in self.withdrawn if one.reel_id == reel)),
            tuple(others.values()),
        )

    def _shared(self, reel: str, one: Elsewhere) -> frozenset[tuple[str, str]]:
        """Lots of the sampled layer's material that a reel shares with a sample of another run."""
        here = self.lots.get(reel, frozenset())
        return frozenset(lot for lot in same_lots(here, one.lots) if lot[0] == one.there.quantity.material)

    def _shown(
        self, reel: str, asked: ShownBySamples
    ) -> tuple[set[tuple[str, str]], list[Message], list[JudgedSample]]:
        """Requirement sets whose limit samples show as met on a reel, what is missing, and the samples that count."""
        requirement = asked.requirement
        sets = {
            row["requirement_set"]
            for row in self.requirements.get(reel, ())
            if row["requirement"] == requirement and row["limit_id"]
        }
        quantity = QUANTITY_OF[requirement]
        if requirement == "covering at any point" and self.product.covering is None:
            return set(), [], []
        if asked.per == "none":
            return {(requirement, one) for one in sets}, [], []
        groups = self._groups(reel, asked, quantity.name)
        counted = [one for group in groups.values() for one in group]
        absent = [whose for whose, group in groups.items() if not group]
        if absent:
            told = {"requirement": requirement, "per": asked.per}
            return set(), [message(SampleSays.MISSING, whose=one, **told) for one in absent], counted
        shown = {one for one in sets if all(_conforming(group, one) for group in groups.values())}
        own_below = any(one.reel_id == reel and one.is_below for one in counted)
        unshown = [] if own_below else [_unshown(requirement, one, counted) for one in sorted(sets - shown)]
        return {(requirement, one) for one in shown}, unshown, counted

    def _groups(self, reel: str, asked: ShownBySamples, quantity: str) -> dict[Message, list[JudgedSample]]:
        """The samples that count for a reel, by what one is asked for.

        Where a sample of another reel is below the limit, only those cut from this reel count.
        """
        of_run = [one for one in self.own if one.quantity.name == quantity]
        own = [one for one in of_run if one.reel_id == reel]
        alone = message(SampleSays.ASKED_FOR, alone=reel)
        if asked.per == "reel":
            return {message(SampleSays.ASKED_FOR, reel=reel): own}
        if asked.per == "run":
            doubted = any(one.is_below for one in of_run)
            run = message(SampleSays.ASKED_FOR, run=self.head["run_id"])
            return {alone if doubted else run: own if doubted else of_run}
        material = SAMPLED[quantity].material
        lots = sorted(lot for lot in self.lots.get(reel, frozenset()) if lot[0] == material)
        if not lots:
            return {message(SampleSays.ASKED_FOR, reel=reel, material=material): []}
        groups = {}
        for lot in lots:
            here = [one for one in of_run if lot in self.lots.get(one.reel_id, frozenset())]
            there = [
                one.here
                for one in self.elsewhere
                if one.is_like and one.here.quantity.name == quantity and lot in one.lots
            ]
            doubted = any(one.is_below for one in (*here, *there))
            of_lot = message(SampleSays.ASKED_FOR, material=material, lot=lot[1])
            groups[alone if doubted else of_lot] = own if doubted else [*here, *there]
        return groups


def _unshown(requirement: str, requirement_set: str, counted: Sequence[JudgedSample]) -> Message:
    of_set = (one for each in counted for one in each.limits if one.requirement_set == requirement_set)
    why = next((one.told for one in of_set if not one.conforms), None)
    told = {"requirement": requirement, "requirement_set": requirement_set}
    return message(SampleSays.NOT_SHOWN, **told, **({"why": why} if why else {}))


def _below(one: JudgedSample) -> list[Message]:
    """Why a sample is below its limits."""
    return [each.told for each in one.limits if each.is_below and each.told]


def _conforming(group: Sequence[JudgedSample], requirement_set: str) -> bool:
    """Whether a sample of the group meets every limit of a requirement set."""
    for one in group:
        held = [each for each in one.limits if each.requirement_set == requirement_set]
        if held and all(each.conforms for each in held):
            return True
    return False

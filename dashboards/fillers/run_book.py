"""Everything the store says of one run, asked once and used by every page that shows it."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any

from pipeline.messages import Message, said_json
from pipeline.record.decided import RunActs, finding_state, run_acts
from pipeline.record.run_facts import MOST_AHEAD, PlantFacts, by_reel
from pipeline.record.standing import Standing, standings_of
from pipeline.record.stretches_on_file import stretches_of
from pipeline.store.answer_columns import answer_of, warnings_of
from pipeline.store.readings import run_thinned, thinnings_on_file
from pipeline.store.said_columns import rule_of, told_of
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from dashboards.records import Answer, AnswerGroup
    from pipeline.store.database import Store

Row = dict[str, Any]
# Headings over results, and the topics under each; a topic not listed has a heading of its own at the end.
ASKED: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("Capability", ("capability",)),
    ("Minimum wall", ("insulation thinnest", "minimum of a reel")),
    ("Spark faults", ("faults", "fault repeats")),
    ("Material and scrap", ("mass", "scrap")),
    ("Periods, change points and drift", ("periods", "changes", "drift")),
    ("Instruments", ("gauge noise", "hot to cold", "usual shrinkage", "station offsets")),
)


def aware(at: datetime) -> datetime:
    """An instant of the store (UTC without a zone) with its zone."""
    return at.replace(tzinfo=UTC)


def decided_with(requirements: Iterable[Row]) -> list[str]:
    """How rows of ``judged.requirement`` were decided with uncertainty, in words by requirement, each once."""
    rules = ((one["requirement"], rule_of(one)) for one in requirements)
    return sorted({f"{name}: {plain(rule)}" for name, rule in rules if rule is not None})


class ShelfBook(PlantFacts):
    """What is asked once for all runs, with what only pages show."""

    @cached_property
    def thinnings(self) -> dict[str, Row]:
        """How each folder of readings that was thinned was thinned."""
        return thinnings_on_file(self.store)


class RunBook:
    """One run as loaded and judged newest; each part is asked for when it is first needed.

    Args:
        store: the store, open to read.
        head: the run's row of the question ``current_runs``.
        shelf: lengths on file.
    """

    def __init__(self, store: Store, head: Row, shelf: ShelfBook) -> None:
        self.store = store
        self.head = head
        self.shelf = shelf

    @property
    def run_id(self) -> str:
        """The run's id."""
        return str(self.head["run_id"])

    @property
    def is_judged(self) -> bool:
        """Whether the run was assessed at all."""
        return self.head["assessment_id"] is not None

    @property
    def shift_id(self) -> str:
        """Stable id of the shift the run belongs to, fit for a file name."""
        shift = "".join(sign if sign.isalnum() else "-" for sign in str(self.head["shift"]).upper())
        return f"{self.head['shift_date']:%Y-%m-%d}-{shift.strip('-')}"

    @property
    def zone(self) -> str:
        """The zone of the plant's clocks."""
        return self.shelf.zone(self.head["judged_plant_sheet_sha256"] or self.head["plant_sheet_sha256"])

    @cached_property
    def standings(self) -> dict[str, Standing]:
        """How every reel stands now."""
        return standings_of(self)

    def _of_assessment(self, question: str) -> list[Row]:
        return self._of(question, "assessment_id") if self.is_judged else []

    def _of(self, question: str, key: str) -> list[Row]:
        return self.shelf.answer(question, key, self.head[key])

    @cached_property
    def reels(self) -> list[Row]:
        """Standing of every reel, in the order of the wire."""
        return self._of_assessment("placed_reels_of_assessment")

    @cached_property
    def places(self) -> list[Row]:
        """Where each reel lies on the wire."""
        return self._of_assessment("places_of_assessment")

    @cached_property
    def place_of_reel(self) -> dict[str, Row]:
        """Where each reel lies on the wire, by reel."""
        return {row["reel_id"]: row for row in self.places}

    @cached_property
    def lacks_by_reel(self) -> dict[str, list[Row]]:
        """What the evidence of each reel lacks."""
        return by_reel(self._of_assessment("lacks_of_assessment"))

    @cached_property
    def requirements(self) -> list[Row]:
        """Every requirement judged, a row a reel and limit."""
        return self._of_assessment("requirements_of_assessment")

    @cached_property
    def requirements_by_reel(self) -> dict[str, list[Row]]:
        """Every requirement judged, by the reel."""
        return by_reel(self.requirements)

    @cached_property
    def walls_by_reel(self) -> dict[str, list[Row]]:
        """Of what was judged the wall at any point, by the reel."""
        return by_reel(self._of_assessment("walls_of_assessment"))

    @cached_property
    def decision_rules(self) -> list[str]:
        """How it was decided with uncertainty, by requirement."""
        return decided_with(self.requirements)

    @cached_property
    def findings(self) -> list[Row]:
        """Every finding, in the order of the wire."""
        return self._of_assessment("findings_of_assessment")

    @cached_property
    def decided(self) -> RunActs:
        """What persons decided about the run's findings and reels."""
        return run_acts(self._of("acts_of_run", "run_id"))

    @cached_property
    def open_findings(self) -> list[Row]:
        """Findings that are not closed by a decision."""
        return [
            row
            for row in self.findings
            if finding_state(row, self.decided.on(row["finding_id"])).standing != "closed"
        ]

    @cached_property
    def first_seen(self) -> dict[str, datetime]:
        """When each finding was first found, also by an earlier judgement."""
        rows = self._of("first_seen_of_run", "run_id")
        return {row["finding_id"]: row["first_utc"] for row in rows}

    @cached_property
    def cuts(self) -> list[Row]:
        """Lengths cut from the run's reels, or rewound from these."""
        return [one for row in self.places for one in self.shelf.by_reel.get(row["reel_id"], [])]

    @cached_property
    def reels_shipped(self) -> list[Row]:
        """Reels of the run that left whole."""
        return self._of_assessment("reels_shipped_of_assessment")

    @property
    def has_left(self) -> bool:
        """Whether any of its wire left the plant."""
        gone = any(row["shipped_entry_no"] is not None for row in self.cuts) or self.reels_shipped
        return bool(gone or self.run_id in self.shelf.unjudged)

    @cached_property
    def last_told(self) -> int:
        """Number of the newest journal entry about decisions, samples, cuts and shipments of the run; 0 for none."""
        numbers = [*self.decided.entry_of.values()]
        numbers += [row["entry_no"] for row in (*self.cuts, *self.reels_shipped)]
        numbers += [row["shipped_entry_no"] for row in self.cuts if row["shipped_entry_no"] is not None]
        said = self.shelf.samples(self.run_id).values()
        numbers += [sample.entry_no for one in said for sample in (*one.own, *one.others)]
        return max(numbers, default=0)

    @cached_property
    def told(self) -> str:
        """What persons, samples and holds add to what a page of the run stands on."""
        holds = [hold.number for row in self.reels for hold in self.shelf.holds.get(row["reel_id"], ())]
        said = self.shelf.samples(self.run_id)
        samples = {
            (name, one.last_entry, tuple(map(said_json, one.against)))
            for name, one in said.items()
            if one.against
        }
        gone = {sample.sample_id for one in said.values() for sample in one.own if sample.withdrawn}
        doubts = {one for name in said for one in self.shelf.not_known_which(self.run_id, name)}
        stands_on = [self.last_told, holds, sorted(samples), sorted(gone)]
        return json.dumps([*stands_on, *sorted(map(said_json, doubts))], separators=(",", ":"))

    @cached_property
    def basis(self) -> str:
        """What a page of the run stands on, decisions left out: its load, its judgement, and what like runs say."""
        said = [[row["estimate"], row["refusal"]] for row in self.among_its_like]
        return json.dumps(
            [self.head["load_id"], self.head["assessment_id"] or 0, said], separators=(",", ":")
        )

    @cached_property
    def results_of_run(self) -> list[Row]:
        """Every statistical result about the run as a whole."""
        return self._of_assessment("results_of_run")

    @cached_property
    def results_by_reel(self) -> dict[str, list[Row]]:
        """Every statistical result about a reel, by the reel: a hundred times as many."""
        found: dict[str, list[Row]] = {}
        for row in self._of_assessment("results_of_reels"):
            found.setdefault(row["subject"], []).append(row)
        return found

    @cached_property
    def among_its_like(self) -> list[Row]:
        """What the newest look over the line says of the run."""
        return self._of("line_results_of_run", "run_id")

    @cached_property
    def limits(self) -> list[Row]:
        """The limit rows the run was judged by."""
        return self._of_assessment("limits_of_assessment")

    @cached_property
    def phases(self) -> list[Row]:
        """Phases of the run along the wire."""
        return self._of_assessment("phases_of_assessment")

    @cached_property
    def events(self) -> list[Row]:
        """Spark faults and surface flaws on the wire."""
        return self._of_assessment("events_of_assessment")

    @cached_property
    def counter_events(self) -> list[Row]:
        """What the length counter did."""
        return self._of_assessment("counter_events_of_assessment")

    @cached_property
    def gaps(self) -> list[Row]:
        """Wire on reels that the evidence does not reach."""
        return self._of_assessment("gaps_of_assessment")

    @cached_property
    def contradictions(self) -> list[Row]:
        """Stretches of wire on which the instruments contradict each other."""
        return self._of_assessment("contradictions_of_assessment")

    @cached_property
    def stretches(self) -> list[Row]:
        """The wire in stretches."""
        if not self.is_judged:
            return []
        head = self.head
        return stretches_of(self.store, head["assessment_id"], head["assessment_folder"]).to_dicts()

    @cached_property
    def reel_summaries(self) -> list[Row]:
        """Summary of every quantity on every reel."""
        return self._of_assessment("reel_summaries_of_assessment")

    @cached_property
    def files(self) -> list[Row]:
        """The log files."""
        return self._of("files_of_load", "load_id")

    @cached_property
    def materials(self) -> list[Row]:
        """The material lots."""
        return self._of("materials_of_load", "load_id")

    @cached_property
    def flag_counts(self) -> list[Row]:
        """Reasons not to use readings, counted by channel."""
        return self._of("flag_counts_of_load", "load_id")

    @cached_property
    def thinned(self) -> Row | None:
        """How the run's readings were thinned, None where every one is there."""
        return self.shelf.thinnings.get(self.head["load_folder"])

    @cached_property
    def warnings(self) -> list[Message]:
        """What must be told about the run's logs and places."""
        told = [told_of(row) for row in self._of("warnings_of_load", "load_id")]
        told += [told_of(row) for row in self._of_assessment("placing_warnings_of_assessment")]
        thinned = self.thinned
        about = [run_thinned(thinned)] if thinned is not None else []
        return [*about, *told] + [one for row in self.among_its_like for one in warnings_of(row["warnings"])]

    def set_aside(self, most: int) -> list[Row]:
        """The first `most` lines that were set aside."""
        if not self.head["rows_set_aside"]:
            return []
        return self.store.ask("questions/set_aside_of_load", load_id=self.head["load_id"], most=most)

    def answers(self, scope: str, subject: str) -> tuple[AnswerGroup, ...]:
        """The statistical results about one subject by what they are about, in the order a reader asks."""
        from dashboards.records import AnswerGroup

        grouped: dict[str, list[Answer]] = {title: [] for title, _ in ASKED}
        title_of = {topic: title for title, topics in ASKED for topic in topics}
        results = self.results_of_run if scope == "run" else self.results_by_reel.get(subject, [])
        for row in (*results, *self.among_its_like):
            if row["scope"] == scope and row["subject"] == subject:
                grouped.setdefault(title_of.get(row["topic"], row["topic"].capitalize()), []).append(
                    answer_of(row)
                )
        return tuple(AnswerGroup(title, tuple(found)) for title, found in grouped.items() if found)


def run_books(store: Store, heads: Sequence[Row] | None = None) -> list[RunBook]:
    """A book for every run on file, oldest first, or for some runs, about which all is asked at once.

    Args:
        store: the store.
        heads: rows of the question ``current_runs``; None for all of them.
    """
    shown = store.ask("questions/current_runs") if heads is None else heads
    shelf = ShelfBook(store, shown, ahead=1 if heads is None else min(len(heads), MOST_AHEAD))
    return [RunBook(store, head, shelf) for head in shown]


def run_results(books: Sequence[RunBook], topics: Sequence[str]) -> list[list[Row]]:
    """Results on some topics about each run as a whole, in the order of the books; [] where it was not judged.

    Asked once for all runs, and of these topics only: a run has a hundred times as many results about its reels.
    """
    if not books:
        return []
    ids = [book.head["assessment_id"] for book in books if book.is_judged]
    question = "questions/run_results_of_assessment"
    found = books[0].store.ask_of_each(question, "assessment_id", ids, topics=list(topics))
    return [found.get(book.head["assessment_id"], []) for book in books]

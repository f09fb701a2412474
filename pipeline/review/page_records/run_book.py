"""Everything the store says of one run, asked once and used by every page that shows it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any

from pipeline.results import Assumption, Refused, Result
from pipeline.review.decided import RunActs, acts_of_run, finding_state
from pipeline.review.lengths import lengths_on_file
from pipeline.review.stretches_on_file import stretches_of
from pipeline.store.readings import thinned_sentence, thinning_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from dashboards.records import Answer, AnswerGroup
    from pipeline.store.database import Store

Row = dict[str, Any]
# Headings over results, and the topics under each; a topic not listed has a heading of its own at the end.
ASKED: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("How far from the limits", ("capability",)),
    ("The thinnest point", ("insulation thinnest", "minimum of a reel")),
    ("Spark faults", ("faults", "fault repeats")),
    ("Material and scrap", ("mass", "scrap")),
    ("What comes back along the wire, and what changed", ("periods", "changes", "drift")),
    ("The instruments", ("gauge noise", "hot to cold", "usual shrinkage", "station offsets")),
)


def aware(at: datetime) -> datetime:
    """An instant of the store (UTC without a zone) with its zone."""
    return at.replace(tzinfo=UTC)


def answer_of(row: Row) -> Answer:
    """A row of ``judged.result`` as the result or refusal it was."""
    if row["refused"]:
        return Refused(row["question"], row["method"], row["refused"], row["n"])
    return Result(
        question=row["question"],
        estimate=row["estimate"],
        low=row["low"],
        high=row["high"],
        confidence=row["confidence"],
        unit=row["unit"],
        method=row["method"],
        n=row["n"],
        effective_n=row["effective_n"],
        known_m=row["known_m"],
        unit_of_inference=row["unit_of_inference"],
        assumptions=tuple(Assumption(**one) for one in json.loads(row["assumptions"])),
        warnings=tuple(row["warnings"]),
        details=json.loads(row["details"]),
    )


def _by_reel(rows: Iterable[Row]) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row["reel_id"], []).append(row)
    return found


class ShelfBook:
    """Every length on file, cut or rewound, asked once for all runs.

    Args:
        store: the store, open to read.
    """

    def __init__(self, store: Store) -> None:
        self.store = store

    @cached_property
    def by_reel(self) -> dict[str, list[Row]]:
        """Lengths by the reel they were made on."""
        return _by_reel(lengths_on_file(self.store))


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

    def _of_assessment(self, question: str) -> list[Row]:
        if not self.is_judged:
            return []
        return self.store.ask(f"questions/{question}", assessment_id=self.head["assessment_id"])

    def _of_load(self, question: str, **more: object) -> list[Row]:
        return self.store.ask(f"questions/{question}", load_id=self.head["load_id"], **more)

    @cached_property
    def reels(self) -> list[Row]:
        """Standing of every reel, in the order of the wire."""
        place = {row["reel_id"]: row for row in self.places}
        rows = [
            {**row, **place.get(row["reel_id"], {})} for row in self._of_assessment("reels_of_assessment")
        ]
        return sorted(rows, key=lambda row: row.get("from_m", 0.0))

    @cached_property
    def places(self) -> list[Row]:
        """Where each reel lies on the wire."""
        return self._of_assessment("places_of_assessment")

    @cached_property
    def requirements(self) -> list[Row]:
        """Every requirement judged, a row a reel and limit."""
        return self._of_assessment("requirements_of_assessment")

    @cached_property
    def requirements_by_reel(self) -> dict[str, list[Row]]:
        """Every requirement judged, by the reel."""
        return _by_reel(self.requirements)

    @cached_property
    def findings(self) -> list[Row]:
        """Every finding, in the order of the wire."""
        return self._of_assessment("findings_of_assessment")

    @cached_property
    def decided(self) -> RunActs:
        """What persons decided about the run's findings and reels."""
        return acts_of_run(self.store, self.run_id)

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
        rows = self.store.ask("questions/first_seen_of_run", run_id=self.run_id)
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
    def last_told(self) -> int:
        """Number of the newest journal entry about decisions, cuts and shipments of the run; 0 for none."""
        numbers = [*self.decided.entry_of.values()]
        numbers += [row["entry_no"] for row in (*self.cuts, *self.reels_shipped)]
        numbers += [row["shipped_entry_no"] for row in self.cuts if row["shipped_entry_no"] is not None]
        return max(numbers, default=0)

    @cached_property
    def results(self) -> list[Row]:
        """Every statistical result."""
        return self._of_assessment("results_of_assessment")

    @cached_property
    def among_its_like(self) -> list[Row]:
        """What the newest look over the line says of the run."""
        return self.store.ask("questions/line_results_of_run", run_id=self.run_id)

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
    def agreement(self) -> list[Row]:
        """How the instruments agree along the wire."""
        return self._of_assessment("agreement_of_assessment")

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
        return self._of_load("files_of_load")

    @cached_property
    def materials(self) -> list[Row]:
        """The material lots."""
        return self._of_load("materials_of_load")

    @cached_property
    def flag_counts(self) -> list[Row]:
        """Reasons not to use readings, counted by channel."""
        return self._of_load("flag_counts_of_load")

    @cached_property
    def thinned(self) -> Row | None:
        """How the run's readings were thinned, None where every one is there."""
        return thinning_of(self.store, self.head["load_folder"])

    @cached_property
    def warnings(self) -> list[str]:
        """What must be told about the run's logs and places."""
        told = self._of_load("warnings_of_load") + self._of_assessment("placing_warnings_of_assessment")
        thinned = self.thinned
        about = [f"Of this run {thinned_sentence(thinned)}."] if thinned is not None else []
        return [*about, *(row["sentence"] for row in told)] + [
            sentence for row in self.among_its_like for sentence in row["warnings"]
        ]

    def set_aside(self, most: int) -> list[Row]:
        """The first `most` lines that were set aside."""
        return self._of_load("set_aside_of_load", most=most)

    def answers(self, scope: str, subject: str) -> tuple[AnswerGroup, ...]:
        """The statistical results about one subject by what they are about, in the order a reader asks."""
        from dashboards.records import AnswerGroup

        grouped: dict[str, list[Answer]] = {title: [] for title, _ in ASKED}
        title_of = {topic: title for title, topics in ASKED for topic in topics}
        for row in (*self.results, *self.among_its_like):
            if row["scope"] == scope and row["subject"] == subject:
                grouped.setdefault(title_of.get(row["topic"], row["topic"].capitalize()), []).append(
                    answer_of(row)
                )
        return tuple(AnswerGroup(title, tuple(found)) for title, found in grouped.items() if found)


@dataclass(frozen=True, slots=True)
class Site:
    """What the pages need to know of the plant besides its runs.

    Args:
        plant_name: name at the head of every page.
        zone: IANA zone times are shown in.
        units: ``imperial`` or ``metric``.
        is_demo: whether the data are invented.
    """

    plant_name: str
    zone: str
    units: str
    is_demo: bool


def run_books(store: Store) -> list[RunBook]:
    """A book for every run on file, oldest first."""
    shelf = ShelfBook(store)
    return [RunBook(store, head, shelf) for head in store.ask("questions/current_runs")]

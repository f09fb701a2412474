"""What the standings of a run's reels are made of, each part asked for when it is first needed.

Books of pages keep the same facts; these are for whoever asks about one run without a library of frames.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

from pipeline.record.alarms import Unjudged, left_unjudged
from pipeline.record.decided import RunActs, run_acts
from pipeline.record.earlier_numbers import KeptBack, kept_back_of_run
from pipeline.record.holds_on_file import holds_by_reel
from pipeline.record.left_on_file import Left, left_on_file
from pipeline.record.lengths import lengths_on_file
from pipeline.record.sample_say import SampleSay, samples_on_runs
from pipeline.record.which_wire import Doubts, made_at_one_time, numbers_of_two
from pipeline.store.said_columns import lacking_of

if TYPE_CHECKING:
    from pipeline.messages import Message
    from pipeline.nonconformance.hold import Hold
    from pipeline.store.database import Store
    from pipeline.why import Lacking

Row = Mapping[str, Any]
# Runs asked about at once at the most: so many bear a few hundred reels each in memory.
MOST_AHEAD = 64


def by_reel(rows: Sequence[dict[str, Any]]) -> dict[str, list[dict[str, Any]]]:
    """Rows by their reel, in their order."""
    found: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        found.setdefault(row["reel_id"], []).append(row)
    return found


class PlantFacts:
    """What is asked once for all runs, and of many runs at a time where they are gone through one after the other.

    Args:
        store: the store.
        heads: rows of the question ``current_run`` or ``current_runs``, in the order the runs are gone through.
        ahead: how many runs are asked about at first.
        only_runs: the runs whose standings are wanted; none for every run.
    """

    def __init__(
        self, store: Store, heads: Sequence[Row] = (), ahead: int = 1, only_runs: Sequence[str] = ()
    ) -> None:
        self.store = store
        self.heads = heads
        self._first = ahead
        self._only_runs = only_runs
        self._found: dict[str, dict[Any, list[dict[str, Any]] | None]] = {}
        self._ahead: dict[str, int] = {}
        self._numbers: dict[str, dict[Any, int]] = {}
        self._sheets: dict[str, str] = {}
        self._unsure: dict[int, Mapping[str, float]] = {}
        self._zones: dict[str, str] = {}
        self._products: dict[int, str] = {}
        self._samples: dict[str, Mapping[str, SampleSay]] = {}
        self._kept_back: dict[str, Mapping[str, KeptBack]] = {}

    def answer(self, question: str, key: str, value: Any) -> list[dict[str, Any]]:
        """What a question about one run's `key` answers; a book keeps it.

        The first run is asked alone. Then each asking takes twice as many of the runs that come after, for a
        statement costs more than the rows of a hundred runs.
        """
        found = self._found.setdefault(question, {})
        if found.get(value) is None:
            ahead = self._ahead.get(question, self._first)
            self._ahead[question] = min(2 * ahead, MOST_AHEAD)
            found |= self.store.ask_of_each(
                f"questions/{question}", key, [value, *self._after(key, value, ahead - 1, found)]
            )
        rows = found[value]
        found[value] = None
        return rows or []

    def _after(self, key: str, value: Any, most: int, found: Mapping[Any, Any]) -> list[Any]:
        """The keys of as many runs after that of `value` as were not asked about."""
        if key not in self._numbers:
            self._numbers[key] = {head[key]: n for n, head in enumerate(self.heads)}
        numbers = self._numbers[key]
        if value not in numbers:
            return []
        after = (head[key] for head in self.heads[numbers[value] + 1 : numbers[value] + 1 + most])
        return [one for one in after if one is not None and one not in found]

    @cached_property
    def holds(self) -> dict[str, tuple[Hold, ...]]:
        """Persons' holds in force, by the reel they reach."""
        return holds_by_reel(self.store)

    def holds_on(self, reel_id: str, zone: str) -> tuple[Hold, ...]:
        """Persons' holds in force on a reel, with the zone in which their day is told."""
        return tuple(replace(one, zone=zone) for one in self.holds.get(reel_id, ()))

    @cached_property
    def left(self) -> dict[str, Left]:
        """What left the plant, by the reel or cut length."""
        return left_on_file(self.store)

    @cached_property
    def numbers_of_two(self) -> Doubts:
        """What is said of each number that means more than one piece of wire."""
        return numbers_of_two(self.store)

    @cached_property
    def at_one_time(self) -> Mapping[str, Mapping[str, Message]]:
        """What is said of runs that a line made at the same time as another, by run and other."""
        return made_at_one_time(self.store, self._only_runs)

    def not_known_which(self, run_id: str, name: str) -> tuple[Message, ...]:
        """Why it is not known which wire a reel or length of a run is; none as a rule."""
        return (*self.numbers_of_two.get(name, ()), *self.at_one_time.get(run_id, {}).values())

    @cached_property
    def unjudged(self) -> dict[str, list[Unjudged]]:
        """Wire that left and that no judgement stands behind now, by its run."""
        found: dict[str, list[Unjudged]] = {}
        for one in left_unjudged(self.store, self.left):
            found.setdefault(one.run_id, []).append(one)
        return found

    @cached_property
    def by_reel(self) -> dict[str, list[dict[str, Any]]]:
        """Lengths by the reel they were made on."""
        return by_reel(lengths_on_file(self.store))

    def take_samples(self, said: dict[str, Mapping[str, SampleSay]]) -> None:
        """Begin with what samples are known to say of some runs, by run; what is asked for besides is added to it."""
        self._samples = said

    def samples(self, run_id: str) -> Mapping[str, SampleSay]:
        """What samples say of a run's reels."""
        if run_id not in self._samples:
            after = self._after("run_id", run_id, self._first - 1, self._samples)
            self._samples |= samples_on_runs(self.store, (run_id, *after))
        return self._samples[run_id]

    def kept_back(self, run_id: str, decided: RunActs) -> Mapping[str, KeptBack]:
        """What keeps a run's wire back that was said of it under another number, by the reel that it is now."""
        if run_id not in self._kept_back:
            places = self.answer("places_of_run", "run_id", run_id)
            self._kept_back[run_id] = kept_back_of_run(self.store, run_id, places, decided, self.by_reel)
        return self._kept_back[run_id]

    def place_as_judged(self, assessment_id: int, reel_id: str) -> Row | None:
        """Where a reel lay in a judgement that may not be the newest; None where it had none."""
        rows = self.store.ask("questions/placed_reels_of_assessment", assessment_id=assessment_id)
        return next((row for row in rows if row["reel_id"] == reel_id), None)

    def reel_as_judged(self, assessment_id: int, reel_id: str) -> Row | None:
        """A reel's row in a judgement that may not be the newest; None where it had none."""
        rows = self.store.ask("questions/reels_of_assessment", assessment_id=assessment_id)
        return next((row for row in rows if row["reel_id"] == reel_id), None)

    def lacks_as_judged(self, assessment_id: int, reel_id: str) -> tuple[Lacking, ...]:
        """What the evidence of a reel lacked in a judgement that may not be the newest."""
        rows = self.store.ask("questions/lacks_of_assessment", assessment_id=assessment_id)
        return lacking_of(by_reel(rows).get(reel_id, ()))

    def product_as_judged(self, assessment_id: int) -> str:
        """What a judgement took its run's wire for."""
        if assessment_id not in self._products:
            rows = self.store.ask("questions/product_of_assessment", assessment_id=assessment_id)
            parts = [rows[0][name] for name in ("construction", "size", "conductor", "metal")] if rows else []
            self._products[assessment_id] = ", ".join(parts)
        return self._products[assessment_id]

    def end_unsure_m(self, assessment_id: int) -> Mapping[str, float]:
        """How well the ends of a judgement's reels are known [m], of those that an accumulator leaves unsure."""
        if assessment_id not in self._unsure:
            rows = self.store.ask("questions/end_unsure_of_reels", assessment_id=assessment_id)
            self._unsure[assessment_id] = {row["reel_id"]: row["end_unsure_m"] for row in rows}
        return self._unsure[assessment_id]

    def sheet(self, sha256: str) -> str:
        """The text of a sheet, "" where it is not on file."""
        if sha256 not in self._sheets:
            found = self.store.ask("questions/sheet", sha256=sha256)
            self._sheets[sha256] = found[0]["text"] if found else ""
        return self._sheets[sha256]

    def zone(self, sha256: str) -> str:
        """The zone of a plant's clocks, by its sheet; UTC where the sheet is not on file."""
        if sha256 not in self._zones:
            told = tomllib.loads(self.sheet(sha256)).get("plant", {})
            self._zones[sha256] = str(told.get("zone", "UTC"))
        return self._zones[sha256]


class Facts(Protocol):
    """What a standing is folded from, of one run."""

    @property
    def shelf(self) -> PlantFacts:
        """What is asked once for all runs."""

    @property
    def run_id(self) -> str:
        """The run."""

    @property
    def zone(self) -> str:
        """The zone of the plant's clocks."""

    @property
    def reels(self) -> Sequence[Row]:
        """Its reels as judged newest."""

    @property
    def findings(self) -> Sequence[Row]:
        """Its findings."""

    @property
    def decided(self) -> RunActs:
        """Persons' acts."""

    @property
    def gaps(self) -> Sequence[Row]:
        """Wire on reels that the evidence does not reach."""

    @property
    def contradictions(self) -> Sequence[Row]:
        """Wire on which the instruments contradict each other."""

    @property
    def lacks_by_reel(self) -> Mapping[str, Sequence[Row]]:
        """What the evidence of each reel lacks."""

    @property
    def requirements_by_reel(self) -> Mapping[str, Sequence[Row]]:
        """Every requirement judged, by the reel."""


class RunFacts:
    """The facts of one run, from the store.

    Args:
        head: the run's row of the question ``current_run``; the run was judged.
        shelf: what is asked once for all runs.
    """

    def __init__(self, head: Row, shelf: PlantFacts) -> None:
        self.head = head
        self.shelf = shelf

    @property
    def run_id(self) -> str:
        """The run."""
        return str(self.head["run_id"])

    @property
    def zone(self) -> str:
        """The zone of the plant's clocks."""
        return self.shelf.zone(self.head["judged_plant_sheet_sha256"] or self.head["plant_sheet_sha256"])

    def _ask(self, question: str, key: str = "assessment_id") -> list[dict[str, Any]]:
        return self.shelf.answer(question, key, self.head[key])

    @cached_property
    def reels(self) -> Sequence[Row]:
        """Its reels as judged newest, in the order of the wire."""
        return self._ask("placed_reels_of_assessment")

    @cached_property
    def findings(self) -> Sequence[Row]:
        """Its findings, in the order of the wire."""
        return self._ask("findings_of_assessment")

    @cached_property
    def decided(self) -> RunActs:
        """Persons' acts on its findings, reels and cut lengths."""
        return run_acts(self._ask("acts_of_run", "run_id"))

    @cached_property
    def gaps(self) -> Sequence[Row]:
        """Wire on reels that the evidence does not reach."""
        return self._ask("gaps_of_assessment")

    @cached_property
    def contradictions(self) -> Sequence[Row]:
        """Wire on which the instruments contradict each other."""
        return self._ask("contradictions_of_assessment")

    @cached_property
    def lacks_by_reel(self) -> Mapping[str, Sequence[Row]]:
        """What the evidence of each reel lacks."""
        return by_reel(self._ask("lacks_of_assessment"))

    @cached_property
    def requirements_by_reel(self) -> Mapping[str, Sequence[Row]]:
        """Every requirement judged, by the reel."""
        return by_reel(self._ask("requirements_of_assessment"))


def facts_of_runs(store: Store, runs: Iterable[str]) -> list[RunFacts]:
    """The facts of some runs, asked for together; a run that is not on file or was not judged is left out."""
    asked = tuple(dict.fromkeys(runs))
    found = store.ask_of_each("questions/current_run", "run_id", asked) if asked else {}
    heads = [head for rows in found.values() for head in rows if head["assessment_id"] is not None]
    named = tuple(head["run_id"] for head in heads)
    shelf = PlantFacts(store, heads, min(len(heads), MOST_AHEAD), named)
    return [RunFacts(head, shelf) for head in heads]

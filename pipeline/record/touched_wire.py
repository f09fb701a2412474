"""Contain: a lot, gauge, limit, version, roll or length of wire is suspect; which reels and lengths does it touch?

The answer is as complete as the store. Wire whose whereabouts are not on file is never counted as in house.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from pipeline.errors import Complaint, ReelproofError
from pipeline.found import Suspected, TouchedNote
from pipeline.length.reel_places import OUTER
from pipeline.lots.containment import Containment, Suspect, Touched, contain, contain_window, together
from pipeline.lots.genealogy import WHOLE, Genealogy, Node, NodeKind, Span, joined
from pipeline.messages import Between, Message, Place, Slot, message
from pipeline.record.alarms import left_unjudged
from pipeline.record.genealogy_of_store import RESIDENCE_S, genealogy_of
from pipeline.record.left_on_file import left_on_file
from pipeline.record.lengths import GONE, lengths_on_file
from pipeline.record.not_found import not_on_file
from pipeline.record.standing import Standing, standings_of_run

if TYPE_CHECKING:
    from pipeline.store.database import Store

# What a person may ask about, and the kind of node that answers.
KINDS: dict[str, NodeKind] = {
    "lot": "material lot",
    "gauge": "calibration",
    "limit": "limit",
    "software": "software",
    "element": "element",
    "run": "run",
    "reel": "reel",
    "length": "cut length",
    "window": "run",
}
OF_WIRE = ("run", "reel", "length")
State = Literal["in house", "not known", "shipped", "elsewhere"]
STATES: tuple[State, ...] = ("in house", "not known", "shipped", "elsewhere")


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked.

    Args:
        kind: one of `KINDS`.
        name: the lot, gauge, limit, version, roll, run, reel or length; "" for a window.
        since: from when on, for what is no wire; None from the start.
        until: up to when; None to the end.
        span: which of its wire [m], of a run from its first metre, of a reel or length from the outer end.
        residence_s: mean residence of the melt [s], for the tail after a lot ended.
    """

    kind: str
    name: str
    since: datetime | None = None
    until: datetime | None = None
    span: Span = WHOLE
    residence_s: float = RESIDENCE_S

    @property
    def parts(self) -> tuple[Message, ...]:
        """The suspect, part by part."""
        found = [message(Suspected.NAME, text=f"{self.kind} {self.name}".rstrip())]
        if self.span != WHOLE:
            (low, high), end = self.span, "" if self.kind == "run" else OUTER
            told: dict[str, Slot] = {"span": Between(low, high, end)}
            if math.isinf(low) or math.isinf(high):
                told = {"before": Place(high, end)} if math.isinf(low) else {"beyond": Place(low, end)}
            found.append(message(Suspected.OF_REEL if end else Suspected.OF_RUN, **told))
        if self.since is not None:
            found.append(message(Suspected.SINCE, at=f"{self.since:%Y-%m-%d %H:%M}"))
        if self.until is not None:
            found.append(message(Suspected.UNTIL, at=f"{self.until:%Y-%m-%d %H:%M}"))
        return tuple(found)

    @property
    def told(self) -> Message:
        """The suspect as it is told."""
        return message(Suspected.PARTS, parts=self.parts)


@dataclass(frozen=True, slots=True)
class TouchedWire:
    """A reel or cut length that is touched.

    Args:
        length_id: the reel or cut length.
        kind: ``reel`` or ``cut length``.
        reel_id: the reel it is or was cut from.
        run_id: the run it was made in.
        length_m: wire on it [m].
        spans: which of it, from the end that comes off first [m].
        where: ``in house``, ``not known``, ``cut up``, ``scrapped`` or ``shipped`` with the shipment and the place.
        state: ``in house``, ``not known``, ``shipped``, or ``elsewhere`` for wire scrapped or on lengths cut
            from the reel.
        in_house_m: touched wire that can still be held [m]; lengths cut from a reel count as themselves.
        not_known_m: touched wire of which nobody told where it is [m].
        gone_m: touched wire that was shipped [m].
        standing: how it stands now.
        path: how the suspect came to it.
    """

    length_id: str
    kind: str
    reel_id: str
    run_id: str
    length_m: float
    spans: tuple[Span, ...]
    where: str
    state: State
    in_house_m: float
    not_known_m: float
    gone_m: float
    standing: str
    path: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Contained:
    """The answer.

    Args:
        question: what was asked.
        touched: reels and cut lengths, what is in house first, then what is not known, then what was shipped.
        runs: the runs on the way.
        shipments: shipment -> where it went.
        notes: what a reader must know of the list.
        alarms: touched wire that is out and might not have left.
    """

    question: Question
    touched: tuple[TouchedWire, ...]
    runs: tuple[str, ...]
    shipments: Mapping[str, str]
    notes: tuple[Message, ...]
    alarms: tuple[Message, ...]

    @property
    def in_house_m(self) -> float:
        """Touched wire that can still be held [m]."""
        return sum(one.in_house_m for one in self.touched)

    @property
    def not_known_m(self) -> float:
        """Touched wire of which nobody told where it is [m]."""
        return sum(one.not_known_m for one in self.touched)

    @property
    def gone_m(self) -> float:
        """Touched wire that was shipped [m]."""
        return sum(one.gone_m for one in self.touched)


def contained(store: Store, question: Question) -> Contained:
    """Everything a suspect touches.

    Raises:
        NotFoundError: the suspect is not on file, which is not the same as touching nothing.
        ReelproofError: the question makes no sense.
    """
    if question.kind not in KINDS:
        raise ReelproofError(
            Complaint("contain", f"'{question.kind}' cannot be asked about", f"It may be {', '.join(KINDS)}")
        )
    if question.kind != "window" and not question.name.strip():
        raise ReelproofError(
            Complaint(
                f"contain {question.kind}",
                "which one is not told",
                f"Give its number after '{question.kind}'",
            )
        )
    genealogy = genealogy_of(store, question.residence_s, _runs_concerned(store, question))
    facts = _Facts(store, genealogy)
    taken_m = facts.cuts[question.name]["taken_m"] if question.name in facts.cuts else 0.0
    answers = _answers(genealogy, question, taken_m)
    wires = [
        facts.wire(one) for one in together(answers) if one.node.kind != "shipment" and one.node != _WINDOW
    ]
    # Of some lengths all that was touched was rewound onto others.
    wires = [one for one in wires if one.spans or one.kind == "reel"]
    runs = {one.node.name for each in answers for one in each.between if one.node.kind == "run"}
    runs |= {each.suspect.node.name for each in answers if each.suspect.node.kind == "run"}
    places = {row["shipment"]: str(row["to_place"]) for row in facts.shipped.values()}
    gone = {one.node.name: places[one.node.name] for one in together(answers) if one.node.kind == "shipment"}
    return Contained(
        question,
        tuple(sorted(wires, key=lambda one: (STATES.index(one.state), one.length_id))),
        tuple(sorted(runs)),
        dict(sorted(gone.items())),
        _notes(
            question,
            facts,
            sorted({node.name for one in together(answers) for node in one.path if node.kind == "load"}),
        ),
        facts.alarms({one.reel_id for one in wires}),
    )


_WINDOW = Node("run", "window")


def _runs_concerned(store: Store, question: Question) -> frozenset[str] | None:
    """The runs that a lot or run leads to, None for every run: a year's sheets need not be read for one lot.

    Raises:
        NotFoundError: no load ever named such a lot, or no run has this number.
    """
    if question.kind == "run":
        runs = [row["run_id"] for row in store.ask("questions/current_runs")]
        if question.name not in runs:
            raise not_on_file("run", question.name, sorted(runs))
        return frozenset({question.name})
    if question.kind != "lot":
        return None
    named = store.ask("questions/runs_of_lot_named", name=question.name)
    if not named:
        raise not_on_file("lot", question.name, [row["lot"] for row in store.ask("questions/lot_ids")])
    return frozenset(row["run_id"] for row in named)


def _notes(question: Question, facts: _Facts, replaced: Sequence[str]) -> tuple[Message, ...]:
    notes = [message(TouchedNote.IN_HOUSE_MEANS if facts.shipped else TouchedNote.NOTHING_TOLD)]
    notes += [message(TouchedNote.BY_EARLIER_SHEET, run=name) for name in replaced]
    if question.kind == "lot":
        notes.append(message(TouchedNote.RESIDENCE, seconds=question.residence_s))
    if question.since is not None or question.until is not None:
        notes.append(message(TouchedNote.TO_THE_RUN))
    return tuple(notes)


def _answers(genealogy: Genealogy, question: Question, taken_m: float) -> tuple[Containment, ...]:
    if question.kind == "window":
        if question.since is None or question.until is None:
            raise ReelproofError(
                Complaint(
                    "contain window",
                    "a window needs a start and an end",
                    "Give both --from and --to as times",
                )
            )
        return contain_window(genealogy, question.since, question.until, "time window")
    nodes = _nodes(genealogy, question)
    # Places are asked from the end that comes off first now; in the graph they count as the length was made.
    span = (question.span[0] + taken_m, question.span[1] + taken_m)
    return tuple(
        contain(genealogy, Suspect(node, "asked", span, question.since, question.until)) for node in nodes
    )


def _nodes(genealogy: Genealogy, question: Question) -> tuple[Node, ...]:
    """The nodes a name may mean: a lot of several materials, a gauge under several calibrations."""
    alike = [node for node in genealogy.nodes if node.kind == KINDS[question.kind]]
    name = question.name

    def means(node: Node) -> bool:
        if node.name == name:
            return True
        if question.kind in ("lot", "software", "element"):
            return node.name.endswith(f" {name}")
        return question.kind in ("gauge", "limit") and node.name.startswith(f"{name} ")

    found = tuple(node for node in alike if means(node))
    if not found:
        raise not_on_file(question.kind, name, sorted({_shown(question.kind, node.name) for node in alike}))
    return found


def _shown(kind: str, name: str) -> str:
    """A node's name as a person would give it."""
    if kind == "lot":
        return name.rpartition(" ")[2]
    end = {"gauge": " ", "limit": " revision "}.get(kind)
    return name.partition(end)[0] if end else name


class _Facts:
    """What is known of reels and lengths besides the graph."""

    def __init__(self, store: Store, genealogy: Genealogy) -> None:
        self.store = store
        self.genealogy = genealogy
        self.cuts = {row["length_id"]: row for row in lengths_on_file(store)}
        self.shipped = {row["item"]: row for row in store.ask("questions/shipments")}
        self.run_of = {
            edge.child.name: (
                edge.parent.name.partition(" load ")[0],
                edge.of_child[1] if edge.of_child else 0.0,
            )
            for edge in genealogy.edges
            if edge.child.kind == "reel"
        }
        self.assessment_of = {
            row["run_id"]: row["assessment_id"] for row in store.ask("questions/current_runs")
        }
        self._standing: dict[str, Mapping[str, Standing]] = {}

    def standing(self, run_id: str, reel_id: str) -> str:
        """How a reel or cut length stands now."""
        if run_id not in self._standing:
            self._standing[run_id] = standings_of_run(self.store, run_id)
        for name, one in self._standing[run_id].items():
            if name == reel_id:
                return one.code
            for length in one.lengths:
                if length.length_id == reel_id:
                    return length.code
        return "not assessed"

    def alarms(self, reels: Collection[str]) -> tuple[Message, ...]:
        """Wire of some reels that is out and might not have left."""
        unjudged = left_unjudged(self.store, left_on_file(self.store))
        told = [one.told for one in unjudged if one.reel_id in reels]
        for standings in self._standing.values():
            told += [one for name, now in standings.items() if name in reels for one in now.alarms]
        return tuple(told)

    def wire(self, one: Touched) -> TouchedWire:
        """A touched node with everything known of it."""
        name = one.node.name
        cut = self.cuts.get(name) if one.node.kind == "cut length" else None
        reel_id = cut["reel_id"] if cut else name
        run_id, length = self.run_of.get(reel_id, ("", 0.0))
        if cut:
            length = cut["to_outer_m"] - cut["from_outer_m"]
        taken = cut["taken_m"] if cut else 0.0
        spans = joined(
            (max(low - taken, 0.0), min(high - taken, length))
            for low, high in one.spans
            if high - taken > 0.0 and low - taken < length
        )
        where = one.whereabouts
        left = self.shipped.get(name)
        touched = sum(high - low for low, high in spans)
        # What was cut from a reel is listed as the lengths themselves.
        here = touched if cut else max(touched - self._cut_from(reel_id, spans), 0.0)
        state: State = "elsewhere"
        if left:
            state, here = "shipped", touched
        elif where in ("in house", "not known"):
            if here > 0.0:
                state = "in house" if where == "in house" else "not known"
            else:
                where = "on lengths cut from it"
        elif where == GONE:
            where = "rewound onto other lengths"
        return TouchedWire(
            name,
            one.node.kind,
            reel_id,
            run_id,
            length,
            spans,
            f"shipped in {left['shipment']} to {left['to_place']}" if left else where,
            state,
            here if state == "in house" else 0.0,
            here if state == "not known" else 0.0,
            here if state == "shipped" else 0.0,
            self.standing(run_id, name if cut else reel_id),
            tuple(str(node) for node in one.path),
        )

    def _cut_from(self, reel_id: str, spans: Sequence[Span]) -> float:
        """Touched wire of a reel that is on cut lengths now [m]."""
        own = [
            (float(row["from_outer_m"]), float(row["to_outer_m"]))
            for row in self.cuts.values()
            if row["reel_id"] == reel_id and row["use"] != GONE
        ]
        return sum(max(min(high, end) - max(low, start), 0.0) for start, end in own for low, high in spans)


def containment_id(entry_no: int) -> str:
    """The number of a containment: that of its journal entry."""
    return f"C-{entry_no:05d}"


def question_of(record: Mapping[str, Any]) -> Question:
    """The question a journal entry of a containment keeps."""

    def moment(text: str) -> datetime | None:
        return datetime.fromisoformat(text) if text else None

    low, _, high = record["span_m"].partition(" ")
    return Question(
        record["kind"],
        record["name"],
        moment(record["since"]),
        moment(record["until"]),
        (float(low), float(high)) if high else WHOLE,
        float(record["residence_s"]),
    )

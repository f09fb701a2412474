"""How does a reel stand now: what the evidence says, what persons decided, and where its wire is?

`judged.reel` keeps what the in-line evidence supports and nothing else. Every page, command, print and pack takes a
reel's standing from here: the evidence, samples, persons' acts and holds, cuts, rewindings and shipments, folded once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from pipeline.length.reel_places import sentence_on_reel
from pipeline.nonconformance.disposition import Act, State, state_of
from pipeline.nonconformance.hold import Hold
from pipeline.review.decided import LETS_GO, RunActs, holding_states, reel_state
from pipeline.review.left_on_file import Left
from pipeline.review.lengths import GONE
from pipeline.review.not_found import not_on_file
from pipeline.review.sample_say import NOTHING, SampleSay
from pipeline.review.standing_told import headline, left_headline, let_go_by, told_left
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.review.run_facts import Facts
    from pipeline.store.database import Store

Row = Mapping[str, Any]
# What a reel or cut length is called now; pages and commands tell all apart by these and by nothing else.
Code = Literal[
    "left while held",
    "held since it left",
    "left unreleased",
    "held",
    "no conclusion",
    "releasable",
    "awaiting a second person",
    "decided",
    "regraded",
    "released",
    "released by concession",
    "scrapped",
    "cut",
    "shipped",
]
Where = Literal["in plant", "cut", "partly shipped", "shipped", "scrapped"]
ALARMS: tuple[Code, ...] = ("left while held", "held since it left", "left unreleased")
# Wire left uncut or in the plant that is shorter is none [m].
LEAST_M = 1.0
# Places on the wire are known to this [m]: what lies so near to a cut length counts as in it.
NEAR_M = 1.0


@dataclass(frozen=True, slots=True)
class LengthStanding:
    """How a length cut or rewound from a reel stands, judged by its own stretch.

    Args:
        length_id: the length.
        reel_id: its reel.
        from_outer_m: start from the reel's outer end [m].
        to_outer_m: its end [m].
        use: package, stock, scrap, or rewound where nothing of it is left.
        code: how it stands.
        headline: the same in a sentence.
        reasons: what speaks against letting it go.
        left: how it left, None while it has not.
        may_leave: whether it may be shipped now.
    """

    length_id: str
    reel_id: str
    from_outer_m: float
    to_outer_m: float
    use: str
    code: Code
    headline: str
    reasons: tuple[str, ...]
    left: Left | None
    may_leave: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """How one reel stands now.

    Args:
        reel_id: the reel.
        run_id: its run.
        code: how it stands; of a reel that was cut, how the rest of it stands.
        headline: the same in one sentence.
        evidence: what the in-line evidence supports.
        reasons: what speaks against letting it go now.
        decided: what persons' acts on it amount to.
        holds: persons' holds in force on it.
        samples: what samples say of it.
        where: where its wire is.
        left: what of it left the plant.
        lengths: lengths cut or rewound from it.
        may_leave: whether it may be shipped now, whole.
        left_while_held: whether wire of it is out that was held or unreleased, or is held since, and nobody has let
            it go.
    """

    reel_id: str
    run_id: str
    code: Code
    headline: str
    evidence: str
    reasons: tuple[str, ...]
    decided: State
    holds: tuple[Hold, ...]
    samples: SampleSay
    where: Where
    left: tuple[Left, ...]
    lengths: tuple[LengthStanding, ...]
    may_leave: bool
    left_while_held: bool


def standing_of(store: Store, reel_id: str) -> Standing:
    """How one reel stands now.

    Raises:
        NotFoundError: there is no such reel; the nearest numbers are named.
    """
    found = store.ask("questions/reel", reel_id=reel_id)
    if not found:
        raise not_on_file("reel", reel_id, [row["reel_id"] for row in store.ask("questions/reel_ids")])
    return standings_of_run(store, found[0]["run_id"])[reel_id]


def standings_of_run(store: Store, run_id: str) -> dict[str, Standing]:
    """How every reel of a run's newest judgement stands now, by reel; none for a run that was not judged."""
    from pipeline.review.run_facts import RunFacts

    found: dict[str, Standing] = {}
    for head in store.ask("questions/current_run", run_id=run_id):
        judged = store.ask("questions/assessments_of_run", run_id=run_id)
        newest = [row["assessment_id"] for row in judged if row["load_id"] == head["load_id"]]
        if newest:
            found |= standings_of(RunFacts(store, head, newest[-1]))
    return found


def standings_of(book: Facts) -> dict[str, Standing]:
    """How every reel of a run's newest judgement stands now, by reel."""
    return {row["reel_id"]: _Reel(book, row).standing() for row in book.reels}


class _Reel:
    """One reel while its standing is made."""

    def __init__(self, book: Facts, row: Row) -> None:
        self.book = book
        self.row = row
        self.name: str = row["reel_id"]
        self.decided: RunActs = book.decided
        self.zone = book.zone
        self.findings = [one for one in book.findings if one["reel_id"] == self.name]
        self.holding = holding_states(book.findings, self.decided, self.name)
        self.acts = self.decided.on(self.name)
        self.state = reel_state(self.name, self.acts, self.holding)
        self.holds = book.shelf.holds.get(self.name, ())
        self.samples = book.shelf.samples(book.run_id).get(self.name, NOTHING)
        self.is_let_go = self._stands(self.state, self.acts)

    def standing(self) -> Standing:
        """The reel's standing."""
        lengths = tuple(self._length(row) for row in self.book.shelf.by_reel.get(self.name, ()))
        whole = self.book.shelf.left.get(self.name)
        left = (*((whole,) if whole else ()), *(one.left for one in lengths if one.left))
        where = self._where(whole, lengths)
        reasons = self._reasons()
        code = self._code(whole, lengths, where)
        alarm = code in ALARMS or any(one.code in ALARMS for one in lengths)
        return Standing(
            self.name,
            self.book.run_id,
            code,
            self._headline(code, reasons, whole, lengths),
            self.row["standing"],
            reasons,
            self.state,
            self.holds,
            self.samples,
            where,
            left,
            lengths,
            self.is_let_go and where == "in plant" and not self.holds,
            alarm,
        )

    def _stands(self, state: State, acts: Sequence[Act]) -> bool:
        """Whether acts let wire go, and nothing that samples say came after."""
        if state.standing != "closed" or state.disposition not in LETS_GO:
            return False
        said = self.samples
        if state.disposition == "release" and (said.fails or said.contradicts or said.missing):
            return False
        if not (said.fails or said.contradicts or said.doubts):
            return True
        last = max(self.decided.entry_of[act.subject, act.version] for act in acts)
        return 0 < said.last_entry < last

    def _reasons(self) -> tuple[str, ...]:
        """What speaks against letting the reel go now."""
        said = [one.sentence for one in self.holds]
        if self.is_let_go:
            return tuple(said)
        said += self.samples.against
        said += self._evidence_against()
        return tuple(dict.fromkeys(said))

    def _evidence_against(self) -> list[str]:
        """What the evidence still says against the reel once what was decided is taken into account."""
        done = {name for name, state in self.holding.items() if state.standing == "closed"}
        sentence_of = {one["sentence"]: one["finding_id"] for one in self.findings}
        said = [
            self._on_reel(one) if one in sentence_of else one
            for one in self.row["reasons"]
            if sentence_of.get(one) not in done
        ]
        seen = {one["finding_id"] for one in self.findings}
        said += [
            f"Finding {name} is {state.standing} ({state.disposition})."
            for name, state in sorted(self.holding.items())
            if state.standing != "closed" and name not in seen
        ]
        if not said and self.row["standing"] != "releasable":
            said.append("Every finding on it is closed and nobody has released it.")
        return said

    def _on_reel(self, sentence: str) -> str:
        """A finding's sentence with its places counted from the reel's outer end."""
        to_m = self.row["to_m"]
        return sentence if to_m is None else sentence_on_reel(sentence, to_m)

    def _where(self, whole: Left | None, lengths: Sequence[LengthStanding]) -> Where:
        if whole is not None:
            return "shipped"
        if self.state.standing == "closed" and self.state.disposition == "scrap" and not lengths:
            return "scrapped"
        on_hand = [one for one in lengths if one.use != GONE]
        if not on_hand:
            return "in plant"
        if any(one.left for one in on_hand):
            here = self._rest_m(on_hand) >= LEAST_M or any(
                one.left is None and one.use != "scrap" for one in on_hand
            )
            return "partly shipped" if here else "shipped"
        if all(one.use == "scrap" for one in on_hand) and self._rest_m(on_hand) < LEAST_M:
            return "scrapped"
        return "cut"

    def _rest_m(self, lengths: Iterable[LengthStanding]) -> float:
        """Wire of the reel that is on no length [m]."""
        return float(self.row["length_m"]) - sum(one.to_outer_m - one.from_outer_m for one in lengths)

    def _code(self, whole: Left | None, lengths: Sequence[LengthStanding], where: Where) -> Code:
        if whole is not None:
            return self._code_of_left(whole, self.is_let_go and not self.holds, self.acts)
        gone = self._rest_m([one for one in lengths if one.use != GONE]) < LEAST_M and bool(lengths)
        alarms = [one.code for one in lengths if one.code in ALARMS]
        if alarms:
            return min(alarms, key=ALARMS.index)
        if where == "shipped":
            return "shipped"
        if where == "scrapped" or (self.state.standing == "closed" and self.state.disposition == "scrap"):
            return "scrapped"
        if gone:
            return "cut"
        return self._code_here()

    def _code_here(self) -> Code:
        """How wire of the reel that is in the plant, on no length, stands."""
        state = self.state
        if self.holds:
            return "held"
        if self.is_let_go:
            return "released by concession" if state.disposition == "concession" else "released"
        if state.standing == "awaiting a second person":
            return "awaiting a second person"
        if state.standing == "decided":
            return "decided"
        if state.standing == "closed" and state.disposition == "regrade":
            return "regraded"
        if self.row["standing"] == "no conclusion":
            return "no conclusion"
        return "held" if self.row["standing"] != "releasable" or self._reasons() else "releasable"

    def _code_of_left(self, left: Left, may: bool, acts: Sequence[Act]) -> Code:
        """How wire that left stands: whether it might leave then and might now."""
        before = [act for act in acts if self.decided.entry_of[act.subject, act.version] < left.entry_no]
        then = state_of(self.name, before) if before else None
        might = then is not None and then.standing == "closed" and then.disposition in LETS_GO
        if may:
            return "shipped"
        if might and left.override is None:
            return "held since it left"
        against = self.row["standing"] != "releasable" or self._reasons() or left.override
        return "left while held" if against else "left unreleased"

    def _headline(
        self, code: Code, reasons: Sequence[str], whole: Left | None, lengths: Sequence[LengthStanding]
    ) -> str:
        if whole is not None:
            return left_headline(code, whole, self._by_whom(), self.zone)
        alarm = next((one for one in lengths if one.code in ALARMS and one.code == code), None)
        if alarm is not None:
            return alarm.headline
        out = [one.left for one in lengths if one.left]
        if code == "shipped":
            return f"All of it left: {'; '.join(told_left(one, self.zone) for one in out)}."
        told = headline(code, reasons, self.state, self.acts, self.zone)
        return f"{told} {counted(out, 'length')} cut from it left." if out else told

    def _by_whom(self, acts: Sequence[Act] = ()) -> str:
        """Who let wire go and when: the length itself, else its reel; "" for nobody."""
        own = let_go_by(state_of(acts[0].subject, acts), acts, self.zone) if acts else ""
        return own or let_go_by(self.state, self.acts, self.zone)

    def _length(self, row: Row) -> LengthStanding:
        """A length cut from the reel, judged by its own stretch."""
        name = row["length_id"]
        start, end = row["from_outer_m"], row["to_outer_m"]
        reasons = self._against_stretch(start, end)
        acts = self.decided.on(name)
        own = self._stands(state_of(name, acts), acts) if acts else False
        may = (own or self.is_let_go) and not reasons
        left = self.book.shelf.left.get(name)
        code = self._length_code(row, left, may, reasons, acts)
        if left is not None:
            told = left_headline(code, left, self._by_whom(acts), self.zone)
        elif code == "released":
            told = f"Released {self._by_whom(acts)}."
        else:
            told = headline(code, reasons)
        usable = row["use"] not in ("scrap", GONE)
        return LengthStanding(
            name,
            self.name,
            start,
            end,
            row["use"],
            code,
            told,
            reasons,
            left,
            may and usable and left is None,
        )

    def _length_code(
        self, row: Row, left: Left | None, may: bool, reasons: Sequence[str], acts: Sequence[Act]
    ) -> Code:
        if left is not None:
            before = [
                act
                for act in (*self.acts, *acts)
                if self.decided.entry_of[act.subject, act.version] < left.entry_no
            ]
            by_subject = [
                [act for act in before if act.subject == one] for one in (self.name, row["length_id"])
            ]
            then = [state_of(one[0].subject, one) for one in by_subject if one]
            might = any(one.standing == "closed" and one.disposition in LETS_GO for one in then)
            if may:
                return "shipped"
            if might and left.override is None:
                return "held since it left"
            return "left while held" if reasons or left.override else "left unreleased"
        if row["use"] == "scrap":
            return "scrapped"
        if row["use"] == GONE:
            return "cut"
        if reasons:
            return "held"
        return "released" if may else "releasable"

    def _against_stretch(self, start: float, end: float) -> tuple[str, ...]:
        """What speaks against a stretch of the reel, by places from its outer end [m]."""
        said = [one.sentence for one in self.holds if one.meets(start, end)]
        to_m = self.row["to_m"] if self.row["to_m"] is not None else self.row["length_m"]
        low, high = to_m - end - NEAR_M, to_m - start + NEAR_M
        for one in self.findings:
            state = self.holding.get(one["finding_id"])
            gone = state is None or (state.standing == "closed" and state.disposition != "scrap")
            if not gone and one["from_m"] < high and one["to_m"] > low:
                said.append(self._on_reel(one["sentence"]))
        if self.is_let_go:
            return tuple(dict.fromkeys(said))
        said += self.samples.against
        if self.row["standing"] == "releasable":
            return tuple(dict.fromkeys(said))
        located = {one["sentence"] for one in self.findings}
        said += [one for one in self.row["reasons"] if one not in located]
        said += [
            one["sentence"]
            for one in self.book.gaps
            if one["reel_id"] == self.name and one["from_m"] < high - NEAR_M and one["to_m"] > low + NEAR_M
        ]
        said += [
            one["sentence"] for one in self.book.contradictions if one["from_m"] < high and one["to_m"] > low
        ]
        said += [
            one["sentence"]
            for one in self.book.requirements_by_reel.get(self.name, ())
            if one["verdict"] == "no conclusion"
        ]
        return tuple(dict.fromkeys(said))

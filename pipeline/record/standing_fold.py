"""One reel's standing, folded from the evidence, samples, persons' acts and holds, cuts, rewindings and shipments.

What speaks against wire is of two kinds. A finding, a hold or a failing sample must be dealt with first; what the
evidence merely lacks, a person may stand for by naming other evidence.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any

from pipeline.length.reel_places import told_on_reel
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.disposition import Act, State, state_of
from pipeline.record.decided import GOES, LETS_GO, RunActs, holding_states, reel_state
from pipeline.record.earlier_numbers import KeptBack, holds_more
from pipeline.record.left_on_file import Left
from pipeline.record.lengths import COUNTERS_DIFFER, GONE
from pipeline.record.sample_say import NOTHING
from pipeline.record.standing import ALARMS, Against, Code, LengthStanding, Standing, Where
from pipeline.record.standing_told import headline, left_headline, let_go_by, let_go_headline, told_left
from pipeline.record.wound_from import kept_here_by, kept_told
from pipeline.store.said_columns import about_of, holding_of, lacking_of, told_of
from pipeline.why import Stands

if TYPE_CHECKING:
    from pipeline.nonconformance.going import Going
    from pipeline.record.run_facts import Facts

Row = Mapping[str, Any]
# Wire left uncut or in the plant that is shorter is none [m].
LEAST_M = 1.0
# Places on the wire are known to this [m]: what lies so near to a cut length counts as in it.
NEAR_M = 1.0


def _names_evidence(acts: Sequence[Act]) -> bool:
    """Whether the last decision, or an act since, names evidence."""
    last = max((act.version for act in acts if act.kind == "decide"), default=0)
    return any(act.evidence.strip() for act in acts if act.version >= last)


def _told_of_state(finding_id: str, state: State) -> Message:
    """What is said of a finding that the newest judgement does not see and that is not closed."""
    return message(
        Stands.FINDING, finding=finding_id, standing=state.standing, disposition=str(state.disposition)
    )


class ReelFold:
    """One reel while its standing is made.

    Args:
        book: the facts of its run.
        row: the reel as judged newest.
    """

    def __init__(self, book: Facts, row: Row) -> None:
        self.book = book
        self.row = row
        self.name: str = row["reel_id"]
        self.decided: RunActs = book.decided
        self.zone = book.zone
        self.findings = [one for one in book.findings if one["reel_id"] == self.name]
        self.holding = holding_states(book.findings, self.decided, self.name)
        self.acts = self.decided.on(self.name)
        self.state = reel_state(self.name, self.decided, self.holding)
        self.holds = book.shelf.holds_on(self.name, self.zone)
        self.samples = book.shelf.samples(book.run_id).get(self.name, NOTHING)
        self.lacks = lacking_of(book.lacks_by_reel.get(self.name, ()))
        self.lacking = tuple(dict.fromkeys(one.told for one in self.lacks))
        self.kept_back = book.shelf.kept_back(book.run_id, self.decided).get(self.name, KeptBack())
        self.not_known_which = book.shelf.not_known_which(book.run_id, self.name)
        self.is_let_go = not self.not_known_which and self._stands(self.state, self.acts)

    def standing(self) -> Standing:
        """The reel's standing."""
        lengths = tuple(self._length(row) for row in self.book.shelf.by_reel.get(self.name, ()))
        whole = self.book.shelf.left.get(self.name)
        left = (*((whole,) if whole else ()), *(one.left for one in lengths if one.left))
        where = self._where(whole, lengths)
        against = self._against()
        code = self._code(whole, lengths, where)
        alarm = code in ALARMS or any(one.code in ALARMS for one in lengths)
        return Standing(
            self.name,
            self.book.run_id,
            code,
            self._headline(code, against, whole, lengths),
            self.row["standing"],
            () if self.is_let_go else (*self.lacking, *self.kept_back.told, *self.samples.doubts),
            self.state,
            self.holds,
            self.samples,
            where,
            left,
            lengths,
            self.is_let_go and where == "in plant" and not self.holds and not self._still_on_it,
            alarm,
            against,
            self.not_known_which,
        )

    def _stands(self, state: State, acts: Sequence[Act], span: tuple[float, float] | None = None) -> bool:
        """Whether acts let wire go, and nothing that holds it came to light after they were done."""
        if state.standing != "closed" or state.disposition not in LETS_GO:
            return False
        said = self.samples
        if state.disposition == "release" and (said.fails or said.contradicts or said.missing):
            return False
        subject = acts[0].subject
        made = self.decided.decided_in(subject)
        if (said.fails or said.contradicts or said.doubts) and not 0 < said.last_entry < made:
            return False
        if self.kept_back.last_entry > made:
            return False
        decide = max(act.version for act in acts if act.kind == "decide")
        seen = self.decided.seen_in[subject, decide]
        if self.kept_back.judged > seen:
            return False
        return not self._new_since(seen) and self._was_another(seen, span) is None

    def _was_another(self, assessment_id: int, span: tuple[float, float] | None = None) -> Message | None:
        """What is said of wire that was let go as another product or wire than by its run sheet now; None for the same.

        Args:
            assessment_id: the judgement that was seen when it was let go.
            span: a stretch from the reel's outer end [m]; None for the whole reel.
        """
        if assessment_id == self.row["assessment_id"]:
            return None
        then, now = (
            self.book.shelf.product_as_judged(one) for one in (assessment_id, self.row["assessment_id"])
        )
        if then != now:
            return message(Stands.OTHER_PRODUCT, then=then, now=now)
        place = self.book.shelf.place_as_judged(assessment_id, self.name)
        return message(Stands.OTHER_WIRE) if holds_more(self.row, place, self._unsure_m, span) else None

    def _new_since(self, assessment_id: int) -> bool:
        """Whether the newest judgement says more against the reel, findings left out, than an earlier one did.

        Of wire that is out only what does not conform counts: that a newer method would judge more makes no wire bad.
        """
        if not self.lacks or assessment_id == self.row["assessment_id"]:
            return False
        then = self.book.shelf.reel_as_judged(assessment_id, self.name)
        known = {one.key for one in self.book.shelf.lacks_as_judged(assessment_id, self.name)}
        new = [one for one in self.lacks if one.key not in known]
        if self.name in self.book.shelf.left:
            bad = {
                about_of(one)
                for one in self.book.requirements_by_reel.get(self.name, ())
                if one["verdict"] in ("does not conform", "indeterminate")
            }
            return any(one.about in bad for one in new)
        grown = then is None or any(
            self.row[name] > then[name] + LEAST_M for name in ("wall_unmonitored_m", "spark_untested_m")
        )
        return bool(new) or grown

    def _against(self) -> tuple[Against, ...]:
        """What speaks against letting the reel go now."""
        said = [Against(one) for one in self.not_known_which]
        said += [Against(one.told) for one in self.holds]
        if self.is_let_go:
            return tuple(dict.fromkeys((*said, *self._still_on_it)))
        if self.state.standing == "closed" and self.state.disposition in LETS_GO:
            decide = max(act.version for act in self.acts if act.kind == "decide")
            another = self._was_another(self.decided.seen_in[self.name, decide])
            said += [Against(another)] if another else []
        said += [Against(one) for one in (*self.kept_back.told, *self.samples.against)]
        done = {name for name, state in self.holding.items() if state.standing == "closed"}
        seen = {one["finding_id"] for one in self.findings}
        held_by = holding_of(self.row, self.findings)
        said += [
            Against(self._told_on_reel(one), one["finding_id"])
            for one in held_by
            if one["finding_id"] not in done
        ]
        said += [Against(one.told) for one in self.lacks]
        said += [
            Against(_told_of_state(name, state))
            for name, state in sorted(self.holding.items())
            if state.standing != "closed" and name not in seen
        ]
        if not said and self.row["standing"] != "releasable":
            said.append(Against(message(Stands.NOT_RELEASED)))
        return tuple(dict.fromkeys(said))

    @cached_property
    def _still_on_it(self) -> tuple[Against, ...]:
        """Findings closed by a regrade whose wire nobody is on file to have cut out, with no evidence named."""
        if self.name in self.book.shelf.left or self.book.shelf.by_reel.get(self.name):
            return ()  # lengths are judged each by its own stretch
        return tuple(
            Against(message(Stands.STILL_ON_IT, finding=name, disposition=str(state.disposition)), name)
            for name, state in sorted(self.holding.items())
            if state.standing == "closed"
            and state.disposition in GOES
            and not _names_evidence(self.decided.on(name))
        )

    def _told_on_reel(self, finding: Row) -> Message:
        """What a finding says, with its places counted from the reel's outer end."""
        to_m = self.row["to_m"]
        told = told_of(finding)
        return told if to_m is None else told_on_reel(told, to_m)

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
            return self._code_of_left(whole, self.is_let_go and not self.holds)
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
        if self.holds or self.not_known_which or (self.is_let_go and self._still_on_it):
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
        return "held" if self.row["standing"] != "releasable" or self._against() else "releasable"

    def _code_of_left(self, left: Left, may: bool) -> Code:
        """How wire that left stands: whether it might leave then and might now."""
        if may:
            return "shipped"
        if left.override is None and self._was_let_go(self.name, left.entry_no):
            return "held since it left"
        against = self.row["standing"] != "releasable" or self._against()
        return "left while held" if against else "left unreleased"

    def _headline(
        self, code: Code, against: Sequence[Against], whole: Left | None, lengths: Sequence[LengthStanding]
    ) -> Message:
        if whole is not None:
            return left_headline(code, whole, self._by_whom(), self.zone)
        alarm = next((one for one in lengths if one.code in ALARMS and one.code == code), None)
        if alarm is not None:
            return alarm.headline
        out = [one.left for one in lengths if one.left]
        if code == "shipped":
            shipments = "; ".join(told_left(one, self.zone) for one in out)
            return message(Stands.ALL_SHIPPED, shipments=shipments)
        reasons = tuple(dict.fromkeys(one.told for one in against))
        told = headline(code, reasons, self.state, self.acts, self.zone)
        return message(Stands.WITH_CUTS, told=told, lengths=len(out)) if out else told

    def _by_whom(self, acts: Sequence[Act] = ()) -> str:
        """Who let wire go and when: the length itself, else its reel; "" for nobody."""
        own = let_go_by(state_of(acts[0].subject, acts), acts, self.zone) if acts else ""
        return own or let_go_by(self.state, self.acts, self.zone)

    def _length(self, row: Row) -> LengthStanding:
        """A length cut from the reel, judged by its own stretch."""
        name = row["length_id"]
        start, end = row["from_outer_m"], row["to_outer_m"]
        # What was decided while the number was a reel's is not about this length.
        acts = self.decided.on(name) if self.decided.lengths.get(name) == self.name else ()
        state = state_of(name, acts)
        is_let_go = self.is_let_go or self._stands(state, acts, (start, end))
        found = self._open_in(start, end)
        lacking = (() if is_let_go else self._lacking_in(start, end)) + self._doubted_in(start, end, acts)
        reasons = tuple(
            dict.fromkeys(
                (
                    *self.not_known_which,
                    *self.book.shelf.numbers_of_two.get(name, ()),
                    *(one.told for one in self.holds if one.meets(start, end)),
                    *self._beyond(end),
                    *kept_told(kept_here_by(row, self.book.shelf.by_reel[self.name], self.decided)),
                    *(() if is_let_go else (*self.kept_back.told, *self.samples.against)),
                    *found.values(),
                    *lacking,
                )
            )
        )
        may = is_let_go and not reasons and not self._acted_since(name, start, end)
        left = self.book.shelf.left.get(name)
        code = self._length_code(row, left, may, reasons, state)
        if left is not None:
            told = left_headline(code, left, self._by_whom(acts), self.zone)
        elif code in ("released", "released by concession"):
            told = let_go_headline(code, self._by_whom(acts))
        else:
            told = headline(code, reasons)
        usable = row["use"] not in ("scrap", GONE) and state.disposition != "scrap"
        return LengthStanding(
            name,
            self.name,
            start,
            end,
            row["use"],
            code,
            told,
            reasons,
            lacking,
            tuple(found),
            state,
            left,
            may and usable and left is None,
        )

    def _length_code(
        self, row: Row, left: Left | None, may: bool, reasons: Sequence[Message], state: State
    ) -> Code:
        if left is not None:
            if may:
                return "shipped"
            if left.override is None and any(
                self._was_let_go(one, left.entry_no) for one in (self.name, row["length_id"])
            ):
                return "held since it left"
            return "left while held" if reasons else "left unreleased"
        if row["use"] == "scrap" or (state.standing, state.disposition) == ("closed", "scrap"):
            return "scrapped"
        if row["use"] == GONE:
            return "cut"
        if state.standing == "awaiting a second person":
            return "awaiting a second person"
        if state.standing == "decided":
            return "decided"
        if reasons:
            return "held"
        if may:
            let_go = state if state.disposition in LETS_GO else self.state
            return "released by concession" if let_go.disposition == "concession" else "released"
        return "releasable"

    def _was_let_go(self, subject: str, entry_no: int) -> bool:
        """Whether acts before a journal entry let a reel or length go."""
        before = [
            act for act in self.decided.on(subject) if self.decided.entry_of[subject, act.version] < entry_no
        ]
        then = state_of(subject, before)
        return then.standing == "closed" and then.disposition in LETS_GO

    def _span(self, start: float, end: float) -> tuple[float, float]:
        """A stretch of the reel, by places from its outer end, as a stretch of the wire of the run [m]."""
        to_m = self.row["to_m"] if self.row["to_m"] is not None else self.row["length_m"]
        return to_m - end, to_m - start

    def _beyond(self, end: float) -> tuple[Message, ...]:
        """What is said of a length that goes on where the reel as it is judged now has ended."""
        holds = float(self.row["length_m"])
        if end <= holds * (1.0 + COUNTERS_DIFFER) + NEAR_M + 2.0 * self._unsure_m:
            return ()
        return (
            message(Stands.BEYOND_REEL, end=Measure(end, "m"), reel=self.name, holds=Measure(holds, "m")),
        )

    @cached_property
    def _unsure_m(self) -> float:
        """How well the reel's own ends are known [m]."""
        return self.book.shelf.end_unsure_m(self.row["assessment_id"]).get(self.name, 0.0)

    @property
    def _near_m(self) -> float:
        """How near to a length something lies to count as in it [m]: places and the reel's own ends are unsure."""
        return NEAR_M + self._unsure_m

    def _meeting(self, start: float, end: float) -> list[Row]:
        """Findings in or near a stretch of the reel."""
        low, high = self._span(start, end)
        near = self._near_m
        return [one for one in self.findings if one["from_m"] < high + near and one["to_m"] > low - near]

    def _acted_since(self, length_id: str, start: float, end: float) -> bool:
        """Whether somebody acted on a finding in a length after it was let go, which that person had not seen."""
        acts = self.decided.on(length_id)
        own = self._stands(state_of(length_id, acts), acts, (start, end))
        made = max(
            self.decided.decided_in(length_id) if own else 0,
            self.decided.decided_in(self.name) if self.is_let_go else 0,
        )
        return any(self.decided.last_entry(one["finding_id"]) > made for one in self._meeting(start, end))

    def _open_in(self, start: float, end: float) -> dict[str, Message]:
        """Findings that hold a stretch of the reel, with what they say; one whose wire goes holds it while in it."""
        found = {}
        for one in self._meeting(start, end):
            state = self.holding.get(one["finding_id"])
            if state is not None and (state.standing != "closed" or state.disposition in GOES):
                found[one["finding_id"]] = self._told_on_reel(one)
        seen = {one["finding_id"] for one in self.findings}
        for name, state in self.holding.items():
            # A newer judgement does not see it; what was decided about it is not done, and its place is not known now.
            if state.standing != "closed" and name not in seen:
                found[name] = _told_of_state(name, state)
        return found

    @cached_property
    def _doubted(self) -> tuple[Going, ...]:
        """Stretches of the reel that go, whatever was found on them; only asked for where wire was cut."""
        from pipeline.record.stretches_that_go import ReelFacts, doubted

        return () if self.row["from_m"] is None else doubted(ReelFacts.of_run(self.book, self.row))

    def _doubted_in(self, start: float, end: float, acts: Sequence[Act]) -> tuple[Message, ...]:
        """What goes on a stretch of the reel, unless it was let go by a decision that names its evidence."""
        own = state_of(acts[0].subject, acts) if acts else None
        if (self.is_let_go and _names_evidence(self.acts)) or (
            own is not None and self._stands(own, acts, (start, end)) and _names_evidence(acts)
        ):
            return ()
        return tuple(dict.fromkeys(one.told for one in self._doubted if one.meets(start, end)))

    def _lacking_in(self, start: float, end: float) -> tuple[Message, ...]:
        """What the evidence does not show of a stretch of a reel that it does not show as releasable."""
        if self.row["standing"] == "releasable":
            return ()
        low, high = self._span(start, end)
        said = [*self.lacking]
        said += [
            told_of(one)
            for one in self.book.gaps
            if one["reel_id"] == self.name and one["from_m"] < high and one["to_m"] > low
        ]
        said += [
            told_of(one) for one in self.book.contradictions if one["from_m"] < high and one["to_m"] > low
        ]
        said += [
            told_of(one)
            for one in self.book.requirements_by_reel.get(self.name, ())
            if one["verdict"] == "no conclusion"
        ]
        return tuple(dict.fromkeys(said))

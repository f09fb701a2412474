"""What was decided: the acts on file about findings and reels, and what they amount to as things stand now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC
from typing import TYPE_CHECKING, Any

from pipeline.nonconformance.disposition import Act, Extent, Person, State, as_seen_now, state_of

if TYPE_CHECKING:
    from pipeline.store.database import Store

Row = Mapping[str, Any]
# A reel that was let go on these is not let go any more once something new holds it.
LETS_GO = ("release", "concession")
UNFINISHED = ("decided", "awaiting a second person")
# Wire of a finding closed by these is not part of what its reel is sold as.
GOES = ("scrap", "regrade")


def act_of(row: Row) -> Act:
    """A row of ``journal.act`` as the act it was."""
    extent = None
    if row["from_m"] is not None:
        extent = Extent(row["from_m"], row["to_m"], tuple(row["rules"] or ()))
    return Act(
        row["subject"],
        row["version"],
        row["kind"],
        row["disposition"],
        Person(row["role"], row["person"]),
        row["reason"],
        row["at_utc"].replace(tzinfo=UTC),
        row["evidence"],
        extent,
        row["waits"],
    )


@dataclass(frozen=True, slots=True)
class RunActs:
    """The acts on one run's findings and reels.

    Args:
        acts: acts by subject, in order.
        reel_of: the reel each finding with an act lies on.
        entry_of: journal entry of each act, by subject and version.
        seen_in: the judgement a person had before them at each act, by subject and version.
        lengths: the reel of each cut length with an act.
    """

    acts: Mapping[str, tuple[Act, ...]]
    reel_of: Mapping[str, str]
    entry_of: Mapping[tuple[str, int], int]
    seen_in: Mapping[tuple[str, int], int]
    lengths: Mapping[str, str]

    def on(self, subject: str) -> tuple[Act, ...]:
        """Every act on a finding, reel or cut length."""
        return self.acts.get(subject, ())

    def decided_in(self, subject: str) -> int:
        """The journal entry of the newest decision on a subject; 0 for none."""
        numbers = (self.entry_of[subject, act.version] for act in self.on(subject) if act.kind == "decide")
        return max(numbers, default=0)

    def last_entry(self, subject: str) -> int:
        """The journal entry of the newest act on a subject; 0 for none."""
        return max((self.entry_of[subject, act.version] for act in self.on(subject)), default=0)


def acts_of_run(store: Store, run_id: str) -> RunActs:
    """Every act on the run's findings and reels."""
    return run_acts(store.ask("questions/acts_of_run", run_id=run_id))


def run_acts(rows: Sequence[Row]) -> RunActs:
    """The acts on one run's findings and reels, from the rows of the question ``acts_of_run``."""
    acts: dict[str, list[Act]] = {}
    for row in rows:
        acts.setdefault(row["subject"], []).append(act_of(row))
    return RunActs(
        {subject: tuple(done) for subject, done in acts.items()},
        {row["subject"]: row["reel_id"] for row in rows if row["about"] == "finding"},
        {(row["subject"], row["version"]): row["entry_no"] for row in rows},
        {(row["subject"], row["version"]): row["assessment_id"] for row in rows},
        {row["subject"]: row["reel_id"] for row in rows if row["about"] == "length"},
    )


def extent_of(finding: Row) -> Extent:
    """A finding as a person sees it when deciding: where it lies and which rules are broken."""
    return Extent(finding["from_m"], finding["to_m"], tuple(finding["rules"]))


def finding_state(finding: Row, acts: Sequence[Act]) -> State:
    """What the acts on a finding amount to now; open again if it is more than was decided on.

    Args:
        finding: row of ``judged.finding`` of the newest judgement.
        acts: every act on it.
    """
    return as_seen_now(state_of(finding["finding_id"], acts), extent_of(finding))


def holding_states(findings: Iterable[Row], decided: RunActs, reel_id: str) -> dict[str, State]:
    """State of everything that holds a reel's release, by finding.

    That is every finding of the newest judgement whose rule holds a release, and every finding somebody decided
    to act on and has not finished, even where a later judgement no longer sees it.

    Args:
        findings: findings of the newest judgement of the run.
        decided: acts on the run's findings and reels.
        reel_id: the reel.
    """
    here = {row["finding_id"]: row for row in findings if row["reel_id"] == reel_id}
    states = {name: finding_state(row, decided.on(name)) for name, row in here.items()}
    states = {
        name: state
        for name, state in states.items()
        if here[name]["holds_release"] or state.standing in UNFINISHED
    }
    for name, reel in decided.reel_of.items():
        state = state_of(name, decided.on(name))
        if reel == reel_id and name not in here and state.standing in UNFINISHED:
            states[name] = state
    return states


def reel_state(reel_id: str, decided: RunActs, holding: Mapping[str, State]) -> State:
    """What the acts on a reel amount to now; a release does not stand against what was found or acted on since.

    Args:
        reel_id: the reel.
        decided: acts on the run's findings and reels.
        holding: state of what holds it (`holding_states`).
    """
    state = state_of(reel_id, decided.on(reel_id))
    if state.disposition not in LETS_GO or state.standing == "open":
        return state
    made = decided.decided_in(reel_id)
    # Whoever let it go had not seen what was done about its findings afterwards.
    since = any(decided.last_entry(name) > made for name in holding)
    if since or any(one.standing != "closed" for one in holding.values()):
        return State(reel_id, state.version, "open", None, None)
    return state


def closed_at(acts: Sequence[Act]) -> Act | None:
    """The act that closed a finding or reel, if the acts amount to something closed."""
    if not acts or state_of(acts[0].subject, acts).standing != "closed":
        return None
    closing = [act for act in acts if act.kind in ("decide", "confirm", "complete")]
    return max(closing, key=lambda act: act.version)


def reel_and_findings(
    store: Store, reel_id: str
) -> tuple[dict[str, Any], list[dict[str, Any]], dict[str, State], State]:
    """A reel, its findings in the newest judgement, the state of each, and its own state."""
    reel = store.ask("questions/reel", reel_id=reel_id)[0]
    decided = acts_of_run(store, reel["run_id"])
    findings = store.ask("questions/findings_of_assessment", assessment_id=reel["assessment_id"])
    own = [row for row in findings if row["reel_id"] == reel_id]
    states = {row["finding_id"]: finding_state(row, decided.on(row["finding_id"])) for row in own}
    holding = holding_states(findings, decided, reel_id)
    return reel, own, states, reel_state(reel_id, decided, holding)

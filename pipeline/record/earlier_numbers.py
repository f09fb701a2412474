"""Does a number mean the wire that it meant when somebody decided, held or cut it?

A corrected run sheet may give a reel another number, or a number to other wire. What a person did to keep wire back
goes with the wire; what let wire go holds for that wire alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.errors import Complaint
from pipeline.length import intervals
from pipeline.messages import Measure, Message, message
from pipeline.nonconformance.decision import Verdict
from pipeline.nonconformance.disposition import state_of
from pipeline.record.decided import LETS_GO, RunActs
from pipeline.record.holds_on_file import HOLD, LIFT, hold_of, lifted_by
from pipeline.record.lengths import COUNTERS_DIFFER
from pipeline.why import Stands

if TYPE_CHECKING:
    from datetime import datetime

    from pipeline.nonconformance.hold import Hold
    from pipeline.store.database import Store

Row = Mapping[str, Any]
# Places on the wire, and as the run sheet gives them: wire is the same where either is.
_ENDS = (("from_m", "to_m"), ("from_counter_m", "to_counter_m"))
# Reel ends that a newer method places otherwise differ by less than this and a hundredth [m].
_NEAR_M = 1.0


@dataclass(frozen=True, slots=True)
class KeptBack:
    """What keeps a reel's wire back that was said of it under another number.

    Args:
        told: what is said of it.
        last_entry: journal entry of the newest of it; a decision made after it settles it.
        judged: the judgement that brought it; a decision made on it or a newer one settles it.
    """

    told: tuple[Message, ...] = ()
    last_entry: int = 0
    judged: int = 0


def holds_more(now: Row, then: Row | None, unsure_m: float, span: tuple[float, float] | None = None) -> bool:
    """Whether a reel, or a stretch of it, holds wire now that it did not hold in an earlier judgement.

    Args:
        now: the reel's place in the newest judgement.
        then: its place in the earlier one; None where that had no such reel.
        unsure_m: how well its ends are known [m].
        span: a stretch from the reel's outer end [m], which is to be the same wire; None for the whole reel.
    """
    if now["from_m"] is None:
        return False
    if then is None:
        return True
    if then["from_m"] is None:
        return False
    near = _NEAR_M + COUNTERS_DIFFER * (now["to_m"] - now["from_m"]) + unsure_m
    if span is not None:
        return all(abs(now[end] - then[end]) > near for _, end in _ENDS)
    return all(now[start] < then[start] - near or now[end] > then[end] + near for start, end in _ENDS)


def kept_back_of_run(
    store: Store,
    run_id: str,
    places: Sequence[Row],
    decided: RunActs,
    lengths: Mapping[str, Sequence[Row]],
) -> Mapping[str, KeptBack]:
    """What kept wire back under another number than it has now, or on reels that had more of it, by the reel now.

    Args:
        store: the store.
        run_id: the run.
        places: where every judgement placed its reels: rows of the question ``places_of_run``.
        decided: persons' acts on it.
        lengths: lengths on file by the reel they were made on.
    """
    newest = max((row["assessment_id"] for row in places), default=0)
    was: dict[tuple[str, str], list[Row]] = {}
    reels = [row for row in places if row["assessment_id"] == newest]
    for now in reels:
        for then in places:
            if then["reel_id"] != now["reel_id"] and _shared_m(now, then) > _least_m(now):
                was.setdefault((now["reel_id"], then["reel_id"]), []).append(then)
    found: dict[str, list[tuple[Message, int, int]]] = {}
    if was:
        words = _Words(store, places, decided, lengths)
        now_of = {row["reel_id"]: row for row in reels}
        for (name, earlier), held in was.items():
            said = words.on(now_of[name], earlier, held)
            found.setdefault(name, []).extend((told, entry, 0) for told, entry in said)
    if len({row["assessment_id"] for row in places}) > 1:
        for name, told, judged in _left_out(store, run_id, places, reels, decided):
            found.setdefault(name, []).append((told, 0, judged))
    return {
        name: KeptBack(
            tuple(dict.fromkeys(told for told, *_ in said)),
            max(entry for _, entry, _ in said),
            max(judged for *_, judged in said),
        )
        for name, said in found.items()
        if said
    }


def _left_out(
    store: Store, run_id: str, places: Sequence[Row], reels: Sequence[Row], decided: RunActs
) -> Iterable[tuple[str, Message, int]]:
    """Reels whose wire was of a reel with a finding whose wire, or whose readings, a later load does not have.

    A corrected sheet may have the wire on no reel, or another log may stand in place of the one that showed it.

    A finding that the next judgement lacks with all of its wire on reels is settled by that judgement; one that persons
    closed is settled by them.
    """
    by_judgement: dict[int, list[Row]] = {}
    for row in places:
        by_judgement.setdefault(row["assessment_id"], []).append(row)
    other_logs = [row["load_id"] for row in store.ask("questions/loads_with_other_logs", run_id=run_id)]
    for finding in store.ask("questions/findings_held_before", run_id=run_id):
        later = [number for number in by_judgement if number > finding["assessment_id"]]
        closed = state_of(finding["finding_id"], decided.on(finding["finding_id"])).standing == "closed"
        if not later or closed:
            continue
        after = by_judgement[min(later)]
        out, then = _outside_m(finding, after), by_judgement.get(finding["assessment_id"], ())
        if min(out, _outside_m(finding, reels)) > _outside_m(finding, then) + _NEAR_M:
            told = message(Stands.LEFT_OUT, finding=finding["finding_id"], length=Measure(out, "m"))
        elif finding["verdict"] == Verdict.DOES_NOT_CONFORM and any(
            finding["load_id"] < load <= after[0]["load_id"] for load in other_logs
        ):
            told = message(Stands.LOG_REPLACED, finding=finding["finding_id"])
        else:
            continue
        for now in reels:
            was = [row for row in then if row["reel_id"] == finding["reel_id"]]
            if any(now["reel_id"] == row["reel_id"] or _shared_m(now, row) > _least_m(now) for row in was):
                yield now["reel_id"], told, min(later)


def _outside_m(finding: Row, reels: Sequence[Row]) -> float:
    """Wire of a finding, a meter on each side of it, that is on none of the reels [m]."""
    wire = np.array([[finding["from_m"] - _NEAR_M, finding["to_m"] + _NEAR_M]])
    on = intervals.merged(np.array([[row["from_m"], row["to_m"]] for row in reels], dtype=np.float64))
    return float(intervals.length_m(wire) - intervals.length_m(intervals.overlap(wire, on)))


def _least_m(now: Row) -> float:
    return _NEAR_M + COUNTERS_DIFFER * float(now["to_m"] - now["from_m"])


def _shared_m(now: Row, then: Row) -> float:
    """Wire of a reel that another place had, by places and by counter [m]."""
    return float(min(min(now[end], then[end]) - max(now[start], then[start]) for start, end in _ENDS))


class _Words:
    """What was said of a run's reels, each with the judgement that was the newest when it was said."""

    def __init__(
        self, store: Store, places: Sequence[Row], decided: RunActs, lengths: Mapping[str, Sequence[Row]]
    ) -> None:
        self.decided = decided
        self.lengths = lengths
        self.assessed = sorted({(row["assessed_utc"], row["assessment_id"]) for row in places})
        holds = store.ask("questions/entries_of_kind", kind=HOLD)
        self.holds: list[tuple[Hold, datetime]] = [(hold_of(row), row["at_utc"]) for row in holds]
        self.lifted = {
            lifted_by(row): row["at_utc"] for row in store.ask("questions/entries_of_kind", kind=LIFT)
        }
        cuts = [
            row for kind in ("cut", "rewind") for row in store.ask("questions/entries_of_kind", kind=kind)
        ]
        self.cut_at = {row["entry_no"]: row["at_utc"] for row in cuts}

    def _judged_at(self, at: datetime | None) -> int:
        """The newest judgement of the run at an instant; 0 for none."""
        return max((number for when, number in self.assessed if at is not None and when <= at), default=0)

    def on(self, now: Row, earlier: str, then: Sequence[Row]) -> Iterable[tuple[Message, int]]:
        """What keeps wire of a reel back that was said of it while it was the reel `earlier`."""
        by_judgement = {row["assessment_id"]: row for row in then}
        acts = [
            act
            for act in self.decided.on(earlier)
            if self.decided.seen_in[earlier, act.version] in by_judgement
        ]
        if acts and acts[-1].kind not in ("reopen", "decline") and acts[-1].disposition not in LETS_GO:
            told = message(Stands.EARLIER_DECIDED, reel=earlier, disposition=acts[-1].disposition)
            yield told, self.decided.entry_of[earlier, acts[-1].version]
        for hold, at in self.holds:
            place = by_judgement.get(self._judged_at(at))
            if hold.about != "reel" or hold.subject != earlier or place is None:
                continue
            # Lifted while the number meant other wire, it was not lifted from this.
            if self._judged_at(self.lifted.get(hold.number)) not in by_judgement and _meets(hold, now, place):
                yield message(Stands.EARLIER_HELD, reel=earlier, told=hold.told), hold.number
        cut = [
            row["entry_no"]
            for row in self.lengths.get(earlier, ())
            if self._judged_at(self.cut_at.get(row["entry_no"])) in by_judgement
        ]
        if cut:
            yield message(Stands.EARLIER_CUT, reel=earlier), max(cut)


def _meets(hold: Hold, now: Row, then: Row) -> bool:
    """Whether a hold on what was an earlier reel reaches wire of a reel now."""
    if hold.from_outer_m is None or hold.to_outer_m is None:
        return True
    low, high = then["to_m"] - hold.to_outer_m, then["to_m"] - hold.from_outer_m
    return bool(low < now["to_m"] + _NEAR_M and high > now["from_m"] - _NEAR_M)


def numbers_of_earlier_reels(store: Store, names: Iterable[str]) -> list[Complaint]:
    """What speaks against new lengths that would have the number of a reel of an earlier judgement."""
    reels = store.ask("questions/reels_no_longer_judged", reels=sorted(set(names)))
    return [
        Complaint(
            f"length {row['reel_id']}",
            f"by an earlier run sheet a reel of run {row['run_id']} had this number",
            "What was decided about that reel is not about this length: give it a number of its own",
        )
        for row in reels
    ]

"""Re-assess: judge runs on file again in batches, by this process or by many, with one writer appending.

What is on file is not done again, so that a stopped re-assessment goes on where it stood. The store is opened for
writing only now and then, for as long as it takes to append what is finished: loads and decisions go on meanwhile.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from pipeline.errors import ReelproofError
from pipeline.job.assessing import put_judgement_on_file, thinned_reason
from pipeline.job.basis import basis_sha256
from pipeline.job.line_review import review_lines
from pipeline.job.plant_in_force import runs_it_is_for
from pipeline.job.reassess_work import Done, Work, work_batch, work_on
from pipeline.messages import Message
from pipeline.record.alarms import alarms_of_runs
from pipeline.record.not_found import not_on_file
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.store.readings import sweep, thinned_folders
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from datetime import date

    from pipeline.steps.load import SheetText

Batch = tuple[Work, ...]
# A run that was loaded or judged by somebody else meanwhile is planned anew, but not without end.
_MOST_PLANS = 3


class Crew(Protocol):
    """Whoever judges batches: this process, others, or a cluster."""

    room: int

    def give(self, batch: Batch) -> None:
        """Start on a batch."""

    def take(self) -> tuple[Batch, tuple[Done, ...] | Exception]:
        """Wait for a batch that is finished, or that nobody could finish."""


class Alone:
    """This process, one batch at a time."""

    room = 1

    def __init__(self) -> None:
        self._given: deque[Batch] = deque()

    def give(self, batch: Batch) -> None:
        """Keep the batch until it is asked for."""
        self._given.append(batch)

    def take(self) -> tuple[Batch, tuple[Done, ...] | Exception]:
        """Judge the next batch."""
        batch = self._given.popleft()
        return batch, work_batch(batch)


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which runs to judge again, and by what.

    Args:
        runs: run ids; all where none is given.
        line: only runs of this line.
        since: only runs whose shift began on this day or later.
        until: only runs whose shift began on this day or earlier.
        plant: plant sheet to judge by; each run's own where None.
    """

    runs: tuple[str, ...] = ()
    line: str | None = None
    since: date | None = None
    until: date | None = None
    plant: SheetText | None = None

    def takes(self, head: dict[str, Any]) -> bool:
        """Whether a run on file is meant."""
        return (
            (not self.runs or head["run_id"] in self.runs)
            and (self.line is None or head["line"] == self.line)
            and (self.since is None or head["shift_date"] >= self.since)
            and (self.until is None or head["shift_date"] <= self.until)
        )


@dataclass(frozen=True, slots=True)
class Reassessed:
    """What a re-assessment came to.

    Args:
        asked: runs that were meant.
        already: of those, judged on the same basis before.
        judged: judged now.
        refused: sentences about runs that could not be judged.
        alarms: wire of runs judged now that is out and might not have left.
    """

    asked: int
    already: int
    judged: int
    refused: tuple[str, ...]
    alarms: tuple[Message, ...] = ()


@dataclass(slots=True)
class _Under:
    """A re-assessment under way."""

    folder: Path
    wanted: Wanted
    told: Callable[[str, int], None]
    on_wait: Callable[[str], None]
    pending: deque[tuple[str, ...]] = field(default_factory=deque)
    finished: list[Done] = field(default_factory=list)
    plans: dict[str, int] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    judged: list[str] = field(default_factory=list)
    already: int = 0


def reassess(
    folder: Path,
    wanted: Wanted,
    crew: Crew,
    batch: int = 8,
    told: Callable[[str, int], None] = lambda _run, _more: None,
    on_wait: Callable[[str], None] = lambda _who: None,
    on_plan: Callable[[int, int], None] = lambda _asked, _to_do: None,
    every_s: float = 30.0,
) -> Reassessed:
    """Judge runs on file again with `crew`; only this process writes to the store.

    Args:
        folder: the store's folder.
        wanted: which runs, and by what.
        crew: who judges.
        batch: runs in a batch; what a killed worker costs.
        told: told a run that is on file, and 1.
        on_wait: told who is writing to the store while this waits.
        on_plan: told how many runs were meant and how many are to be judged.
        every_s: pause between two openings of the store for writing [s].

    Raises:
        NotFoundError: a run or line that was named is not on file.
        StoreError: the store cannot be opened.
    """
    under = _Under(folder, wanted, told, on_wait)
    asked, to_do = _plan(under)
    thinned = len(under.refused)
    on_plan(asked, len(to_do))
    under.pending.extend(tuple(to_do[start : start + batch]) for start in range(0, len(to_do), batch))
    under.already = asked - len(to_do)
    busy, written = 0, time.monotonic()
    while under.pending or busy:
        while under.pending and busy < crew.room:
            crew.give(_works(under, under.pending.popleft()))
            busy += 1
        given, outcome = crew.take()
        busy -= 1
        if isinstance(outcome, Exception):
            _not_finished(under, given, outcome)
        else:
            under.finished.extend(outcome)
        if time.monotonic() - written >= every_s or not (under.pending or busy):
            _append(under)
            written = time.monotonic()
    with open_to_write(folder, on_wait=on_wait) as store:
        review_lines(store)
        alarms = alarms_of_runs(store, under.judged)
    return Reassessed(asked + thinned, under.already, len(under.judged), tuple(under.refused), alarms)


def _plan(under: _Under) -> tuple[int, list[str]]:
    """How many runs are meant, and those of them that are not judged on this basis yet."""
    with open_to_write(under.folder, on_wait=under.on_wait, must_exist=True) as store:
        sweep(store)
        heads = store.ask("questions/current_runs")
        _check_named(under.wanted, heads)
        meant = [head for head in heads if under.wanted.takes(head)]
        asked = runs_it_is_for(meant, under.wanted.runs, under.wanted.plant)
        bases = {row["basis_sha256"] for row in store.ask("questions/bases_on_file")}
        store.changed = True  # a writer killed before it published left a copy that is behind
        to_do = [head for head in asked if basis_sha256(head, under.wanted.plant) not in bases]
        thinned = thinned_folders(store)
        gone = [head for head in to_do if head["load_folder"] in thinned]
        under.refused += [
            f"{head['run_id']}: not judged again. {plain(told)}"
            for head in gone
            if (told := thinned_reason(store, head["load_folder"]))
        ]
    return len(asked) - len(gone), [head["run_id"] for head in to_do if head["load_folder"] not in thinned]


def _check_named(wanted: Wanted, heads: Sequence[dict[str, Any]]) -> None:
    known = {head["run_id"] for head in heads}
    for run_id in wanted.runs:
        if run_id not in known:
            raise not_on_file("run", run_id, sorted(known))
    lines = {head["line"] for head in heads}
    if wanted.line is not None and wanted.line not in lines:
        raise not_on_file("line", wanted.line, sorted(lines))


def _works(under: _Under, runs: tuple[str, ...]) -> Batch:
    """The work on runs, from the newest copy of the store; a run that is no longer right is seen when appending."""
    with open_to_read(under.folder) as store:
        heads = (store.ask("questions/current_run", run_id=run_id)[0] for run_id in runs)
        return tuple(_work(under, store, head) for head in heads)


def _work(under: _Under, store: Store, head: dict[str, Any]) -> Work:
    run_id = head["run_id"]
    under.plans[run_id] = under.plans.get(run_id, 0) + 1
    return work_on(store, head, under.wanted.plant)


def _not_finished(under: _Under, given: Batch, fault: Exception) -> None:
    """A batch nobody could finish is given again a run at a time, so that one run costs no other."""
    if len(given) > 1:
        under.pending.extend((one.basis.run.id,) for one in given)
        return
    run_id = given[0].basis.run.id
    under.refused.append(f"{run_id}: not judged; the workers that tried did not finish it ({fault}).")
    under.told(run_id, 1)


def _append(under: _Under) -> None:
    """Put what is finished on file, each run as a whole or not at all."""
    if not under.finished:
        return
    with open_to_write(under.folder, on_wait=under.on_wait) as store:
        for done in under.finished:
            _append_one(under, store, done)
    under.finished.clear()


def _append_one(under: _Under, store: Store, done: Done) -> None:
    judgement = done.judgement
    if judgement is None:
        under.refused.append(f"{done.run_id}: not judged; {done.fault}.")
        under.told(done.run_id, 1)
        return
    basis = judgement.basis
    earlier = store.ask("questions/assessments_of_run", run_id=done.run_id)
    newest = store.ask("questions/loads_of_run", run_id=done.run_id)[-1]["load_id"]
    if earlier and earlier[-1]["basis_sha256"] == basis.sha256:
        under.already += 1
        under.told(done.run_id, 1)
    elif (
        newest != basis.head["load_id"]
        or max((row["assessment_id"] for row in earlier), default=0) != basis.earlier
    ):
        _plan_again(under, done.run_id)
    else:
        try:
            put_judgement_on_file(store, judgement, under.wanted.plant)
            under.judged.append(done.run_id)
        except ReelproofError as fault:
            under.refused.append(f"{done.run_id}: not judged; {fault}")
        under.told(done.run_id, 1)


def _plan_again(under: _Under, run_id: str) -> None:
    if under.plans[run_id] < _MOST_PLANS:
        under.pending.append((run_id,))
        return
    under.refused.append(f"{run_id}: not judged; it was loaded or judged by somebody else each time.")
    under.told(run_id, 1)

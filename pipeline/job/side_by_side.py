"""Judge many runs side by side: this process and others judge, this one puts on file, in the order of the runs.

What is on file does not depend on which process was done first. A run that could not be judged this way, for whatever
reason, is judged alone afterwards, which then says what is wrong with it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.job.growing import PLAIN_LOGS, UNPACKS_TO
from pipeline.job.local_crew import LocalCrew
from pipeline.job.processes import cores
from pipeline.store.readings import handing_over

if TYPE_CHECKING:
    from pipeline.job.judging import Judgement
    from pipeline.job.reassess_work import Done, Work
    from pipeline.steps.load import SheetText
    from pipeline.store.database import Store

# A process takes about a second to start, which is the time of some 100,000 readings: fewer are judged alone.
WORTH_READINGS = 500_000
# All processes together, and what one takes with nothing to judge and for each reading of the run it judges (measured:
# two that judge five days at ten readings a second take 1.38 to 1.45 GB together).
MEMORY_BYTES = 1.5e9
_BYTES_A_PROCESS, _BYTES_A_READING = 0.25e9, 560.0
# Of memory, for each byte of a log read and judged by a thread: a day's 85 MB take 0.55 GB.
_BYTES_A_BYTE_OF_LOG, _MOST_THREADS = 6.5, 8

Ahead = Callable[[str], "Judgement | None"]


def processes_for(readings: Sequence[int]) -> int:
    """How many processes, this one counted, are worth having to judge runs of so many readings each."""
    if not readings or sum(readings) < WORTH_READINGS:
        return 1
    each = _BYTES_A_PROCESS + _BYTES_A_READING * max(readings)
    return max(1, min(len(readings), cores(), int(MEMORY_BYTES / each)))


def threads_for(sheets: Sequence[Path]) -> int:
    """How many threads of one process may load and judge the runs of these sheets at a time.

    Args:
        sheets: run sheets; the files that lie beside each are taken for its logs.
    """
    largest = max((sum(map(_unpacked_bytes, one.parent.iterdir())) for one in sheets), default=0)
    room = int((MEMORY_BYTES - _BYTES_A_PROCESS) / max(_BYTES_A_BYTE_OF_LOG * largest, 1.0))
    return max(1, min(cores(), _MOST_THREADS, room))


def _unpacked_bytes(path: Path) -> int:
    with suppress(OSError):
        return path.stat().st_size * (1 if path.suffix.lower() in PLAIN_LOGS else UNPACKS_TO)
    return 0


@contextmanager
def judged_ahead(store: Store, heads: Sequence[dict[str, Any]], plant: SheetText | None) -> Iterator[Ahead]:
    """A function that gives the judgement of each run in turn, made ahead by other processes where that is worth it.

    Args:
        store: the store, open to write; only the caller writes.
        heads: rows of the question ``current_runs``, in the order in which judgements are asked for.
        plant: plant sheet to judge by, as for `work_on`.

    Yields:
        a function of the run id; it gives None where the caller must judge the run itself.
    """
    processes = processes_for([head["rows_kept"] for head in heads])
    if processes < 2:
        yield lambda _run_id: None
        return
    with handing_over(store) as folder, LocalCrew(processes - 1) as crew:
        yield _Line(store, heads, plant, crew, folder).judgement


class _Line:
    """Runs that wait to be judged, are being judged, or wait for their turn to be put on file."""

    def __init__(
        self,
        store: Store,
        heads: Sequence[dict[str, Any]],
        plant: SheetText | None,
        crew: LocalCrew,
        hand_over: Path,
    ) -> None:
        self._store, self._plant, self._crew, self._hand_over = store, plant, crew, hand_over
        self._waiting = deque(heads)
        self._others = {head["run_id"] for head in heads}
        self._under_way = 0
        self._made: dict[str, Judgement | None] = {}

    def judgement(self, run_id: str) -> Judgement | None:
        """The judgement of a run; None where there is none, and the second time."""
        if run_id not in self._others:
            return None
        self._others.discard(run_id)
        while run_id not in self._made:
            # One more than there are processes, so that none waits while this one judges or writes.
            while self._waiting and self._under_way <= self._crew.workers and not self._is_far_ahead():
                self._crew.give((self._next(),))
                self._under_way += 1
            if self._waiting and not self._crew.has_finished() and not self._is_far_ahead():
                from pipeline.job.reassess_work import work_batch  # here, so that nobody waits for it in vain

                work = self._next()
                self._take(work, work_batch((work,)))
            else:
                given, outcome = self._crew.take()
                self._under_way -= 1
                self._take(given[0], outcome)
        return self._made.pop(run_id)

    def _is_far_ahead(self) -> bool:
        """Whether so much waits for its turn that memory would suffer from more."""
        return self._under_way + len(self._made) > self._crew.workers + 2

    def _next(self) -> Work:
        from pipeline.job.reassess_work import work_on

        work = work_on(self._store, self._waiting.popleft(), self._plant)
        return replace(work, hand_over=self._hand_over.absolute())

    def _take(self, work: Work, outcome: tuple[Done, ...] | Exception) -> None:
        self._made[work.basis.run.id] = None if isinstance(outcome, Exception) else outcome[0].judgement

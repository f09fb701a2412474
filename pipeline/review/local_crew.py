"""Processes of this machine that judge batches; one that is killed costs its batch, which is judged again."""

from __future__ import annotations

import os
import signal
from collections import deque
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context, parent_process
from threading import Thread
from typing import TYPE_CHECKING

from pipeline.review.reassess_work import Done, work_batch

if TYPE_CHECKING:
    from pipeline.review.reassessing import Batch


def _end_with_parent() -> None:
    """See to it that a worker ends without a word when its user stops the program, and when that is killed."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)

    def watch() -> None:
        parent = parent_process()
        if parent is not None:
            parent.join()
            os._exit(1)

    Thread(target=watch, daemon=True).start()


class LocalCrew:
    """`workers` processes; use as a context, which ends them.

    When a process dies nobody can say which batch it died of. Those that were under way are then judged one after
    another, and the one that kills a process again is given back with the fault.
    """

    def __init__(self, workers: int) -> None:
        self.workers = workers
        self.room = 2 * workers
        self._given: dict[Future[tuple[Done, ...]], Batch] = {}
        self._waiting: deque[Batch] = deque()
        self._suspects: deque[Batch] = deque()
        self._alone = False
        self._pool = self._new_pool()

    def __enter__(self) -> LocalCrew:
        return self

    def __exit__(self, *_fault: object) -> None:
        self._pool.shutdown(wait=False, cancel_futures=True)

    def _new_pool(self) -> ProcessPoolExecutor:
        # Started anew, not forked: Polars' threads do not survive a fork. They share the cores among them.
        os.environ.setdefault("POLARS_MAX_THREADS", str(max(1, (os.cpu_count() or 1) // self.workers)))
        return ProcessPoolExecutor(
            self.workers, mp_context=get_context("spawn"), initializer=_end_with_parent
        )

    def give(self, batch: Batch) -> None:
        """Start on a batch as soon as there is a process for it."""
        self._waiting.append(batch)

    def take(self) -> tuple[Batch, tuple[Done, ...] | Exception]:
        """Wait for a batch that is finished, or that killed a process while it was judged alone."""
        while True:
            self._start()
            done, _ = wait(self._given, return_when=FIRST_COMPLETED)
            future = done.pop()
            batch = self._given.pop(future)
            fault = future.exception()
            if not isinstance(fault, BrokenProcessPool):
                return batch, fault if isinstance(fault, Exception) else future.result()
            was_alone = self._alone
            self._suspects.extend(() if was_alone else (batch, *self._given.values()))
            self._start_again()
            if was_alone:
                return batch, fault

    def has_finished(self) -> bool:
        """Start on what was given; whether a batch is finished."""
        self._start()
        return any(future.done() for future in self._given)

    def _start(self) -> None:
        """Give the processes what waits: all of it, or one suspect alone."""
        if self._given and self._alone:
            return
        self._alone = bool(self._suspects)
        queue = self._suspects if self._alone else self._waiting
        while queue:
            batch = queue.popleft()
            try:
                self._given[self._pool.submit(work_batch, batch)] = batch
            except BrokenProcessPool:
                queue.appendleft(batch)
                if self._given:
                    return  # those under way tell of it
                self._start_again()
                continue
            if self._alone:
                return

    def _start_again(self) -> None:
        self._given.clear()
        self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool = self._new_pool()

"""Processes of this machine that work on batches; one that is killed costs its batch, which is done again."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any

from pipeline.job.processes import begin_as_worker


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Start processes that an interrupt from the keyboard does not reach before they are ready for it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


class LocalCrew:
    """`workers` processes; use as a context, which ends them.

    When a process dies nobody can say which batch it died of. Those that were under way are then done one after
    another, and the one that kills a process again is given back with the fault.

    Args:
        workers: how many processes.
        work: what is done with a batch; judging where nothing else is said.
        begin: what a process calls when it begins, and the arguments.
    """

    def __init__(
        self, workers: int, work: Callable[[Any], Any] | None = None, begin: tuple[Any, ...] = ()
    ) -> None:
        if work is None:
            from pipeline.job.reassess_work import work_batch

            work = work_batch
        self._work, self._begin = work, begin
        self.workers = workers
        self.room = 2 * workers
        self._given: dict[Future[Any], Any] = {}
        self._waiting: deque[Any] = deque()
        self._suspects: deque[Any] = deque()
        self._alone = False
        self._pool = self._new_pool()

    def __enter__(self) -> LocalCrew:
        return self

    def __exit__(self, kind: object, *_fault: object) -> None:
        processes = list((self._pool._processes or {}).values())
        self._pool.shutdown(wait=False, cancel_futures=True)
        if kind is None:
            return
        # One that is still starting would find its parent's semaphores gone and tell of it with a traceback.
        for one in processes:
            one.terminate()
        for one in processes:
            one.join(10.0)

    def _new_pool(self) -> ProcessPoolExecutor:
        # Started anew, not forked: Polars' threads do not survive a fork. They share the cores among them.
        os.environ.setdefault("POLARS_MAX_THREADS", str(max(1, (os.cpu_count() or 1) // self.workers)))
        return ProcessPoolExecutor(
            self.workers,
            mp_context=get_context("spawn"),
            initializer=begin_as_worker,
            initargs=self._begin,
        )

    def give(self, batch: Any) -> None:
        """Start on a batch as soon as there is a process for it."""
        self._waiting.append(batch)

    def take(self) -> tuple[Any, Any]:
        """Wait for a batch that is finished, or that killed a process while it was done alone.

        Returns:
            The batch, and what came of it or the exception it ended with.
        """
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
                with _interrupts_held():
                    self._given[self._pool.submit(self._work, batch)] = batch
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

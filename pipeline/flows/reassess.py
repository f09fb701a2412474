"""Re-assessment as a Prefect flow on a Dask cluster: one task a batch of runs, results appended by this process.

Workers read the sealed readings and give judgements back; they never open the store. A worker that is lost costs the
batch it was at, which the scheduler gives to another.
"""

from __future__ import annotations

import pickle
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any

from prefect import flow, task
from prefect.cache_policies import NO_CACHE
from prefect.futures import PrefectFuture
from prefect.task_runners import TaskRunner

from pipeline.errors import Complaint, ReelproofError
from pipeline.flows.engine import engine
from pipeline.job.reassess_work import Done, work_batch
from pipeline.job.reassessing import Batch, Reassessed, Wanted, reassess

CONNECT_S = 15
# Without a worker for so long the flow stops in words instead of waiting for ever.
NO_WORKER_S = 60.0


@task(name="judge a batch of runs", cache_policy=NO_CACHE, persist_result=False)
def judge_batch(packed: bytes) -> bytes:
    """Judge a batch on a worker. Bytes go and come, so that the engine does not look through a run's readings."""
    return pickle.dumps(work_batch(pickle.loads(packed)))  # noqa: S301 - made by this program, on both sides


class DaskCrew:
    """The workers of a Dask scheduler, reached through the flow's task runner."""

    def __init__(self, runner: Any) -> None:
        self._runner = runner
        self.room = max(2, 2 * self._workers())
        self._given: dict[int, tuple[Batch, PrefectFuture[bytes]]] = {}
        self._finished: SimpleQueue[int] = SimpleQueue()
        self._number = 0

    def _workers(self) -> int:
        return len(self._runner.client.scheduler_info(n_workers=-1)["workers"])

    def give(self, batch: Batch) -> None:
        """Submit the batch as one task."""
        number = self._number = self._number + 1
        future = judge_batch.submit(pickle.dumps(batch))
        self._given[number] = (batch, future)
        future.add_done_callback(lambda _future: self._finished.put(number))

    def take(self) -> tuple[Batch, tuple[Done, ...] | Exception]:
        """Wait for a batch; stop where no worker is left to wait for.

        Raises:
            ReelproofError: the scheduler has had no worker for a minute.
        """
        had_workers = True
        while True:
            try:
                number = self._finished.get(timeout=NO_WORKER_S / 2)
                break
            except Empty:
                has_workers = self._workers() > 0
                if not (has_workers or had_workers):
                    raise _no_worker(self._runner.address) from None
                had_workers = has_workers
        batch, future = self._given.pop(number)
        try:
            return batch, pickle.loads(future.result())  # noqa: S301 - made by our own task
        except Exception as fault:
            return batch, fault


def _no_worker(address: str) -> ReelproofError:
    return ReelproofError(
        Complaint(
            address,
            "this scheduler has no worker",
            "Start workers and run the same command again; what was judged is on file",
        )
    )


def dask_runner(address: str) -> TaskRunner[Any]:
    """The task runner for a scheduler.

    Raises:
        ReelproofError: the extra ``cluster`` is not installed.
    """
    try:
        from prefect_dask.task_runners import DaskTaskRunner
    except ImportError:
        raise ReelproofError(
            Complaint(
                "--cluster",
                "a cluster needs the optional part 'cluster', which is not installed here",
                "Install it with: pip install 'reelproof[cluster]'; without it, --workers uses this machine",
            )
        ) from None
    runner: TaskRunner[Any] = DaskTaskRunner(address=address, client_kwargs={"timeout": CONNECT_S})
    return runner


@flow(name="reassess", validate_parameters=False, persist_result=False)
def reassess_flow(folder: Path, wanted: Wanted, options: dict[str, Any]) -> Reassessed:
    """Judge runs on file again, batch by batch, on the flow's task runner."""
    from prefect.context import FlowRunContext

    context = FlowRunContext.get()
    assert context is not None  # noqa: S101 - inside a flow there is one
    return reassess(folder, wanted, DaskCrew(context.task_runner), **options)


def reassess_on_cluster(folder: Path, wanted: Wanted, address: str, **options: Any) -> Reassessed:
    """Judge runs on file again on a Dask cluster, as one flow on the engine a plant has set, or a passing one.

    Args:
        folder: the store's folder.
        wanted: which runs, and by what.
        address: the scheduler's address, as ``tcp://10.0.0.5:8786``.
        options: what `pipeline.job.reassessing.reassess` takes besides.

    Raises:
        ReelproofError: the extra is missing, no scheduler answers, or its workers are gone.
    """
    runner = dask_runner(address)
    _check_reached(address)
    with engine():
        return reassess_flow.with_options(task_runner=runner)(folder, wanted, options)


def _check_reached(address: str) -> None:
    """See that a scheduler answers, before an engine is started for it."""
    from distributed import Client

    try:
        with Client(address, timeout=CONNECT_S, set_as_default=False) as client:  # type: ignore[no-untyped-call]
            workers = len(client.scheduler_info(n_workers=-1)["workers"])
    except (OSError, ValueError) as fault:
        raise ReelproofError(
            Complaint(
                address,
                f"no scheduler answers there ({fault})",
                "Start one with 'dask scheduler' and give the address it prints, as tcp://10.0.0.5:8786",
            )
        ) from None
    if not workers:
        raise _no_worker(address)

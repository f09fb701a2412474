"""What is missing for a cluster is a sentence with a way out, before any work is done."""

from __future__ import annotations

import socket
import sys
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest
from distributed import LocalCluster

from pipeline.errors import ReelproofError
from pipeline.flows import reassess


def test_the_optional_part_that_is_not_installed_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "prefect_dask.task_runners", None)
    with pytest.raises(ReelproofError) as fault:
        reassess.dask_runner("tcp://127.0.0.1:8786")
    assert str(fault.value) == (
        "--cluster: a cluster needs the optional part 'cluster', which is not installed here. "
        "Install it with: pip install 'reelproof[cluster]'; without it, --workers uses this machine."
    )


def test_a_scheduler_that_does_not_answer_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reassess, "CONNECT_S", 0.5)
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
    with pytest.raises(ReelproofError) as fault:
        reassess._check_reached(address)
    told = str(fault.value)
    assert told.startswith(f"{address}: no scheduler answers there (")
    assert told.endswith(
        "Start one with 'dask scheduler' and give the address it prints, as tcp://10.0.0.5:8786."
    )


def test_an_address_that_is_none_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reassess, "CONNECT_S", 0.5)
    with pytest.raises(ReelproofError, match="no scheduler answers there"):
        reassess._check_reached("here:there")


def asked_of_an_empty_cluster() -> tuple[str, str]:
    with (
        LocalCluster(n_workers=0, processes=False, dashboard_address=None) as cluster,  # type: ignore[no-untyped-call]
        pytest.raises(ReelproofError) as fault,
    ):
        reassess._check_reached(cluster.scheduler_address)
    return cluster.scheduler_address, str(fault.value)


def test_a_scheduler_without_workers_is_told() -> None:
    # In a process of its own, since tests of pages and of the review site leave event loops in theirs.
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        address, told = pool.submit(asked_of_an_empty_cluster).result()
    assert told == (
        f"{address}: this scheduler has no worker. "
        "Start workers and run the same command again; what was judged is on file."
    )

"""Runs judged again on a Dask cluster of two worker processes, one of them killed in the middle of a batch."""

from __future__ import annotations

import importlib.util
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from pipeline.job.loading import load_sheets
from pipeline.job.reassessing import Alone, Wanted, reassess
from pipeline.store.database import open_to_read, open_to_write
from tests.job.store_digest import digest_of

ROOT = Path(__file__).parents[2]
# Set to 'all' to judge every sample run, and not copies of one small run.
ALL_RUNS = os.environ.get("REELPROOF_CLUSTER_RUNS") == "all"
pytestmark = [
    pytest.mark.slow,
    pytest.mark.timeout(1800 if ALL_RUNS else 600),
    pytest.mark.skipif(
        importlib.util.find_spec("prefect_dask") is None,
        reason="the optional part 'cluster' is not installed",
    ),
]


def copies_of(sheet: Path, many: int) -> Path:
    """The folder of a run with further runs beside it: the same logs under other names."""
    for number in range(1, many):
        other = sheet.parent.parent / f"R-9{number:03d}"
        shutil.copytree(sheet.parent, other)
        text = sheet.read_text().replace('id = "R-0415"', f'id = "{other.name}"')
        (other / "run.toml").write_text(text.replace("L1-0415-", f"L1-9{number:03d}-"))
    return sheet.parent.parent


@pytest.fixture
def loaded(small_run: Path, tmp_path: Path) -> Path:
    folder = ROOT / "sample_runs" / "runs" if ALL_RUNS else copies_of(small_run, 4)
    with open_to_write(tmp_path / "loaded") as store:
        _, refused = load_sheets(store, (folder,))
        assert refused == []
    return tmp_path / "loaded"


class Cluster:
    """A scheduler and two worker processes on loopback; nobody starts a killed worker again."""

    def __init__(self, home: Path) -> None:
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
        self.environment = dict(
            os.environ, PYTHONPATH=str(ROOT), HOME=str(home), PREFECT_HOME=str(home / "engine")
        )
        self.environment["PREFECT_SERVER_EPHEMERAL_STARTUP_TIMEOUT_SECONDS"] = "500"
        port = self.address.rsplit(":", 1)[1]
        self._processes = [self.start("scheduler", "--host", "127.0.0.1", "--port", port, "--no-dashboard")]
        plain = ("--nthreads", "1", "--no-nanny", "--no-dashboard")
        self.workers = [self.start("worker", self.address, "--name", name, *plain) for name in ("one", "two")]
        self._processes += self.workers

    def start(self, *words: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "distributed.cli.dask_" + words[0], *words[1:]]
        return subprocess.Popen(
            command,
            env=self.environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )

    def stop(self) -> None:
        for process in self._processes:
            # With the engine a worker may have started for itself, which outlives one that is killed.
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    (tmp_path / "home").mkdir()
    made = Cluster(tmp_path / "home")
    try:
        yield made
    finally:
        made.stop()


def kill_a_busy_worker(cluster: Cluster) -> bool:
    """Wait until the first worker has been at a batch for a moment, then kill it; whether it was at one."""
    from distributed import Client

    deadline = time.monotonic() + 500
    with Client(cluster.address, timeout=120, set_as_default=False) as client:
        while time.monotonic() < deadline:
            names = {row["name"]: address for address, row in client.scheduler_info()["workers"].items()}
            if "one" in names and any("judge" in str(key) for key in client.processing()[names["one"]]):
                time.sleep(0.7)
                at_it = bool(client.processing().get(names["one"]))
                os.kill(cluster.workers[0].pid, signal.SIGKILL)
                return at_it
            time.sleep(0.05)
    return False


def test_a_worker_killed_in_a_batch_costs_that_batch_only(
    loaded: Path, tmp_path: Path, cluster: Cluster
) -> None:
    on_cluster, serial = tmp_path / "on_cluster", tmp_path / "serial"
    shutil.copytree(loaded, on_cluster)
    shutil.copytree(loaded, serial)
    wait_for_workers(cluster, 2)
    command = ["reassess", "--store", str(on_cluster), "--cluster", cluster.address, "--batch", "2"]
    asked = subprocess.Popen(
        [sys.executable, "-m", "pipeline", *command],
        env=cluster.environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    was_busy = kill_a_busy_worker(cluster)
    shown, complaints = asked.communicate(timeout=1200)
    assert was_busy
    assert asked.returncode == 0, complaints
    with open_to_read(on_cluster) as store:
        runs = [row["run_id"] for row in store.ask("questions/current_runs")]
        judged = store.connection.execute("SELECT run_id FROM judged.assessment ORDER BY run_id").fetchall()
    assert [row[0] for row in judged] == sorted(runs)  # each once
    assert shown == (
        f"{len(runs)} runs: {len(runs)} judged now, 0 judged on the same basis before, 0 not judged.\n"
    )
    assert reassess(serial, Wanted(), Alone()).judged == len(runs)
    assert digest_of(on_cluster) == digest_of(serial)


def wait_for_workers(cluster: Cluster, many: int) -> None:
    from distributed import Client

    with Client(cluster.address, timeout=240, set_as_default=False) as client:
        client.wait_for_workers(many, timeout=240)

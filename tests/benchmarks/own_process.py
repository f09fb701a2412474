"""Run one piece of work in a process of its own and say what it cost: wall time, processor time, peak memory."""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import active_children
from pathlib import Path
from threading import Event, Thread
from typing import Any

ROOT = Path(__file__).parents[2]
# Set where a quick trial shall not start processes; costs then mean little.
WITHIN = "REELPROOF_BENCH_WITHIN"


@dataclass(frozen=True, slots=True)
class Cost:
    """What a piece of work cost, libraries imported beforehand, and what it gave back.

    Processes it started are counted, memory shared between them once.
    """

    wall_s: float
    cpu_s: float
    peak_mb: float
    answer: Any


def cost_of(call: str, *arguments: object) -> Cost:
    """The cost of ``module:function`` of this package with arguments of plain JSON.

    Args:
        call: module of this folder and function in it, as ``plant_day:floor``.
        arguments: its arguments.
    """
    if os.environ.get(WITHIN):
        return Cost(**_done(call, json.loads(json.dumps(arguments, default=str))))
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.own_process", call, json.dumps(arguments, default=str)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise RuntimeError(f"{call} failed:\n{done.stderr[-3000:]}")
    return Cost(**json.loads(done.stdout.splitlines()[-1]))


def peak_mb() -> float:
    """Greatest resident memory of this process so far [MB]; what its parent held is not counted."""
    status = Path("/proc/self/status")
    if not status.exists():
        import resource

        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    line = next(one for one in status.read_text().splitlines() if one.startswith("VmHWM"))
    return float(line.split()[1]) / 1e3


_LOOK_EVERY_S = 0.5


@contextmanager
def _watched() -> Iterator[list[float]]:
    """The greatest memory of this process and those it started together [MB], looked at twice a second."""
    most, done = [0.0], Event()

    def watch() -> None:
        while not done.wait(_LOOK_EVERY_S):
            started = {
                int(pid)
                for task in Path("/proc/self/task").glob("*/children")
                for pid in task.read_text().split()
            }
            if started:
                most[0] = max(most[0], sum(_share_mb(pid) for pid in (os.getpid(), *started)))

    watcher = Thread(target=watch, daemon=True)
    watcher.start()
    try:
        yield most
    finally:
        done.set()
        watcher.join()


def _share_mb(pid: int) -> float:
    """Memory of a process [MB], what it shares with others in equal parts; 0 where it is gone."""
    with suppress(OSError):
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                return float(line.split()[1]) / 1e3
    return 0.0


def _cpu_s() -> float:
    """Processor time of this process and of those it waited for [s]."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def _done(call: str, arguments: list[Any]) -> dict[str, Any]:
    module, function = call.split(":")
    work = getattr(importlib.import_module(f"tests.benchmarks.{module}"), function)
    wall, cpu = time.perf_counter(), _cpu_s()
    with _watched() as together:
        answer = work(*arguments)
        for one in active_children():
            one.join()  # else its processor time is not counted
    return {
        "wall_s": time.perf_counter() - wall,
        "cpu_s": _cpu_s() - cpu,
        "peak_mb": max(peak_mb(), together[0]),
        "answer": json.loads(json.dumps(answer)),
    }


if __name__ == "__main__":
    print(json.dumps(_done(sys.argv[1], json.loads(sys.argv[2]))))

"""Run one piece of work in a process of its own and say what it cost: wall time, processor time, peak memory."""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
# Set where a quick trial shall not start processes; costs then mean little.
WITHIN = "REELPROOF_BENCH_WITHIN"


@dataclass(frozen=True, slots=True)
class Cost:
    """What a piece of work cost, libraries imported beforehand, and what it gave back."""

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


def _cpu_s() -> float:
    """Processor time of this process and of those it waited for [s]."""
    times = os.times()
    return times.user + times.system + times.children_user + times.children_system


def _done(call: str, arguments: list[Any]) -> dict[str, Any]:
    module, function = call.split(":")
    work = getattr(importlib.import_module(f"tests.benchmarks.{module}"), function)
    wall, cpu = time.perf_counter(), _cpu_s()
    answer = work(*arguments)
    return {
        "wall_s": time.perf_counter() - wall,
        "cpu_s": _cpu_s() - cpu,
        "peak_mb": peak_mb(),
        "answer": json.loads(json.dumps(answer)),
    }


if __name__ == "__main__":
    print(json.dumps(_done(sys.argv[1], json.loads(sys.argv[2]))))

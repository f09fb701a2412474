"""How long a person waits for short commands."""

from __future__ import annotations

import subprocess
import sys
import time
from resource import RUSAGE_CHILDREN, getrusage

from tests.benchmarks.many_runs import store_of
from tests.benchmarks.own_process import ROOT
from tests.benchmarks.row import Row
from tests.benchmarks.scale import Scale


def _waited(repeats: int, *arguments: str) -> tuple[float, float]:
    """Best wall and processor time of a command [s]."""
    best = [float("inf"), float("inf")]
    for _ in range(repeats):
        # Not os.times, whose hundredths of a second are as long as the floor.
        before, began = getrusage(RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, capture_output=True)
        after = getrusage(RUSAGE_CHILDREN)
        cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        best = [min(best[0], time.perf_counter() - began), min(best[1], cpu)]
    return best[0], best[1]


def run(scale: Scale) -> list[Row]:
    store = store_of(scale.fresh("commands"), scale.data, 20, 5, 0.1)
    bare = _waited(scale.repeats, "-c", "pass")
    rows = [Row("floor: python -c pass", "", f"{bare[0]:.3f} s", None, *bare, None, 1.0)]
    for words, limit, arguments in (
        ("reelproof --help", 0.3, ("--help",)),
        ("reelproof reel X", 0.5, ("reel", "L1-F-0001", "--store", str(store))),
    ):
        wall, cpu = _waited(scale.repeats, "-m", "pipeline", *arguments)
        rows.append(Row(words, f"< {limit} s", f"{wall:.2f} s", wall < limit, wall, cpu, None, cpu / bare[1]))
    return rows

"""A week of a watch in a time-lapse: runs arrive, grow, are edited and deleted, some bad; memory and handles stay flat.

The clock the watch looks at goes on by a share of a week at each look; everything else is the real thing. Run with a
number of runs, runs that arrive at each look, and a seed, for a row of `tests/store/trials_found.csv`:
``python -m tests.flows.watch_week 10000 20 1``. A run takes about two seconds of processor.
"""

from __future__ import annotations

import gzip
import os
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from pipeline.flows import watch
from tests.conftest import copy_small_run
from tests.job.test_runs_fail_alone import BAD, log_of, short

WEEK_S = 7 * 24 * 3600.0
DAY = "2026-03-03"
RUNS_A_LOT = 20
HALF = 700


def memory_mb_and_handles() -> tuple[float, int]:
    """Memory [MB] and open handles of this process and those it started."""
    parents = {}
    for one in Path("/proc").glob("[0-9]*/stat"):
        try:
            parents[int(one.parent.name)] = int(one.read_text().rpartition(")")[2].split()[1])
        except OSError:
            continue
    ours = {os.getpid()}
    while more := {pid for pid, parent in parents.items() if parent in ours} - ours:
        ours |= more
    memory, handles = 0.0, 0
    for pid in ours:
        try:
            status = Path(f"/proc/{pid}/status").read_text()
            handles += len(list(Path(f"/proc/{pid}/fd").iterdir()))
        except OSError:
            continue
        memory += int((re.search(r"VmRSS:\s+(\d+)", status) or [0, 0])[1]) / 1000
    return memory, handles


def arrive(inbox: Path, pattern: Path, number: int) -> Path:
    """Put a copy of a run in the inbox under a name and reels of its own; its sheet."""
    name = f"R-W{number:05d}"
    shutil.copytree(pattern, inbox / "runs" / name)
    sheet = inbox / "runs" / name / "run.toml"
    day = date.fromisoformat(DAY) + timedelta(days=number)  # its own, or all would be made at one time
    for log in sheet.parent.glob("*.csv.gz"):
        rows = gzip.decompress(log.read_bytes()).replace(DAY.encode(), day.isoformat().encode())
        log.write_bytes(gzip.compress(rows, 1))
    text = sheet.read_text(encoding="utf-8").replace("R-0415_", "LOGS_").replace("R-0415", name)
    text = text.replace(DAY, day.isoformat()).replace('lot = "', f'lot = "{number // RUNS_A_LOT}-')
    sheet.write_text(text.replace("LOGS_", "R-0415_").replace("L1-0415-", f"L1-{name}-"), encoding="utf-8")
    return sheet


def week(folder: Path, runs: int, a_look: int, seed: int) -> str:
    """Watch until so many runs have arrived and a day has passed; the row of what came.

    Args:
        folder: an empty folder to work in.
        runs: how many runs arrive.
        a_look: how many of them between two looks.
        seed: of what becomes of each.
    """
    inbox = copy_small_run(folder).parents[2]
    pattern = folder / "pattern"
    shutil.move(inbox / "runs" / "R-0415", pattern)
    short(pattern / "run.toml")
    rng, store = np.random.default_rng(seed), folder / "store"
    looks = -(-runs // a_look)
    now = time.time()
    watch.time = SimpleNamespace(time=lambda: now, sleep=lambda _s: None)  # type: ignore[assignment]
    came: Counter[str] = Counter()
    seen: list[tuple[float, int]] = []
    growing: list[Path] = []
    standing: list[Path] = []
    slowest = 0.0
    for look in range(looks + 3):
        for sheet in growing:
            shutil.copy(next(pattern.glob("*_log.csv.gz")), sheet.parent)
        growing = []
        for number in range(look * a_look, min(runs, (look + 1) * a_look)):
            sheet, fate = arrive(inbox, pattern, number), rng.choice(5, p=(0.6, 0.1, 0.1, 0.1, 0.1))
            if fate == 1:
                log_of(sheet, lambda lines: lines[:HALF])
                growing.append(sheet)
            elif fate == 2:
                BAD[list(BAD)[int(rng.integers(len(BAD)))]][0](sheet)
            elif fate == 3 and standing:
                other = standing[int(rng.integers(len(standing)))]
                text = other.read_text(encoding="utf-8")
                other.write_text(text.replace("extruder operator", "line operator"), encoding="utf-8")
            elif fate == 4 and standing:
                shutil.rmtree(standing.pop(int(rng.integers(len(standing)))).parent)
            if fate in (0, 3, 4):
                standing.append(sheet)
        now += WEEK_S / looks
        began = time.process_time()
        found = watch.one_pass(inbox, store, 0.0)
        slowest = max(slowest, time.process_time() - began)
        came.update(done=len(found.done), failed=len(found.failed))
        assert not any("fault of this program" in reason for reason in found.failed.values()), found.failed
        seen.append(memory_mb_and_handles())
        print(look, came, seen[-1], file=sys.stderr, flush=True)
    memory, handles = zip(*seen, strict=True)
    half = len(seen) // 2
    told = f"done={came['done']} failed={came['failed']}; memory {memory[half]:.0f} to {memory[-1]:.0f} MB, "
    told += f"handles {handles[half]} to {handles[-1]}"
    assert handles[-1] <= handles[half] + 5, told
    assert memory[-1] <= 1.2 * memory[half] + 50, told
    return f'{datetime.now(UTC).date()},watch_week,{looks + 3} looks,{seed},{runs},{slowest:.2f},"{told}"'


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        print(week(Path(name), *map(int, sys.argv[1:4])), flush=True)

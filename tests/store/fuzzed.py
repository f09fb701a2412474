"""Readers under a coverage-guided fuzzer: damage that reaches new code of the program is kept and damaged further.

None may end in a traceback, take over 10 s or 1 GB, or write outside its folder. Needs `atheris` beside what the tests
need: ``pip install atheris``. Run with a number, a seed and kinds of `handed_in` or "logs", a process each, for rows of
`trials_found.csv`: ``python -m tests.store.fuzzed 5000 1 "run sheet" logs``.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import atheris  # type: ignore[import-not-found]
import numpy as np

LARGEST_GB = 1.0


def any_log(folder: Path) -> tuple[list[bytes], Callable[[bytes], str]]:
    """Logs of every shape, the number of the shape before each, and what reads one."""
    from tests.logs.mutations import shapes, try_one

    every = shapes()

    def read(content: bytes) -> str:
        return try_one(content[1:], every[content[0] % len(every)][1], folder) if content else "refused"

    return [bytes([number]) + content for number, (content, _) in enumerate(every)], read


def fuzz(name: str, count: int, seed: int) -> None:
    """Damage one kind of file `count` times and print what came of it; never returns."""
    home = Path(tempfile.mkdtemp())
    (home / "reached").mkdir()
    (home / "in").mkdir()
    with atheris.instrument_imports(include=["pipeline"]):
        from tests.store.mutated_files import _in_place, _within_bounds, handed_in, spoilt

        if name == "logs":
            whole, read = any_log(home / "in")
        else:
            kind = handed_in(home / "in")[name]
            whole, read = [kind.path.read_bytes()], partial(_in_place, kind.path, what=kind.read)
        assert all(read(one) != "refused" for one in whole), "it is refused as it stands"
    came: Counter[str] = Counter()
    slowest = 0.0
    for number, one in enumerate(whole):
        (home / "reached" / str(number)).write_bytes(one)
    longest = max(100_000, *(2 * len(one) for one in whole))

    def damaged(content: bytes, longest: int, number: int) -> bytes:
        rng = np.random.default_rng(number)
        if number % 3:  # what is damaged twice is mostly refused at once
            content = whole[int(rng.integers(len(whole)))]
        other = spoilt(content, rng) if number % 4 else atheris.Mutate(content, longest)
        return bytes(other[:longest])

    def tried(content: bytes) -> None:
        nonlocal slowest
        began = time.process_time()
        try:
            with _within_bounds(home / "in"):
                came[read(content)] += 1
        except BaseException:
            (home / "kept_for_looking").write_bytes(content)
            print(f"{name}, seed {seed}: {home}/kept_for_looking", flush=True)
            raise
        slowest = max(slowest, time.process_time() - began)
        if came.total() == count:
            tell()

    def tell() -> None:
        """Print the row and end here: the fuzzer itself ends without a word."""
        peak = int(Path("/proc/self/status").read_text().partition("VmHWM:")[2].split()[0]) / 1e6
        told = " ".join(f"{what}={number}" for what, number in sorted(came.items()))
        reached = sum(1 for _ in (home / "reached").iterdir()) - len(whole)
        day = datetime.now(UTC).date()
        print(f"{day},fuzzed,{name},{seed},{came.total()},{slowest:.2f},{told} reached={reached}", flush=True)
        shutil.rmtree(home)
        os._exit(int(peak > LARGEST_GB))

    options = [f"-runs={2 * count}", f"-seed={seed}", f"-max_len={longest}", "-verbosity=0"]
    atheris.Setup([sys.argv[0], *options, str(home / "reached")], tried, custom_mutator=damaged)
    atheris.Fuzz()


if __name__ == "__main__":
    wanted, first, only = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:]
    if len(only) == 1:
        fuzz(only[0], wanted, first)
    for each in only:
        command = [sys.executable, "-m", "tests.store.fuzzed", str(wanted), str(first), each]
        ended = subprocess.run(command, stderr=subprocess.PIPE, check=False)
        if ended.returncode:
            print(ended.stderr.decode(errors="replace")[-5000:], flush=True)

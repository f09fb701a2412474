"""A command is killed while it writes: the store opens whole, and given again the command is done once.

Each command runs in a process of its own, which dies by a signal nobody handles once it has used a random share of the
processor time that the command needs. Up to three in a row die on one store. Run with a number of kills of each, a seed
and commands (all if none) for rows of `trials_found.csv`: ``python -m tests.store.kills 50 1 "hold --lift"``.
"""

from __future__ import annotations

import os
import re
import resource
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from pipeline.cli.app import run
from tests.acts.decided_store import ENGINEER
from tests.store.power_cuts import commands, still_whole

HEAVY = (
    *(
        "duckdb",
        "polars",
        "pyarrow",
        "scipy.stats",
        "statsmodels.api",
        "plotly.graph_objects",
        "typst",
    ),
    *(
        "pipeline.job.assessing",
        "pipeline.job.loading",
        "pipeline.proofs.verifying",
        "dashboards.page_writing",
    ),
    "tests.store.kills",
)
KILLED = -signal.SIGPROF
NAMED = {
    *(
        "load",
        "assess",
        "hold",
        "--lift",
        "disposition",
        "decide",
        "confirm",
        "ship",
        "samples",
        "journal",
        "--sign",
    ),
    *("thin", "pages", "contain", "account", "anchor", "reassess"),
}


def in_a_process(words: tuple[str, ...], store: str, dies_after_s: float, told: str) -> None:
    """Give a command in this process, which dies after so much of its processor time; infinite for never."""
    sys.stdout = sys.stderr = open(told, "w")  # noqa: SIM115, PTH123 - until the process ends
    began = resource.getrusage(resource.RUSAGE_SELF)
    if dies_after_s < float("inf"):
        signal.setitimer(signal.ITIMER_PROF, dies_after_s)
    code = run([*words, "--store", store])
    ended = resource.getrusage(resource.RUSAGE_SELF)
    signal.setitimer(signal.ITIMER_PROF, 0)
    print(f"\n{ended.ru_utime + ended.ru_stime - began.ru_utime - began.ru_stime}", flush=True)
    os._exit(code)


def given(
    words: tuple[str, ...], store: Path, told: Path, dies_after_s: float = float("inf")
) -> tuple[int, float]:
    """Exit code of a command in a process of its own, and the processor time it used [s] where it was not killed."""
    process = get_context("forkserver").Process(
        target=in_a_process, args=(words, str(store), dies_after_s, str(told))
    )
    process.start()
    process.join()
    code, text = process.exitcode, told.read_text()
    process.close()
    assert code is not None and (code == KILLED or 0 <= code < 3), text
    assert code == KILLED or re.fullmatch(r"[\d.]+", text.split()[-1]), text
    return code, float("nan") if code == KILLED else float(text.split()[-1])


def every_command(folder: Path) -> Iterator[tuple[Path, tuple[str, ...]]]:
    """Every command that writes, on what the one before left, and the store it is given for.

    Without the export of a pack, which goes into a folder of its own each time it is given.
    """
    judged = folder / "j"
    for store, words in commands(folder):
        if store.name == "w" and not judged.exists():
            shutil.copytree(store, judged)
        yield store, tuple(map(str, words))
    role = ("--role", ENGINEER.role)
    yield judged, ("pages",)
    yield judged, ("contain", "reel", "L1-0415-02", *role, "--reason", "dropped")
    yield judged, ("account", "B2", *role)
    yield judged, ("anchor", "--sign", str(folder / "plant.key"), "--folder", str(folder / "anchors"))
    yield judged, ("reassess", "--workers", "1")


def laid(home: Path, scratch: Path) -> None:
    """Lay out a store as a command finds it: readings, which are never changed in place, are linked."""
    shutil.rmtree(scratch, ignore_errors=True)
    if home.exists():
        shutil.copytree(home, scratch, ignore=shutil.ignore_patterns("readings"))
        if (home / "readings").exists():
            shutil.copytree(home / "readings", scratch / "readings", copy_function=os.link)


def entries_of(store: Path) -> int:
    """Opened as the next start would, how many entries the journal has."""
    return len(still_whole(store)) if store.exists() else 0


def try_one(home: Path, words: tuple[str, ...], wanted: int, rng: np.random.Generator, folder: Path) -> int:
    """Kill a command on copies of a store until it died so often; how often it did. At last it is done on the store."""
    scratch, told, kills, rounds = folder / "killed", folder / "told", 0, 0
    before, _ = entries_of(home), laid(home, scratch)
    took, after = given(words, scratch, told)[1], entries_of(scratch)
    while kills < wanted:
        laid(home, scratch)
        rounds += 1
        assert rounds <= 5 * wanted, "the command ends before it dies"
        for _ in range(3):
            code, used = given(words, scratch, told, float(rng.uniform(0, took)))
            if code != KILLED:
                took = min(took, used)
                break
            kills += 1
            assert before <= entries_of(scratch) <= after, (
                "what was on file is gone, or more is than the command adds"
            )
        assert given(words, scratch, told)[0] < 3
        assert entries_of(scratch) == after, "it is not done, or not once"
        if words == ("pages",):
            assert run(["verify", "--pages", str(scratch / "pages"), "--store", str(scratch)]) == 0
    given(words, home, told)
    return kills


def try_kills(folder: Path, count: int, seed: int, only: Sequence[str]) -> None:
    """Kill every command that writes `count` times and print what came of it, a row a command."""
    get_context("forkserver").set_forkserver_preload(["__main__", *HEAVY])
    rng = np.random.default_rng(seed)
    for home, words in every_command(folder):
        name = " ".join(one for one in words[:3] if one in NAMED)
        if only and name not in only:
            given(words, home, folder / "told")
            continue
        kills = try_one(home, words, count, rng, folder)
        day = datetime.now(UTC).date()
        print(f"{day},kills,{name},{seed},{kills},,whole and done once", flush=True)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch_folder:
        try_kills(Path(scratch_folder), int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])

"""A command is killed while it writes: the store opens whole, and given again the command is done once.

Each command runs in a process of its own, which dies by a signal nobody handles once it has used a random share of the
processor time that the command needs. Up to three in a row die on one store. Run with a number of kills of each, a seed
and commands (all if none) for rows of `trials_found.csv`: ``python -m tests.store.kills 50 1 "hold --lift"``.
"""

from __future__ import annotations

import os
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
from tests.conftest import SAMPLE_RUNS
from tests.desk.site import Form, site_of
from tests.store.power_cuts import commands, still_whole

HEAVY = (
    *(
        "duckdb",
        "polars",
        "pyarrow",
        "scipy.stats",
        "statsmodels.api",
        "plotly.graph_objects",
        "uvicorn",
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
SITE = ("serve",)
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
    *("thin", "serve", "pages", "contain", "account", "lot", "--export", "anchor", "gauge", "reassess"),
}


def acts_on_site(store: Path) -> int:
    """Two holds and a decision by a person in a browser; what is done already is not done again."""
    with (
        site_of(store) as site,
        site.signed_in("A1", ENGINEER.role) as person,
    ):

        def offered(page: str, act: str) -> Form | None:
            return next((one for one in person.forms(page) if one.action == f"/acts/{act}"), None)

        for reel in ("L1-0415-02", "L1-0415-03"):
            form = offered(f"/reels/{reel}.html", "hold")
            assert form is not None
            assert person.fill(form, reason="scuffed").status_code == 200
        page = "/findings/R-0415-F01.html"
        if (form := offered(page, "decide")) and "decide scrap" in form.choices.get(
            "deed", form.boxes.get("deed", [])
        ):
            assert person.fill(form, deed="decide scrap", reason="thin").status_code == 200
    return 0


def in_a_process(words: tuple[str, ...], store: str, dies_after_s: float, told: str) -> None:
    """Give a command in this process, which dies after so much of its processor time; infinite for never."""
    sys.stdout = sys.stderr = open(told, "w")  # noqa: SIM115, PTH123 - until the process ends
    began = resource.getrusage(resource.RUSAGE_SELF)
    if dies_after_s < float("inf"):
        signal.setitimer(signal.ITIMER_PROF, dies_after_s)
    code = acts_on_site(Path(store)) if words == SITE else run([*words, "--store", store])
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
    return code, float("nan") if code == KILLED else float(text.split()[-1])


def every_command(folder: Path) -> Iterator[tuple[Path, tuple[str, ...]]]:
    """Every command that writes, on what the one before left, and the store it is given for."""
    judged = folder / "j"
    for store, words in commands(folder):
        if store.name == "w" and not judged.exists():
            shutil.copytree(store, judged)
        yield store, tuple(map(str, words))
    role = ("--role", ENGINEER.role)
    yield judged, SITE
    yield judged, ("pages",)
    yield judged, ("contain", "reel", "L1-0415-02", *role, "--reason", "dropped")
    yield judged, ("account", "B2", *role)
    yield judged, ("lot", "PVC-7740", "--export", str(folder / "pack"), *role)
    yield judged, ("anchor", "--sign", str(folder / "plant.key"), "--folder", str(folder / "anchors"))
    yield judged, ("gauge", str(SAMPLE_RUNS / "gauge_study.csv"))
    yield judged, ("reassess", "--workers", "1")


def laid(home: Path, scratch: Path) -> None:
    """Lay out a store as a command finds it: readings, which are never changed in place, are linked."""
    shutil.rmtree(scratch, ignore_errors=True)
    if home.exists():
        shutil.copytree(home, scratch, ignore=shutil.ignore_patterns("readings"))
        if (home / "readings").exists():
            shutil.copytree(home / "readings", scratch / "readings", copy_function=os.link)


def entries_of(store: Path) -> int:
    """Opened as the next start would, how many entries the journal has but those of each start of the site."""
    return sum(kind != "access" for kind in still_whole(store)) if store.exists() else 0


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
        name = " ".join(one for one in words if one in NAMED)
        if only and name not in only:
            given(words, home, folder / "told")
            continue
        kills = try_one(home, words, count, rng, folder)
        day = datetime.now(UTC).date()
        print(f"{day},kills,{name},{seed},{kills},,whole and done once", flush=True)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch_folder:
        try_kills(Path(scratch_folder), int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])

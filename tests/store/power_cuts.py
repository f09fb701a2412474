"""The power goes while a command writes: what is on the disk at each instant must be a store that opens whole.

A command runs under ``strace``, which writes down every write, size, name and forcing out. They are then played onto
an invented disk and cut after each of them, as three disks would have it: ``all``, which keeps everything in order;
``forced data``, which has every name but only those bytes that were forced out; ``forced``, which has only such names
as well. Names are kept in order, as journals of file systems do.

Run with a number to cut at every so many writes, and at which first: ``python -m tests.store.power_cuts 4 0``.
"""

from __future__ import annotations

import io
import os
import re
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

from pipeline.store.writer_lock import LOCK
from tests.store.recorded_writes import Disk, disk_of, recorded, states

DISKS = ("all", "forced data", "forced")


def laid_out(left: dict[str, bytes | None], home: Path, target: Path) -> None:
    """Write what a power cut left into a folder."""
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir()
    for path, content in left.items():
        place = target / os.path.relpath(path, home)
        if content is None:
            place.mkdir(parents=True, exist_ok=True)
        else:
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(content)
    # A published copy must not seem older than the database it was made of.
    for place in sorted(target.rglob("*.duckdb"), key=lambda one: one.parent.name == "published"):
        os.utime(place)


def told_by(*arguments: str | Path) -> tuple[int, str]:
    """Exit code of a command given in this process, and what it told."""
    from pipeline.cli.app import run

    told = io.StringIO()
    with redirect_stdout(told), redirect_stderr(told):
        code = run([str(one) for one in arguments])
    return code, told.getvalue()


def still_whole(store: Path) -> list[str]:
    """Open what a power cut or a kill left as the next start would: nothing by halves; kinds of its entries."""
    from pipeline.proofs.verifying import verified
    from pipeline.record.journal_on_file import journal_of
    from pipeline.store.database import open_to_write
    from pipeline.store.readings import sweep

    with open_to_write(store, wait_s=0.0) as opened:
        entries = [one.kind for one in journal_of(opened)]
        for check in ("file_identity", "growth_identity", "rows_without_a_load"):
            assert opened.ask(f"checks/{check}") == []
        sweep(opened)
    if entries:
        assert verified(store).changes == ()
    return entries


def opens_whole(store: Path, command: Sequence[str | Path], before: int, after: int) -> None:
    """Open what a power cut left, and give the command again: all of it is whole and done once."""
    from pipeline.proofs.verifying import verified

    assert before <= len(still_whole(store)) <= after, (
        "what was on file is gone, or more is than the command adds"
    )
    code, told = told_by(*command, "--store", store)
    assert code < 3, told
    found = verified(store)
    assert found.changes == ()
    assert found.entries == after, told


def commands(folder: Path) -> Iterator[tuple[Path, tuple[str | Path, ...]]]:
    """Every kind of command that writes to a store, each on what the one before left, and the store it is given for."""
    from tests.conftest import copy_small_run
    from tests.job.test_runs_fail_alone import short

    for name in ("short", "whole"):
        (folder / name).mkdir()
        sheet = copy_small_run(folder / name)
        if name == "short":
            short(sheet)
            yield folder / "s", ("load", sheet)
            yield folder / "s", ("assess",)
        else:
            for command in (("load", sheet), ("assess",)):
                assert told_by(*command, "--store", folder / "w")[0] == 0
    engineer, manager, store = ("--role", "quality engineer"), ("--role", "quality manager"), folder / "w"
    yield store, ("hold", "L1-0415-01", *engineer, "--reason", "scuffed")
    number = re.findall(r"Hold (\d+) on", told_by("hold", "L1-0415-01", "--store", store)[1])[0]
    yield store, ("hold", "L1-0415-01", "--lift", number, *engineer, "--reason", "sound")
    yield store, ("disposition", "R-0415-F01", "decide", "scrap", *engineer, "--reason", "thin")
    release = (
        "disposition",
        "L1-0415-02",
        "decide",
        "release",
        *engineer,
        "--person",
        "A1",
        "--reason",
        "sound",
    )
    yield store, release
    yield store, ("disposition", "L1-0415-02", "confirm", *manager, "--person", "B2", "--reason", "seen")
    (folder / "ship.toml").write_text(SHIPPED)
    yield store, ("ship", folder / "ship.toml", "--role", "shipping clerk")
    (folder / "samples.csv").write_text("reel,at_ft,quantity,value_mil\nL1-0415-03,100,mean_wall_mm,16.2\n")
    yield store, ("samples", folder / "samples.csv", *engineer)
    told_by("key", folder / "plant.key")
    yield store, ("journal", "--sign", folder / "plant.key", *manager)
    text, _, _ = (folder / "whole/sample_runs/plant.toml").read_text().partition("[retention]")
    revised = folder / "revised.toml"
    revised.write_text(
        text.replace("value = 50", "value = 51") + "[retention]\nfull_rate_months = 1\n" + THINS
    )
    yield store, ("assess", "--plant", revised)
    yield store, ("thin", "--plant", revised, "--confirm", *manager)


SHIPPED = """
[[shipments]]
id = "S-1"
to = "a customer"
contents = ["L1-0415-02"]
at = 2026-03-05T08:00:00Z
"""
THINS = "step_m = 10.0\nkeep_whole = []\nmay_thin = ['quality manager']\n"


def try_cuts(folder: Path, every: int, first: int = 0) -> Counter[str]:
    """Cut the power at every so many writes of every command that writes; how many cuts, by command and disk.

    Args:
        folder: a folder to work in.
        every: at how many writes once.
        first: from which on.
    """
    from pipeline.proofs.verifying import verified

    scratch, began = folder / "cut", time.monotonic()
    count: Counter[str] = Counter()
    tried: set[int] = set()
    for home, command in commands(folder):
        disk = disk_of(home) if home.exists() else Disk()
        before = verified(home).entries if home.exists() else 0
        lines = recorded(folder, *command, "--store", home)
        after = verified(home).entries
        name = command[0] if len(command) < 3 else f"{command[0]} {command[2]}"
        number = 0
        for number in states(lines, home, disk):
            if number % every != first:
                continue
            for kind in DISKS:
                count[f"{name}, {kind}"] += 1
                left = disk.left(kind)
                left.pop(str(home / LOCK), None)  # its machine was started anew since
                state = hash(tuple(sorted(left.items())))
                if state in tried:
                    continue
                tried.add(state)
                laid_out(left, home, scratch)
                try:
                    opens_whole(scratch, command, before, after)
                except BaseException:
                    print(f"{name}, disk '{kind}', cut after write {number}: {scratch}", flush=True)
                    raise
        assert number > 5, "the command wrote too little to be cut"
        assert {path: content for path, content in disk.left("all").items() if content is not None} == {
            str(path): path.read_bytes() for path in home.rglob("*") if path.is_file()
        }, "what was played is not what the command left"
        print(
            f"{name}: {number} writes, {before} to {after} entries, {time.monotonic() - began:.0f} s",
            flush=True,
        )
    print(f"{len(tried)} different states")
    return count


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        begun = time.monotonic()
        told = try_cuts(Path(name).resolve(), *map(int, sys.argv[1:]))
    for what, cuts in told.items():
        print(f"{what},{cuts}")
    print(f"{sum(told.values())} power cuts in {time.monotonic() - begun:.0f} s, every store whole")

"""A disk that fills while a run is loaded or judged: a sentence, nothing half-written, whole once there is room."""

from __future__ import annotations

import resource
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.cli.app import run as reelproof
from pipeline.store.copies import PUBLISHED
from pipeline.store.database import open_to_read
from pipeline.store.layout import READINGS, UNFINISHED
from pipeline.store.readings import read_frame


class SmallDisk:
    """A file system in memory whose size is set in KiB; where none may be mounted, no file may grow beyond that."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        folder.mkdir()
        self.is_mounted = self.mount("size=100m")

    def mount(self, options: str) -> bool:
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", options, "tmpfs", self.folder], check=False)
        return done.returncode == 0

    def used_kib(self) -> int:
        shown = subprocess.run(["du", "-sk", self.folder], capture_output=True, text=True, check=True).stdout
        return int(shown.split()[0])

    def holds(self, kib: int) -> None:
        if self.is_mounted:
            assert self.mount(f"remount,size={kib}k")
        else:
            resource.setrlimit(resource.RLIMIT_FSIZE, (1024 * kib, resource.RLIM_INFINITY))

    def leaves(self, kib: int) -> None:
        """Little room beside what is there: of a file's size, hardly more than the largest has."""
        largest = max(one.stat().st_size for one in self.folder.rglob("*") if one.is_file()) // 1024
        self.holds(self.used_kib() + kib if self.is_mounted else largest + 64)

    def gone(self) -> None:
        if self.is_mounted:
            subprocess.run(["umount", self.folder], check=True)
        else:
            resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[SmallDisk]:
    made = SmallDisk(tmp_path / "disk")
    yield made
    made.gone()


def told(store: Path) -> str:
    return (
        f"{store}: the disk is full or read-only; nothing half-written was kept. Free some space or choose another "
        "--store, then run the same command again.\n"
    )


def assert_whole(store: Path) -> None:
    with open_to_read(store) as opened:
        for check in ("file_identity", "growth_identity", "rows_without_a_load"):
            assert opened.ask(f"checks/{check}") == []
        (load,) = opened.ask("questions/loads_of_run", run_id="R-0415")
        assert read_frame(opened, load["folder"], "logged").height == load["rows_kept"]
    assert list((store / READINGS / UNFINISHED).iterdir()) == []
    assert list((store / PUBLISHED).glob(".*")) == []


def test_load_and_assess_on_a_disk_that_fills(small_run: Path, disk: SmallDisk, capsys) -> None:
    store = disk.folder / "s"
    load = ["load", str(small_run), "--store", str(store)]
    assess = ["assess", "--store", str(store)]
    # Full while readings are written; then after the run is on file, but before readers can open it.
    for kib in (320, 1000):
        disk.holds(kib)
        assert reelproof(load) == 3
        assert capsys.readouterr().err == told(store)
        assert not list(store.glob(f"{PUBLISHED}/*"))
    disk.holds(100_000)
    assert reelproof(load) == 0
    assert capsys.readouterr().out == "R-0415: already on file with the same content (load 1)\n"
    assert_whole(store)
    disk.leaves(1500)
    assert reelproof(assess) == 3
    assert capsys.readouterr().err == told(store)
    disk.holds(100_000)
    assert reelproof(assess) == 0
    assert "2 reels releasable on the evidence, 1 held, 2 findings (assessment 1)" in capsys.readouterr().out
    assert_whole(store)

"""The lock file: one writer, a dead one's taken over, and one that was taken over commits nothing."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import polars as pl
import pytest

from pipeline.errors import StoreError
from pipeline.store import writer_lock
from pipeline.store.database import DATABASE, open_to_read, open_to_write
from pipeline.store.writer_lock import DEAD_AFTER_S, LOCK

WRITING = """
import sys, time
from pathlib import Path
import polars as pl
from pipeline.store.database import open_to_write
folder, name = Path(sys.argv[1]), sys.argv[2]
for number in range(5):
    with open_to_write(folder, wait_s=120.0) as store, store.transaction():
        store.append("logged.warning", pl.DataFrame({"load_id": number, "sentence": name}))
"""


def test_the_lock_file_is_there_while_a_writer_works_and_not_afterwards(tmp_path: Path) -> None:
    with open_to_write(tmp_path):
        said = json.loads((tmp_path / LOCK).read_text())
        assert said["pid"] == os.getpid()
    assert not (tmp_path / LOCK).exists()
    assert [path.name for path in tmp_path.iterdir() if LOCK in path.name] == []


def test_the_lock_of_a_dead_process_is_taken_over_at_once(tmp_path: Path) -> None:
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    with open_to_write(tmp_path):
        said = json.loads((tmp_path / LOCK).read_text())
    for more in ({"pid": dead.pid}, {"started": "1"}):  # dead, or its number given to another since
        (tmp_path / LOCK).write_text(json.dumps({**said, "token": "other", **more}))
        began = time.monotonic()
        with open_to_write(tmp_path, wait_s=10.0):
            assert time.monotonic() - began < 5


def test_another_machines_lock_is_taken_over_when_it_was_not_touched_for_a_minute(tmp_path: Path) -> None:
    with open_to_write(tmp_path):
        pass
    (tmp_path / LOCK).write_text(
        json.dumps({"pid": 7, "machine": "press-2 x", "started": "1", "token": "other"})
    )
    with pytest.raises(StoreError) as told, open_to_write(tmp_path, wait_s=0.3):
        pass
    assert str(told.value) == (
        f"{tmp_path / DATABASE}: process 7 on press-2 is writing to this store. "
        "Wait until it has finished and run the same command again."
    )
    long_ago = time.time() - DEAD_AFTER_S - 5
    os.utime(tmp_path / LOCK, (long_ago, long_ago))
    with open_to_write(tmp_path, wait_s=0.3):
        pass


def test_a_writer_that_was_taken_over_commits_nothing(tmp_path: Path) -> None:
    with open_to_write(tmp_path):
        pass
    with pytest.raises(StoreError) as told, open_to_write(tmp_path) as store, store.transaction():
        store.append("logged.warning", pl.DataFrame({"load_id": 1, "sentence": "late"}))
        (tmp_path / LOCK).write_text(json.dumps({"token": "another writer's"}))
    assert str(told.value) == (
        f"{tmp_path / LOCK}: another process took the store over while this one did not answer; nothing more was put "
        "on file. Run the same command again."
    )
    assert json.loads((tmp_path / LOCK).read_text()) == {"token": "another writer's"}
    with open_to_read(tmp_path) as store:
        assert store.ask("questions/warnings_of_load", load_id=1) == []


@pytest.fixture
def without_locks(tmp_path: Path) -> dict[str, str]:
    """The environment of a process whose locks on files always seem to succeed, as on a share without locks."""
    compiler = shutil.which("cc")
    if compiler is None or not sys.platform.startswith("linux"):
        pytest.skip("needs a C compiler and Linux to take a process's locks away")
    source, library = tmp_path / "no_locks.c", tmp_path / "no_locks.so"
    source.write_text(NO_LOCKS)
    subprocess.run([compiler, "-shared", "-fPIC", "-o", str(library), str(source), "-ldl"], check=True)
    return {**os.environ, "LD_PRELOAD": str(library)}


NO_LOCKS = """
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdarg.h>
static int called(const char *name, int file, int what, void *more) {
    if (what == F_SETLK || what == F_SETLKW || what == F_OFD_SETLK || what == F_OFD_SETLKW) return 0;
    int (*real)(int, int, void *) = dlsym(RTLD_NEXT, name);
    return real(file, what, more);
}
int fcntl(int file, int what, ...) {
    va_list all; va_start(all, what); void *more = va_arg(all, void *); va_end(all);
    return called("fcntl", file, what, more);
}
int fcntl64(int file, int what, ...) {
    va_list all; va_start(all, what); void *more = va_arg(all, void *); va_end(all);
    return called("fcntl64", file, what, more);
}
"""
OPENED_TWICE = """
import subprocess, sys, duckdb
connection = duckdb.connect(sys.argv[1])
sys.exit(subprocess.run([sys.executable, "-c", "import sys, duckdb; duckdb.connect(sys.argv[1])", sys.argv[1]],
    stderr=subprocess.DEVNULL).returncode)
"""


def test_writers_on_a_share_without_locks_lose_nothing(tmp_path: Path, without_locks: dict[str, str]) -> None:
    """Three processes at once on one store, each with five transactions: all fifteen are on file."""
    with open_to_write(tmp_path / "store"):
        pass
    twice = [sys.executable, "-c", OPENED_TWICE, str(tmp_path / "store" / DATABASE)]
    assert subprocess.run(twice, check=False).returncode == 1
    assert subprocess.run(twice, check=False, env=without_locks).returncode == 0, "the engine's lock is gone"
    asked = [[sys.executable, "-c", WRITING, str(tmp_path / "store"), name] for name in "abc"]
    writers = [subprocess.Popen(one, env=without_locks) for one in asked]
    assert [one.wait(120) for one in writers] == [0, 0, 0]
    with open_to_read(tmp_path / "store") as store:
        found = [
            (number, row["sentence"])
            for number in range(5)
            for row in store.ask("questions/warnings_of_load", load_id=number)
        ]
    assert sorted(found) == sorted((number, name) for name in "abc" for number in range(5))


def test_a_file_system_without_links_is_locked_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_args: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(writer_lock.os, "link", no_links)
    with (
        open_to_write(tmp_path),
        pytest.raises(StoreError, match="is writing to this store"),
        open_to_write(tmp_path, wait_s=0.2),
    ):
        pass
    assert not (tmp_path / LOCK).exists()


@pytest.mark.parametrize("links", [True, False])
def test_a_full_disk_leaves_no_lock_of_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """`write` fails with ENOSPC where a disk is full (POSIX.1-2017), with links and without."""

    def full(*_args: object, **_more: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    def none(*_args: object, **_more: object) -> None:
        raise OSError(errno.EPERM, "Operation not permitted")

    with monkeypatch.context() as patched:
        if links:
            patched.setattr(Path, "write_text", full)
        else:
            patched.setattr(os, "link", none)
            patched.setattr(os, "fdopen", full)
        with pytest.raises(StoreError, match="the disk is full"), open_to_write(tmp_path, wait_s=0.0):
            pass
    assert not (tmp_path / LOCK).exists()
    with open_to_write(tmp_path, wait_s=0.0):
        pass

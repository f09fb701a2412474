"""Who owns the store while it is being written? A lock file of our own, beside the engine's lock on its database.

Locks of the operating system do not hold on every network share, and there two writers would each believe they are
alone. The file ``writer.lock`` is made whole by one call that fails if it is there, which shares keep. It names the
process, is touched every few seconds, and is taken over when its process is dead, or when another machine's has not
touched it for a minute by the share's own clock. A writer that was taken over finds another token in it before it
commits, and commits nothing.
"""

from __future__ import annotations

import json
import os
import socket
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event, Thread
from typing import Any

from pipeline.errors import Complaint, StoreError
from pipeline.regular_file import LONGEST_SHEET_BYTES, json_of_file

LOCK = "writer.lock"
TOUCHED_EVERY_S = 5.0
# Twelve touches missed: the other machine is down, or so far behind that its writer must find out it was replaced.
DEAD_AFTER_S = 60.0


@dataclass(slots=True)
class WriterLock:
    """The lock file as this process made it.

    Args:
        path: the lock file.
        token: what this process wrote into it.
    """

    path: Path
    token: str
    _stop: Event = field(default_factory=Event)

    def is_held(self) -> bool:
        """Whether the store still belongs to this process."""
        return _held_by(self.path).get("token") == self.token

    def lost(self) -> StoreError:
        """The complaint of a writer that was taken over."""
        return StoreError(
            Complaint(
                str(self.path),
                "another process took the store over while this one did not answer; nothing more was put on file",
                "Run the same command again",
            )
        )

    def touch_until_stopped(self) -> None:
        """Show that this process lives."""
        while not self._stop.wait(TOUCHED_EVERY_S):
            if not self.is_held():
                return
            with suppress(OSError):
                os.utime(self.path)

    def let_go(self) -> None:
        """Remove the lock file if it is still this process's."""
        self._stop.set()
        if self.is_held():
            with suppress(OSError):
                self.path.unlink()


def _held_by(path: Path) -> dict[str, Any]:
    """What the lock file says; empty where there is none or it cannot be read."""
    try:
        found = json_of_file(path, LONGEST_SHEET_BYTES)
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _read_line(path: str) -> str:
    with suppress(OSError, UnicodeDecodeError):
        return Path(path).read_text(encoding="utf-8").strip()
    return ""


def _machine() -> str:
    """This machine since it was started, and its space of process numbers: a number means something only there."""
    space = ""
    with suppress(OSError):
        space = str(Path("/proc/self/ns/pid").readlink())
    return f"{socket.gethostname()} {_read_line('/proc/sys/kernel/random/boot_id')} {space}"


def _started(pid: int) -> str:
    """When a process was started, in the kernel's ticks; numbers of processes are used again."""
    fields = _read_line(f"/proc/{pid}/stat").rpartition(")")[2].split()
    return fields[19] if len(fields) > 19 else ""


def _is_dead(path: Path, held: dict[str, Any]) -> bool:
    """Whether whoever wrote the lock file writes no more."""
    pid = held.get("pid")
    if os.name == "posix" and held.get("machine") == _machine() and isinstance(pid, int) and pid > 0:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        except (PermissionError, OverflowError):
            pass
        return _started(pid) != held.get("started")
    return _age_s(path) > DEAD_AFTER_S


def _age_s(path: Path) -> float:
    """How long ago the lock file was touched, by the clock of the disk it is on [s]; 0 where it cannot be told."""
    probe = path.with_name(f".{LOCK}-{uuid.uuid4().hex}")
    try:
        probe.touch()
        return probe.stat().st_mtime - path.stat().st_mtime
    except OSError:
        return 0.0
    finally:
        probe.unlink(missing_ok=True)


def _make(path: Path, token: str) -> bool:
    """Make the lock file with all it says at once; False where it is there."""
    text = json.dumps(
        {"pid": os.getpid(), "machine": _machine(), "started": _started(os.getpid()), "token": token}
    )
    whole = path.with_name(f".{LOCK}-{token}")
    try:
        whole.write_text(text, encoding="utf-8")
        try:
            os.link(whole, path)
        except (FileExistsError, FileNotFoundError):
            return False
        except OSError:
            return _made_in_two_steps(path, text)
    finally:
        whole.unlink(missing_ok=True)
    return True


def _made_in_two_steps(path: Path, text: str) -> bool:
    """Make the lock file on a file system without links, where it may be empty for an instant."""
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
    except FileExistsError:
        return False
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
    except OSError:
        path.unlink(missing_ok=True)  # left empty, as on a full disk, it would seem another writer's
        raise
    return True


def _take_away(path: Path, token: str) -> None:
    """Take away the lock file of a dead writer; that of a writer who came in between is put back."""
    aside = path.with_name(f".{LOCK}-{uuid.uuid4().hex}")
    try:
        path.rename(aside)
        if _held_by(aside).get("token", "") != token:
            os.link(aside, path)
    except OSError:
        pass
    finally:
        aside.unlink(missing_ok=True)


@contextmanager
def held_for_writing(
    folder: Path, database: Path, wait_s: float, on_wait: Callable[[str], None] | None = None
) -> Iterator[WriterLock]:
    """Own the store in `folder` until the block ends.

    Args:
        folder: the store's folder.
        database: its database, for the complaint.
        wait_s: how long to wait for another writer [s].
        on_wait: told once who is being waited for.

    Raises:
        StoreError: another process is writing to it.
    """
    lock = WriterLock(folder / LOCK, uuid.uuid4().hex)
    deadline = time.monotonic() + wait_s
    told = False
    while not _make(lock.path, lock.token):
        held = _held_by(lock.path)
        if _is_dead(lock.path, held):
            _take_away(lock.path, held.get("token", ""))
            continue
        who = f"process {held['pid']}" if "pid" in held else "another process"
        if "machine" in held and held["machine"] != _machine():
            who += f" on {str(held['machine']).partition(' ')[0]}"
        if time.monotonic() >= deadline:
            raise is_written(database, who)
        if on_wait and not told:
            on_wait(who)
            told = True
        time.sleep(0.2)
    Thread(target=lock.touch_until_stopped, daemon=True).start()
    try:
        yield lock
    finally:
        lock.let_go()


def is_written(where: Path, who: str) -> StoreError:
    """The complaint that somebody else is writing."""
    return StoreError(
        Complaint(
            str(where),
            f"{who} is writing to this store",
            "Wait until it has finished and run the same command again",
        )
    )

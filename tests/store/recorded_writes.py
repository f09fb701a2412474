"""What a command writes, played onto an invented disk that a power cut may take apart.

``strace`` writes down every write, size, name and forcing out. Names are kept in order, as journals of file systems
do; bytes and names that were not forced out may be lost.
"""

from __future__ import annotations

import ast
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).parents[2]
CALLS = (
    "openat,open,creat,close,dup,dup2,dup3,fcntl,lseek,write,pwrite64,writev,pwritev,ftruncate,fallocate,sendfile,"
    "copy_file_range,rename,renameat,renameat2,link,linkat,unlink,unlinkat,mkdir,mkdirat,rmdir,fsync,fdatasync"
)
STRACE = (
    *("strace", "-f", "-y", "--seccomp-bpf", "-xx", "-s", "100000000", "-e", "signal=none"),
    *("-e", f"trace={CALLS}"),
)
_LINE = re.compile(r"(?P<pid>\d+) +(?P<call>\w+)\((?P<arguments>.*)\) += (?P<result>-?\d+)(?:<.*>)?.*")


@dataclass
class Inode:
    """A file: its bytes as the running system sees them, and as they were last forced out."""

    now: bytearray = field(default_factory=bytearray)
    forced: bytes = b""


@dataclass
class Disk:
    """Files and folders below one folder, and what of them a power cut leaves."""

    inodes: list[Inode] = field(default_factory=list)
    # Changes of names in order: how many of them were forced out, and those that touched a folder.
    names: list[tuple[str, str, int]] = field(default_factory=list)
    forced_names: int = 0

    def tree(self, count: int) -> dict[str, int]:
        """Path -> number of its file, -1 for a folder, after the first `count` changes of names."""
        found: dict[str, int] = {}
        for what, path, more in self.names[:count]:
            if what == "gone":
                found.pop(path, None)
            elif what == "moved":
                source = self.names_from[more]
                for name in [name for name in found if name == source or name.startswith(source + "/")]:
                    found[path + name[len(source) :]] = found.pop(name)
            else:
                found[path] = more
        return found

    names_from: list[str] = field(default_factory=list)

    def moved(self, source: str, target: str) -> None:
        self.names_from.append(source)
        self.names.append(("moved", target, len(self.names_from) - 1))

    def force_folder(self, folder: str) -> None:
        for at in range(len(self.names), self.forced_names, -1):
            what, path, more = self.names[at - 1]
            touched = {path.rpartition("/")[0]}
            if what == "moved":
                touched.add(self.names_from[more].rpartition("/")[0])
            if folder in touched:
                self.forced_names = at
                return

    def left(self, disk: str) -> dict[str, bytes | None]:
        """What a power cut leaves: path -> bytes, None for a folder."""
        tree = self.tree(self.forced_names if disk == "forced" else len(self.names))
        found: dict[str, bytes | None] = {}
        for path, number in tree.items():
            if number < 0:
                found[path] = None
            else:
                one = self.inodes[number]
                found[path] = bytes(one.now) if disk == "all" else one.forced
        return found


def recorded(home: Path, *arguments: str | Path) -> list[str]:
    """The calls that a command makes, as ``strace`` writes them down, those split by threads put together."""
    trace = home / "trace"
    code = subprocess.run(
        [*STRACE, "-o", str(trace), sys.executable, "-m", "pipeline", *map(str, arguments)],
        check=False,
        stdout=subprocess.DEVNULL,
        env=dict(os.environ, PYTHONPATH=str(ROOT), PYTHONDONTWRITEBYTECODE="1"),
    ).returncode
    assert code < 2, arguments
    begun: dict[str, str] = {}
    lines = []
    with trace.open() as file:
        for line in file:
            pid, _, rest = line.rstrip("\n").partition(" ")
            rest = rest.lstrip()
            if rest.endswith("<unfinished ...>"):
                begun[pid] = rest.removesuffix("<unfinished ...>")
            elif rest.startswith("<... "):
                lines.append(f"{pid} {begun.pop(pid)}{rest.partition(' resumed>')[2]}")
            else:
                lines.append(f"{pid} {rest}")
    trace.unlink()
    return lines


def _text(quoted: str) -> bytes:
    return ast.literal_eval("b" + quoted)


_PATH = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')
_FD = re.compile(r"(\d+)<([^>]*)>")


@dataclass
class Player:
    """Plays recorded calls onto a disk.

    Args:
        home: the store's folder; calls on anything else are left out.
        disk: what they are played onto.
    """

    home: str
    disk: Disk
    _at: dict[int, int] = field(default_factory=dict)
    _files: dict[int, tuple[int, bool]] = field(default_factory=dict)
    _outside: dict[int, str] = field(default_factory=dict)

    def play(self, line: str) -> bool:
        """Play one call; whether it changed anything on the disk."""
        found = _LINE.fullmatch(line)
        if found is None or int(found["result"]) < 0:
            return False
        act = getattr(self, f"do_{found['call']}", None)
        return bool(act and act(found["arguments"], int(found["result"])))

    def _inside(self, path: str) -> str | None:
        path = os.path.normpath(path)
        return path if path == self.home or path.startswith(self.home + "/") else None

    def _paths(self, arguments: str) -> list[str]:
        return [os.fsdecode(_text(f'"{one}"')) for one in _PATH.findall(arguments)]

    def do_openat(self, arguments: str, result: int) -> bool:
        (name, *_) = self._paths(arguments)
        path = self._inside(name)
        self._files.pop(result, None)
        self._outside.pop(result, None)
        self._at[result] = 0
        if path is None:
            self._outside[result] = name
            return False
        tree = self.disk.tree(len(self.disk.names))
        changed = False
        if tree.get(path, -1) < 0:
            if path in tree or path == self.home or "O_CREAT" not in arguments:
                return False
            self.disk.inodes.append(Inode())
            self.disk.names.append(("made", path, len(self.disk.inodes) - 1))
            number, changed = len(self.disk.inodes) - 1, True
        else:
            number = tree[path]
            if "O_TRUNC" in arguments:
                self.disk.inodes[number].now.clear()
                changed = True
        self._files[result] = (number, "O_APPEND" in arguments)
        return changed

    do_open = do_creat = do_openat

    def do_close(self, arguments: str, _result: int) -> bool:
        number = int(_FD.match(arguments)[1]) if _FD.match(arguments) else -1
        self._files.pop(number, None)
        self._outside.pop(number, None)
        return False

    def do_dup(self, arguments: str, result: int) -> bool:
        match = _FD.match(arguments)
        if match and int(match[1]) in self._files:
            self._files[result], self._at[result] = self._files[int(match[1])], self._at[int(match[1])]
        return False

    def do_fcntl(self, arguments: str, result: int) -> bool:
        return self.do_dup(arguments, result) if "F_DUPFD" in arguments else False

    def do_lseek(self, arguments: str, result: int) -> bool:
        self._at[int(_FD.match(arguments)[1])] = result
        return False

    def _put(self, handle: int, content: bytes, at: int | None) -> bool:
        if handle not in self._files:
            return False
        number, appends = self._files[handle]
        now = self.disk.inodes[number].now
        where = len(now) if appends else self._at[handle] if at is None else at
        if len(now) < where:
            now.extend(bytes(where - len(now)))
        now[where : where + len(content)] = content
        if at is None:
            self._at[handle] = where + len(content)
        return True

    def do_write(self, arguments: str, result: int) -> bool:
        handle = int(_FD.match(arguments)[1])
        if handle not in self._files:
            return False
        return self._put(handle, _text(f'"{_PATH.search(arguments)[1]}"')[:result], None)

    def do_pwrite64(self, arguments: str, result: int) -> bool:
        handle = int(_FD.match(arguments)[1])
        if handle not in self._files:
            return False
        return self._put(
            handle, _text(f'"{_PATH.search(arguments)[1]}"')[:result], int(arguments.rpartition(", ")[2])
        )

    def do_writev(self, arguments: str, result: int) -> bool:
        handle = int(_FD.match(arguments)[1])
        if handle not in self._files:
            return False
        whole = b"".join(_text(f'"{one}"') for one in _PATH.findall(arguments))
        return self._put(handle, whole[:result], None)

    def do_ftruncate(self, arguments: str, _result: int) -> bool:
        handle, size = int(_FD.match(arguments)[1]), int(arguments.rpartition(", ")[2])
        if handle not in self._files:
            return False
        now = self.disk.inodes[self._files[handle][0]].now
        if len(now) > size:
            del now[size:]
        now.extend(bytes(size - len(now)))
        return True

    def do_fallocate(self, arguments: str, _result: int) -> bool:
        handle = int(_FD.match(arguments)[1])
        assert handle not in self._files, "not played: fallocate"
        return False

    def do_sendfile(self, arguments: str, result: int) -> bool:
        (out, _), (into, _) = _FD.findall(arguments)[:2]
        return self._copy(int(into), int(out), result)

    def do_copy_file_range(self, arguments: str, result: int) -> bool:
        (into, _), (out, _) = _FD.findall(arguments)[:2]
        return self._copy(int(into), int(out), result)

    def _copy(self, source: int, target: int, count: int) -> bool:
        if target not in self._files:
            return False
        at = self._at[source]
        if source in self._files:
            content = bytes(self.disk.inodes[self._files[source][0]].now[at : at + count])
        else:
            content = Path(self._outside[source]).read_bytes()[at : at + count]
        assert len(content) == count
        self._at[source] = at + count
        return self._put(target, content, None)

    def do_rename(self, arguments: str, _result: int) -> bool:
        source, target = (self._inside(one) for one in self._paths(arguments))
        assert (source is None) == (target is None), arguments
        if source is None or target is None:
            return False
        self.disk.moved(source, target)
        return True

    do_renameat = do_renameat2 = do_rename

    def do_link(self, arguments: str, _result: int) -> bool:
        source, target = (self._inside(one) for one in self._paths(arguments))
        if source is None or target is None:
            return False
        self.disk.names.append(("made", target, self.disk.tree(len(self.disk.names))[source]))
        return True

    do_linkat = do_link

    def do_unlink(self, arguments: str, _result: int) -> bool:
        (name,) = self._paths(arguments)
        if not Path(name).is_absolute():  # named from the folder that holds it
            name = os.fsdecode(_text(f'"{_FD.match(arguments)[2]}"')) + f"/{name}"
        path = self._inside(name)
        if path is None:
            return False
        self.disk.names.append(("gone", path, -1))
        return True

    do_unlinkat = do_rmdir = do_unlink

    def do_mkdir(self, arguments: str, _result: int) -> bool:
        path = self._inside(self._paths(arguments)[0])
        if path is None:
            return False
        self.disk.names.append(("made", path, -1))
        return True

    do_mkdirat = do_mkdir

    def do_fsync(self, arguments: str, _result: int) -> bool:
        match = _FD.match(arguments)
        handle = int(match[1])
        if handle in self._files:
            one = self.disk.inodes[self._files[handle][0]]
            one.forced = bytes(one.now)
            return True
        path = self._inside(os.fsdecode(_text(f'"{match[2]}"')))
        if path is not None:
            self.disk.force_folder(path)
        return path is not None

    do_fdatasync = do_fsync


def states(lines: list[str], home: Path, disk: Disk) -> Iterator[int]:
    """Play calls onto a disk; the number of each that changed it, after it was played."""
    player = Player(str(home), disk)
    changes = 0
    for line in lines:
        if player.play(line):
            changes += 1
            yield changes


def disk_of(home: Path) -> Disk:
    """A disk that holds what is in a folder, all of it forced out."""
    disk = Disk()
    for path in sorted(home.rglob("*")):
        if path.is_dir():
            disk.names.append(("made", str(path), -1))
        else:
            content = path.read_bytes()
            disk.inodes.append(Inode(bytearray(content), content))
            disk.names.append(("made", str(path), len(disk.inodes) - 1))
    disk.forced_names = len(disk.names)
    return disk

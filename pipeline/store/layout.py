"""Where a folder of readings lies: partitioned by plant, line, day, run and number, as any engine reads it.

``readings/plant=P/line_id=L/shift_date=D/run_id=R/load_id=N`` holds one load,
``…/run_id=R/assessment_id=N`` one judgement. ``line`` would be the usual name of the second key, but the readings
have a column of that name: the line of the log file.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Iterator
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import quote

if TYPE_CHECKING:
    from pipeline.store.database import Store

READINGS = "readings"
# Below it, what is under way: folders being written, and notes of the names they get.
UNFINISHED = ".unfinished"
LONGEST_NAME = 180
# A sheet may leave the plant's name empty; a path may not.
_NO_NAME = "unnamed"
_FIRST_KEY = "plant="
_WHOLE = re.compile(
    r"plant=[^/]+/line_id=[^/]+/shift_date=[\d-]+/run_id=[^/]+/(thinned_)?(load|assessment)_id=\d+"
)


def folder_of(plant: str, line_id: str, shift_date: date, run_id: str, **number: int) -> str:
    """The folder, relative to ``readings``, of one load or judgement of a run.

    Args:
        plant: the plant's name.
        line_id: the line.
        shift_date: the day its shift began, in the plant's zone.
        run_id: the run.
        number: ``load_id`` or ``assessment_id``.
    """
    ((key, value),) = number.items()
    parts = {
        "plant": _safe(plant),
        "line_id": _safe(line_id),
        "shift_date": shift_date.isoformat(),
        "run_id": _safe(run_id),
        key: str(value),
    }
    return "/".join(f"{name}={part}" for name, part in parts.items())


def is_whole(folder: str) -> bool:
    """Whether `folder` names one load or judgement in full, and not a partition above it."""
    return _WHOLE.fullmatch(folder) is not None


def _safe(value: str) -> str:
    """A value as part of a path, percent-encoded as engines decode it; one too long is cut, with its hash."""
    if not value:
        return _NO_NAME
    part, kept = quote(value, safe=""), value
    if len(part) <= LONGEST_NAME:
        return part
    while len(part) > LONGEST_NAME:
        kept = kept[:-1]
        part = quote(kept, safe="")
    return f"{part}-{hashlib.sha256(value.encode()).hexdigest()[:8]}"


def path_of(store: Store, folder: str) -> Path:
    """Where the folder of readings that the catalogue calls `folder` lies now."""
    home = store.folder / READINGS
    if folder.startswith(_FIRST_KEY):
        return home / folder
    # Version 1 of the store kept RUN/load-N; the name stays on file, sealed, and the folder is moved.
    moved = home / _partition_of(store, folder)
    return moved if moved.is_dir() or not (home / folder).is_dir() else home / folder


def _partition_of(store: Store, folder: str) -> str:
    for row in store.ask("questions/place_of_folder", folder=folder):
        number = {row["key"]: row["number"]}
        return folder_of(row["plant"], row["line"], row["shift_date"], row["run_id"], **number)
    return folder


def folders_there(home: Path) -> Iterator[str]:
    """The name of every load and judgement that has a folder below `home`, on file or not, version 1's among them.

    Args:
        home: the ``readings`` folder of a store.
    """
    for pattern in (
        f"{_FIRST_KEY}*/line_id=*/shift_date=*/run_id=*/*_id=*",
        "[!.]*/load-*",
        "[!.]*/judged-*",
    ):
        for path in home.glob(pattern):
            yield path.relative_to(home).as_posix()


def noted(home: Path) -> set[str]:
    """The names of folders that a writer noted before it put them in their place, and did not get on file."""
    return {
        note.read_text(encoding="utf-8", errors="replace")
        for note in (home / UNFINISHED).glob("*.txt")
        if note.is_file() and not note.is_symlink()
    }


def leads_out(home: Path, path: Path) -> bool:
    """Whether a link lies on the way from the readings in `home` to `path`: what is behind one is never touched."""
    return path.resolve() != home.resolve() / path.relative_to(home)


def has_readings(folder: Path) -> bool:
    """Whether a store's folder holds readings of a load that was put on file."""
    home = folder / READINGS
    under_way = noted(home)
    return any(name not in under_way for name in folders_there(home))


def move_earlier_folders(store: Store) -> int:
    """Move every folder that version 1 of the store laid out by run alone; how many were moved.

    Each move is one rename, and readers look in both places, so stopping in between harms nothing.
    """
    home = store.folder / READINGS
    if not home.is_dir() or all(path.name.startswith((_FIRST_KEY, ".")) for path in home.iterdir()):
        return 0
    count = 0
    for row in store.ask("questions/folders_on_file"):
        folder = row["folder"]
        if folder.startswith(_FIRST_KEY) or not (home / folder).is_dir():
            continue
        target = home / _partition_of(store, folder)
        target.parent.mkdir(parents=True, exist_ok=True)
        (home / folder).rename(target)
        count += 1
    for left in home.iterdir():
        if left.is_dir() and not left.is_symlink() and not left.name.startswith((_FIRST_KEY, ".")):
            _remove_unnamed(left)
    return count


def _remove_unnamed(run: Path) -> None:
    """Remove what a killed writer of version 1 left in the folder of a run; anything else stays where it is."""
    for folder in run.iterdir():
        is_ours = folder.is_dir() and not folder.is_symlink()
        if is_ours and folder.name.startswith((".unfinished-", "load-", "judged-")):
            shutil.rmtree(folder)
    with suppress(OSError):
        run.rmdir()

"""Full-rate readings as immutable Parquet: one folder a load or assessment, written, then renamed.

Before a folder is put in its place its name is written down below ``readings/.unfinished``, and the note goes when
the catalogue names the folder. What a killed process left has such a note: `sweep` removes it, so that the next
start is whole and the work is simply done again.
"""

from __future__ import annotations

import shutil
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from pipeline.store.database import Store, told_of_disk
from pipeline.store.layout import READINGS, is_whole, move_earlier_folders, path_of

if TYPE_CHECKING:
    import polars as pl

UNFINISHED = ".unfinished"


@contextmanager
def written_folder(store: Store, name: str, frames: Mapping[str, pl.DataFrame | bytes]) -> Iterator[Path]:
    """Write `frames` as Parquet into the folder `name` of the store; it stays only if the block succeeds.

    Where there is no frame there is no folder.

    Args:
        store: the store, open to write.
        name: folder below ``readings/``, from `pipeline.store.layout.folder_of`.
        frames: file name without ending -> frame, or the bytes of its Parquet file.
    """
    home = store.folder / READINGS
    target = home / name
    if not frames:
        yield target
        return
    unfinished = home / UNFINISHED / uuid.uuid4().hex
    note = unfinished.with_suffix(".txt")
    try:
        with told_of_disk(store.folder):
            unfinished.mkdir(parents=True)
            # Written whole or not at all: half a name could be the folder of something else.
            (unfinished / note.name).write_text(name, encoding="utf-8")
            (unfinished / note.name).rename(note)
            for file, frame in frames.items():
                path = unfinished / f"{file}.parquet"
                path.write_bytes(frame) if isinstance(frame, bytes) else write_parquet(frame, path)
            target.parent.mkdir(parents=True, exist_ok=True)
            if target.exists():
                shutil.rmtree(target)
            unfinished.rename(target)
    except BaseException:
        shutil.rmtree(unfinished, ignore_errors=True)
        note.unlink(missing_ok=True)
        raise
    try:
        yield target
    except BaseException:
        shutil.rmtree(target, ignore_errors=True)
        note.unlink(missing_ok=True)
        raise
    note.unlink(missing_ok=True)


def write_parquet(frame: pl.DataFrame, out: Path | BinaryIO) -> None:
    """Write `frame` the way every file of readings is written."""
    frame.write_parquet(out, compression="zstd", statistics=True)


def sweep(store: Store) -> tuple[str, ...]:
    """Remove what a killed process left behind; the names of the folders that were removed.

    Folders of a store of version 1 are moved to where this version keeps them.
    """
    move_earlier_folders(store)
    home = store.folder / READINGS
    if not (home / UNFINISHED).is_dir():
        return ()
    known = {row["folder"] for row in store.ask("questions/folders_on_file")}
    removed = []
    for path in sorted((home / UNFINISHED).iterdir()):
        if path.is_dir():
            shutil.rmtree(path)
            removed.append(f"{UNFINISHED}/{path.name}")
    for note in sorted((home / UNFINISHED).glob("*.txt")):
        name = note.read_text(encoding="utf-8")
        if is_whole(name) and name not in known and (home / name).is_dir():
            shutil.rmtree(home / name)
            removed.append(name)
        note.unlink()
    return tuple(removed)


def read_frame(store: Store, folder: str, file: str) -> pl.DataFrame:
    """The frame `file` of the readings folder `folder`."""
    import polars as pl

    return pl.read_parquet(path_of(store, folder) / f"{file}.parquet", glob=False, hive_partitioning=False)


def scan_frame(store: Store, folder: str, file: str) -> pl.LazyFrame:
    """The frame `file` of the readings folder `folder`, read as far as it is asked for."""
    import polars as pl

    return pl.scan_parquet(path_of(store, folder) / f"{file}.parquet", glob=False, hive_partitioning=False)

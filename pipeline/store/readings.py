"""Full-rate readings as immutable Parquet: one folder a load or assessment, written, then renamed.

A folder that the catalogue does not name was left by a killed process; `sweep` removes it, so that the next
start is whole and the work is simply done again.
"""

from __future__ import annotations

import shutil
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.store.database import Store, told_of_disk

if TYPE_CHECKING:
    import polars as pl

READINGS = "readings"
UNFINISHED = ".unfinished-"


@contextmanager
def written_folder(store: Store, name: str, frames: Mapping[str, pl.DataFrame]) -> Iterator[Path]:
    """Write `frames` as Parquet into the folder `name` of the store; it stays only if the block succeeds.

    Args:
        store: the store, open to write.
        name: folder below ``readings/``, as ``R-0411/load-000003``.
        frames: file name without ending -> frame.
    """
    home = store.folder / READINGS
    target = home / name
    unfinished = target.parent / f"{UNFINISHED}{uuid.uuid4().hex}"
    try:
        with told_of_disk(store.folder):
            unfinished.mkdir(parents=True)
            for file, frame in frames.items():
                frame.write_parquet(unfinished / f"{file}.parquet", compression="zstd", statistics=True)
            if target.exists():
                shutil.rmtree(target)
            unfinished.rename(target)
    except BaseException:
        shutil.rmtree(unfinished, ignore_errors=True)
        raise
    try:
        yield target
    except BaseException:
        shutil.rmtree(target, ignore_errors=True)
        raise


def sweep(store: Store) -> tuple[str, ...]:
    """Remove what a killed process left behind; the names of the folders that were removed."""
    home = store.folder / READINGS
    if not home.is_dir():
        return ()
    known = {row["folder"] for row in store.ask("questions/folders_on_file")}
    removed = []
    for run in sorted(path for path in home.iterdir() if path.is_dir()):
        for folder in sorted(path for path in run.iterdir() if path.is_dir()):
            name = folder.relative_to(home).as_posix()
            if name not in known:
                shutil.rmtree(folder)
                removed.append(name)
    return tuple(removed)


def read_frame(store: Store, folder: str, file: str) -> pl.DataFrame:
    """The frame `file` of the readings folder `folder`."""
    import polars as pl

    return pl.read_parquet(store.folder / READINGS / folder / f"{file}.parquet")

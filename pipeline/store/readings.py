"""Full-rate readings as immutable Parquet: one folder a load or assessment, written, then renamed.

Before a folder is put in its place its name is written down below ``readings/.unfinished``, and the note goes when
the catalogue names the folder. What a killed process left has such a note: `sweep` removes it, so that the next
start is whole and the work is simply done again.
"""

from __future__ import annotations

import shutil
import uuid
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from pipeline.durable import force_out
from pipeline.errors import Complaint, ReelproofError, StoreError
from pipeline.messages import Measure, Message, message
from pipeline.reasons import Reason
from pipeline.store.damage import told_of_disk
from pipeline.store.database import Store
from pipeline.store.layout import (
    READINGS,
    UNFINISHED,
    is_whole,
    leads_out,
    move_earlier_folders,
    noted,
    path_of,
)

if TYPE_CHECKING:
    import polars as pl

REMOVAL = ".remove"
# Ends the name of a file that holds the rows left by thinning, so that nobody takes it for the whole.
THINNED = "_thinned"


class ReadingsError(ReelproofError):
    """Readings of one run that are not there or not as they were written; it concerns no other run."""

    exit_code = 3


class ThinnedError(ReelproofError):
    """Every reading was asked for where only some are left."""


@contextmanager
def written_folder(
    store: Store, name: str, frames: Mapping[str, pl.DataFrame | bytes | Path]
) -> Iterator[Path]:
    """Write `frames` as Parquet into the folder `name` of the store; it stays only if the block succeeds.

    Where there is no frame there is no folder.

    Args:
        store: the store, open to write.
        name: folder below ``readings/``, from `pipeline.store.layout.folder_of`.
        frames: file name without ending -> frame, or the bytes of its Parquet file, or that file, which is moved.
    """
    home = store.folder / READINGS
    target = home / name
    if not frames:
        yield target
        return
    was_noted = name in noted(home)
    unfinished = home / UNFINISHED / uuid.uuid4().hex
    note = unfinished.with_suffix(".txt")
    for path in (unfinished, target):
        if leads_out(home, path.parent):
            raise _is_link(path.parent)
    try:
        with told_of_disk(store.folder):
            unfinished.mkdir(parents=True)
            # Written whole or not at all: half a name could be the folder of something else.
            (unfinished / note.name).write_text(name, encoding="utf-8")
            (unfinished / note.name).rename(note)
            force_out(note)
            force_out(note.parent)
            for file, frame in frames.items():
                path = unfinished / f"{file}.parquet"
                if isinstance(frame, Path):
                    frame.replace(path)
                elif isinstance(frame, bytes):
                    path.write_bytes(frame)
                else:
                    write_parquet(frame, path)
                force_out(path)
            force_out(unfinished)
            target.parent.mkdir(parents=True, exist_ok=True)
            if target.exists():
                if was_noted:
                    shutil.rmtree(target)
                else:
                    raise _is_taken(target)
            unfinished.rename(target)
            # Before the catalogue names them: after a power cut a name on file must not stand for half a file.
            for folder in target.relative_to(home).parents:
                force_out(home / folder)
            force_out(store.folder)
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
    # The catalogue's own new files have their names on the disk before the note goes.
    force_out(store.folder)
    note.unlink(missing_ok=True)


def _is_link(folder: Path) -> StoreError:
    return StoreError(
        Complaint(
            str(folder),
            "a link lies on the way to this folder of readings, which this program never makes",
            "Put the folder itself in the link's place, then run the same command again",
        )
    )


def _is_taken(target: Path) -> StoreError:
    return StoreError(
        Complaint(
            str(target),
            "this folder holds the readings of a load or judgment that is not in this database",
            "The database was set back or is another's: nothing was overwritten; run 'reelproof verify'",
        )
    )


@contextmanager
def handing_over(store: Store) -> Iterator[Path]:
    """A folder below the store's readings for files made ahead of their turn; what is left in it goes."""
    home = store.folder / READINGS
    folder = home / UNFINISHED / uuid.uuid4().hex
    if leads_out(home, folder.parent):
        raise _is_link(folder.parent)
    with told_of_disk(store.folder):
        folder.mkdir(parents=True)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def write_parquet(frame: pl.DataFrame, out: Path | BinaryIO) -> None:
    """Write `frame` the way every file of readings is written."""
    # One level below the default: a third less work for a twentieth more space.
    frame.write_parquet(out, compression="zstd", compression_level=2, statistics=True)


def sweep(store: Store) -> tuple[str, ...]:
    """Remove what a killed process left behind; the names of the folders that were removed.

    Folders of a store of version 1 are moved to where this version keeps them.
    """
    move_earlier_folders(store)
    home = store.folder / READINGS
    if (home / UNFINISHED).is_symlink():
        (home / UNFINISHED).unlink()
        return (UNFINISHED,)
    if not (home / UNFINISHED).is_dir():
        return ()
    known = {row["folder"] for row in store.ask("questions/folders_on_file")}
    removed = []
    for path in sorted((home / UNFINISHED).iterdir()):
        if path.is_symlink() or not (path.is_dir() or path.is_file()):
            # A link or a pipe is none of ours, and what a link leads to is not swept.
            path.unlink()
            removed.append(f"{UNFINISHED}/{path.name}")
        elif path.is_dir():
            shutil.rmtree(path)
            removed.append(f"{UNFINISHED}/{path.name}")
    for note in sorted((home / UNFINISHED).glob("*.txt")):
        name = note.read_text(encoding="utf-8", errors="replace")
        is_left = is_whole(name) and name not in known and (home / name).is_dir()
        if is_left and not leads_out(home, home / name):
            shutil.rmtree(home / name)
            removed.append(name)
        note.unlink()
    _remove_thinned(store, home / UNFINISHED)
    return tuple(removed)


def read_frame(
    store: Store, folder: str, file: str, *, or_thinned: bool = False, only: Collection[str] = ()
) -> pl.DataFrame:
    """The frame `file` of the readings folder `folder`.

    Args:
        store: the store.
        folder: as the catalogue names it.
        file: file name without ending.
        or_thinned: whether the rows that are left will do where the readings were thinned: lengths around findings
            and on kept reels at full rate, elsewhere the lowest and highest of each step. No statistic may be made
            of these.
        only: the columns wanted, as far as the file has them; none for every one.

    Raises:
        ThinnedError: the readings were thinned, and what is left will not do.
        ReadingsError: they are not there, or damaged.
    """
    import polars as pl

    path = _file_of(store, folder, file, or_thinned=or_thinned)
    if path.exists() and not path.is_file():
        raise damaged_readings(path, OSError())
    try:
        columns = [name for name in pl.read_parquet_schema(path) if name in only] if only else None
        return pl.read_parquet(path, columns=columns, glob=False, hive_partitioning=False)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException, OSError) as fault:
        raise damaged_readings(path, fault) from None


def damaged_readings(path: Path, fault: BaseException) -> ReadingsError:
    """The complaint that a file of readings could not be read, which ended in `fault`."""
    if isinstance(fault, FileNotFoundError):
        found = "these readings are not there"
    else:
        found = "these readings are damaged: they are not as they were written"
    return ReadingsError(
        Complaint(
            str(path),
            found,
            "Put a backup in their place, or load the run's logs again; see 'reelproof verify'",
        )
    )


def _file_of(store: Store, folder: str, file: str, *, or_thinned: bool) -> Path:
    """Where the frame `file` of a folder of readings lies, or what thinning left of it."""
    home = path_of(store, folder)
    if home.is_dir():
        return home / f"{file}.parquet"
    row = thinning_of(store, folder)
    if row is not None:
        if not or_thinned:
            raise ThinnedError(
                Complaint(
                    f"run {row['run_id']}",
                    thinned_told(row),
                    "What was judged stays on file; to work with every reading, load the run's logs again",
                )
            )
        return store.folder / READINGS / str(row["folder"]) / f"{file}{THINNED}.parquet"
    raise ReadingsError(
        Complaint(
            str(home),
            "these readings are not there",
            "They may have been thinned this moment: run the same command again, and 'reelproof verify' if it fails",
        )
    )


def thinned_told(row: Mapping[str, Any]) -> Message:
    """What was done to a folder of readings, from a row of the question ``thinning_of_folder``."""
    return message(
        Reason.THINNED,
        day=f"{row['thinned_utc']:%Y-%m-%d}",
        role=row["role"],
        kept=row["rows_kept"],
        before=row["rows_before"],
        step=Measure(row["step_m"], "m"),
    )


def run_thinned(row: Mapping[str, Any]) -> Message:
    """The same of the run whose readings they are, as a sentence."""
    return message(Reason.OF_THIS_RUN, told=thinned_told(row))


def thinning_of(store: Store, folder: str) -> dict[str, Any] | None:
    """How the readings in `folder` were thinned, None where they were not.

    Their full-rate files may still be there for a moment.
    """
    if not store.ask("questions/has_thinnings")[0]["has_thinnings"]:
        return None
    rows = store.ask("questions/thinning_of_folder", folder=folder)
    return rows[0] if rows else None


def thinnings_on_file(store: Store) -> dict[str, dict[str, Any]]:
    """How each folder of readings that was thinned was thinned, as `thinning_of` gives it."""
    if not store.ask("questions/has_thinnings")[0]["has_thinnings"]:
        return {}
    return {row["of_folder"]: row for row in store.ask("questions/thinnings_on_file")}


def thinned_folders(store: Store) -> set[str]:
    """Every folder of readings that was thinned."""
    return set(thinnings_on_file(store))


def note_removal(store: Store, folders: Iterable[str]) -> None:
    """Write down folders that are to go once the catalogue says they were thinned; `sweep` removes them then."""
    home = store.folder / READINGS / UNFINISHED
    with told_of_disk(store.folder):
        home.mkdir(parents=True, exist_ok=True)
        name = uuid.uuid4().hex
        (home / f"{name}.part").write_text("\n".join(folders), encoding="utf-8")
        (home / f"{name}.part").rename(home / f"{name}{REMOVAL}")


def _remove_thinned(store: Store, home: Path) -> None:
    notes = sorted(home.glob(f"*{REMOVAL}"))
    thinned = thinned_folders(store) if notes else set()
    for note in notes:
        for folder in note.read_text(encoding="utf-8", errors="replace").splitlines():
            whole = path_of(store, folder)
            if folder in thinned and whole.is_dir() and not leads_out(store.folder / READINGS, whole):
                # Out of the way at once, so that nobody finds half of it.
                going = home / uuid.uuid4().hex
                whole.rename(going)
                shutil.rmtree(going)
        note.unlink()
    for part in home.glob("*.part"):
        part.unlink()


def scan_frame(store: Store, folder: str, file: str) -> pl.LazyFrame:
    """The frame `file` of the readings folder `folder`, read as far as it is asked for.

    Raises:
        ThinnedError: the readings were thinned.
        ReadingsError: they are not there.
    """
    import polars as pl

    path = _file_of(store, folder, file, or_thinned=False)
    return pl.scan_parquet(path, glob=False, hive_partitioning=False)

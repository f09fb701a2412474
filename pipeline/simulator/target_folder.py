"""Where a simulation may write: never over what it did not make itself."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import Complaint, ReelproofError


def check_seed(seed: int) -> None:
    """Refuse a seed that is not a whole number from 0 on.

    Raises:
        ReelproofError: the seed is negative.
    """
    if seed < 0:
        raise ReelproofError(Complaint("--seed", f"found {seed}", "Give a whole number from 0 on"))


@contextmanager
def written_to(folder: Path) -> Iterator[None]:
    """Make `folder`, and turn a failure to write into a complaint.

    Raises:
        ReelproofError: the folder cannot be made or written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        yield
    except OSError as fault:
        reason = os.strerror(fault.errno) if fault.errno else str(fault)
        place = str(fault.filename) if fault.filename else str(folder)
        raise ReelproofError(
            Complaint(
                place, f"this cannot be written: {reason}", "Choose another folder, or free space on the disk"
            )
        ) from None


def refuse_foreign_run(folder: Path) -> None:
    """Refuse a folder that holds a run which was not simulated: one without its truth beside it.

    Raises:
        ReelproofError: there is a run sheet without a `truth.json`.
    """
    if (folder / "run.toml").exists() and not (folder / "truth.json").exists():
        raise ReelproofError(
            Complaint(
                str(folder / "run.toml"),
                "this run was not simulated, and a simulation would write over it",
                "Choose an empty folder",
            )
        )


def refuse_foreign_plant(folder: Path) -> None:
    """Refuse a folder that holds anything but simulated runs and a plant's sheet.

    Raises:
        ReelproofError: there are other files and no `expected.toml` of an earlier simulation.
    """
    held = sorted(path.name for path in folder.iterdir()) if folder.is_dir() else []
    if "expected.toml" not in held and set(held) - {"plant.toml"}:
        raise ReelproofError(
            Complaint(
                str(folder),
                f"this folder holds {held[0]}, which was not made by a simulation",
                "Choose an empty folder",
            )
        )

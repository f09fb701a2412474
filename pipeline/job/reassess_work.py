"""What a worker that judges is given and gives back; it reads sealed readings and never opens the store."""

from __future__ import annotations

import hashlib
import io
import json
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path
from platform import node
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline import __version__
from pipeline.job.basis import METHOD_VERSION, Basis, basis_of
from pipeline.job.judging import Judgement, judgement_of
from pipeline.job.processes import give_back
from pipeline.store.layout import path_of
from pipeline.store.readings import write_parquet

if TYPE_CHECKING:
    from pipeline.steps.load import SheetText
    from pipeline.store.database import Store

# A judgement made by other releases of these may differ in its last digit, and then it is no evidence.
_LIBRARIES = ("numpy", "polars", "scipy", "statsmodels")


@dataclass(frozen=True, slots=True)
class Work:
    """One run to judge, with all that it takes but the readings themselves.

    Args:
        basis: what its judgement stands on.
        folder: the folder of its load's readings; the same path on every machine that works.
        seals: hash of each of its files when it was put on file.
        made_by: releases that are to judge it.
        hand_over: folder of the store where a worker of this machine leaves the files of the judgement, so that no
            memory need hold them; None where they come back as bytes.
    """

    basis: Basis
    folder: Path
    seals: dict[str, str]
    made_by: tuple[str, ...]
    hand_over: Path | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """What became of one run: its judgement, or the sentence that says why there is none."""

    run_id: str
    judgement: Judgement | None
    fault: str = ""


def work_on(store: Store, head: dict[str, Any], plant: SheetText | None) -> Work:
    """The work on one run on file, read from the store by the process that gives it out.

    Args:
        store: the store.
        head: a row of the question ``current_run`` or ``current_runs``.
        plant: plant sheet to judge by; that of the newest judgement, else of the load, where it is None.
    """
    seals = _seals_of_load(store, head["run_id"], head["load_id"])
    return Work(
        basis_of(store, head, plant), path_of(store, head["load_folder"]).absolute(), seals, made_by()
    )


def _seals_of_load(store: Store, run_id: str, load_id: int) -> dict[str, str]:
    for row in store.ask("questions/entries_of_subject", subject=run_id):
        record = json.loads(row["record"])["record"]
        if row["kind"] == "load" and record["load_id"] == load_id:
            return dict(record["seals"]["files"])
    return {}


def made_by() -> tuple[str, ...]:
    """The releases a judgement of this process is made by."""
    libraries = (f"{name} {version(name)}" for name in _LIBRARIES)
    return (f"reelproof {__version__}", f"method {METHOD_VERSION}", *libraries)


def work_batch(batch: tuple[Work, ...]) -> tuple[Done, ...]:
    """Judge each run of a batch; a fault of one costs no other."""
    return tuple(_work(one) for one in batch)


def _work(one: Work) -> Done:
    run_id = one.basis.run.id
    here = made_by()
    if here != one.made_by:
        ours = ", ".join(part for part in here if part not in one.made_by)
        theirs = ", ".join(part for part in one.made_by if part not in here)
        return Done(run_id, None, f"the worker on {node()} has {ours} where {theirs} is asked for")
    try:
        judgement = judgement_of(one.basis, lambda file: _sealed(one, file))
    except FileNotFoundError as fault:
        return Done(run_id, None, f"the worker on {node()} does not see {fault.filename}")
    except Exception as fault:
        return Done(run_id, None, str(fault) or type(fault).__name__)
    packed = {name: _packed(one, name, frame) for name, frame in judgement.files.items()}
    give_back()
    return Done(run_id, replace(judgement, files=packed))


def _sealed(one: Work, file: str) -> pl.DataFrame:
    """A frame of the load, read from bytes that have the hash they were put on file with."""
    path = one.folder / f"{file}.parquet"
    content = path.read_bytes()
    if hashlib.sha256(content).hexdigest() != one.seals.get(path.name):
        raise ValueError(f"{path} is not as it was written; see 'reelproof verify'")
    return pl.read_parquet(io.BytesIO(content))


def _packed(one: Work, name: str, frame: pl.DataFrame | bytes | Path) -> bytes | Path:
    if not isinstance(frame, pl.DataFrame):
        return frame
    if one.hand_over is not None:
        path = one.hand_over / f"{one.basis.head['load_id']}-{name}.parquet"
        write_parquet(frame, path)
        return path
    out = io.BytesIO()
    write_parquet(frame, out)
    return out.getvalue()

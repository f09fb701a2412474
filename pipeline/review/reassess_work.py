"""What a worker of a re-assessment is given and gives back; it reads sealed readings and never opens the store."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass, replace
from importlib.metadata import version
from pathlib import Path
from platform import node

import polars as pl

from pipeline import __version__
from pipeline.review.basis import METHOD_VERSION, Basis
from pipeline.review.judging import Judgement, judgement_of
from pipeline.store.readings import write_parquet

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
    """

    basis: Basis
    folder: Path
    seals: dict[str, str]
    made_by: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Done:
    """What became of one run: its judgement, or the sentence that says why there is none."""

    run_id: str
    judgement: Judgement | None
    fault: str = ""


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
    return Done(run_id, replace(judgement, files={name: _packed(f) for name, f in judgement.files.items()}))


def _sealed(one: Work, file: str) -> pl.DataFrame:
    """A frame of the load, read from bytes that have the hash they were put on file with."""
    path = one.folder / f"{file}.parquet"
    content = path.read_bytes()
    if hashlib.sha256(content).hexdigest() != one.seals.get(path.name):
        raise ValueError(f"{path} is not as it was written; see 'reelproof verify'")
    return pl.read_parquet(io.BytesIO(content))


def _packed(frame: pl.DataFrame | bytes) -> bytes:
    if isinstance(frame, bytes):
        return frame
    out = io.BytesIO()
    write_parquet(frame, out)
    return out.getvalue()

"""The wire in stretches as judgements left it: Parquet beside their readings.

In the catalogue they would be nine tenths of it. Judgements of store versions up to 5 keep theirs there, in the table
``measured.stretch``.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.store.readings import read_frame

if TYPE_CHECKING:
    from pipeline.store.database import Store

FILE = "stretches"


def stretches_of(store: Store, assessment_id: int, folder: str) -> pl.DataFrame:
    """Every stretch of one judgement, in the order of the wire; columns of the table ``measured.stretch``.

    Args:
        store: the store.
        assessment_id: the judgement.
        folder: its folder of readings, "" where it has none.

    Raises:
        StoreError: the folder is not there.
    """
    earlier = store.ask_frame("questions/stretches_of_assessment", assessment_id=assessment_id)
    if earlier.height or not folder:
        return earlier
    found = read_frame(store, folder, FILE, or_thinned=True)
    return found.with_columns(pl.lit(assessment_id, pl.Int32).alias("assessment_id")).select(earlier.columns)


class StretchWalls:
    """Mean wall and offset of the conductor in the stretches of a run, in the order of the wire.

    Args:
        frame: ``from_m``, ``to_m``, ``mean_wall_mm``, ``ecc_cos_mm`` and ``ecc_sin_mm``.
    """

    def __init__(self, frame: pl.DataFrame) -> None:
        self._starts, self._ends, self._walls, self._cos, self._sin = (
            frame[name].to_list() for name in ("from_m", "to_m", "mean_wall_mm", "ecc_cos_mm", "ecc_sin_mm")
        )

    def _within(self, from_m: float, to_m: float) -> slice:
        """Those that lie wholly between two places [m]."""
        return slice(bisect_left(self._starts, from_m), bisect_right(self._ends, to_m))

    def walls(self, from_m: float, to_m: float, every: int) -> tuple[float, ...]:
        """Mean wall [mm] of every so many of the stretches between two places [m], those not known left out."""
        return tuple(wall for wall in self._walls[self._within(from_m, to_m)][::every] if wall is not None)

    def centre_mm(self, from_m: float, to_m: float) -> tuple[float, float] | None:
        """Mean offset of the conductor [mm], cosine and sine part, between two places [m]; None where none is known."""
        here = self._within(from_m, to_m)
        cos, sin = (
            [one for one in part[here] if one is not None and math.isfinite(one)]
            for part in (self._cos, self._sin)
        )
        return (sum(cos) / len(cos), sum(sin) / len(sin)) if cos and sin else None


def stretch_walls_of(store: Store, heads: Sequence[Mapping[str, Any]]) -> dict[int, StretchWalls]:
    """The stretches of judged runs by the number of the judgement.

    Args:
        store: the store.
        heads: rows of the question ``current_runs``.

    Raises:
        StoreError: a folder of readings is not there.
    """
    ids = [head["assessment_id"] for head in heads]
    earlier = store.ask_frame("questions/stretch_walls_of_assessments", assessments=ids)
    found = {
        int(key): StretchWalls(frame)
        for (key,), frame in earlier.partition_by("assessment_id", as_dict=True).items()
    }
    columns = earlier.drop("assessment_id").columns
    for head in heads:
        folder = head["assessment_folder"]
        if head["assessment_id"] not in found and folder:
            kept = read_frame(store, folder, FILE, or_thinned=True, only=columns)
            found[head["assessment_id"]] = StretchWalls(kept)
    return found

"""Stretches lie beside the readings; those of an earlier store, in its catalogue, are read the same."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.proofs.verifying import verified
from pipeline.record.reels_of_line import reels_of_runs
from pipeline.record.stretches_on_file import FILE, StretchWalls, stretch_walls_of, stretches_of
from pipeline.store.database import open_to_read, open_to_write
from pipeline.store.layout import path_of


def test_they_sum_up_the_readings_of_the_run(judged_store: Path) -> None:
    """Number, mean and thinnest of every stretch worked again from the measured readings beside them."""
    with open_to_read(judged_store) as store:
        head = next(row for row in store.ask("questions/current_runs") if row["run_id"] == "R-0415")
        home = path_of(store, head["assessment_folder"])
        found = stretches_of(store, head["assessment_id"], head["assessment_folder"])
        assert store.ask("questions/stretches_of_assessment", assessment_id=head["assessment_id"]) == []
    assert found["assessment_id"].unique().to_list() == [head["assessment_id"]]
    readings = pl.read_parquet(home / "measured.parquet", hive_partitioning=False)
    at, wall = (readings[name].to_numpy() for name in ("wall_at_m", "thinnest_wall_mm"))
    for row in found.filter(pl.col("wall_readings") > 0).to_dicts():
        inside = (at >= row["from_m"]) & (at < row["from_m"] + 25.0) & np.isfinite(wall)
        assert wall[inside].min() <= row["thinnest_wall_mm"] <= wall[inside].max()
        assert 0 < row["wall_readings"] <= inside.sum()


def test_an_earlier_store_is_read_the_same(judged_store: Path, tmp_path: Path) -> None:
    """As version 5 left it: rows in the catalogue, no file beside the readings."""
    earlier = tmp_path / "store"
    shutil.copytree(judged_store, earlier)
    with open_to_write(earlier) as store:
        heads = [row for row in store.ask("questions/current_runs") if row["outcome"] == "judged"]
        now = [stretches_of(store, head["assessment_id"], head["assessment_folder"]) for head in heads]
        reels = reels_of_runs(store, heads)
        for head, frame in zip(heads, now, strict=True):
            store.append("measured.stretch", frame)
            (path_of(store, head["assessment_folder"]) / f"{FILE}.parquet").unlink()
        assert sum(frame.height for frame in now) > 1000
        assert stretch_walls_of(store, heads).keys() == {head["assessment_id"] for head in heads}
        assert reels_of_runs(store, heads) == reels
        for head, frame in zip(heads, now, strict=True):
            assert stretches_of(store, head["assessment_id"], head["assessment_folder"]).equals(frame)


@pytest.mark.parametrize("how", ["changed", "missing"])
def test_a_changed_or_missing_file_is_told(judged_store: Path, tmp_path: Path, how: str) -> None:
    shutil.copytree(judged_store, tmp_path / "store")
    path = next((tmp_path / "store").rglob(f"{FILE}.parquet"))
    if how == "missing":
        path.unlink()
    else:
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 1
        path.write_bytes(content)
    (told,) = verified(tmp_path / "store").changes
    assert f"{FILE}.parquet is {'missing' if how == 'missing' else 'not as it was written'}." in told


def test_only_stretches_wholly_between_two_places_count() -> None:
    frame = pl.DataFrame(
        {
            "from_m": [0.0, 25.0, 50.0, 75.0],
            "to_m": [25.0, 50.0, 75.0, 90.0],
            "mean_wall_mm": [1.0, None, 3.0, 4.0],
            "ecc_cos_mm": [0.02, None, 0.04, 9.0],
            "ecc_sin_mm": [0.04, None, 0.02, float("nan")],
        }
    )
    walls = StretchWalls(frame)
    assert walls.centre_mm(0.0, 76.0) == pytest.approx((0.03, 0.03))
    assert walls.centre_mm(1.0, 60.0) is None
    assert walls.walls(0.0, 90.0, 1) == (1.0, 3.0, 4.0)
    assert walls.walls(0.0, 90.0, 2) == (1.0, 3.0)

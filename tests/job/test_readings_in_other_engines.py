"""Readings of a store asked with DuckDB, Polars and pyarrow alone, a whole partition passed over unread."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import duckdb
import polars as pl
import pyarrow.compute as pc
import pyarrow.dataset as pads
import pytest

NIGHT = date(2026, 3, 3)
WANTED = ("L1", NIGHT)


@pytest.fixture(scope="module")
def pattern(judged_store: Path) -> str:
    return str(judged_store / "readings" / "plant=*" / "**" / "measured.parquet")


def by_hand(judged_store: Path) -> tuple[int, float]:
    """Readings and least wall of the line and day asked for, file by file from the paths alone."""
    home = judged_store / "readings"
    day = home.glob(f"plant=*/line_id={WANTED[0]}/shift_date={WANTED[1]}/*/assessment_id=*/measured.parquet")
    frames = [pl.read_parquet(path, hive_partitioning=False, glob=False) for path in day]
    assert len(frames) > 1
    walls = pl.concat([frame["thinnest_wall_mm"] for frame in frames])
    return len(walls), float(walls.min())  # type: ignore[arg-type]


def test_duckdb_reads_one_line_and_day(judged_store: Path, pattern: str) -> None:
    asked = (
        f"FROM read_parquet('{pattern}', hive_partitioning = true, union_by_name = true) "
        "WHERE line_id = 'L1' AND shift_date = DATE '2026-03-03'"
    )
    ((rows, least),) = duckdb.sql(f"SELECT count(*), min(thinnest_wall_mm) {asked}").fetchall()
    assert (rows, least) == by_hand(judged_store)
    plan = duckdb.sql(f"EXPLAIN ANALYZE SELECT sum(row) {asked}").fetchall()[0][1]
    files = len(list((judged_store / "readings").rglob("measured.parquet")))
    ours = len(
        list((judged_store / "readings").glob("*/line_id=L1/shift_date=2026-03-03/*/*/measured.parquet"))
    )
    assert f"Total Files Read: {ours}" in plan or f"Scanning Files: {ours}/{files}" in plan
    assert ours < files


def test_polars_reads_one_line_and_day(judged_store: Path, pattern: str) -> None:
    scanned = pl.scan_parquet(
        pattern, hive_partitioning=True, missing_columns="insert", extra_columns="ignore"
    )
    asked = scanned.filter(pl.col("line_id") == "L1", pl.col("shift_date") == NIGHT)
    walls = asked.select("thinnest_wall_mm").collect()["thinnest_wall_mm"]
    assert (len(walls), walls.min()) == by_hand(judged_store)
    plan = asked.explain()
    assert "line_id=L1" in plan
    assert "line_id=L2" not in plan


def test_pyarrow_reads_one_line_and_day(judged_store: Path) -> None:
    home = judged_store / "readings"
    files = sorted(str(path) for path in home.glob("plant=*/**/measured.parquet"))
    dataset = pads.dataset(files, partitioning="hive", partition_base_dir=str(home))
    asked = (pc.field("line_id") == "L1") & (pc.field("shift_date") == "2026-03-03")
    walls = dataset.to_table(columns=["thinnest_wall_mm"], filter=asked)["thinnest_wall_mm"]
    assert (len(walls), pc.min(walls).as_py()) == by_hand(judged_store)
    read = [fragment.path for fragment in dataset.get_fragments(filter=asked)]
    assert 0 < len(read) < len(files)
    assert all("line_id=L1/shift_date=2026-03-03" in path for path in read)


def test_the_partition_tells_run_and_judgement(judged_store: Path, pattern: str) -> None:
    from pipeline.store.database import open_to_read

    rows = duckdb.sql(
        "SELECT plant, line_id, CAST(shift_date AS VARCHAR), run_id, assessment_id, count(*) "
        f"FROM read_parquet('{pattern}', hive_partitioning = true, union_by_name = true) GROUP BY ALL"
    ).fetchall()
    with open_to_read(judged_store) as store:
        heads = [row for row in store.ask("questions/current_runs") if row["assessment_folder"]]
    assert {row[:5] for row in rows} == {
        (head["plant"], head["line"], str(head["shift_date"]), head["run_id"], head["assessment_id"])
        for head in heads
    }

"""Load, place, measure and judge a plant-day, against DuckDB's bare typed CSV to table of the same files."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from unittest import mock

import duckdb

from pipeline.job import assessing, judging, loading
from pipeline.steps import answers
from pipeline.store.database import open_to_write
from tests.benchmarks.made_logs import plant_logs, tables
from tests.benchmarks.own_process import cost_of
from tests.benchmarks.row import Row
from tests.benchmarks.scale import Scale

# Deep statistics: everything answered beyond placing, measuring, judging and each reel's capability.
_DEEP = ("check_line", "answers_of", "patterns_of", "review_lines")
_CAPABILITY = ("_capability", "_series_of")
_TIMED = {
    loading: ("load_run",),
    judging: ("check_line", "answers_of", "patterns_of", "place_run", "measure_run", "judge_run"),
    assessing: ("review_lines", "read_frame", "put_judgement_on_file"),
    answers: _CAPABILITY,
}


def floor(folder: str, database: str) -> int:
    """DuckDB's bare typed CSV to table of every log below `folder`; how many rows."""
    names = tables(Path(folder))
    with Path(names[0]).open(encoding="utf-8") as file:
        columns = dict.fromkeys(file.readline().strip().split(","), "DOUBLE") | {"Timestamp": "TIMESTAMP"}
    Path(database).unlink(missing_ok=True)
    with duckdb.connect(database) as connection:
        connection.execute(
            "CREATE TABLE readings AS SELECT * FROM read_csv($names, columns = $columns, header = true)",
            {"names": names, "columns": columns},
        )
        return int(connection.execute("SELECT count(*) FROM readings").fetchall()[0][0])


def review(folder: str, store: str) -> dict[str, Any]:
    """Load and judge every run below `folder` into a new store; where the time went [s], by step.

    What other processes judge is in the whole and not in the steps: these are those of this process.
    """
    spent: dict[str, list[float]] = {}
    with ExitStack() as timers, open_to_write(Path(store)) as opened:
        for room, names in _TIMED.items():
            for name in names:
                timers.enter_context(mock.patch.object(room, name, _timed(getattr(room, name), name, spent)))
        loads, refused = loading.load_sheets(opened, (Path(folder),))
        if refused:
            raise RuntimeError(refused[0])
        loaded = time.perf_counter()
        outcomes = assessing.assess_runs(opened, ())
        judged = time.perf_counter()
    deep, capability = (
        [sum(spent.get(name, [0, 0])[at] for name in names) for at in (0, 1)]
        for names in (_DEEP, _CAPABILITY)
    )
    return {
        "rows": sum(one.rows_kept for one in loads),
        "findings": sum(one.findings for one in outcomes),
        "judge_wall_s": judged - loaded,
        "deep_wall_s": deep[0] - capability[0],
        "deep_cpu_s": deep[1] - capability[1],
        "steps_cpu_s": {name: round(cpu, 3) for name, (_, cpu) in spent.items()},
    }


def _timed(work: Callable[..., Any], name: str, spent: dict[str, list[float]]) -> Callable[..., Any]:
    def timed(*arguments: Any, **named: Any) -> Any:
        wall, cpu = time.perf_counter(), time.process_time()
        try:
            return work(*arguments, **named)
        finally:
            sums = spent.setdefault(name, [0.0, 0.0])
            sums[0] += time.perf_counter() - wall
            sums[1] += time.process_time() - cpu

    return timed


def run(scale: Scale) -> list[Row]:
    folder = plant_logs(scale.data, scale.hours, scale.lines)
    bare = cost_of("plant_day:floor", folder, scale.scratch / "floor.duckdb")
    ours = cost_of("plant_day:review", folder, scale.fresh("plant_day"))
    alone = ours
    if scale.lines > 1:
        one = plant_logs(scale.data, scale.hours, 1)
        alone = cost_of("plant_day:review", one, scale.fresh("plant_day_one"))
    events = sum(len(path.read_text().splitlines()) - 1 for path in folder.rglob("*_spark.csv"))
    if bare.answer + events != ours.answer["rows"]:
        raise RuntimeError(f"{bare.answer} readings and {events} events, and {ours.answer['rows']} rows kept")
    # The deep statistics' share of judging is that of one line judged by one process, where every step is timed.
    deep = alone.answer["deep_wall_s"] / alone.answer["judge_wall_s"] * ours.answer["judge_wall_s"]
    deep_cpu = alone.answer["deep_cpu_s"] / alone.cpu_s * ours.cpu_s
    wall, cpu = ours.wall_s - deep, ours.cpu_s - deep_cpu
    what = f"plant-day, {scale.lines} lines x {scale.hours:g} h, {ours.answer['rows']:,} rows"
    steps = ", ".join(f"{name} {cpu:.1f}" for name, cpu in alone.answer["steps_cpu_s"].items())
    return [
        Row(
            "floor: DuckDB typed CSV to table",
            "",
            f"{bare.wall_s:.2f} s",
            None,
            bare.wall_s,
            bare.cpu_s,
            bare.peak_mb,
            1.0,
        ),
        Row(
            f"load, place, measure, judge: {what}",
            "<= 2.0 x the floor's wall",
            f"{wall / bare.wall_s:.1f} x wall",
            wall <= 2.0 * bare.wall_s,
            wall,
            cpu,
            ours.peak_mb,
            cpu / bare.cpu_s,
            f"{ours.answer['findings']} findings; CPU seconds by step of one line: {steps}.",
        ),
        Row(
            "peak memory of it",
            "<= 1500 MB",
            f"{ours.peak_mb:.0f} MB",
            ours.peak_mb <= 1500,
            peak_mb=ours.peak_mb,
        ),
        Row(
            "the same with its deep statistics, as a user waits",
            "<= 5.0 x the floor's wall",
            f"{ours.wall_s / bare.wall_s:.1f} x wall, {ours.cpu_s / bare.cpu_s:.1f} x CPU",
            ours.wall_s <= 5.0 * bare.wall_s,
            ours.wall_s,
            ours.cpu_s,
            ours.peak_mb,
            ours.cpu_s / bare.cpu_s,
        ),
        Row(
            "deep statistics of it",
            "<= 60 s more",
            f"{deep:.1f} s",
            deep <= 60.0,
            deep,
            deep_cpu,
            None,
            deep_cpu / bare.cpu_s,
        ),
    ]

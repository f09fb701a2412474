"""Load and judge one more hour in a store of a year, against the same hour in an empty store."""

from __future__ import annotations

from pathlib import Path

from pipeline.job.assessing import assess_runs
from pipeline.job.loading import load_sheets
from pipeline.store.database import open_to_write
from tests.benchmarks.made_logs import plant_logs
from tests.benchmarks.many_runs import store_of
from tests.benchmarks.own_process import cost_of
from tests.benchmarks.row import Row
from tests.benchmarks.scale import Scale

LINES = 5
_HOUR = 1.0


def load_one(folder: str, store: str) -> int:
    """Load the runs below `folder`; rows kept."""
    with open_to_write(Path(store)) as opened:
        loads, _ = load_sheets(opened, (Path(folder),))
    return sum(one.rows_kept for one in loads)


def load_and_judge_one(folder: str, store: str) -> int:
    """Load and judge the runs below `folder`; rows kept."""
    with open_to_write(Path(store)) as opened:
        loads, _ = load_sheets(opened, (Path(folder),))
        assess_runs(opened, tuple(one.run_id for one in loads))
    return sum(one.rows_kept for one in loads)


def run(scale: Scale) -> list[Row]:
    hour = min(_HOUR, scale.hours)
    folder = plant_logs(scale.data, hour, 2)
    year = store_of(scale.fresh("year"), scale.data, scale.year_runs, LINES, scale.hours)
    size = sum(path.stat().st_size for path in year.glob("*.duckdb")) / 1e6
    cost_of("nothing_new:assess_all", year)  # the first look over each line is new
    rows = []
    for words, call, number in (("load", "load_one", 1), ("load and judge", "load_and_judge_one", 2)):
        one = folder / f"R-L{number}"
        sheet = one / "run.toml"
        text = sheet.read_text(encoding="utf-8")
        sheet.write_text(text.replace(f'id = "R-L{number}-', f'id = "R-new-{number}-'), encoding="utf-8")
        try:
            empty = cost_of(f"one_more_hour:{call}", one, scale.fresh("empty"))
            full = cost_of(f"one_more_hour:{call}", one, year)
        finally:
            sheet.write_text(text, encoding="utf-8")
        ratio = full.wall_s / empty.wall_s
        rows.append(
            Row(
                f"{words} {hour:g} h more, {scale.year_runs:,} line-days on file",
                "< 1.2 x an empty store",
                f"{ratio:.2f} x wall, {full.cpu_s / empty.cpu_s:.2f} x CPU",
                ratio < 1.2,
                full.wall_s,
                full.cpu_s,
                full.peak_mb,
                full.cpu_s / empty.cpu_s,
                f"The catalogue of {scale.year_runs:,} line-days is {size:,.0f} MB; the floor is the empty store.",
            )
        )
    return rows

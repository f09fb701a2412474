"""Nothing new to do: judge again everything on file, and load again what is on file, when neither has changed."""

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

LINES = 20
_HOURS = 0.1


def assess_all(store: str) -> int:
    """Judge every run on file; how many were judged anew."""
    with open_to_write(Path(store)) as opened:
        return sum(one.was_new for one in assess_runs(opened, ()))


def load_again(folder: str, store: str) -> int:
    """Load runs that are on file; how many were loaded anew."""
    with open_to_write(Path(store)) as opened:
        return sum(one.was_new for one in load_sheets(opened, (Path(folder),))[0])


def run(scale: Scale) -> list[Row]:
    store = store_of(scale.fresh("quiet"), scale.data, scale.quiet_runs, LINES, _HOURS)
    cost_of("nothing_new:assess_all", store)  # the first look over each line is new
    again = cost_of("nothing_new:assess_all", store)
    if again.answer:
        raise RuntimeError(f"{again.answer} runs were judged anew although nothing had changed")
    one = cost_of("nothing_new:load_again", plant_logs(scale.data, _HOURS, 1), store)
    if one.answer:
        raise RuntimeError("a run was loaded anew although nothing had changed")
    return [
        Row(
            f"assess, nothing new, {scale.quiet_runs:,} runs on file",
            "< 1 s",
            f"{again.wall_s:.2f} s",
            again.wall_s < 1.0,
            again.wall_s,
            again.cpu_s,
            again.peak_mb,
        ),
        Row(
            f"load a run on file again, {scale.quiet_runs:,} runs on file",
            "< 1 s",
            f"{one.wall_s:.2f} s",
            one.wall_s < 1.0,
            one.wall_s,
            one.cpu_s,
            one.peak_mb,
        ),
    ]

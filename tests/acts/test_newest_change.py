"""What run sheets tell of the newest change on a line, as the tuning page and ``reelproof tune`` word it."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np

from pipeline.job.tuning_question_on_file import newest_change
from pipeline.wording.say import plain

START = datetime(2026, 3, 3, 6, 0, tzinfo=UTC)


def run(run_id: str, hours: float) -> Any:
    """A run at 2 m/s that was logged every second."""
    seconds = np.arange(0.0, 1000.0)
    return SimpleNamespace(
        run_id=run_id, started=START + timedelta(hours=hours), seconds=seconds, die_m=2.0 * seconds
    )


def turned(*places_m: float) -> list[Any]:
    return [SimpleNamespace(at_m=at_m) for at_m in places_m]


def test_a_trial_is_named_and_counts_from_its_start() -> None:
    runs = [run("R-1", 0.0), run("R-2", 4.0), run("R-3", 8.0)]
    at, told = newest_change(runs, {"R-2"}, {})
    assert at == runs[1].started
    assert told is not None and plain(told) == "Newest change on the run sheets: R-2, a trial of settings."
    told = newest_change(runs, {"R-2"}, {"R-2": turned(100.0)})[1]
    assert (
        told is not None
        and plain(told)
        == "Newest change on the run sheets: R-2, a trial of settings in which bolts were turned."
    )


def test_bolts_count_from_their_last_turn() -> None:
    runs = [run("R-1", 0.0), run("R-2", 4.0)]
    at, told = newest_change(runs, {"R-1"}, {"R-2": turned(300.0, 1250.0)})
    assert at == runs[1].started + timedelta(seconds=625.0)
    assert (
        told is not None
        and plain(told) == "Newest change on the run sheets: bolts turned at 1250.0 m of R-2."
    )


def test_the_newest_of_several_is_told_and_nothing_where_there_is_none() -> None:
    runs = [run("R-1", 0.0), run("R-2", 4.0)]
    told = newest_change(runs, {"R-1", "R-2"}, {"R-1": turned(5.0)})[1]
    assert told is not None and "R-2" in plain(told)
    assert newest_change(runs, (), {}) == (None, None)
    assert newest_change([], {"R-1"}, {}) == (None, None)

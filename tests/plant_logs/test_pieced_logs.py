"""A log that goes on with rows of another run lets no bad reel go; a clock that was set and a counter reset hold none.

The bad wire is in the part whose rows are gone: what stands there is sound wire of the same line and product.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from pipeline.contradictions import Contradiction
from pipeline.messages import Message
from tests.plant_logs.line_logs import LAYS, Run, made
from tests.plant_logs.plant_files import write
from tests.release_matrix.judging import OnBench, judged_run, measured_run

EVERY = bool(int(os.environ.get("REELPROOF_PLANT_LOGS", "0") or "0"))
Rows = list[list[str]]
# Every run of this line has the same wall and diameter: rows of another put in are told only when a clock leaps far.
ALIKE = "A4"
PIECED = {Contradiction.LOG_PIECED, Contradiction.LOG_PIECED_BY_COUNTER, Contradiction.LOG_PIECED_IN_GAP}


def rows_of(folder: Path, run: Run) -> Rows:
    write(folder, run)
    return [line.split(run.lay.delim) for line in (folder / "log.txt").read_text().splitlines()]


def later(rows: Rows, run: Run, by_s: float) -> Rows:
    """Rows with their clock moved."""

    def moved(stamp: str) -> str:
        if run.lay.epoch:
            return f"{float(stamp) + by_s:.3f}"
        return (datetime.fromisoformat(stamp) + timedelta(seconds=by_s)).isoformat(timespec="milliseconds")

    return [[moved(row[0]), *row[1:]] for row in rows]


def other_half(own: Rows, other: Rows, run: Run, by_s: float) -> Rows:
    """The rows of the other run from the same row on."""
    cut = int(0.4 * len(own))
    return own[:cut] + later(other[cut:], run, by_s)


def appended(own: Rows, other: Rows, run: Run, by_s: float) -> Rows:
    """The whole log of the next run below the first part of this one."""
    return own[: int(0.4 * len(own))] + later(other[1:], run, by_s)


def overlapping(own: Rows, other: Rows, run: Run, by_s: float) -> Rows:
    """The whole log of another run below the first part, from a time on that is already there."""
    cut = int(0.4 * len(own))
    return appended(own, other, run, run.lay.every * cut + by_s)


def whole_seconds(own: Rows, _other: Rows, run: Run, _by_s: float) -> Rows:
    """Stamps cut to the second."""

    def cut(stamp: str) -> str:
        if run.lay.epoch:
            return str(int(float(stamp)))
        return datetime.fromisoformat(stamp).replace(microsecond=0).isoformat()

    return [own[0], *([cut(row[0]), *row[1:]] for row in own[1:])]


def clock_set(own: Rows, _other: Rows, run: Run, by_s: float) -> Rows:
    cut = int(0.42 * len(own))
    return own[:cut] + later(own[cut:], run, by_s)


def counter_reset(own: Rows, _other: Rows, run: Run, _by_s: float) -> Rows:
    cut, comma = int(0.42 * len(own)), run.lay.comma
    from_m = float(own[cut][1].replace(",", "."))
    fell = [f"{float(row[1].replace(',', '.')) - from_m:.2f}" for row in own[cut:]]
    shown = [one.replace(".", ",") if comma else one for one in fell]
    return own[:cut] + [[row[0], one, *row[2:]] for row, one in zip(own[cut:], shown, strict=True)]


def judged(
    run: Run, folder: Path, damage: Callable[[Rows, Rows, Run, float], Rows], by_s: float
) -> tuple[dict[str, str], bool]:
    """What becomes of each reel, and whether the log is said to be pieced."""
    other = rows_of(folder / "other", made(run.lay, run.seed + 50))
    rows = damage(rows_of(folder / "run", run), other, run, by_s)
    (folder / "run" / "log.txt").write_text("\n".join(run.lay.delim.join(one) for one in rows) + "\n")
    on_bench = measured_run(folder / "run")
    assert isinstance(on_bench, OnBench)
    answer = judged_run(on_bench, (folder / "run" / "plant.toml").read_text(), folder / "run")
    told = {one.code for one in on_bench.measured.warnings if isinstance(one, Message)}
    return dict(answer.standings), bool(told & PIECED)


@pytest.mark.parametrize(
    ("line", "damage", "by_s"),
    [
        (line, damage, by_s)
        for number, (damage, by_s) in enumerate(
            [
                (other_half, 86_400.0),
                (other_half, -1_728.0),
                (appended, 86_400.0),
                (overlapping, -40.0),
                (other_half, 15.0),
                (appended, 2_600.0),
                (other_half, -10.5),
                (overlapping, -8.0),
            ]
        )
        for line in (LAYS if EVERY else [list(LAYS)[number % len(LAYS)]])
        if (line, damage) != (ALIKE, other_half) or abs(by_s) > 43_200.0
    ],
)
def test_rows_of_another_run_let_no_bad_reel_go(
    line: str, damage: Callable[[Rows, Rows, Run, float], Rows], by_s: float, tmp_path: Path
) -> None:
    found, told = judged(made(LAYS[line], 1, "thin"), tmp_path, damage, by_s)
    assert told and "releasable" not in found.values()


@pytest.mark.parametrize(
    ("line", "damage", "by_s"),
    [
        (line, damage, by_s)
        for number, (damage, by_s) in enumerate(
            [
                (clock_set, 3600.0),
                (counter_reset, 0.0),
                (clock_set, -600.0),
                (clock_set, 20.0),
                (clock_set, -15.0),
                (whole_seconds, 0.0),
            ]
        )
        for line in (LAYS if EVERY else [list(LAYS)[(number + 1) % len(LAYS)]])
    ],
)
def test_a_clock_set_and_a_counter_reset_in_a_sound_run_hold_nothing(
    line: str, damage: Callable[[Rows, Rows, Run, float], Rows], by_s: float, tmp_path: Path
) -> None:
    found, told = judged(made(LAYS[line], 1, ""), tmp_path, damage, by_s)
    assert not told and set(found.values()) == {"releasable"}


@pytest.mark.parametrize("line", LAYS)
def test_stamps_cut_to_the_second_change_no_standing(line: str, tmp_path: Path) -> None:
    run = made(LAYS[line], 3, "thin")
    fine, _ = judged(run, tmp_path / "fine", lambda own, _other, _run, _by: own, 0.0)
    coarse, told = judged(run, tmp_path / "coarse", whole_seconds, 0.0)
    assert not told and coarse == fine and set(fine.values()) - {"releasable"}

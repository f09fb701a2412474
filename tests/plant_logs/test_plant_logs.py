"""No bad reel leaves by damaged data of four invented lines, and sound reels of live logs are neither held nor accused.

`REELPROOF_PLANT_LOGS=3` runs three seeds of every damage on every line; the quick slice takes one line for each.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline.contradictions import Contradiction
from pipeline.messages import Message
from tests.plant_logs.damages import HARMLESS, HIDE, NEEDS_CONDUCTOR, changed
from tests.plant_logs.line_logs import LAYS, Run, made
from tests.plant_logs.plant_files import write
from tests.release_matrix.judging import OnBench, judged_run, measured_run

SEEDS = int(os.environ.get("REELPROOF_PLANT_LOGS", "0") or "0")


def _standings(run: Run, folder: Path) -> tuple[dict[str, str], list[str]]:
    """What becomes of each reel, and what the data are accused of."""
    write(folder, run)
    on_bench = measured_run(folder)
    answer = judged_run(on_bench, (folder / "plant.toml").read_text(), folder)
    told = on_bench.measured.warnings if isinstance(on_bench, OnBench) else ()
    codes = [
        str(one.code) for one in told if isinstance(one, Message) and isinstance(one.code, Contradiction)
    ]
    return {name: answer.standings.get(name, "refused") for name in run.must}, codes


def _cases() -> Iterator[tuple[str, str, str, int]]:
    number = 0
    for damages, lines in ((HIDE, list(LAYS)), (NEEDS_CONDUCTOR, ["A4", "C8", "E8"])):
        for name, (_, defects) in damages.items():
            for defect in defects if SEEDS else defects[:1]:
                chosen = lines if SEEDS else [lines[number % len(lines)]]
                yield from (
                    (name, defect, line, seed) for line in chosen for seed in range(1, max(SEEDS, 1) + 1)
                )
                number += 1


@pytest.mark.parametrize(("name", "defect", "line", "seed"), list(_cases()))
def test_no_bad_reel_leaves_by_what_its_data_suffered(
    name: str, defect: str, line: str, seed: int, tmp_path: Path
) -> None:
    run = made(LAYS[line], seed, defect)
    damage, _ = (HIDE | NEEDS_CONDUCTOR)[name]
    found, _ = _standings(damage(run), tmp_path)
    bad = [one for one, must in run.must.items() if must == "hold" and found[one] == "releasable"]
    held = [one for one, must in run.must.items() if must == "release" and found[one] != "releasable"]
    assert bad == [] and (held == [] or name not in HARMLESS)


@pytest.mark.parametrize("line", LAYS if SEEDS else ["C8"])
@pytest.mark.parametrize("defect", ["short", ""] if SEEDS else ["short"])
def test_an_end_written_down_late_lets_no_bad_reel_go(line: str, defect: str, tmp_path: Path) -> None:
    """The end before the bad wire is told as behind it: it would be on the sound reel, and the bad one had none."""
    run = made(LAYS[line], 1, defect)
    (first, a, b), (second, _, d), third = run.reels
    late = replace(run, reels=((first, a, b + 0.6 * (d - b)), (second, b + 0.6 * (d - b), d), third))
    found, _ = _standings(late, tmp_path)
    wanted = "held" if defect else "releasable"
    assert found == {first: wanted, second: wanted, third[0]: "releasable"}


@pytest.mark.parametrize("line", LAYS)
@pytest.mark.parametrize("seed", range(20, 20 + (10 * SEEDS or 1)))
def test_a_sound_run_is_neither_held_nor_accused(line: str, seed: int, tmp_path: Path) -> None:
    found, accused = _standings(made(LAYS[line], seed), tmp_path)
    assert set(found.values()) == {"releasable"} and accused == []


@pytest.mark.parametrize("line", LAYS if SEEDS else ["E8"])
def test_a_gauge_that_reads_seldom_is_told_what_to_log_and_then_judges(line: str, tmp_path: Path) -> None:
    """Every twentieth figure held: nothing leaves, and why is told. One row a reading, as told: sound reels leave."""
    run = made(LAYS[line], 1, "thin")
    kept = np.arange(run.t.size) // 20 * 20
    found, accused = _standings(
        changed(run, run.gauges, lambda _name, values: values[kept]), tmp_path / "held"
    )
    assert "releasable" not in found.values() and "contradiction/figures held" in accused
    seldom = replace(
        run,
        lay=replace(run.lay, every=20 * run.lay.every),
        t=run.t[::20],
        front=run.front[::20],
        cols={name: values[::20] for name, values in run.cols.items()},
        reels=tuple((name, a, min(b, float(run.front[::20][-1]))) for name, a, b in run.reels),
    )
    found, accused = _standings(seldom, tmp_path / "seldom")
    assert accused == []
    assert found == {name: "held" if must == "hold" else "releasable" for name, must in run.must.items()}

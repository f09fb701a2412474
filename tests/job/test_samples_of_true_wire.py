"""Samples cut from wire whose truth is known, on lines made apart from the program, beside what the line read of it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.job.assessing import assess_run
from pipeline.job.loading import load_sheet
from pipeline.record.samples_beside import Beside, beside_the_line
from pipeline.sheets.plant_samples import Samples
from pipeline.store.database import Store, open_to_write
from pipeline.wording.say import plain
from tests.other_lines.edits import shifted, walls_of_columns
from tests.other_lines.lines import LINES
from tests.other_lines.products import MADE_ON
from tests.other_lines.running import MadeRun, run_of
from tests.other_lines.wire import ANGLES
from tests.other_lines.writing import (
    line_sheet_text,
    log_of,
    reel_id,
    run_sheet_text,
    stated_covering,
    write_logs,
)
from tests.release_matrix.plants import plant_for
from tests.release_matrix.wire_cases import plan_of

LAB_SD = {"mean_wall_mm": 0.0015, "thinnest_wall_mm": 0.0015, "concentricity_pct": 0.5, "diameter_mm": 0.002}


def made(line_id: str, seed: int) -> MadeRun:
    line = LINES[line_id]
    return run_of(line, MADE_ON[line_id][0], replace(plan_of(line), seed=seed))


@contextmanager
def on_file(run: MadeRun, folder: Path, ring_high_mm: float = 0.0) -> Iterator[Store]:
    log = shifted(walls_of_columns(run.columns), ring_high_mm)(run, log_of(run))
    write_logs(folder, run.line, log)
    (folder / "run.toml").write_text(run_sheet_text(run, "R1", log, stated_covering(run)))
    (folder / "line.toml").write_text(line_sheet_text(run.line))
    (folder / "plant.toml").write_text(plant_for(run.line, run.made).text)
    with open_to_write(folder / "store") as store:
        load_sheet(store, folder / "run.toml")
        assess_run(store, "R1")
        yield store


def cut(run: MadeRun, rng: np.random.Generator, number: int) -> list[dict[str, Any]]:
    """Samples of every quantity at so many places, each lying up to half a metre from where it is said to."""
    walls = np.stack([run.wire.insulation(angle) for angle in ANGLES])
    true = {
        "mean_wall_mm": walls.mean(axis=0),
        "thinnest_wall_mm": walls.min(axis=0),
        "concentricity_pct": 100.0 * walls.min(axis=0) / walls.max(axis=0),
        "diameter_mm": (run.wire.diameter(0.0) + run.wire.diameter(np.pi / 2.0)) / 2.0,
    }
    rows = []
    for place in range(number):
        reel = run.reels[int(rng.integers(len(run.reels)))]
        from_outer = float(rng.uniform(2.0, reel.length_m - 2.0))
        at = int(np.searchsorted(run.wire.at_m, reel.to_m - from_outer + float(rng.uniform(-0.5, 0.5))))
        rows += [
            {
                "sample_id": f"S{place}-{name}", "reel_id": reel_id("R1", reel.id), "from_outer_m": from_outer,
                "quantity": name, "value": float(values[at]) + LAB_SD[name] * float(rng.standard_normal()),
                "uncertainty": LAB_SD[name],
            }
            for name, values in true.items()
        ]  # fmt: skip
    return rows


def beside(store: Store, rows: list[dict[str, Any]]) -> Beside:
    (head,) = store.ask("questions/judged_run", run_id="R1")
    requirements = store.ask("questions/requirements_of_assessment", assessment_id=head["assessment_id"])
    return beside_the_line(store, head, rows, requirements, Samples())


@pytest.mark.parametrize("line_id", ["Q2", "N5", "T1"])
def test_true_samples_block_no_run(line_id: str, tmp_path: Path) -> None:
    """Line Q2 reads the covering with the insulation, so its thinnest wall is bounded; N5 has four sensors."""
    run = made(line_id, 31)
    rng = np.random.default_rng(7)
    with on_file(run, tmp_path) as store:
        found = [beside(store, cut(run, rng, 4)) for _ in range(60)]
    assert all(len(one.lines) >= 12 for one in found)
    assert [one.told for one in found if one.told] == []


def test_a_ring_that_reads_too_high_is_contradicted(tmp_path: Path) -> None:
    """A bias of 0.02 mm: over (2.9 + 1.3) times the 0.0045 mm that gauge, laboratory and place leave unsure."""
    run = made("T1", 32)
    rng = np.random.default_rng(8)
    with on_file(run, tmp_path, ring_high_mm=0.02) as store:
        found = [beside(store, cut(run, rng, 4)) for _ in range(20)]
    assert sum(bool(one.told) for one in found) >= 18
    assert all("k = " in plain(told) for one in found for told in one.told)

"""Wire that stands in the electrode of the spark tester while the line is stopped, with its voltage on or off.

Lines of `line_logs`, whose logs get rows of a line that stands. How long a spot is under test in a stop: derivation.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.plant_logs.line_logs import LAYS, Run, made
from tests.plant_logs.plant_files import write
from tests.release_matrix.judging import judged_run, measured_run


def stopped(run: Run, at_share: tuple[float, ...], voltage_on: bool, rows: int = 40) -> Run:
    """The line stands for so many rows at each of these places of the second reel."""
    (_, begin, end) = run.reels[1]
    rng, take = np.random.default_rng((run.seed, 67)), np.arange(run.t.size)
    for share in sorted(at_share, reverse=True):
        row = int(np.searchsorted(run.front, begin + share * (end - begin)))
        take = np.insert(take, row, np.full(rows, row))
    stands = np.concatenate(([False], take[1:] == take[:-1]))
    t = np.arange(take.size) * run.lay.every
    cols = {name: values[take].copy() for name, values in run.cols.items()}
    for name in run.gauges:
        usual = np.std(np.diff(run.cols[name])) / np.sqrt(2.0)
        cols[name][stands] += usual * rng.standard_normal(int(stands.sum()))
    cols["line_speed_m_s"][stands] = 0.0
    cols["spark_kv"][stands] = 8.0 + 0.03 * rng.standard_normal(int(stands.sum())) if voltage_on else 0.0
    return replace(run, t=t, front=run.front[take], cols=cols)


def _second(run: Run, folder: Path) -> str:
    write(folder, run)
    found = judged_run(measured_run(folder), (folder / "plant.toml").read_text(), folder)
    return found.standings[run.reels[1][0]]


@pytest.mark.parametrize("line", ["A4", "C8"])
def test_wire_that_stood_under_voltage_is_tested(line: str, tmp_path: Path) -> None:
    assert _second(stopped(made(LAYS[line], 3), (0.3, 0.6, 0.8), True), tmp_path) == "releasable"


@pytest.mark.parametrize("line", ["A4", "C8"])
def test_wire_that_stood_without_voltage_is_not(line: str, tmp_path: Path) -> None:
    assert _second(stopped(made(LAYS[line], 3), (0.3, 0.6, 0.8), False), tmp_path) != "releasable"

"""Insulation that thins while its covering thickens by as much: wall and cold diameter show nothing of it.

On line E8 of `line_logs`, whose hot gauge is put before the covering here: it sees the insulation alone.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline.contradictions import Unseen
from pipeline.messages import Message
from tests.plant_logs.line_logs import LAYS, Run, made, noise
from tests.plant_logs.plant_files import write
from tests.release_matrix.judging import OnBench, judged_run, measured_run


def hot_before_covering(run: Run, thinner: float, seed: int) -> Run:
    """The hot diameter over the insulation alone, which is thinner by that share of its wall on the bad wire.

    It is 1.08 times the area cold, and wanders by a hundredth, as with the temperature of the melt.
    """
    rng, stations = np.random.default_rng((seed, 61)), run.lay.stations
    wire = run.front - stations["hot diameter gauge"]
    mean = np.median([run.cols[name] for name in run.walls], axis=0) - run.cover
    wall = np.interp(wire, run.front - stations["wall gauge"], mean)
    wall = wall * (1.0 - thinner * ((wire >= run.bad_m[0]) & (wire < run.bad_m[1])))
    swells = 1.08 * (1.0 + 0.01 * np.sin(2.0 * np.pi * wire / 900.0 + seed))
    bare = run.lay.wire.bare
    hot = np.sqrt(bare**2 + ((bare + 2.0 * wall) ** 2 - bare**2) * swells)
    return run.having(hot_diameter_mm=hot + run.lay.u["hot diameter gauge"] * noise(rng, hot.size, seed))


def _found(run: Run, folder: Path) -> tuple[list[str], set[str]]:
    """What becomes of the reels, and what is said to be unseen of the covering."""
    write(folder, run)
    bench = measured_run(folder)
    assert isinstance(bench, OnBench)
    found = judged_run(bench, (folder / "plant.toml").read_text(), folder).standings
    told = {str(one.code) for one in bench.measured.warnings if isinstance(one, Message)}
    return [found[name] for name, *_ in run.reels], told


@pytest.mark.parametrize("seed", [1, 2])
def test_insulation_thin_by_a_tenth_under_a_thicker_covering_is_held(seed: int, tmp_path: Path) -> None:
    found, told = _found(hot_before_covering(made(LAYS["E8"], seed), 0.12, seed), tmp_path)
    assert (found[0], found[1] != "releasable", found[2]) == ("releasable", True, "releasable")
    assert Unseen.COVERING_LEAST.value in told


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_covering_that_stays_holds_nothing(seed: int, tmp_path: Path) -> None:
    found, _ = _found(hot_before_covering(made(LAYS["E8"], seed), 0.0, seed), tmp_path)
    assert found == ["releasable"] * 3


def test_a_hot_gauge_behind_the_covering_shows_nothing_of_it_and_that_is_told(tmp_path: Path) -> None:
    found, told = _found(made(LAYS["E8"], 1), tmp_path)
    assert found == ["releasable"] * 3 and Unseen.COVERING_AS_STATED.value in told

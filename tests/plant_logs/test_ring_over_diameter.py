"""A ring that shows sound wire where the diameter shows thin wire: right after a change of reel, or for some meters.

On a line of `line_logs` without a conductor gauge. The wire is thin there, and the ring reads its usual figures: a
sensor head that is held, or a filter that puts the usual figure in place of one that is under a floor.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.plant_logs.damages import changed
from tests.plant_logs.line_logs import AXES, LAYS, Run, made
from tests.plant_logs.plant_files import write
from tests.release_matrix.judging import judged_run, measured_run


def standings(run: Run, folder: Path) -> dict[str, str]:
    """What becomes of each reel."""
    write(folder, run)
    return dict(judged_run(measured_run(folder), (folder / "plant.toml").read_text(), folder).standings)


def thin_by_the_diameter(run: Run, from_m: float, length_m: float) -> Run:
    """The wire thinner there by a fifth of its wall, as the diameter sees it and the ring does not."""
    wire = run.front - run.lay.stations["cold diameter gauge"]
    there = (wire >= from_m) & (wire < from_m + length_m)
    by = 0.2 * np.median([np.median(run.cols[name]) for name in run.walls])
    return changed(
        run, [one for one in AXES if one in run.cols], lambda _name, values: values - 2.0 * by * there
    )


@pytest.mark.parametrize("seed", [3, 5])
def test_a_ring_that_is_off_after_a_change_of_reel_lets_nothing_go(seed: int, tmp_path: Path) -> None:
    run = made(LAYS["B6"], seed)
    (_, begin, end) = run.reels[1]
    start = begin - run.lay.stations["end"]
    found = standings(thin_by_the_diameter(run, start + 0.02 * (end - begin), 0.1 * (end - begin)), tmp_path)
    first, second, third = (found[name] for name, *_ in run.reels)
    assert (first, second != "releasable", third) == ("releasable", True, "releasable")


@pytest.mark.parametrize("seed", [4, 6])
def test_a_ring_that_is_off_for_some_readings_lets_nothing_go(seed: int, tmp_path: Path) -> None:
    run = made(LAYS["B6"], seed)
    (_, begin, end) = run.reels[1]
    start = begin - run.lay.stations["end"]
    found = standings(thin_by_the_diameter(run, start + 0.6 * (end - begin), 0.016 * (end - begin)), tmp_path)
    first, second, third = (found[name] for name, *_ in run.reels)
    assert (first, second != "releasable", third) == ("releasable", True, "releasable")

"""What a run sheet itself states may fail a limit. The least covering of 4 mil: a published construction table."""

from __future__ import annotations

import pytest
from runs import done, made

from pipeline.sheets.run_sheet import Covering
from pipeline.simulator.scenario import PlannedReel

LEAST_MM = 0.1016


@pytest.mark.parametrize(("mean_mm", "verdict"), [(0.118, "not judged"), (0.0999, "does not conform")])
def test_a_covering_stated_under_its_least_holds(mean_mm: float, verdict: str) -> None:
    stated = Covering(mean_mm=mean_mm, uncertainty_mm=0.003, offset_mm=0.009, basis="cut samples")
    found = done(
        made("14 AWG", length_m=2400.0, reels=(PlannedReel("A", 700.0, 2000.0),)),
        covering=stated.model_dump(),
    )
    rows = [one for one in found.judged.requirements if one.requirement == "covering at any point"]
    assert rows[0].limit_value == pytest.approx(LEAST_MM)
    assert {one.verdict for one in rows} == {verdict}
    if verdict == "does not conform":
        assert {one.standing for one in found.judged.reels} == {"held"}

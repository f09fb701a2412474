"""Units proposed from what must hold between columns, on logs of lines whose code is not the program's."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline.logs.mapping_proposal import propose_mapping

ROWS = 300
HEAD = "time,length,speed,wall 1,wall 2,wall 3,wall 4,diameter x,conductor diameter"


def log(folder: Path, counter: float, speed: float, wall: float, head: str = HEAD) -> Path:
    """A log of 2.4 m/s whose figures are so many times metres, metres a second and millimetres."""
    rng = np.random.default_rng(3)
    at = np.cumsum(np.full(ROWS, 2.4 * 0.5)) + 40.0
    rows = [head]
    for k in range(ROWS):
        walls = wall * (0.76 + 0.004 * rng.standard_normal(4))
        across, bare = 3.572 + 0.004 * rng.standard_normal(), 2.052 + 0.002 * rng.standard_normal()
        rows.append(
            f"2026-05-12T14:{k // 120:02d}:{(k // 2) % 60:02d}.{5 * (k % 2)}00,{counter * at[k]:.3f},{speed * 2.4:.3f},"
            + ",".join(f"{one:.4f}" for one in walls)
            + f",{across:.4f},{bare:.4f}"
        )
    path = folder / "log.csv"
    path.write_text("\n".join(rows) + "\n")
    return path


@pytest.mark.parametrize(
    ("counter", "speed", "pairs"),
    [
        (1.0, 60.0, {("m", "m/min")}),
        (1 / 0.3048, 60.0, {("ft", "m/min")}),
        (1.0, 60.0 / 0.3048, {("m", "ft/min")}),
        # Both in feet, or both in metres: the ratio is the same, and only the names could tell.
        (1 / 0.3048, 60.0 / 0.3048, {("ft", "ft/min"), ("m", "m/min")}),
    ],
)
def test_counter_and_speed_get_units_that_fit_the_time(
    tmp_path: Path, counter: float, speed: float, pairs: set[tuple[str, str]]
) -> None:
    found = propose_mapping(log(tmp_path, counter, speed, 1.0))
    units = {one.channel: one.unit for one in found.columns}
    assert (units["counter_m"], units["line_speed_m_s"]) in pairs
    assert found.preview["counter_m"].len() == 8


def test_units_in_names_stay_and_a_contradiction_is_told(tmp_path: Path) -> None:
    head = HEAD.replace("length", "length [m]").replace("speed", "speed [m/min]")
    found = propose_mapping(log(tmp_path, 1 / 0.3048, 60.0, 1.0, head))
    assert found.doubts == (
        (
            "Columns 'length [m]' and 'speed [m/min]': the counter gains 3.28 times what the speed makes in the same "
            "time. One of the two units is wrong."
        ),
    )


@pytest.mark.parametrize(("wall", "unit"), [(1.0, "mm"), (1 / 0.0254, "mil"), (1000.0, "um")])
def test_walls_get_the_unit_in_which_they_are_half_of_the_diameter_over_the_conductor(
    tmp_path: Path, wall: float, unit: str
) -> None:
    found = propose_mapping(log(tmp_path, 1.0, 60.0, wall))
    assert {one.unit for one in found.columns if (one.channel or "").startswith("wall_")} == {unit}
    named = HEAD.replace("wall 1", "wall 1 mm").replace("wall 2", "wall 2 mm")
    named = named.replace("wall 3", "wall 3 mm").replace("wall 4", "wall 4 mm")
    told = propose_mapping(log(tmp_path, 1.0, 60.0, wall, named)).doubts
    assert any("half of what the diameter has over the conductor" in one for one in told) == (unit != "mm")

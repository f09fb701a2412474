"""What tuning takes of a measured run: which readings count, and what the line sheet may say for it."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.errors import SheetError
from pipeline.length.placement import place_readings
from pipeline.length.reels import place_reels
from pipeline.sheets.line_sheet import Bolt, Ceilings, LineSheet, Tooling, read_line_sheet
from pipeline.sheets.run_sheet import Reel
from pipeline.simulator.lines import line_l2
from pipeline.simulator.sheets_out import line_sheet_text
from pipeline.simulator.speed import plain_plan
from pipeline.tuning.line_run import LineRun, line_run
from pipeline.tuning.reel_wall import reel_walls
from pipeline.wall.sections import measure_walls
from tests.said import said
from tests.simulator.in_memory import short_scenario, simulate_in_memory
from tests.tuning.simulated import NO_FLAGS, l2_run, reels_of, tuning_run


def bare_line() -> LineSheet:
    """Line L2 as a plant enters it first: nothing in it that only tuning needs."""
    return line_l2().model_copy(update={"bolts": (), "ceilings": None, "tooling": ()})


def run_with(flagged: pl.DataFrame, left_out: np.ndarray | None = None) -> LineRun:
    _, made = l2_run(0, 6)
    scenario = made.scenario
    readings = made.readings
    assert readings is not None
    placement = place_readings(readings, flagged, scenario.line)
    reels = place_reels(
        tuple(Reel(id=one.id, from_m=one.from_m, to_m=one.to_m) for one in scenario.reels),
        scenario.line,
        placement.made_m,
    )
    measured = measure_walls(readings, flagged, placement, scenario.line, None, scenario.wire.conductor_mm)
    return line_run(
        "R", scenario.start, "XHHW-2", scenario.wire.conductor_mm, readings, measured, flagged, placement,
        scenario.line, reels, left_out,
    )  # fmt: skip


def test_only_steady_moving_unflagged_wire_counts() -> None:
    run, made = l2_run(0, 6)
    assert made.readings is not None
    counted = run.wall_counts
    # Ramp of 40 s and 30 s of settling at 1.4 m/s make 70 m; all that counts was at the die after that.
    assert run.wall_at_m[counted].min() > 28.0 + 40.0
    assert float(run.speed_m_s[counted].min()) > 1.3
    flagged = pl.DataFrame(
        {
            "row": [5000, 5001, 5002],
            "channel": ["wall_3_mm", "screw_speed_rpm", "diameter_x_mm"],
            "flag": [1, 1, 1],
        },
        schema=NO_FLAGS.schema,
    )
    marked = run_with(flagged)
    # A section without one sensor is judged by the others, so it counts; without all of them it is not there.
    assert not (run_with(NO_FLAGS).wall_counts & ~marked.wall_counts).any()
    assert not marked.diameter_counts[5002]
    assert np.flatnonzero(np.isnan(marked.machine["screw_speed_rpm"])).tolist() == [5001]
    blind = pl.DataFrame(
        {"row": [5000] * 8, "channel": [f"wall_{n}_mm" for n in range(1, 9)], "flag": [1] * 8},
        schema=NO_FLAGS.schema,
    )
    lost = np.flatnonzero(run_with(NO_FLAGS).wall_counts & ~run_with(blind).wall_counts)
    assert lost.tolist() == [5000]


def test_wire_left_out_is_left_out_and_told() -> None:
    whole = run_with(NO_FLAGS)
    part = run_with(NO_FLAGS, np.array([[400.0, 450.0]]))
    gone = whole.wall_counts & ~part.wall_counts
    assert whole.wall_at_m[gone].min() == pytest.approx(400.0, abs=0.2)
    assert whole.wall_at_m[gone].max() == pytest.approx(450.0, abs=0.2)
    assert part.left_out_m.tolist() == [[400.0, 450.0]]


def test_standing_wire_counts_once() -> None:
    plan = plain_plan(1.4, 1400.0, 40.0, stops=((700.0, 90.0),))
    made = simulate_in_memory(
        short_scenario("1/0 AWG", plan=plan, reels=reels_of(200.0, 300.0, 3, "S"), run_id="S"), 2
    )
    run = tuning_run(made)
    stop = made.truth.stops_m[0]
    # Neither the spots under the gauge nor the wire between die and trough speak for the line.
    assert not run.wall_counts[run.speed_m_s < 0.05].any()
    spoilt = (run.wall_at_m > stop - 1.4) & (run.wall_at_m <= stop)
    assert not run.wall_counts[spoilt].any()


def test_reels_with_too_little_steady_wire_are_told() -> None:
    half = run_with(NO_FLAGS, np.array([[100.0, 300.0]]))
    walls, told = reel_walls([half])
    assert len(walls) == 5
    assert len(told) == 1
    assert said(told[0]).startswith("Reel R-L2-1 is left out: ")
    assert said(told[0]).endswith(
        " % of its wire was read at steady speed, 50 % and 200 readings are needed."
    )


def test_line_sheets_may_carry_bolts_ceilings_and_tooling(tmp_path: Path) -> None:
    line = line_l2().model_copy(
        update={
            "bolts": (Bolt(id="B1", angle_deg=0.0, sense="in pushes away", um_per_turn=100.0),),
            "ceilings": Ceilings(line_speed_m_s=1.6, melt_pressure_bar=250.0),
            "tooling": (
                Tooling(
                    layer="insulation",
                    construction="XHHW-2",
                    size="1/0 AWG",
                    method="pressure",
                    die_mm=12.6,
                    tip_mm=9.6,
                ),
            ),
        }
    )
    path = tmp_path / "line.toml"
    path.write_text(line_sheet_text(line), encoding="utf-8")
    again = read_line_sheet(path)
    assert (again.bolts, again.ceilings, again.tooling) == (line.bolts, line.ceilings, line.tooling)
    # A sheet without them reads as before.
    path.write_text(line_sheet_text(bare_line()), encoding="utf-8")
    plain = read_line_sheet(path)
    assert (plain.bolts, plain.ceilings, plain.tooling) == ((), None, ())


def test_wrong_bolts_and_tooling_are_complaints(tmp_path: Path) -> None:
    path = tmp_path / "line.toml"
    extra = (
        '\n[[line.bolts]]\nid = "L2-screw"\nangle_deg = 0.0\nsense = "in"\n'
        '\n[[line.tooling]]\nlayer = "insulation"\nconstruction = "XHHW-2"\nsize = "1/0 AWG"\nmethod = "pressure"\n'
        "die_mm = 9.0\ntip_mm = 9.6\n\n[line.ceilings]\nline_speed_m_s = 0\n"
    )
    path.write_text(line_sheet_text(bare_line()) + extra, encoding="utf-8")
    with pytest.raises(SheetError) as told:
        read_line_sheet(path)
    assert str(told.value).splitlines() == [
        f"{path}: line.bolts[1].sense: found 'in'. It may be 'in pushes away' or 'in draws closer'.",
        f"{path}: line.ceilings.line_speed_m_s: found 0. It should be greater than 0.",
        (
            f"{path}: line.tooling[1]: the tip, 9.6 mm, is not smaller than the die, 9 mm; check 'tip_mm' "
            "and 'die_mm'. Mend it and try again."
        ),
    ]
    twice = '\n[[line.bolts]]\nid = "L2-screw"\nangle_deg = 0.0\nsense = "in pushes away"\n'
    path.write_text(line_sheet_text(line_l2()) + twice, encoding="utf-8")
    with pytest.raises(SheetError) as told:
        read_line_sheet(path)
    assert str(told.value) == f"{path}: line: the id L2-screw stands more than once. Mend it and try again."


def test_a_mean_is_of_wire_and_a_level_of_readings_that_may_be_used() -> None:
    """Fast wire of 0.5 mm, slow wire of 0.4 mm: as many rows of each, twice the meters (plain arithmetic)."""
    whole = run_with(NO_FLAGS)
    rows = np.flatnonzero(whole.wall_counts)
    mean, speed = np.full(whole.mean_mm.size, np.nan), np.zeros(whole.mean_mm.size)
    fast, slow = rows[::2], rows[1::2]
    mean[fast], mean[slow], speed[fast], speed[slow] = 0.5, 0.4, 2.0, 1.0
    screw = np.full(mean.size, np.nan)
    screw[fast] = 40.0
    run = replace(whole, mean_mm=mean, speed_m_s=speed, machine={"screw_speed_rpm": screw})
    assert run.mean_wall_mm() == pytest.approx(
        (2.0 * 0.5 * fast.size + 0.4 * slow.size) / (2.0 * fast.size + slow.size)
    )
    assert run.level("screw_speed_rpm") == 40.0
    assert replace(run, machine={"screw_speed_rpm": screw * np.nan}).level("screw_speed_rpm") is None
    assert run.level("melt_pressure_bar") is None
    assert np.isnan(replace(run, wall_counts=np.zeros(mean.size, dtype=bool)).mean_wall_mm())

"""A run written to disk: the log is the readings in the plant's units, and the same seed gives the same bytes."""

import gzip
import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.errors import NotFoundError
from pipeline.sheets.line_sheet import read_line_sheet
from pipeline.sheets.plant_sheet import read_plant_sheet
from pipeline.sheets.run_sheet import read_run_sheet
from pipeline.simulator.lines import LINES
from pipeline.simulator.scenario import PlannedReel
from pipeline.simulator.simulate import simulate_run
from pipeline.simulator.simulate_plant import full_size, full_size_scenario
from pipeline.simulator.troubles import SparkFaults, ThinAllRound, WrongUnit
from pipeline.simulator.truth import STATEMENT
from tests.simulator.in_memory import short_scenario, simulate_in_memory

REELS = (PlannedReel("L1-1", 520.0, 900.0), PlannedReel("L1-2", 900.0, 1300.0))
TROUBLES = (ThinAllRound(700.0, 12.0, 0.095), SparkFaults("single", (706.0,), counts=2))


def log_table(path: Path, separator: str = ",") -> pl.DataFrame:
    return pl.read_csv(gzip.decompress(path.read_bytes()), separator=separator)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("run")
    simulate_run(short_scenario(length_m=1600.0, troubles=TROUBLES, reels=REELS), folder, 9)
    return folder


def test_the_sheets_beside_it_are_whole(written: Path) -> None:
    sheet = read_run_sheet(written / "run.toml")
    assert read_line_sheet(written / sheet.line_sheet) == LINES["L1"]()
    assert read_plant_sheet(written / sheet.plant_sheet).plant.zone == "America/Chicago"
    assert [reel.id for reel in sheet.reels] == ["L1-1", "L1-2"]
    assert sheet.covering is not None and sheet.covering.mean_mm == 0.118
    assert {file for log in sheet.logs for file in log.files} == {path.name for path in written.glob("*.gz")}


def test_the_log_holds_the_readings_in_the_plants_units(written: Path) -> None:
    run = simulate_in_memory(short_scenario(length_m=1600.0, troubles=TROUBLES, reels=REELS), 9)
    assert run.readings is not None
    log = log_table(written / "R-short_log.csv.gz")
    assert log.height == run.readings.height == run.truth.rows
    # 1 mil = 0.0254 mm, 1 ft = 0.3048 m exactly; half of the last digit written.
    for name, column, factor, half in (
        ("wall_3_mm", "Wall_3_mil", 0.0254, 0.005),
        ("diameter_x_mm", "ColdOD_X_in", 25.4, 0.000005),
        ("counter_m", "Footage_ft", 0.3048, 0.05),
        ("line_speed_m_s", "LineSpeed_fpm", 0.3048 / 60, 0.05),
    ):
        read = log[column].to_numpy() * factor
        assert np.abs(read - run.readings[name].to_numpy()).max() <= half * factor * 1.001, name
    fahrenheit = log["Extr1_Melt_F"].to_numpy()
    assert (fahrenheit - 32) / 1.8 == pytest.approx(run.readings["melt_temperature_c"].to_numpy(), abs=0.03)


def test_local_time_is_the_plants_clock(written: Path) -> None:
    log = log_table(written / "R-short_log.csv.gz")
    assert log["Timestamp"][:2].to_list() == ["2026-03-03 06:40:00.000", "2026-03-03 06:40:00.100"]


def test_the_same_seed_gives_the_same_bytes_and_another_seed_does_not(written: Path, tmp_path: Path) -> None:
    scenario = short_scenario(length_m=1600.0, troubles=TROUBLES, reels=REELS)
    simulate_run(scenario, tmp_path / "again", 9)
    simulate_run(scenario, tmp_path / "other", 10)
    names = sorted(path.name for path in written.iterdir())
    assert names == sorted(path.name for path in (tmp_path / "again").iterdir())
    for name in names:
        assert (written / name).read_bytes() == (tmp_path / "again" / name).read_bytes(), name
    log = "R-short_log.csv.gz"
    assert (written / log).read_bytes() != (tmp_path / "other" / log).read_bytes()


def test_the_truth_beside_it_says_what_is_where(written: Path) -> None:
    truth = json.loads((written / "truth.json").read_text())
    assert truth["statement"] == STATEMENT
    assert "proves the program consistent with itself" in STATEMENT
    assert truth["rows_written"] == {
        "R-short_log.csv.gz": truth["rows"],
        "R-short_spark.csv.gz": 2,
        "R-short_vision.csv.gz": 0,
    }
    walls = [one for one in truth["beyond_limit"] if one["requirement"] == "minimum average wall"]
    assert len(walls) == 1
    assert 700.0 < walls[0]["from_m"] < 703.0 and 709.0 < walls[0]["to_m"] < 712.0
    assert walls[0]["worst"] == pytest.approx(0.414 - 0.095, abs=0.02)
    # Wire of a reel: the counter at its changes less the line's length, 110 m x 1.0003.
    first = truth["reels"][0]
    assert (first["from_m"], first["to_m"]) == (pytest.approx(409.967), pytest.approx(789.967))
    assert first["lowest_mean_at_m"] == pytest.approx(walls[0]["worst_at_m"])


def test_a_log_in_several_files_continues_from_one_to_the_next(tmp_path: Path) -> None:
    from dataclasses import replace

    scenario = short_scenario(length_m=900.0, reels=(PlannedReel("a", 300.0, 600.0),))
    simulate_run(scenario, tmp_path / "one", 3)
    truth = simulate_run(replace(scenario, log_parts=3), tmp_path / "three", 3)
    whole = log_table(tmp_path / "one" / "R-short_log.csv.gz")
    parts = [log_table(tmp_path / "three" / f"R-short_log_{number}.csv.gz") for number in (1, 2, 3)]
    assert pl.concat(parts).equals(whole)
    assert [part.height for part in parts] == [
        truth.rows_written[f"R-short_log_{n}.csv.gz"] for n in (1, 2, 3)
    ]


def test_a_wrong_unit_is_in_the_figures_and_not_in_the_sheet(tmp_path: Path) -> None:
    scenario = short_scenario(
        length_m=900.0, reels=(PlannedReel("a", 300.0, 600.0),), troubles=(WrongUnit("mm", "mil"),)
    )
    simulate_run(scenario, tmp_path, 3)
    sheet = read_run_sheet(tmp_path / "run.toml")
    assert sheet.logs[0].walls is not None and sheet.logs[0].walls.unit == "mil"
    assert log_table(tmp_path / "R-short_log.csv.gz")["Wall_1_mil"].median() == pytest.approx(0.53, abs=0.05)


def test_line_l2_writes_metric_figures_by_utc(tmp_path: Path) -> None:
    simulate_run(
        short_scenario("1/0 AWG", length_m=300.0, reels=(PlannedReel("a", 190.0, 250.0),)), tmp_path, 3
    )
    log = log_table(tmp_path / "R-short_log.csv.gz", ";")
    assert log["time_utc"][0] == "2026-03-03T12:40:00.000Z"
    assert log["wall_1_mm"].median() == pytest.approx(1.465, abs=0.06)


def test_a_run_of_full_size_has_the_rows_asked_for(tmp_path: Path) -> None:
    done: list[tuple[str, int]] = []
    truth = full_size("L1", "14 AWG", 0.75, 10.0, 1, tmp_path, lambda what, more: done.append((what, more)))
    assert truth.rows == 27_000
    assert done == [("R-L1-full", 20_000), ("R-L1-full", 7_000)]
    sheet = read_run_sheet(tmp_path / "run.toml")
    assert len(sheet.reels) == len(truth.reels) >= 14
    assert sheet.reels[-1].to_m < truth.made_m
    # A run without troubles is sound on every reel.
    assert not [one for one in truth.beyond_limit if one.to_m > truth.reels[0].from_m]


def test_full_size_refuses_what_it_does_not_know() -> None:
    with pytest.raises(NotFoundError) as refused:
        full_size_scenario("L7", "14 AWG", 1.0, 10.0)
    assert str(refused.value) == "--line: there is no line 'L7' to simulate. It may be L1, L2."
    with pytest.raises(NotFoundError) as refused:
        full_size_scenario("L1", "8 AWG", 1.0, 10.0)
    assert (
        str(refused.value)
        == "--product: there is no product '8 AWG' to simulate. It may be THHN/THWN-2 14 AWG solid copper, "
        "THHN/THWN-2 12 AWG concentric copper, XHHW-2 1/0 AWG concentric copper."
    )
    with pytest.raises(NotFoundError) as refused:
        full_size_scenario("L1", "14 AWG", 0.02, 10.0)
    assert (
        str(refused.value)
        == "--hours: 0.02 h is too short for one reel of 2286 m at 13.33 m/s. Give at least 0.10."
    )
    assert full_size_scenario("L1", "14 AWG", 0.10, 10.0).reels
    named = full_size_scenario("L1", "THHN/THWN-2 12 AWG concentric copper", 1.0, 10.0)
    assert named.wire.size == "12 AWG"

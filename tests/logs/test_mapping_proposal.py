"""A proposed mapping is a valid part of a run sheet, and says what the file really is."""

import gzip
import tomllib
from datetime import datetime
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.cli.app import run as reelproof
from pipeline.errors import LogError
from pipeline.logs.column_guess import guess_channel, guess_unit, guess_walls, unit_by_name
from pipeline.logs.log_plan import mapped
from pipeline.logs.mapping_proposal import propose_mapping
from pipeline.sheets.run_sheet import LogFile
from tests.logs.mutations import mutated, shapes
from tests.logs.test_shapes import PLAIN, SHAPES

SAMPLES = Path(__file__).parents[2] / "sample_runs" / "runs"


def log_of(toml: str) -> LogFile:
    return LogFile.model_validate(tomllib.loads(toml)["run"]["logs"][0])


def wide(rows: list[str]) -> str:
    return "\n".join(rows) + "\n"


def test_a_feet_and_mil_log_of_a_european_export(tmp_path: Path) -> None:
    path = tmp_path / "Linie 1.csv"
    rows = [
        "Datum;Uhrzeit;Footage (ft);Line Speed [fpm];Wall 1 mil;Wall 2 mil;Wall 3 mil;Extr1 RPM;Bemerkung"
    ]
    rows += [f"13.03.2026;06:00:0{k};{100 + 3 * k},5;600,0;17,{k};18,{k};16,{k};42;gut" for k in range(8)]
    path.write_bytes(wide(rows).encode("cp1252"))
    proposal = propose_mapping(path, "America/Chicago")
    assert proposal.toml == (
        "# Proposed from the file; check every line against what the instruments really give.\n"
        "[[run.logs]]\n"
        'kind = "readings"\n'
        'files = ["Linie 1.csv"]\n'
        'delimiter = ";"\n'
        'decimal = ","\n'
        'time = { column = "Uhrzeit", date = "Datum", format = "%d.%m.%Y %H:%M:%S" }'
        '  # Add zone = "..." if the clock is not in the plant\'s zone.\n'
        'walls = { columns = ["Wall 1 mil", "Wall 2 mil", "Wall 3 mil"], unit = "mil" }'
        "  # In order of angle from the first sensor.\n"
        "\n"
        "[run.logs.channels]\n"
        'counter_m = { column = "Footage (ft)", unit = "ft" }\n'
        'line_speed_m_s = { column = "Line Speed [fpm]", unit = "ft/min" }\n'
        'screw_speed_rpm = { column = "Extr1 RPM", unit = "rpm" }\n'
        "# not mapped: Bemerkung\n"
    )
    assert proposal.doubts == ()
    assert proposal.preview["time"][0] == datetime(2026, 3, 13, 6, 0)
    assert proposal.preview["line_speed_m_s"].to_list() == pytest.approx([3.048] * 8)
    assert proposal.preview["wall_1_mm"][1] == pytest.approx(17.1 * 0.0254)


@pytest.mark.parametrize("shape", [name for name in SHAPES if name not in {"lines above the header"}])
def test_every_shape_of_the_run_is_mapped_back(shape: str, tmp_path: Path) -> None:
    content, changes = SHAPES[shape]
    path = tmp_path / "log"
    content(path) if callable(content) else path.write_bytes(content)
    log = log_of(propose_mapping(path).toml)
    wanted = changes.get("time", {"column": "time"})
    assert log.time is not None
    assert log.time.column == wanted["column"]
    assert log.time.format == wanted.get("format", "ISO 8601")
    assert log.delimiter == changes.get("delimiter", ",")
    assert log.decimal == changes.get("decimal", ".")
    prefix = "L1." if shape.startswith("long") else ""
    assert [(channel, name) for channel, name, _ in mapped(log)] == [
        ("counter_m", f"{prefix}counter"),
        ("line_speed_m_s", f"{prefix}speed"),
        ("wall_1_mm", f"{prefix}w1"),
        ("wall_2_mm", f"{prefix}w2"),
    ]
    assert (log.long is not None) == shape.startswith("long")
    if shape != "long, by tag":
        # A long table sorted by tag shows only its first tags at its beginning, but the sample here is the whole.
        assert propose_mapping(path).preview.height > 0


def test_lines_above_the_header_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "log"
    path.write_text("Line 1\n\nexported\n" + PLAIN)
    assert log_of(propose_mapping(path).toml).header_line == 4


@pytest.mark.parametrize("run", ["R-0411", "R-0511"])
def test_the_sample_runs_are_mapped_as_their_run_sheets_say(run: str) -> None:
    folder = SAMPLES / run
    sheet = tomllib.loads((folder / "run.toml").read_text())["run"]
    for log in sheet["logs"]:
        proposed = log_of(propose_mapping(folder / log["files"][0]).toml)
        assert proposed.kind == log["kind"]
        said = LogFile.model_validate(log)
        assert mapped(proposed) == mapped(said)
        assert proposed.classes == said.classes
        assert (proposed.time and proposed.time.column) == (said.time and said.time.column)


def test_a_day_that_may_be_a_month_is_a_doubt(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,w1,w2\n03/02/2026 06:00:00,0.44,0.45\n03/02/2026 06:00:01,0.44,0.45\n")
    proposal = propose_mapping(path)
    assert log_of(proposal.toml).time.format == "%m/%d/%Y %H:%M:%S"
    assert proposal.doubts == (
        "Column 'time': Day and month cannot be told apart here: the format may also be %d/%m/%Y %H:%M:%S.",
    )
    # Over midnight only one reading of the date goes on to the next day.
    path.write_text("time,w1,w2\n03/02/2026 23:59:59,0.44,0.45\n04/02/2026 00:00:00,0.44,0.45\n")
    proposal = propose_mapping(path)
    assert log_of(proposal.toml).time.format == "%d/%m/%Y %H:%M:%S"
    assert proposal.doubts == ()


def test_a_unit_whose_name_and_figures_disagree_is_a_doubt() -> None:
    assert guess_unit("wall_1_mm", "Wall_1_mm", 17.2, prefers_us=False) == (
        "mm",
        "The name says mm, but 17.2 would be usual in mil.",
    )
    assert guess_unit("melt_temperature_c", "melt", 370.0, prefers_us=False) == ("degF", "")
    assert guess_unit("line_speed_m_s", "speed", 600.0, prefers_us=True) == (
        "ft/min",
        "The name gives no unit; the size of the figures fits ft/min or m/min.",
    )
    assert guess_unit("line_speed_m_s", "speed", 600.0, prefers_us=False)[0] == "m/min"
    assert guess_unit("counter_m", "length", 600.0, prefers_us=True) == (
        "ft",
        "The name gives no unit; ft is assumed.",
    )
    assert guess_unit("melt_pressure_bar", "p", 1e9, prefers_us=True) == (
        "bar",
        "The figures, 1e+09 in the middle, are unusual in any unit.",
    )


@pytest.mark.parametrize(
    ("name", "channel", "unit"),
    [
        ("Wall_1_mil", None, "mil"),
        ("LineSpeed_fpm", "line_speed_m_s", "ft/min"),
        ("v (m/min)", "line_speed_m_s", "m/min"),
        ("HotOD_in", "hot_diameter_mm", "in"),
        ("ColdOD_X_in", "diameter_x_mm", "in"),
        ("cold_dia_b_mm", "diameter_y_mm", "mm"),
        ("Melt Temp °F", "melt_temperature_c", "degF"),
        ("Massedruck [bar]", "melt_pressure_bar", "bar"),
        ("Spark_kV", "spark_kv", "kV"),
        ("Spark_Count", "spark_counts", None),
        ("Conductor OD", "conductor_mm", None),
        ("Nylon extruder rpm", "covering_screw_speed_rpm", "rpm"),
        ("Footage", "counter_m", "ft"),
        ("comment", None, None),
    ],
)
def test_channel_and_unit_by_name(name: str, channel: str | None, unit: str | None) -> None:
    assert guess_channel(name) == channel
    assert unit_by_name(name) == unit


def test_walls_are_columns_that_count_up() -> None:
    assert guess_walls(("t", "Wand 2", "Wand 1", "Wand 3")) == ("Wand 1", "Wand 2", "Wand 3")
    assert guess_walls(("t", "w0", "w1")) == ("w0", "w1")
    assert guess_walls(("wall 1", "wall 3")) == ()
    assert guess_walls(("wall 1", "temp")) == ("wall 1",)
    assert guess_walls(("w1", "temp")) == ()


def test_what_cannot_be_mapped_is_told(tmp_path: Path) -> None:
    path = tmp_path / "x"
    uncut = (
        "no comma, semicolon, tab, bar or space cuts these lines into columns. Export the log as a table, one row "
        "a line."
    )
    unnamed = (
        "no line names the columns: every line holds numbers. Put a line with the names of the columns at the top "
        "of the log."
    )
    for content, told in [
        ("", "the file is empty. Name another file."),
        ("word\nword\nword\n", uncut),
        ("1,2,3\n4,5,6\n", unnamed),
    ]:
        path.write_text(content)
        with pytest.raises(LogError) as caught:
            propose_mapping(path)
        assert str(caught.value) == f"{path}: {told}"
    path.write_bytes(gzip.compress(b"a,b\n" * 5000)[:30])
    with pytest.raises(LogError) as caught:
        propose_mapping(path)
    assert "the gzip file is cut short or damaged after" in str(caught.value)


def test_columns_cut_by_many_spaces_are_found_and_two_of_one_name_are_told(tmp_path: Path) -> None:
    path = tmp_path / "log.txt"
    row = "2026-03-02T06:00:00   12.5    17.3\n"
    path.write_text("time   footage_ft    wall1_mil\n" + row * 3)
    proposal = propose_mapping(path)
    assert proposal.doubts == ()
    assert "not mapped" not in proposal.toml
    assert proposal.preview["counter_m"].to_list() == pytest.approx([12.5 * 0.3048] * 3)
    path.write_text("time   wall    wall\n" + row * 3)
    told = "More than one column is called 'wall'; give each its own name before it is used."
    assert told in propose_mapping(path).doubts


def test_the_command_shows_rows_or_says_that_none_can_be_read(tmp_path: Path, capsys) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,footage_ft,wall1_mil\n2026-03-02T06:00:00,13,17.3\n")
    assert reelproof(["map", str(path)]) == 0
    assert "counter_m  3.9624" in capsys.readouterr().out.splitlines()
    path.write_text("time,footage_ft,wall1_mil\n")
    assert reelproof(["map", str(path)]) == 0
    assert capsys.readouterr().out.startswith(
        "No row can be read by this proposal yet.\nLook at this: The file has"
    )


def test_a_log_without_time_is_proposed_with_a_doubt(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("w1,w2\n0.44,0.45\n0.44,0.46\n")
    proposal = propose_mapping(path)
    assert proposal.doubts == ("No column reads as time; name it under 'time'.",)
    assert proposal.preview.equals(pl.DataFrame())


def test_damaged_logs_are_proposed_or_refused_in_a_sentence(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    sources = shapes()
    proposed = 0
    for number in range(60):
        path = tmp_path / "log"
        path.write_bytes(mutated(sources[number % len(sources)][0], rng))
        try:
            proposal = propose_mapping(path)
        except LogError as fault:
            assert str(fault).startswith(str(path))
            continue
        tomllib.loads(proposal.toml)
        proposed += 1
    assert proposed > 30


def proposed(tmp_path: Path, text: str | bytes):
    path = tmp_path / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return propose_mapping(path)


def test_a_decimal_comma_in_the_time_is_no_delimiter(tmp_path: Path) -> None:
    rows = "".join(f"25.03.2026 06:00:{k:02d},500;{2 * k},5;0,4{k % 10};0,44\n" for k in range(60))
    one = proposed(tmp_path, "Zeit;Laenge m;Wand 1;Wand 2\n" + rows)
    assert (one.look.delimiter, one.look.decimal, one.look.header_line) == (";", ",", 1)
    assert [column.channel for column in one.columns] == ["counter_m", "wall_1_mm", "wall_2_mm"]
    assert one.preview["counter_m"].to_list()[:2] == [0.5, 2.5]


def test_a_byte_order_mark_needs_no_encoding_and_one_wall_is_a_wall(tmp_path: Path) -> None:
    rows = "".join(f"2026-03-25T06:00:{k:02d},{k}.5,44{k % 10}\n" for k in range(60))
    one = proposed(tmp_path, ("Time,Length m,Wall1 µm\n" + rows).encode("utf-16"))
    assert "encoding" not in one.toml
    assert [(column.channel, column.unit) for column in one.columns][1] == ("wall_1_mm", "um")


def test_walls_by_letter_and_a_lone_diameter(tmp_path: Path) -> None:
    rows = "".join(f"2026-03-25T06:00:{k:02d},{k}.5,17.3,17.4,0.111\n" for k in range(60))
    one = proposed(tmp_path, "Time,Footage (ft),Wall B (mil),Wall A (mil),od_in\n" + rows)
    assert [column.channel for column in one.columns] == [
        "counter_m",
        "wall_2_mm",
        "wall_1_mm",
        "diameter_x_mm",
    ]


def test_lengths_and_voltages_without_times_are_spark_faults(tmp_path: Path) -> None:
    one = proposed(tmp_path, "Footage_ft;Voltage kV;No\n" + "".join(f"{k}0.5;7.5;{k}\n" for k in range(30)))
    assert one.kind == "spark faults"
    assert one.doubts == ("No column reads as time; the events are placed by their length.",)
    assert 'at = { column = "Footage_ft", unit = "ft" }' in one.toml
    assert one.preview["spark_kv"].to_list()[0] == 7.5

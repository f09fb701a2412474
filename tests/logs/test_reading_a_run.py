"""A run's logs as one table: every row kept or set aside, on one clock, in units of the store."""

import gzip
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.errors import LogError
from pipeline.flags import MISSING, OUT_OF_RANGE
from tests.logs.sheets import HEADER, WIDE, read
from tests.said import said, worded

ROWS = (
    "2026-03-02T06:00:00.000,0.0,8.0,0.440,0.450\n"
    "2026-03-02T06:00:00.100,0.8,8.0,0.441,0.451\n"
    "2026-03-02T06:00:00.200,1.6,8.0,0.442,0.452\n"
)


def identity_holds(run) -> bool:
    by_file = {file.file_no: 0 for file in run.files}
    by_file |= dict(run.set_aside.group_by("file_no").len().iter_rows())
    return all(
        file.rows_read == file.rows_kept + file.rows_set_aside
        and file.rows_set_aside == by_file[file.file_no]
        for file in run.files
    )


def test_a_clean_log_is_read_whole(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text(HEADER + ROWS)
    run = read(tmp_path, WIDE)
    assert run.readings.columns == [
        "row",
        "file_no",
        "line",
        "time_utc",
        "counter_m",
        "line_speed_m_s",
        "wall_1_mm",
        "wall_2_mm",
    ]
    assert run.readings["row"].to_list() == [0, 1, 2]
    assert run.readings["line"].to_list() == [2, 3, 4]
    assert run.readings["wall_2_mm"].to_list() == [0.450, 0.451, 0.452]
    # America/Chicago is six hours behind UTC in winter.
    assert run.readings["time_utc"][0] == datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
    assert run.flagged.height == 0
    assert run.warnings == ()
    file = run.files[0]
    assert (file.rows_read, file.rows_kept, file.rows_set_aside) == (3, 3, 0)
    assert file.bytes == len(HEADER + ROWS)


def test_gzip_gives_the_same_readings(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text(HEADER + ROWS)
    plain = read(tmp_path, WIDE)
    (tmp_path / "gauge.csv.gz").write_bytes(gzip.compress((HEADER + ROWS).encode()))
    packed = read(tmp_path, WIDE | {"files": ["gauge.csv.gz"]})
    assert packed.readings.equals(plain.readings)


def test_bad_lines_are_set_aside_with_reason_line_and_text(tmp_path: Path) -> None:
    text = HEADER + (
        "2026-03-02T06:00:00.0,0.0,8.0,0.440,0.450\n"
        "\n"
        "2026-03-02T06:00:00.1,0.8,8.0,0.441\n"
        "2026-03-02T06:00:00.2,1.6,8.0,0.442,0.452,9\n"
        "2026-03-02T06:00:00.3,2.4,fast,0.443,0.453\n"
        "yesterday,3.2,8.0,0.444,0.454\n"
        ",3.2,8.0,0.444,0.454\n"
        "2026-03-02T06:00:00.6,4.8,8.0,,0.455\n"
        '"2026-03-02T06:00:00.7,5.6,8.0,0.446,0.456\n'
    )
    (tmp_path / "gauge.csv").write_text(text)
    run = read(tmp_path, WIDE)
    assert worded(run.set_aside).rows() == [
        (0, 4, "the line has 4 cells, the header names 5", "2026-03-02T06:00:00.1,0.8,8.0,0.441"),
        (
            0,
            5,
            "the line has 6 cells, the header names 5",
            "2026-03-02T06:00:00.2,1.6,8.0,0.442,0.452,9",
        ),
        (
            0,
            6,
            "column 'speed' holds 'fast', which is not a number",
            "2026-03-02T06:00:00.3,2.4,fast,0.443,0.453",
        ),
        (
            0,
            7,
            "column 'time' holds 'yesterday', which is not a time of the form ISO 8601",
            "yesterday,3.2,8.0,0.444,0.454",
        ),
        (0, 8, "column 'time' is empty, and a row needs its time", ",3.2,8.0,0.444,0.454"),
        (
            0,
            10,
            'the line opens a quote (") that it does not close',
            '"2026-03-02T06:00:00.7,5.6,8.0,0.446,0.456',
        ),
    ]
    assert run.readings["line"].to_list() == [2, 9]
    assert (run.files[0].rows_read, run.files[0].rows_kept) == (8, 2)
    assert identity_holds(run)
    assert run.flagged.rows() == [(1, "wall_1_mm", MISSING.code)]


def test_units_are_converted_at_the_door(tmp_path: Path) -> None:
    text = "time,counter,speed,w1,w2\n2026-03-02T06:00:00,1000,600,17.0,17.5\n"
    (tmp_path / "gauge.csv").write_text(text)
    channels = {
        "counter_m": {"column": "counter", "unit": "ft"},
        "line_speed_m_s": {"column": "speed", "unit": "ft/min"},
    }
    run = read(tmp_path, WIDE | {"channels": channels, "walls": {"columns": ["w1", "w2"], "unit": "mil"}})
    row = run.readings.row(0, named=True)
    # 1 ft = 0.3048 m and 1 mil = 0.0254 mm exactly (NIST SP 811, appendix B.8).
    assert row["counter_m"] == pytest.approx(304.8, rel=1e-12)
    assert row["line_speed_m_s"] == pytest.approx(3.048, rel=1e-12)
    assert row["wall_1_mm"] == pytest.approx(0.4318, rel=1e-12)
    assert row["wall_2_mm"] == pytest.approx(0.4445, rel=1e-12)


def test_a_value_out_of_the_instruments_range_is_flagged_and_kept(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text(HEADER + "2026-03-02T06:00:00,0.0,8.0,99.9,0.450\n")
    run = read(tmp_path, WIDE)
    assert run.readings["wall_1_mm"].to_list() == [99.9]
    assert run.flagged.rows() == [(0, "wall_1_mm", OUT_OF_RANGE.code)]


def test_events_by_time_and_by_length(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text(HEADER + ROWS)
    (tmp_path / "spark.csv").write_text(
        "when,kV\n2026-03-02T06:00:00.150,7.5\n2026-03-02T06:00:00.050,7.4\nbroken,7.4\n"
    )
    (tmp_path / "flaws.csv").write_text("at,size,class\n3.0,0.5,lump\n1.0,0.4,pit\n,0.4,pit\n")
    spark = {
        "kind": "spark faults",
        "files": ["spark.csv"],
        "time": {"column": "when"},
        "channels": {"spark_kv": {"column": "kV", "unit": "kV"}},
    }
    flaws = {
        "kind": "surface flaws",
        "files": ["flaws.csv"],
        "at": {"column": "at", "unit": "ft"},
        "classes": "class",
        "channels": {"flaw_size_mm": {"column": "size", "unit": "mm"}},
    }
    run = read(tmp_path, WIDE, spark, flaws)
    assert run.events.select("kind", "file_no", "line", "spark_kv", "flaw_class").rows() == [
        ("spark fault", 1, 3, 7.4, None),
        ("spark fault", 1, 2, 7.5, None),
        ("surface flaw", 2, 3, None, "pit"),
        ("surface flaw", 2, 2, None, "lump"),
    ]
    assert run.events["counter_m"].to_list()[2:] == pytest.approx([0.3048, 0.9144])
    assert worded(run.set_aside).select("file_no", "line", "reason").rows() == [
        (1, 4, "column 'when' holds 'broken', which is not a time of the form ISO 8601"),
        (2, 4, "column 'at' is empty: the event has no place"),
    ]
    assert identity_holds(run)


def test_an_event_list_without_events_is_whole(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text(HEADER + ROWS)
    (tmp_path / "spark.csv").write_text("when,kV\n")
    spark = {"kind": "spark faults", "files": ["spark.csv"], "time": {"column": "when"}}
    run = read(tmp_path, WIDE, spark)
    assert run.events.height == 0
    assert run.events.schema["time_utc"] == pl.Datetime("us", "UTC")
    assert run.files[1].rows_read == 0


def test_logs_of_different_rates_stand_in_one_table_by_time(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text(HEADER + ROWS)
    (tmp_path / "melt.csv").write_text("t,bar\n2026-03-02T12:00:00.150Z,210\n2026-03-02T12:00:01.150Z,211\n")
    melt = {
        "kind": "readings",
        "files": ["melt.csv"],
        "time": {"column": "t"},
        "channels": {"melt_pressure_bar": {"column": "bar", "unit": "bar"}},
    }
    run = read(tmp_path, WIDE, melt)
    assert run.readings.select("row", "file_no", "line").rows() == [
        (0, 0, 2),
        (1, 0, 3),
        (2, 1, 2),
        (3, 0, 4),
        (4, 1, 3),
    ]
    assert run.readings["melt_pressure_bar"].to_list() == [None, None, 210.0, None, 211.0]
    # A channel that a log does not carry is no missing reading of it.
    assert run.flagged.height == 0


def test_overlapping_files_count_each_row_once(tmp_path: Path) -> None:
    lines = ROWS.splitlines(keepends=True)
    (tmp_path / "a.csv").write_text(HEADER + "".join(lines[:2]))
    (tmp_path / "b.csv").write_text(HEADER + "".join(lines[1:]))
    run = read(tmp_path, WIDE | {"files": ["a.csv", "b.csv"]})
    assert run.readings.select("file_no", "line").rows() == [(0, 2), (0, 3), (1, 3)]
    assert worded(run.set_aside).rows() == [
        (1, 2, "the same instant and values stand on line 3 of a.csv", lines[1].strip())
    ]
    assert [(f.rows_read, f.rows_kept, f.rows_set_aside) for f in run.files] == [(2, 2, 0), (2, 1, 1)]
    assert said(run.warnings) == (
        "b.csv: 1 row stands in an earlier file of the same log too; counted once.",
    )


def test_every_complaint_of_every_log_is_raised_at_once(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text("time,counter,speed,w1,w_2\n" + ROWS)
    spark = {"kind": "spark faults", "files": ["spark.csv"], "time": {"column": "when"}}
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE, spark)
    assert str(caught.value) == (
        f"{tmp_path}/gauge.csv:1: there is no column 'w2'. The nearest is 'w_2'; correct the mapping if that "
        "is meant.\n"
        f"{tmp_path}/spark.csv: there is no such file. Check the path, or its name in the run sheet."
    )


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("0,44", 0.44),
        ("1.234,5", None),
        ("0.44", None),
        ("44", 44.0),
        ("-0,5", -0.5),
        (",5", 0.5),
        ("4,4,4", None),
    ],
)
def test_a_decimal_comma_is_a_comma_alone(cell: str, value: float | None, tmp_path: Path) -> None:
    good = "2026-03-02T06:00:00;0;8;0,44;0,45\n"
    for damage in ("", "bad\n"):
        # Read alike on the fast way and on the closer look that the bad line asks for.
        text = HEADER.replace(",", ";") + good + f"2026-03-02T06:00:01;0;8;{cell};0,45\n" + damage
        (tmp_path / "gauge.csv").write_text(text)
        run = read(tmp_path, WIDE | {"delimiter": ";", "decimal": ","})
        if value is None:
            assert run.readings.height == 1
            assert (
                worded(run.set_aside)["reason"][0]
                == f"column 'w1' holds '{cell}', which is not a number with a decimal comma"
            )
        else:
            assert run.readings["wall_1_mm"].to_list() == [0.44, value]
        assert identity_holds(run)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.floats(-1e300, 1e300).map(repr),
            st.floats(-9, 9).map(lambda value: f"{value:.12f}"),
            st.sampled_from(["+1.5", ".5", "5.", "1E3", " 7 ", "\t7", "1e-320", "inf", "-Infinity", "NAN"]),
        ),
        min_size=1,
        max_size=8,
    )
)
def test_the_fast_way_and_the_closer_look_read_the_same_figures(tmp_path_factory, cells: list[str]) -> None:
    folder = tmp_path_factory.mktemp("ways")
    rows = "".join(f"2026-03-02T06:00:0{k},0,8,{cell},0.45\n" for k, cell in enumerate(cells))
    seen = []
    for damage in ("", "bad\n"):
        (folder / "gauge.csv").write_text(HEADER + rows + damage)
        seen.append(read(folder, WIDE).readings["wall_1_mm"].to_list())
    plain = [float(cell) for cell in cells]
    assert seen[0] == seen[1] == [None if value != value else value for value in plain]

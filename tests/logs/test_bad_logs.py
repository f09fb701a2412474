"""Logs that cannot be read: the whole sentence that the person sees."""

import gzip
from pathlib import Path

import polars as pl
import pyarrow as pa
import pytest

from pipeline import regular_file
from pipeline.errors import LogError
from pipeline.logs.run_logs import read_logs
from tests.logs.sheets import HEADER, WIDE, line_sheet, read, run_sheet
from tests.said import said, worded

ROW = "2026-03-02T06:00:00,0.0,8.0,0.44,0.45\n"
ZSTD = pa.Codec("zstd").compress((HEADER + ROW * 2000).encode(), asbytes=True)


def told(folder: Path, content: bytes, **changes) -> str:
    """What is said of a log, its path left out."""
    (folder / "gauge.csv").write_bytes(content)
    with pytest.raises(LogError) as caught:
        read(folder, WIDE | changes)
    text = str(caught.value)
    path = f"{folder}/gauge.csv"
    assert text.startswith(path)
    return text.removeprefix(path)


CASES = {
    "empty": (
        b"",
        {},
        ": the file is empty. Name the right file, or take it out of the run sheet.",
    ),
    "blank lines only": (
        b"\n  \n\r\n",
        {},
        ": the file is empty. Name the right file, or take it out of the run sheet.",
    ),
    "header only": (
        HEADER.encode(),
        {},
        ": the file has a header and no rows. Name the right file, or take it out of the run sheet.",
    ),
    "missing column": (
        b"time,counter,speed,w1,W_2\n" + ROW.encode(),
        {},
        ":1: there is no column 'w2'. The nearest is 'W_2'; correct the mapping if that is meant.",
    ),
    "missing column with no likeness": (
        b"time,counter,speed,w1,xyz\n" + ROW.encode(),
        {"walls": {"columns": ["w1", "thickness"], "unit": "mm"}},
        (
            ":1: there is no column 'thickness'. The columns are 'time', 'counter', 'speed', 'w1', 'xyz'; correct "
            "the mapping."
        ),
    ),
    "wrong delimiter": (
        HEADER.replace(",", ";").encode() + ROW.replace(",", ";").encode(),
        {"walls": None, "channels": {"counter_m": {"column": "counter", "unit": "m"}}},
        (
            ":1: there is no column 'time': cut at ',' the header is one column, 'time;counter;speed;w1;w2'. Set "
            "delimiter in the log's mapping, or header_line where the names stand further down; 'reelproof map' "
            "proposes both."
        ),
    ),
    "two columns of a name": (
        b"time,counter,speed,w1,w2,w2\n2026-03-02T06:00:00,0,8,1,1,1\n",
        {},
        ":1: 2 columns are named 'w2'. Give each its own name in the header, so that it is plain which is meant.",
    ),
    "unit of another kind": (
        (HEADER + ROW).encode(),
        {"channels": {"counter_m": {"column": "counter", "unit": "degC"}}},
        (
            ": column 'counter' (counter_m): unit 'degC' measures another kind of quantity than m. Give a unit that "
            "converts to m."
        ),
    ),
    "unknown unit": (
        (HEADER + ROW).encode(),
        {"walls": {"columns": ["w1"], "unit": "milx"}},
        (
            ": column 'w1' (wall_1_mm): 'milx' is not a unit this program knows. Write it like mm, mil, in, m, ft, "
            "m/s, ft/min, degC, degF, bar, psi, kV, V or rpm."
        ),
    ),
    "no row can be read": (
        (HEADER + ROW.replace("2026-03-02T06:00:00", "02.03.2026 06:00") * 3).encode(),
        {},
        (
            ":2: column 'time' holds '02.03.2026 06:00', which is not a time of the form ISO 8601; and no other line "
            "of this file can be read either. Compare the file with its mapping: delimiter, decimal mark, encoding, "
            "time format, columns."
        ),
    ),
    "hardly a line can be read": (
        (HEADER + ROW * 3 + "x,\n" * 101_000).encode(),
        {},
        (
            ":5: the line has 2 cells, the header names 5; and most other lines of this file, over 100,000, cannot be "
            "read either. Compare the file with its mapping: delimiter, decimal mark, encoding, time format, columns."
        ),
    ),
    "hardly a time can be read": (
        (HEADER + ROW * 3 + ROW.replace("2026", "2O26") * 101_000).encode(),
        {},
        (
            ":5: column 'time' holds '2O26-03-02T06:00:00', which is not a time of the form ISO 8601; and most other "
            "lines of this file, over 100,000, cannot be read either. Compare the file with its mapping: delimiter, "
            "decimal mark, encoding, time format, columns."
        ),
    ),
    "unknown time format": (
        (HEADER + ROW).encode(),
        {"time": {"column": "time", "format": "%d/%m/%Y"}},
        (
            ": time.format: the time format '%d/%m/%Y' has no date or no hour; it may be ISO 8601, epoch s, epoch "
            "ms, epoch us, or a pattern like %d/%m/%Y %H:%M:%S.%f. Correct it in the mapping."
        ),
    ),
    "unknown zone": (
        (HEADER + ROW).encode(),
        {"time": {"column": "time", "zone": "America/Chicage"}},
        (
            ": time.zone: there is no time zone 'America/Chicage'. Write its IANA name, for example America/Chicago, "
            "Europe/Berlin, Etc/GMT+6 or UTC."
        ),
    ),
    "unknown encoding": (
        (HEADER + ROW).encode(),
        {"encoding": "utf-9"},
        (
            ": encoding: 'utf-9' is not a text encoding this program knows. Write utf-8, utf-16, latin-1 or cp1252, "
            "or another name of Python's list of encodings."
        ),
    ),
    "an encoding that is none of text": (
        (HEADER + ROW).encode(),
        {"encoding": "base64"},
        (
            ": encoding: 'base64' is not a text encoding this program knows. Write utf-8, utf-16, latin-1 or cp1252, "
            "or another name of Python's list of encodings."
        ),
    ),
    "header in another encoding": (
        ("Zeit µ," + HEADER).encode("latin-1") + b"1," + ROW.encode(),
        {},
        (
            ':1: the header is not utf-8 text. Set the encoding in its mapping, for example encoding = "latin-1" or '
            '"cp1252".'
        ),
    ),
    "UTF-16 without a mark": (
        (HEADER + ROW).encode("utf-16-le"),
        {},
        (
            ': every other byte is zero, as in UTF-16 text without a byte order mark. Set encoding = "utf-16-le" in '
            "its mapping."
        ),
    ),
    "bytes that are no text": (
        b"\x00\x01\x02" * 9 + (HEADER + ROW).encode(),
        {},
        ": byte 1 is zero: this is not a text log. Export the log as CSV and name that file.",
    ),
    "nothing but zeros": (
        bytes(5000),
        {},
        ": byte 1 is zero: this is not a text log. Export the log as CSV and name that file.",
    ),
    "JSON": (
        b'{"time": "2026-03-02T06:00:00", "wall": 0.44}\n' * 9,
        {},
        ": this is a JSON file, not a text log. Export it as CSV and name that file.",
    ),
    "spreadsheet": (
        b"PK\x03\x04rest",
        {},
        ": this is a zip archive or a spreadsheet, not a text log. Export it as CSV and name that file.",
    ),
    "gzip cut short": (
        gzip.compress((HEADER + ROW * 2000).encode())[:-20],
        {},
        (
            ": the gzip file is cut short or damaged after 0 bytes of text. Copy it again from the logger; if it is "
            "still being written, wait until it is whole."
        ),
    ),
    "zstd cut short": (
        ZSTD[:-20],
        {},
        (
            ": the zstd file is cut short or damaged after 0 bytes of text. Copy it again from the logger; if it is "
            "still being written, wait until it is whole."
        ),
    ),
    "endless line": (
        HEADER.encode() + b"x" * (17 << 20),
        {},
        (
            ":2: the line goes on for more than 16 MB: this is not a table of rows. Name the right file, or export "
            "the log as CSV."
        ),
    ),
    "one column for two things": (
        (HEADER + ROW).encode(),
        {"channels": {"counter_m": {"column": "time", "unit": "m"}}},
        ":1: column 'time' is mapped as the time and as counter_m. Name the column that holds the channel.",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_a_log_that_cannot_be_read_says_why(case: str, tmp_path: Path) -> None:
    content, changes, sentence = CASES[case]
    assert told(tmp_path, content, **changes) == sentence.replace("{path}", f"{tmp_path}/gauge.csv")


def test_a_log_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE)
    assert str(caught.value) == (
        f"{tmp_path}/gauge.csv: there is no such file. Check the path, or its name in the run sheet."
    )


def test_a_folder_in_place_of_a_log(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").mkdir()
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE)
    assert str(caught.value) == (
        f"{tmp_path}/gauge.csv: this is a folder, not a log. Name the log files themselves in the run sheet."
    )


@pytest.mark.parametrize(
    ("fault", "sentence"),
    [
        (
            PermissionError(13, "Permission denied"),
            "you may not read this file. Ask for read permission, or copy it.",
        ),
        (
            OSError(5, "Input/output error"),
            "the file cannot be opened: Input/output error. Copy it to this machine and try again.",
        ),
    ],
)
def test_a_log_that_may_not_be_opened(fault, sentence, tmp_path: Path, monkeypatch) -> None:
    # Not by file mode: the superuser reads any file.
    def refuse(self, *args, **kwargs):
        raise fault

    (tmp_path / "gauge.csv").write_text(HEADER + ROW)
    monkeypatch.setattr(regular_file.os, "open", refuse)
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE)
    assert str(caught.value) == f"{tmp_path}/gauge.csv: {sentence}"


def test_a_damaged_parquet_log(tmp_path: Path) -> None:
    path = tmp_path / "gauge.csv"
    pl.DataFrame({"time": ["2026-03-02T06:00:00"], "w1": [0.44]}).write_parquet(path)
    path.write_bytes(path.read_bytes()[:-12])
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE)
    text = str(caught.value)
    assert text.startswith(f"{path}: the Parquet file is cut short or damaged (")
    assert text.endswith(
        "). Copy it again from the logger; if it is still being written, wait until it is whole."
    )


def test_parquet_columns_of_the_wrong_kind(tmp_path: Path) -> None:
    frame = pl.DataFrame({"time": [True], "counter": [[1.0]], "speed": [1.0], "w1": [0.4], "w2": ["x"]})
    frame.write_parquet(tmp_path / "gauge.csv")
    with pytest.raises(LogError) as caught:
        read(tmp_path, WIDE)
    assert [complaint.found for complaint in caught.value.complaints] == [
        "column 'counter' holds large_list<element: double>, not numbers",
        "column 'time' holds bool, not times",
    ]


def test_parquet_rows_that_cannot_be_read(tmp_path: Path) -> None:
    frame = pl.DataFrame(
        {
            "time": ["2026-03-02T06:00:00", "soon", None],
            "counter": [0.0, 1.0, 2.0],
            "speed": [8, 8, 8],
            "w1": [0.4, None, 0.4],
            "w2": ["0.5", "0.5", "0.5"],
        }
    )
    frame.write_parquet(tmp_path / "gauge.csv")
    run = read(tmp_path, WIDE)
    assert run.readings.select("line", "counter_m", "wall_2_mm").rows() == [(1, 0.0, 0.5)]
    assert worded(run.set_aside).rows() == [
        (
            0,
            2,
            "column 'time' holds 'soon', which is not a time of the form ISO 8601",
            "counter=1.0, speed=8, w1=None, w2=0.5, time=soon",
        ),
        (
            0,
            3,
            "column 'time' is empty, and a row needs its time",
            "counter=2.0, speed=8, w1=0.4, w2=0.5, time=None",
        ),
    ]


def test_a_skipped_hour_is_set_aside_with_its_remedy(tmp_path: Path) -> None:
    text = HEADER + ROW.replace("2026-03-02T06:00", "2026-03-08T02:30") + ROW.replace("-02T", "-08T")
    (tmp_path / "gauge.csv").write_text(text)
    run = read(tmp_path, WIDE)
    assert worded(run.set_aside)["reason"].to_list() == [
        (
            "column 'time' says '2026-03-08T02:30:00', which clocks in America/Chicago never showed: they were put "
            'forward over it; if this clock does not follow daylight saving, set zone = "Etc/GMT+6"'
        )
    ]


def test_the_repeated_hour_is_told_and_resolved(tmp_path: Path) -> None:
    times = ["00:59:59", "01:00:00", "01:59:59", "01:00:00", "01:59:59", "02:00:00"]
    made = [0, 8, 28_800, 28_808, 57_600, 57_608]
    rows = [f"2026-11-01T{time},{at}.0,8.0,0.44,0.45\n" for time, at in zip(times, made, strict=True)]
    text = HEADER + "".join(rows)
    (tmp_path / "gauge.csv").write_text(text)
    run = read(tmp_path, WIDE)
    seconds = run.readings["time_utc"].dt.epoch("s")
    assert (seconds - seconds[0]).to_list() == [0, 1, 3600, 3601, 7200, 7201]
    assert run.readings["line"].to_list() == [2, 3, 4, 5, 6, 7]
    assert said(run.warnings) == (
        (
            "gauge.csv: Clocks were put back in America/Chicago: 2026-11-01 01:00 to 02:00 happened twice, and 4 "
            "readings of the log are of it. The clock is seen falling back, which separates the passes."
        ),
    )


def test_rows_are_told_as_they_are_read(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text(HEADER + ROW * 5 + "bad\n")
    seen: list[int] = []
    read_logs(run_sheet(WIDE), line_sheet(), tmp_path, "UTC", seen.append)
    assert sum(seen) == 6


def test_a_line_without_its_end_is_read_and_told(tmp_path: Path) -> None:
    (tmp_path / "gauge.csv").write_text(HEADER + ROW + ROW.replace(":00,", ":01,").rstrip("\n"))
    run = read(tmp_path, WIDE)
    assert run.readings.height == 2
    assert said(run.warnings) == (
        "gauge.csv: the last line does not end in a line end; it is read as it stands.",
    )


@pytest.mark.parametrize("zone", ["UTC", None])
@pytest.mark.parametrize("count", [-6_917_529_027_641_081_856, 2**63 - 1])
@pytest.mark.parametrize("unit", ["ms", "us"])
def test_a_parquet_time_that_no_calendar_holds_is_set_aside(
    tmp_path: Path, unit: str, count: int, zone: str | None
) -> None:
    """Found by damaging bytes of Parquet: the count of units is any whole number of 64 bits."""
    import pyarrow as pa
    from pyarrow import parquet

    noon = {"ms": 1_772_452_800_000, "us": 1_772_452_800_000_000}[unit]
    times = pa.array([noon, count], pa.timestamp(unit, zone))
    columns = {"time": times, "counter": [0.0, 1.0], "speed": [8.0, 8.0], "w1": [0.44] * 2, "w2": [0.45] * 2}
    parquet.write_table(pa.table(columns), tmp_path / "gauge.csv")
    run = read(tmp_path, WIDE)
    assert run.readings.height == 1
    ((line, reason, text),) = worded(run.set_aside).select("line", "reason", "text").rows()
    assert line == 2
    assert reason.startswith(f"column 'time' says '{count} {unit} since 1970', which as ")
    assert f"time={count}" in text


def test_a_parquet_file_of_which_hardly_a_row_can_be_read(tmp_path: Path) -> None:
    times = ["2026-03-02T06:00:00"] * 3 + [None] * 500_000
    frame = pl.DataFrame(
        {"time": times} | {name: [1.0] * len(times) for name in ("counter", "speed", "w1", "w2")}
    )
    frame.write_parquet(tmp_path / "log.parquet")
    with pytest.raises(LogError) as fault:
        read(tmp_path, WIDE | {"files": ["log.parquet"]})
    assert " rows only 3 can be read. Compare the file with its mapping" in str(fault.value)

"""One run in every shape a plant logs it in loads to the same readings."""

import gzip
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pyarrow as pa
import pytest

from pipeline.flags import MISSING
from pipeline.logs.run_logs import LoadedRun
from tests.logs.sheets import WIDE, read
from tests.said import said, worded

COUNT = 400
RNG = np.random.default_rng(11)
LOCAL = ZoneInfo("America/Chicago")
TIMES = [datetime(2026, 3, 2, 12, 0, tzinfo=UTC) + timedelta(milliseconds=100 * k) for k in range(COUNT)]
VALUES = {
    "counter": [round(0.8 * k, 2) for k in range(COUNT)],
    "speed": RNG.normal(8, 0.05, COUNT).round(3).tolist(),
    "w1": RNG.normal(0.44, 0.004, COUNT).round(3).tolist(),
    "w2": RNG.normal(0.45, 0.004, COUNT).round(3).tolist(),
}
VALUES["w1"][7] = None
NAMES = list(VALUES)
Shape = tuple[bytes | Callable[[Path], None], dict[str, Any]]


def local(time: datetime, pattern: str = "%Y-%m-%dT%H:%M:%S.%f") -> str:
    return time.astimezone(LOCAL).strftime(pattern)


def text_of(stamp, number=str, delimiter=",", header="time", newline="\n", quote="") -> str:
    lines = [delimiter.join(f"{quote}{name}{quote}" for name in [header, *NAMES])]
    for row, time in enumerate(TIMES):
        cells = [stamp(time), *("" if VALUES[n][row] is None else number(VALUES[n][row]) for n in NAMES)]
        lines.append(delimiter.join(f"{quote}{cell}{quote}" for cell in cells))
    return newline.join(lines) + newline


def long_lines(order: list[tuple[int, str]]) -> str:
    lines = ["Tag;Zeit;Wert;Status"]
    for row, name in order:
        if VALUES[name][row] is not None:
            lines.append(f"L1.{name};{TIMES[row].isoformat()};{VALUES[name][row]};192")
        lines.append(f"L1.other{row % 3};{TIMES[row].isoformat()};RUN;192")
    return "\n".join(lines) + "\n"


def tagged() -> dict[str, Any]:
    return {
        "delimiter": ";",
        "time": {"column": "Zeit"},
        "channels": {
            "counter_m": {"column": "L1.counter", "unit": "m"},
            "line_speed_m_s": {"column": "L1.speed", "unit": "m/s"},
        },
        "walls": {"columns": ["L1.w1", "L1.w2"], "unit": "mm"},
        "long": {"tag": "Tag", "value": "Wert", "quality": "Status"},
    }


def write_parquet(dtype: pl.DataType, text: bool = False) -> Callable[[Path], None]:
    def write(path: Path) -> None:
        times = pl.Series("time", TIMES, dtype=pl.Datetime("us", "UTC"))
        frame = pl.DataFrame([times.cast(dtype), *(pl.Series(name, VALUES[name]) for name in NAMES)])
        if text:
            frame = frame.with_columns(pl.col(NAMES).cast(pl.String))
        frame.write_parquet(path)

    return write


def comma(value: float) -> str:
    return str(value).replace(".", ",")


PLAIN = text_of(local)
ZSTD = pa.Codec("zstd").compress(PLAIN.encode(), asbytes=True)
SHAPES: dict[str, Shape] = {
    "CSV": (PLAIN.encode(), {}),
    "gzip": (gzip.compress(PLAIN.encode()), {}),
    "gzip in two members": (gzip.compress(PLAIN[:999].encode()) + gzip.compress(PLAIN[999:].encode()), {}),
    "zstd": (ZSTD, {}),
    "CR LF": (text_of(local, newline="\r\n").encode(), {}),
    "lone CR": (text_of(local, newline="\r").encode(), {}),
    "no line end at the end": (PLAIN.rstrip("\n").encode(), {}),
    "every cell quoted": (text_of(local, quote='"').encode(), {}),
    "semicolons and decimal comma": (
        text_of(local, comma, ";").encode(),
        {"delimiter": ";", "decimal": ","},
    ),
    "tabs": (text_of(local, delimiter="\t").encode(), {"delimiter": "\t"}),
    "UTF-8 with a byte order mark": (PLAIN.encode("utf-8-sig"), {}),
    "UTF-16 with a byte order mark": (PLAIN.encode("utf-16"), {}),
    "UTF-16 big end first": (PLAIN.encode("utf-16-be"), {"encoding": "utf-16-be"}),
    "Latin-1": (
        text_of(local, header="Zeit µ°").encode("latin-1"),
        {"encoding": "latin-1", "time": {"column": "Zeit µ°"}},
    ),
    "lines above the header": (
        ("Line 1\n\nexported\n" + PLAIN).encode(),
        {"header_line": 4},
    ),
    "offset in the time": (text_of(lambda t: t.isoformat()).encode(), {}),
    "another zone": (
        text_of(lambda t: t.astimezone(ZoneInfo("Europe/Berlin")).strftime("%Y-%m-%d %H:%M:%S.%f")).encode(),
        {"time": {"column": "time", "zone": "Europe/Berlin"}},
    ),
    "day first": (
        text_of(lambda t: local(t, "%d.%m.%Y %H:%M:%S,%f"), delimiter=";").encode(),
        {"delimiter": ";", "time": {"column": "time", "format": "%d.%m.%Y %H:%M:%S,%f"}},
    ),
    "month first, twelve hours": (
        text_of(lambda t: local(t, "%m/%d/%Y %I:%M:%S.%f %p")).encode(),
        {"time": {"column": "time", "format": "%m/%d/%Y %I:%M:%S.%f %p"}},
    ),
    "month by name, unpadded": (
        text_of(lambda t: local(t, "%d %b %Y %H:%M:%S.%f").lstrip("0")).encode(),
        {"time": {"column": "time", "format": "%d %b %Y %H:%M:%S.%f"}},
    ),
    "epoch s": (
        text_of(lambda t: f"{t.timestamp():.1f}").encode(),
        {"time": {"column": "time", "format": "epoch s"}},
    ),
    "epoch ms": (
        text_of(lambda t: str(round(t.timestamp() * 1000))).encode(),
        {"time": {"column": "time", "format": "epoch ms"}},
    ),
    "epoch us": (
        text_of(lambda t: str(round(t.timestamp() * 1_000_000))).encode(),
        {"time": {"column": "time", "format": "epoch us"}},
    ),
    "Parquet, times in UTC": (write_parquet(pl.Datetime("us", "UTC")), {}),
    "Parquet, nanoseconds": (write_parquet(pl.Datetime("ns", "UTC")), {}),
    "Parquet, numbers as text": (write_parquet(pl.Datetime("us", "UTC"), text=True), {}),
    "long, by time": (
        long_lines([(row, name) for row in range(COUNT) for name in NAMES]).encode(),
        tagged(),
    ),
    "long, by tag": (
        long_lines([(row, name) for name in NAMES for row in range(COUNT)]).encode(),
        tagged(),
    ),
}


@pytest.fixture(scope="module")
def plain(tmp_path_factory) -> LoadedRun:
    folder = tmp_path_factory.mktemp("plain")
    (folder / "log").write_bytes(PLAIN.encode())
    return read(folder, WIDE | {"files": ["log"]})


@pytest.fixture(scope="module")
def expected(plain: LoadedRun) -> pl.DataFrame:
    return plain.readings


def test_the_plain_log_is_what_was_written(expected: pl.DataFrame) -> None:
    assert expected["time_utc"].to_list() == TIMES
    for channel, name in zip(("counter_m", "line_speed_m_s", "wall_1_mm", "wall_2_mm"), NAMES, strict=True):
        assert expected[channel].to_list() == VALUES[name]


@pytest.mark.parametrize("shape", SHAPES)
def test_a_shape_loads_to_the_same_readings(shape: str, tmp_path: Path, plain: LoadedRun) -> None:
    content, changes = SHAPES[shape]
    path = tmp_path / "log"
    if callable(content):
        content(path)
    else:
        path.write_bytes(content)
    run = read(tmp_path, WIDE | {"files": ["log"]} | changes)
    # Bit for bit, but for the number of the line, which is the shape's own.
    assert run.readings.drop("line").equals(plain.readings.drop("line"))
    file = run.files[0]
    assert file.rows_read == file.rows_kept
    assert file.bytes == path.stat().st_size
    assert run.flagged.equals(plain.flagged)
    assert (7, "wall_1_mm", MISSING.code) in run.flagged.rows()


def test_a_run_in_files_in_sequence_is_the_same(tmp_path: Path, expected: pl.DataFrame) -> None:
    head, *lines = PLAIN.splitlines(keepends=True)
    for number, start in enumerate((0, 150, 300)):
        (tmp_path / f"{number}.csv").write_text(head + "".join(lines[start : start + 150]))
    for order in ((0, 1, 2), (2, 0, 1)):
        run = read(tmp_path, WIDE | {"files": [f"{number}.csv" for number in order]})
        assert run.readings.drop("line", "file_no").equals(expected.drop("line", "file_no"))
        assert run.warnings == ()
        assert sum(file.rows_kept for file in run.files) == COUNT


def test_a_run_in_overlapping_files_is_the_same(tmp_path: Path, expected: pl.DataFrame) -> None:
    head, *lines = PLAIN.splitlines(keepends=True)
    (tmp_path / "0.csv").write_text(head + "".join(lines[:250]))
    (tmp_path / "1.csv").write_text(head + "".join(lines[200:]))
    run = read(tmp_path, WIDE | {"files": ["0.csv", "1.csv"]})
    assert run.readings.drop("line", "file_no").equals(expected.drop("line", "file_no"))
    assert [(f.rows_read, f.rows_kept, f.rows_set_aside) for f in run.files] == [
        (250, 250, 0),
        (200, 150, 50),
    ]
    assert worded(run.set_aside).row(0) == (
        1,
        2,
        "the same instant and values stand on line 202 of 0.csv",
        lines[200].strip(),
    )


def test_lines_of_tags_that_are_not_mapped_are_told(tmp_path: Path) -> None:
    (tmp_path / "log").write_bytes(SHAPES["long, by time"][0])
    run = read(tmp_path, WIDE | {"files": ["log"]} | tagged())
    (told,) = said(run.warnings)
    assert told == (
        "log: 1,600 lines carry tags that the mapping does not name; passed over: L1.other0 (536), "
        "L1.other1 (532), L1.other2 (532)."
    )
    assert run.files[0].rows_kept == 4 * COUNT - 1 + 1600


def test_bad_lines_of_a_long_table(tmp_path: Path) -> None:
    text = (
        "Tag;Zeit;Wert;Status\n"
        "L1.w1;2026-03-02T12:00:00Z;0.44;192\n"
        "L1.w1;2026-03-02T12:00:01Z;open;192\n"
        "L1.w1;2026-03-02T12:00:02Z;0.44;Bad\n"
        ";2026-03-02T12:00:03Z;0.44;192\n"
        "L1.w1;2026-03-02T12:00:04Z;;192\n"
    )
    (tmp_path / "log").write_text(text)
    run = read(tmp_path, WIDE | {"files": ["log"]} | tagged())
    assert worded(run.set_aside).select("line", "reason").rows() == [
        (3, "column 'Wert' holds 'open', which is not a number"),
        (4, "column 'Status' says 'Bad', which is not good"),
        (5, "column 'Tag' is empty"),
    ]
    assert run.readings["wall_1_mm"].to_list() == [0.44, None]


def test_a_slot_brings_lines_of_one_reading_together(tmp_path: Path) -> None:
    text = (
        "Tag;Zeit;Wert;Status\n"
        "L1.w1;2026-03-02T12:00:00.003Z;0.44;192\n"
        "L1.w2;2026-03-02T12:00:00.017Z;0.45;192\n"
        "L1.w2;2026-03-02T12:00:00.117Z;0.46;192\n"
    )
    (tmp_path / "log").write_text(text)
    mapping = tagged()
    mapping["long"] = mapping["long"] | {"slot_s": 0.1}
    run = read(tmp_path, WIDE | {"files": ["log"]} | mapping)
    assert run.readings.select("line", "wall_1_mm", "wall_2_mm").rows() == [(2, 0.44, 0.45), (4, None, 0.46)]
    assert run.readings["time_utc"][0] == datetime(2026, 3, 2, 12, 0, 0, 3000, tzinfo=UTC)

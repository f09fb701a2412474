"""Blank lines are no rows; a file of hundreds of millions of them is refused within seconds."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from pipeline.errors import LogError
from pipeline.logs import text_log
from pipeline.logs.text_log import TextLog
from pipeline.sheets.run_sheet import LogFile, MappedColumn, TimeColumn

LOG = LogFile(
    kind="readings",
    files=("a.csv",),
    time=TimeColumn(column="t"),
    channels={"line_speed_m_s": MappedColumn(column="v", unit="m/s")},
)
HEAD, ROW = b"t,v\n", b"2026-03-03T00:00:0%dZ,1\n"


def kept(path: Path) -> tuple[int, int]:
    log = TextLog(path, LOG, "UTC")
    rows = sum(block.kept for block in log.blocks())
    assert log.end is not None
    return rows, log.end.bytes


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_blank_lines_between_rows_are_no_rows(tmp_path: Path, end: bytes) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(HEAD + ROW % 1 + end * 17_000_000 + ROW % 2)
    assert kept(path) == (2, path.stat().st_size)


def test_a_file_of_600_million_blank_lines_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.csv"
    with gzip.open(path, "wb", compresslevel=1) as file:
        file.write(HEAD + ROW % 1)
        for _ in range(6):
            file.write(b"\n" * 10_000_000)
    monkeypatch.setattr(text_log, "_MOST_BLANK_BYTES", 20_000_000)
    with pytest.raises(LogError) as told:
        kept(path)
    assert "nothing but line ends for more than 20 MB: this file is spoilt" in str(told.value)
    assert str(told.value).endswith("Copy it again from where it was written.")

"""Readings kept in scratch files are the same readings, and nothing is left behind."""

import datetime as dt
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.errors import StoreError
from pipeline.logs.run_logs import read_logs
from pipeline.logs.scratch_rows import rows_on_disk
from tests.logs.sheets import WIDE, line_sheet, run_sheet
from tests.logs.test_shapes import PLAIN


def test_a_log_read_by_way_of_scratch_files_is_the_same(tmp_path: Path) -> None:
    head, *lines = PLAIN.splitlines(keepends=True)
    (tmp_path / "a").write_text(head + "".join(lines[:250]) + "bad\n")
    (tmp_path / "b").write_text(head + "".join(lines[200:]))
    sheet = run_sheet(WIDE | {"files": ["a", "b"]})
    plain = read_logs(sheet, line_sheet(), tmp_path, "UTC")
    spooled = read_logs(sheet, line_sheet(), tmp_path, "UTC", scratch=tmp_path / "scratch")
    assert spooled.readings.equals(plain.readings)
    assert spooled.flagged.equals(plain.flagged)
    assert spooled.set_aside.equals(plain.set_aside)
    assert spooled.files == plain.files
    assert spooled.warnings == plain.warnings
    assert list((tmp_path / "scratch").iterdir()) == []


def test_blocks_of_any_length_with_and_without_holes(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    blocks = []
    for count in (0, 1, 7, 8, 9, 0, 1000):
        values = pl.Series("x", rng.normal(size=count))
        if count % 2:
            values = values.set(pl.Series(rng.random(count) < 0.3, dtype=pl.Boolean), None)
        flags = pl.Series("flag", rng.random(count) < 0.5, dtype=pl.Boolean)
        line = pl.Series("line", rng.integers(0, 9, count), dtype=pl.UInt32)
        blocks.append(pl.DataFrame([values, flags, line]))
    whole = rows_on_disk(iter([blocks[0].clear(), *blocks]), tmp_path)
    assert whole.equals(pl.concat(blocks))
    assert whole.schema == blocks[0].schema
    assert rows_on_disk(iter([blocks[0].clear()]), tmp_path).height == 0


def test_a_folder_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    frame = pl.DataFrame({"x": [1.0]})
    with pytest.raises(StoreError) as caught:
        rows_on_disk(iter([frame.clear(), frame]), tmp_path / "file")
    assert str(caught.value) == (
        f"{tmp_path}/file: a scratch file for a long log cannot be written: File exists. Free some space there (as "
        "much as the log has unpacked), or check that you may write there."
    )


def test_a_full_disk(tmp_path: Path, monkeypatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    frame = pl.DataFrame({"x": [1.0]})
    monkeypatch.setattr("pipeline.logs.scratch_rows._Column.append", full)
    with pytest.raises(StoreError) as caught:
        rows_on_disk(iter([frame.clear(), frame]), tmp_path)
    assert "cannot be written: No space left on device. Free some space there" in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_readings_in_scratch_files_outlive_them(tmp_path: Path) -> None:
    frame = pl.DataFrame({"x": np.arange(100_000.0)})
    whole = rows_on_disk(iter([frame.clear(), frame]), tmp_path)
    assert list(tmp_path.iterdir()) == []
    assert whole["x"].sum() == pytest.approx(4_999_950_000.0)
    assert whole.with_columns(t=pl.lit(dt.date(2026, 3, 2))).filter(pl.col("x") > 99_998).height == 1

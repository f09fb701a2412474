"""A log read piece by piece as it is written gives what reading the finished log at once gives, to the last bit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.errors import ReelproofError
from pipeline.logs.earlier_rows import EarlierFile, earlier_file
from pipeline.logs.log_rows import FilesBefore
from pipeline.logs.run_logs import LoadedRun, read_logs
from tests.logs.mutations import check_identity, mutated, shapes
from tests.logs.sheets import HEADER, WIDE, ZONE, line_sheet, run_sheet
from tests.logs.test_shapes import PLAIN, SHAPES
from tests.said import said

TEXT = {name: shape for name, shape in SHAPES.items() if not callable(shape[0]) and name != "zstd"}


def read_on(folder: Path, mapping: dict[str, Any], before: LoadedRun | None, limit: int | None) -> LoadedRun:
    """The log as far as `limit`, taking over what `before` read of it."""
    earlier: dict[int, EarlierFile] = {}
    if before is not None and before.files[0].resume_line and before.files[0].clock:
        file = before.files[0]
        earlier[0] = earlier_file(
            (before.lines if before.lines.width else before.readings).lazy(),
            before.set_aside,
            0,
            file.resume_line,
            file.clock,
            file.passed_over,
        )
    limits = {} if limit is None else {0: limit}
    return read_logs(run_sheet(mapping), line_sheet(), folder, ZONE, before=FilesBefore(limits, earlier))


def assert_equal(run: LoadedRun, whole: LoadedRun) -> None:
    assert run.readings.equals(whole.readings)
    assert run.flagged.equals(whole.flagged)
    assert run.events.equals(whole.events)
    assert run.set_aside.equals(whole.set_aside)
    assert run.warnings == whole.warnings
    # By which line a further load goes on may differ; what was read may not.
    there = {"resume_line": 0, "passed_over": ()}
    assert [replace(file, **there) for file in run.files] == [replace(file, **there) for file in whole.files]


@pytest.mark.parametrize("shape", TEXT)
def test_a_log_read_in_pieces_is_the_log(shape: str, tmp_path: Path) -> None:
    content, changes = TEXT[shape]
    mapping = WIDE | {"files": ["log"]} | changes
    assert isinstance(content, bytes)
    (tmp_path / "log").write_bytes(content)
    whole = read_on(tmp_path, mapping, None, None)
    run: LoadedRun | None = None
    # Half a stream of gzip is no log; one member of two is.
    limits = [len(content) // 3, 2 * len(content) // 3 + 1, None]
    if shape.startswith("gzip"):
        limits = [content.index(b"\x1f\x8b", 2), None] if "two" in shape else [None]
    for limit in limits:
        run = read_on(tmp_path, mapping, run, limit)
        assert run.files[0].resume_line > 1
    assert run is not None
    assert_equal(run, whole)


def test_only_new_rows_are_parsed(tmp_path: Path, monkeypatch) -> None:
    from pipeline.logs import text_log

    (tmp_path / "log").write_text(PLAIN)
    mapping = WIDE | {"files": ["log"]}
    head = PLAIN.encode().index(b"\n", 9000) + 1
    before = read_on(tmp_path, mapping, None, head)
    parsed = []
    plain = text_log.parse_block
    monkeypatch.setattr(text_log, "parse_block", lambda b, plan: (parsed.append(b.lines), plain(b, plan))[1])
    read_on(tmp_path, mapping, before, None)
    assert sum(parsed) == 400 - before.files[0].rows_read
    assert 0 < before.files[0].rows_read < 400


def test_a_half_written_line_is_read_again(tmp_path: Path) -> None:
    text = HEADER + "2026-03-02T12:00:00,1,8,0.44,0.45\n2026-03-02T12:00:01,2,8,0.44,0.4"
    (tmp_path / "log").write_text(text)
    mapping = WIDE | {"files": ["log"]}
    before = read_on(tmp_path, mapping, None, None)
    assert before.readings["wall_2_mm"].to_list() == [0.45, 0.4]
    (tmp_path / "log").write_text(text + "51\n2026-03-02T12:00:02,3,8,0.44,0.45\n")
    after = read_on(tmp_path, mapping, before, None)
    assert after.readings["wall_2_mm"].to_list() == [0.45, 0.451, 0.45]
    check_identity(after)


@pytest.mark.parametrize("cut", [200, 1500, 4000, 7200, 9000])
def test_the_repeated_hour_is_resolved_by_all_that_is_known_by_then(cut: int, tmp_path: Path) -> None:
    """Clocks are put back on 2026-11-01 at 7:00 UTC in Chicago; the piece may end before, in or after that."""
    import datetime as dt
    from zoneinfo import ZoneInfo

    begin = dt.datetime(2026, 11, 1, 5, 30, tzinfo=dt.UTC)
    lines = [
        f"{(begin + dt.timedelta(seconds=k)).astimezone(ZoneInfo(ZONE)):%Y-%m-%dT%H:%M:%S},{k},1,0.44,0.45\n"
        for k in range(10_000)
    ]
    mapping = WIDE | {"files": ["log"]}
    (tmp_path / "log").write_text(HEADER + "".join(lines[:cut]))
    before = read_on(tmp_path, mapping, None, None)
    (tmp_path / "log").write_text(HEADER + "".join(lines))
    after = read_on(tmp_path, mapping, before, None)
    assert_equal(after, read_on(tmp_path, mapping, None, None))
    assert (after.readings["time_utc"].dt.epoch("s").diff().drop_nulls() == 1).all()
    assert after.files[0].clock == "local"
    assert sum("happened twice" in note for note in said(after.warnings)) == 1


def test_a_clock_of_two_kinds_is_read_as_a_whole_again(tmp_path: Path) -> None:
    rows = ["2026-03-02T12:00:00,1,8,0.44,0.45\n", "2026-03-02T18:00:01Z,2,8,0.44,0.45\n"]
    (tmp_path / "log").write_text(HEADER + "".join(rows))
    assert read_on(tmp_path, WIDE | {"files": ["log"]}, None, None).files[0].clock == ""


def try_in_pieces(count: int, seed: int, folder: Path) -> dict[str, int]:
    """Damaged logs read in pieces against the same logs read at once."""
    rng = np.random.default_rng(seed)
    outcomes = {"equal": 0, "refused": 0}
    sources = [
        one for one in shapes() if one[1]["kind"] == "readings" and one[0][:2] not in {b"\x1f\x8b", b"PA"}
    ]
    for number in range(count):
        content, mapping = sources[number % len(sources)]
        damaged = mutated(content, rng)
        (folder / "log").write_bytes(damaged)
        try:
            whole = read_on(folder, mapping, None, None)
        except ReelproofError:
            outcomes["refused"] += 1
            continue
        run: LoadedRun | None = None
        for limit in sorted(rng.integers(1, len(damaged) + 1, 3).tolist()):
            # A piece may be too short to hold a header or a row; the next is then the first.
            try:
                run = read_on(folder, mapping, run, limit)
            except ReelproofError:
                continue
            check_identity(run)
        try:
            assert_equal(read_on(folder, mapping, run, None), whole)
        except BaseException:
            (folder / "kept_for_looking").write_bytes(damaged)
            print(f"number {number} of seed {seed}: {folder}/kept_for_looking")
            raise
        outcomes["equal"] += 1
    return outcomes


@pytest.mark.timeout(180)
def test_damaged_logs_read_in_pieces(tmp_path: Path) -> None:
    outcomes = try_in_pieces(40, 20260304, tmp_path)
    assert outcomes["equal"] > 20


def test_earlier_rows_of_a_log_out_of_order_come_in_the_order_of_the_file(tmp_path: Path) -> None:
    rows = [f"2026-03-02T12:00:{s:02d},{s},8,0.44,0.45\n" for s in (0, 1, 5, 2, 3, 4, 6)]
    (tmp_path / "log").write_text(HEADER + "".join(rows))
    mapping = WIDE | {"files": ["log"]}
    before = read_on(tmp_path, mapping, None, None)
    (tmp_path / "log").write_text(HEADER + "".join(rows) + "2026-03-02T12:00:07,7,8,0.44,0.45\n")
    assert_equal(read_on(tmp_path, mapping, before, None), read_on(tmp_path, mapping, None, None))
    assert isinstance(before.readings, pl.DataFrame)

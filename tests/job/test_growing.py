"""A run loaded while its logs are being written: only new rows are read, and nothing differs from one late load."""

from __future__ import annotations

import gzip
import json
import os
import time
from pathlib import Path

import polars as pl
import pytest

from pipeline.cli.app import run as reelproof
from pipeline.job.assessing import assess_run
from pipeline.job.load_on_file import LoadOutcome
from pipeline.job.loading import load_sheet
from pipeline.proofs.verifying import verified
from pipeline.store.database import Store, open_to_write
from pipeline.store.readings import read_frame
from tests.said import said

LOG = "R-0415_log.csv"


@pytest.fixture
def growing(small_run: Path) -> tuple[Path, bytes]:
    """The run sheet, with its log of readings as plain text, and the text."""
    packed = small_run.parent / f"{LOG}.gz"
    text = gzip.decompress(packed.read_bytes())
    packed.unlink()
    small_run.write_text(small_run.read_text().replace(f"{LOG}.gz", LOG))
    return small_run, text


def at_rest(path: Path) -> None:
    """Let the file be as if nothing had been written to it for an hour."""
    hour_ago = time.time() - 3600
    os.utime(path, (hour_ago, hour_ago))


def identities(store: Store) -> None:
    assert store.ask("checks/file_identity") == []
    assert store.ask("checks/growth_identity") == []
    assert store.ask("checks/rows_without_a_load") == []


def kept(store: Store, load: LoadOutcome) -> list[pl.DataFrame]:
    """Everything that is on file of a load but its numbers."""
    folder = store.ask("questions/load", load_id=load.load_id)[0]["folder"]
    frames = [read_frame(store, folder, name) for name in ("logged", "events", "flagged")]
    tables = [
        store.ask_frame(f"questions/{name}", load_id=load.load_id) for name in ("all_set_aside_of_load",)
    ]
    return [*frames, *(table.drop("load_id") for table in tables)]


def judged(store: Store) -> list[pl.DataFrame]:
    """Everything a judgement says of the run, but its numbers."""
    one = assess_run(store, "R-0415")
    folder = store.ask("questions/assessment", assessment_id=one.assessment_id)[0]["folder"]
    frames = [read_frame(store, folder, name) for name in ("placed", "measured")]
    for name in ("requirements", "findings", "results", "reels"):
        table = store.ask_frame(f"questions/{name}_of_assessment", assessment_id=one.assessment_id)
        frames.append(table.select(pl.exclude("assessment_id", "^.*first_seen.*$")))
    return frames


@pytest.mark.timeout(180)
def test_a_run_loaded_as_it_is_written_is_the_run_loaded_at_the_end(growing, tmp_path: Path) -> None:
    sheet, text = growing
    log = sheet.parent / LOG
    # The second piece ends in the middle of a figure.
    ends = [text.index(b"\n", len(text) // 3) + 1, 2 * len(text) // 3, len(text)]
    told: list[int] = []
    with open_to_write(tmp_path / "pieces") as store:
        outcomes = []
        for end in ends:
            log.write_bytes(text[:end])
            told.append(0)
            outcomes.append(load_sheet(store, sheet, lambda rows: told.append(told.pop() + rows)))
            identities(store)
        rows = [one.rows_read for one in outcomes]
        assert rows[0] == text[: ends[0]].count(b"\n") - 1
        assert rows[1] == text[: ends[1]].count(b"\n") - 1  # half a line is not read
        assert rows[2] == 6507
        assert told == [rows[0], rows[1] - rows[0], rows[2] - rows[1]]
        assert [one.rows_new for one in outcomes] == told
        assert said(outcomes[1].told) == (
            f"{LOG} has grown: {told[1]:,} new rows were read.",
            (
                f"{LOG}: the last line has no line end and the file was being written just now; the line is held "
                "back and read by a later load."
            ),
        )
        assert said(outcomes[2].told) == (f"{LOG} has grown: {told[2]:,} new rows were read.",)
        in_pieces, judged_in_pieces = kept(store, outcomes[2]), judged(store)
        growth = store.ask("questions/growth_of_load", load_id=outcomes[2].load_id)[0]
        assert (growth["growth"], growth["from_load_id"]) == ("grown", outcomes[1].load_id)
        assert (growth["rows_before"], growth["rows_new"]) == (rows[1], told[2])
        assert not load_sheet(store, sheet).was_new
    assert verified(tmp_path / "pieces").changes == ()
    with open_to_write(tmp_path / "once") as store:
        once = load_sheet(store, sheet)
        at_once, judged_at_once = kept(store, once), judged(store)
    assert all(one.equals(other) for one, other in zip(in_pieces, at_once, strict=True))
    assert judged_in_pieces[1].height == 6507
    assert all(one.equals(other) for one, other in zip(judged_in_pieces, judged_at_once, strict=True))


def test_a_last_line_without_an_end_is_taken_once_the_file_rests(growing, tmp_path: Path) -> None:
    sheet, text = growing
    log = sheet.parent / LOG
    log.write_bytes(text[: text.index(b"\n", 60_000)])
    with open_to_write(tmp_path / "s") as store:
        first = load_sheet(store, sheet)
        again = load_sheet(store, sheet)
        assert not again.was_new
        assert again.told == first.told
        at_rest(log)
        last = load_sheet(store, sheet)
        assert (last.rows_read, last.rows_new, said(last.told)) == (
            first.rows_read + 1,
            1,
            (f"{LOG} has grown: 1 new row was read.",),
        )
        identities(store)


def test_a_changed_file_is_a_new_version_and_says_so(growing, tmp_path: Path, capsys) -> None:
    sheet, text = growing
    log = sheet.parent / LOG
    log.write_bytes(text[: text.index(b"\n", 60_000) + 1])
    store = str(tmp_path / "s")
    assert reelproof(["load", str(sheet), "--store", store]) == 0
    rows = log.read_bytes().count(b"\n") - 1
    spoiled = text.replace(b",16.54,", b",16.55,", 1)
    assert spoiled != text
    log.write_bytes(spoiled[: text.index(b"\n", 70_000) + 1])
    capsys.readouterr()
    assert reelproof(["load", str(sheet), "--store", store]) == 0
    read = log.read_bytes().count(b"\n") - 1
    assert capsys.readouterr().out == (
        f"R-0415: {read} rows read = {read} kept + 0 set aside (load 2, replaces load 1 whose content differed)\n"
        f"  {LOG} no longer holds what was loaded before: it was read as a whole, as a new version.\n"
    )
    log.write_bytes(spoiled[: text.index(b"\n", 80_000) + 1])
    more = log.read_bytes().count(b"\n") - 1
    assert reelproof(["load", str(sheet), "--store", store, "--json"]) == 0
    (answer,) = json.loads(capsys.readouterr().out)["loaded"]
    assert (answer["rows_read"], answer["rows_new"], answer["supersedes"]) == (more, more - read, 2)
    assert rows < read < more


def test_a_gzip_log_grows_by_members_and_parquet_is_a_new_version(small_run: Path, tmp_path: Path) -> None:
    packed = small_run.parent / f"{LOG}.gz"
    text = gzip.decompress(packed.read_bytes())
    cut = text.index(b"\n", 60_000) + 1
    packed.write_bytes(gzip.compress(text[:cut], 1))
    with open_to_write(tmp_path / "s") as store:
        first = load_sheet(store, small_run)
        with packed.open("ab") as file:
            file.write(gzip.compress(text[cut:], 1))
        second = load_sheet(store, small_run)
        assert (second.rows_read, second.rows_new) == (6507, 6507 - first.rows_read)
        in_pieces = kept(store, second)
        identities(store)
    parquet = small_run.parent / "log.parquet"
    frame = pl.read_csv(text, infer_schema_length=None)
    small_run.write_text(small_run.read_text().replace(f"{LOG}.gz", "log.parquet"))
    with open_to_write(tmp_path / "p") as store:
        frame.head(3000).write_parquet(parquet)
        load_sheet(store, small_run)
        frame.write_parquet(parquet)
        grown = load_sheet(store, small_run)
        assert (grown.rows_read, grown.rows_new) == (6507, 6507)
        assert said(grown.told) == (
            "log.parquet no longer holds what was loaded before: it was read as a whole, as a new version.",
        )
        identities(store)
        # Line numbers of Parquet count rows, those of text count lines, and the header is one.
        assert kept(store, grown)[0].drop("line").equals(in_pieces[0].drop("line"))


def test_a_log_in_files_grows_by_another_file(growing, tmp_path: Path) -> None:
    sheet, text = growing
    head, *lines = text.splitlines(keepends=True)
    sheet.write_text(sheet.read_text().replace(f'"{LOG}"', '"live/*.csv"'))
    (sheet.parent / "live").mkdir()
    for number, start in enumerate((0, 2500, 5000)):
        (sheet.parent / "live" / f"{number}.csv").write_bytes(head + b"".join(lines[start : start + 2500]))
        with open_to_write(tmp_path / "s") as store:
            last = load_sheet(store, sheet)
            identities(store)
    assert said(last.told) == ("live/2.csv was not in the load before.",)
    assert (last.rows_read, last.rows_new) == (6507, 1507)
    with open_to_write(tmp_path / "s") as store, open_to_write(tmp_path / "once") as other:
        pieces, once = kept(store, last), kept(other, load_sheet(other, sheet))
    assert all(one.equals(two) for one, two in zip(pieces, once, strict=True))
    (sheet.parent / "live").rename(sheet.parent / "gone")
    with open_to_write(tmp_path / "s") as store, pytest.raises(Exception, match="no file matches") as caught:
        load_sheet(store, sheet)
    assert str(caught.value) == (
        f"{sheet}: run.logs[1].files: no file matches 'live/*.csv' beside the run sheet. Put the log there, or "
        "correct its name."
    )

"""Where readings lie: names safe on any disk and decoded by any engine, and stores of the earlier layout."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import duckdb
import polars as pl
import pyarrow.dataset as pads
import pytest

from pipeline.store import layout
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.store.layout import READINGS, folder_of, is_whole, move_earlier_folders, path_of
from pipeline.store.readings import read_frame, sweep, written_folder

DAY = date(2026, 3, 3)
PLAIN = "plant=Mill%204/line_id=L1/shift_date=2026-03-03/run_id=R-1"


def test_a_folder_is_named_by_plant_line_day_run_and_number() -> None:
    assert folder_of("Mill 4", "L1", DAY, "R-1", load_id=3) == f"{PLAIN}/load_id=3"
    assert folder_of("Mill 4", "L1", DAY, "R-1", assessment_id=12) == f"{PLAIN}/assessment_id=12"


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("A/B\\C", "A%2FB%5CC"),
        ("../..", "..%2F.."),
        ("a=b&c d%20", "a%3Db%26c%20d%2520"),
        ("Süd: <1> *?[x]", "S%C3%BCd%3A%20%3C1%3E%20%2A%3F%5Bx%5D"),
        ("", "unnamed"),
    ],
)
def test_a_name_is_safe_in_a_path_and_engines_read_it_back(tmp_path: Path, name: str, part: str) -> None:
    folder = folder_of(name, "L1", DAY, "R-1", load_id=1)
    assert folder.split("/")[0] == f"plant={part}"
    assert is_whole(folder)
    (tmp_path / folder).mkdir(parents=True)
    file = tmp_path / folder / "logged.parquet"
    pl.DataFrame({"row": [1]}).write_parquet(file)
    pattern = str(tmp_path / "plant=*" / "**" / "logged.parquet")
    expected = name or "unnamed"
    assert duckdb.sql(
        f"SELECT plant FROM read_parquet('{pattern}', hive_partitioning = true)"
    ).fetchall() == [(expected,)]
    assert pl.scan_parquet(pattern, hive_partitioning=True).collect()["plant"].to_list() == [expected]
    table = pads.dataset([str(file)], partitioning="hive", partition_base_dir=str(tmp_path)).to_table()
    assert table["plant"].to_pylist() == [expected]


def test_a_name_too_long_for_a_disk_is_cut_and_stays_its_own() -> None:
    one, two = (folder_of("ö" * 200 + end, "L1", DAY, "R-1", load_id=1).split("/")[0] for end in "ab")
    assert one != two
    assert max(len(one), len(two)) < 255
    assert "%C3%B6-" in one


def test_a_partition_is_not_taken_for_a_folder_of_readings() -> None:
    assert is_whole(f"{PLAIN}/load_id=3")
    for name in (
        "",
        "plant=P",
        PLAIN,
        f"{PLAIN}/load_id=",
        f"{PLAIN}/load_id=3/logged.parquet",
        "R-1/load-3",
    ):
        assert not is_whole(name)


@pytest.fixture
def earlier(tmp_path: Path) -> Iterator[Store]:
    """A store as version 1 laid it out: a load and a judgement of one run, and what a killed writer left."""
    with open_to_write(tmp_path / "s") as store:
        for number, run in enumerate(("R-1", "R-2"), 1):
            put_on_file(store, number, run)
        home = store.folder / READINGS
        for run, folder in (("R-1", "load-000009"), ("R-2", ".unfinished-0a")):
            (home / run / folder).mkdir()
            (home / run / folder / "logged.parquet").write_bytes(b"half")
        yield store


def put_on_file(store: Store, number: int, run: str) -> None:
    load, judged = f"{run}/load-{number:06d}", f"{run}/judged-{number:06d}"
    store.connection.execute(
        "INSERT INTO logged.load SELECT $number, $run, '', '', '', '', 'Mill 4', 'L1', '', '', '', '', '', '', "
        "DATE '2026-03-03', '', '', now(), now(), 1, 1, 0, $load, now(), '', false",
        {"number": number, "run": run, "load": load},
    )
    store.connection.execute(
        "INSERT INTO judged.assessment SELECT $number, $run, $number, '', '', '', '', now(), 'judged', '', "
        "0, 0, 0, 0, $judged, 0, ''",
        {"number": number, "run": run, "judged": judged},
    )
    for folder, file in ((load, "logged"), (judged, "measured")):
        home = store.folder / READINGS / folder
        home.mkdir(parents=True)
        pl.DataFrame({"row": [number]}).write_parquet(home / f"{file}.parquet")


def frames(store: Store) -> list[int]:
    return [
        read_frame(store, f"R-{number}/{folder}-{number:06d}", file)["row"][0]
        for number in (1, 2)
        for folder, file in (("load", "logged"), ("judged", "measured"))
    ]


def test_a_store_of_the_earlier_layout_is_read_as_it_is_and_then_moved(earlier: Store) -> None:
    assert frames(earlier) == [1, 1, 2, 2]
    assert sweep(earlier) == ()
    home = earlier.folder / READINGS
    assert [path.name for path in home.iterdir()] == ["plant=Mill%204"]
    assert sorted(path.relative_to(home).as_posix() for path in home.rglob("*.parquet")) == [
        f"{PLAIN}/assessment_id=1/measured.parquet",
        f"{PLAIN}/load_id=1/logged.parquet",
        f"{PLAIN[:-1]}2/assessment_id=2/measured.parquet",
        f"{PLAIN[:-1]}2/load_id=2/logged.parquet",
    ]
    assert frames(earlier) == [1, 1, 2, 2]
    assert move_earlier_folders(earlier) == 0


@pytest.mark.parametrize("moves", [0, 1, 2, 3])
def test_stopped_between_two_moves_every_reading_is_found(
    earlier: Store, moves: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = []
    rename = Path.rename

    def stops(path: Path, target: Path) -> Path:
        if len(done) == moves:
            raise KeyboardInterrupt
        done.append(path)
        return rename(path, target)

    monkeypatch.setattr(layout.Path, "rename", stops)
    with pytest.raises(KeyboardInterrupt):
        move_earlier_folders(earlier)
    monkeypatch.undo()
    assert frames(earlier) == [1, 1, 2, 2]
    assert move_earlier_folders(earlier) == 4 - moves
    assert frames(earlier) == [1, 1, 2, 2]


def test_something_else_below_the_readings_stays(earlier: Store) -> None:
    kept = earlier.folder / READINGS / "R-1" / "notes.txt"
    kept.write_text("of the plant")
    sweep(earlier)
    assert kept.read_text() == "of the plant"


def test_readers_of_a_copy_published_before_the_move_find_moved_readings(earlier: Store) -> None:
    folder = earlier.folder
    earlier.changed = True
    earlier.connection.execute("CHECKPOINT")
    with open_to_read_after_publishing(folder, earlier) as reader:
        assert path_of(reader, "R-1/load-000001") == folder / READINGS / f"{PLAIN}/load_id=1"


def open_to_read_after_publishing(folder: Path, store: Store):  # type: ignore[no-untyped-def]
    published = folder / "published"
    published.mkdir()
    store.connection.execute("CHECKPOINT")
    shutil.copy(folder / "reelproof.duckdb", published / "reelproof-00000001.duckdb")
    move_earlier_folders(store)
    return open_to_read(folder)


def test_a_writer_killed_before_the_catalogue_named_its_folder_is_swept(tmp_path: Path) -> None:
    with open_to_write(tmp_path / "s") as store:
        folder = folder_of("Mill 4", "L1", DAY, "R-1", load_id=1)
        with (
            pytest.raises(KeyboardInterrupt),
            written_folder(store, folder, {"logged": pl.DataFrame({"row": [1]})}),
        ):
            noted = list((store.folder / READINGS / ".unfinished").iterdir())
            assert [path.read_text() for path in noted] == [folder]
            raise KeyboardInterrupt
        assert list((store.folder / READINGS).rglob("*.parquet")) == []
        assert list((store.folder / READINGS / ".unfinished").iterdir()) == []

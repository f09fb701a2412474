"""Anything changed in the store behind the program's back is found, and told which."""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import polars as pl
import pytest

from pipeline.job.assessing import assess_runs
from pipeline.job.loading import load_sheets
from pipeline.lots.journal import next_entry
from pipeline.proofs.changes import AS_WRITTEN, _reel_told_otherwise, changes_in
from pipeline.proofs.verifying import verified
from pipeline.record.reel_record import KIND as REEL
from pipeline.record.sealing import ASSESSMENT_TABLES, ENTRY_TABLES, LINE_TABLES, LOAD_TABLES, frame_sha256
from pipeline.store.database import Store, open_to_write
from pipeline.store.layout import READINGS
from pipeline.store.sql_files import statement, statements

STRETCH = """SELECT 1 AS assessment_id, 3 AS stretch, 75 AS from_m, 100 AS to_m, 9 AS wall_readings,
    25 AS wall_known_m, 9 AS diameter_readings, 25 AS diameter_known_m"""
CHANGES = [
    ("logged.load", "UPDATE logged.load SET operator_role = 'somebody else'"),
    ("logged.file", "UPDATE logged.file SET bytes = bytes + 1"),
    ("logged.material", "DELETE FROM logged.material WHERE material = 'colour'"),
    ("judged.assessment", "UPDATE judged.assessment SET scrap_m = scrap_m + 0.001"),
    ("placed.reel", "UPDATE placed.reel SET to_m = to_m - 1 WHERE reel_no = 0"),
    ("measured.stretch", "INSERT INTO measured.stretch BY NAME " + STRETCH),
    (
        "judged.limit",
        "UPDATE judged.\"limit\" SET value = value - 0.01 WHERE requirement = 'minimum average wall'",
    ),
    ("judged.requirement", "UPDATE judged.requirement SET verdict = 'conforms' WHERE verdict <> 'conforms'"),
    ("judged.finding", "DELETE FROM judged.finding WHERE number = 1"),
    ("judged.reel", "UPDATE judged.reel SET standing = 'releasable', reasons = [] WHERE standing = 'held'"),
    ("judged.answer", "UPDATE judged.answer SET low = low + 0.1 WHERE low IS NOT NULL"),
]


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sealed") / "store"
    root = Path(__file__).parents[2] / "sample_runs" / "runs" / "R-0415"
    with open_to_write(folder) as store:
        load_sheets(store, (root,))
        assess_runs(store, ())
    return folder


@pytest.fixture
def copy(sealed: Path, tmp_path: Path) -> Path:
    shutil.copytree(sealed, tmp_path / "store")
    return tmp_path / "store"


def test_a_store_as_written_is_whole(copy: Path) -> None:
    with open_to_write(copy) as store:
        assert changes_in(store) == ()


@pytest.mark.parametrize(("table", "change"), CHANGES, ids=[table for table, _ in CHANGES])
def test_a_changed_row_is_found(copy: Path, table: str, change: str) -> None:
    with duckdb.connect(str(copy / "reelproof.duckdb")) as connection:
        connection.execute(change)
    with open_to_write(copy) as store:
        told, *reels = changes_in(store)
    what = "load 1" if table.startswith("logged") else "assessment 1"
    assert told == f"run R-0415, {what}: rows of {table} are not as they were written."
    # What the entry of a reel keeps is held against the rows as well, so the reel is named.
    assert bool(reels) == (table in {"judged.requirement", "judged.finding", "judged.reel"})
    assert all("the rows of assessment 1 no longer say of reel L1-0415-0" in one for one in reels)


def test_a_changed_journal_entry_is_found(copy: Path) -> None:
    with duckdb.connect(str(copy / "reelproof.duckdb")) as connection:
        connection.execute(
            "UPDATE journal.entry SET record = replace(record, 'R-0415', 'R-0416') WHERE entry_no = 1"
        )
    with open_to_write(copy) as store:
        assert any("entry 1" in sentence for sentence in changes_in(store))


def test_a_changed_and_a_missing_file_are_found(copy: Path) -> None:
    run = "plant=Demo%20plant/line_id=L1/shift_date=2026-03-03/run_id=R-0415"
    logged = copy / READINGS / run / "load_id=1" / "logged.parquet"
    content = bytearray(logged.read_bytes())
    content[len(content) // 2] ^= 1
    logged.write_bytes(content)
    (copy / READINGS / run / "assessment_id=1" / "measured.parquet").unlink()
    with open_to_write(copy) as store:
        assert changes_in(store) == (
            f"run R-0415, load 1: the file {run}/load_id=1/logged.parquet is not as it was written.",
            f"run R-0415, assessment 1: the file {run}/assessment_id=1/measured.parquet is missing.",
        )


def test_the_record_of_a_reel_is_told_by_its_figures_whatever_words_its_version_kept() -> None:
    for kept in ({"sentence": "Reel A was judged: held."}, {"said": "{}"}, {"standing": "releasable"}):
        record = {"assessment_id": 1, "standing": "held"} | kept
        entry = next_entry(None, datetime(2026, 3, 3, tzinfo=UTC), REEL, "A", record)
        seen = {1: {"A": {"assessment_id": 1, "standing": "held", "said": "[]"}}}
        told = _reel_told_otherwise(Store(Path(), None, writable=False), entry, seen)  # type: ignore[arg-type]
        assert bool(told) == ("standing" in kept)


def test_every_table_of_a_load_or_judgement_is_sealed() -> None:
    # A file that adds a column to a table makes none.
    made = [name for name in statements("tables") if "CREATE TABLE" in statement(name)]
    tables = {name.removeprefix("tables/").replace("/", ".") for name in made}
    own = {
        "journal.entry",
        "journal.store_version",
        "logged.sheet",
    }  # the chain, and texts under their own hash
    kept = {table for tables in ENTRY_TABLES.values() for table in tables}  # each row by its own entry
    sealed = set(LOAD_TABLES) | set(ASSESSMENT_TABLES) | set(LINE_TABLES) | set(AS_WRITTEN)
    assert tables - own == sealed | kept
    assert kept == {"journal.act", "journal.sample", "journal.shipment", "logged.thinning", "placed.cut"}


def test_every_sealed_table_is_searched_for_rows_the_journal_does_not_hold() -> None:
    searched = statement("questions/numbers_on_file") + statement("questions/sample_numbers_on_file")
    kept = {table for tables in ENTRY_TABLES.values() for table in tables}
    for table in {*LOAD_TABLES, *ASSESSMENT_TABLES, *LINE_TABLES, *kept}:
        assert f"'{table}'" in searched


def test_the_hash_of_a_frame_does_not_hang_on_the_order_of_its_rows() -> None:
    frame = pl.DataFrame({"a": [2.0, 1.0, None], "b": ["x", "y", None], "c": [[1], [], [2, 3]]})
    assert frame_sha256(frame) == frame_sha256(frame[::-1])
    assert frame_sha256(frame) != frame_sha256(frame.with_columns(pl.lit(0.0).alias("a")))
    assert frame_sha256(frame.with_columns(a=pl.Series([2.0, 1.0, 0.0]))) != frame_sha256(frame)


def test_a_changed_sheet_text_is_found(copy: Path) -> None:
    with duckdb.connect(str(copy / "reelproof.duckdb")) as connection:
        connection.execute(
            "UPDATE logged.sheet SET text = replace(text, '0.118', '0.018') WHERE kind = 'run'"
        )
    with open_to_write(copy) as store:
        told = changes_in(store)
    assert len(told) == 1
    assert told[0].startswith("the text of run sheet run.toml no longer has its hash ")


def test_a_judgement_put_in_behind_the_programs_back_is_found(copy: Path) -> None:
    """It would be the newest one, so pages and commands would show it."""
    with duckdb.connect(str(copy / "reelproof.duckdb")) as connection:
        connection.execute(
            "INSERT INTO judged.assessment SELECT * REPLACE (99 AS assessment_id) FROM judged.assessment"
        )
        connection.execute(
            "INSERT INTO judged.reel SELECT * REPLACE (99 AS assessment_id, 'releasable' AS standing) "
            "FROM judged.reel"
        )
    with open_to_write(copy) as store:
        assert changes_in(store) == (
            "rows of judged.assessment say they belong to assessment 99, which the journal does not hold.",
            "rows of judged.reel say they belong to assessment 99, which the journal does not hold.",
        )


def test_a_database_changed_since_it_was_published_is_found(copy: Path) -> None:
    assert verified(copy).changes == ()
    with duckdb.connect(str(copy / "reelproof.duckdb")) as connection:
        connection.execute("UPDATE judged.reel SET standing = 'releasable' WHERE standing = 'held'")
    told, *reels = verified(copy).changes
    assert told == "run R-0415, assessment 1: rows of judged.reel are not as they were written."
    assert len(reels) == 1
    assert "no longer say of reel L1-0415-01 what it keeps" in reels[0]


@pytest.mark.parametrize("which", ["database", "copy"])
def test_a_flipped_byte_of_the_database_or_its_copy_is_found(copy: Path, which: str) -> None:
    """Wherever it lies: in the head, in a block with a checksum, or in a block nothing uses."""
    published = sorted((copy / "published").glob("*.duckdb"))[-1]
    path = copy / "reelproof.duckdb" if which == "database" else published
    raw = path.read_bytes()
    rng = random.Random(20260303)
    for at in [0, 9, 4100, 8200, *(rng.randrange(len(raw)) for _ in range(8))]:
        mutated = bytearray(raw)
        mutated[at] ^= 1 << rng.randrange(8)
        path.write_bytes(mutated)
        found = verified(copy)
        assert len(found.changes) == 1, at
        assert str(path) in found.changes[0]
    path.write_bytes(raw)
    assert verified(copy).changes == ()


def test_a_store_being_written_is_verified_by_its_copy(copy: Path) -> None:
    held = subprocess.Popen(
        [sys.executable, "-c", HOLDING, str(copy)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert held.stdout is not None
    assert held.stdout.readline() == "held\n"
    found = verified(copy)
    held.communicate("go\n", timeout=60)
    assert found.changes == ()
    assert found.notes == ("Another process is writing to the store; its newest copy was verified.",)


HOLDING = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from pipeline.store.database import Store, open_to_write
with open_to_write(Path(sys.argv[1])) as store:
    store.connection.execute("CREATE TABLE judged.scratch AS SELECT 1 AS one")
    store.connection.execute("CHECKPOINT")
    print("held", flush=True)
    sys.stdin.readline()
    store.connection.execute("DROP TABLE judged.scratch")
"""

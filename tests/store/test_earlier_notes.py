"""Notes on logs and reasons (up to version 12) and alarm budgets (13) kept as sentences stay as written, and verify."""

from pathlib import Path

import pytest

from pipeline.log_notes import LogNote
from pipeline.messages import as_written, message, said_json
from pipeline.proofs.changes import _sealed_before
from pipeline.record.sealing import ASSESSMENT_TABLES, LINE_TABLES, LOAD_TABLES, frame_sha256
from pipeline.store.database import STORE_VERSION, open_to_read, open_to_write
from pipeline.store.said_columns import reason_of, told_of
from tests.sql.test_questions import fill

NOTE = "log.csv: the last line does not end in a line end; it is read as it stands."
BUDGET = "1 false alarm in 7 days on 19 charts with 60 points a day each: one in 7980 points."
REASON = "log.csv: column 'Wall_1_mil': its middle value is 0.01391 mm."
LATER = {
    "logged.load": "trial",
    "logged.warning": "said",
    "judged.assessment": "said",
    "judged.control_chart": "said",
}


@pytest.fixture
def earlier(tmp_path: Path) -> tuple[Path, dict[str, str]]:
    """A store as version 12 left it, and the hashes that its journal sealed."""
    with open_to_write(tmp_path) as store:
        fill(store, "logged.load", [{"load_id": 1, "run_id": "R-1"}])
        fill(store, "logged.warning", [{"load_id": 1, "sentence": NOTE}])
        row = {
            "assessment_id": 1,
            "run_id": "R-1",
            "load_id": 1,
            "outcome": "no conclusion",
            "reason": REASON,
        }
        fill(store, "judged.assessment", [row])
        fill(store, "judged.control_chart", [{"line_review_id": 1, "budget": BUDGET}])
        seals = {}
        for table, column in LATER.items():
            frame = store.ask_frame(question(table), **key_of(table))
            seals[table] = frame_sha256(frame.drop(column))
            store.connection.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
        store.connection.execute("UPDATE journal.store_version SET version = 12")
    return tmp_path, seals


def question(table: str) -> str:
    return (LOAD_TABLES | ASSESSMENT_TABLES | LINE_TABLES)[table]


def key_of(table: str) -> dict[str, int]:
    others = "line_review_id" if table in LINE_TABLES else "assessment_id"
    return {"load_id" if table in LOAD_TABLES else others: 1}


def test_a_reader_shows_the_sentences_as_written(earlier: tuple[Path, dict[str, str]]) -> None:
    with open_to_read(earlier[0]) as store:
        (row,) = store.ask("questions/warnings_of_load", load_id=1)
        assert told_of(row) == as_written(NOTE)
        (judged,) = store.ask("questions/assessment", assessment_id=1)
        assert reason_of(judged) == as_written(REASON)
        (chart,) = store.ask("questions/line_charts", line_review_id=1)
        assert told_of(chart, written="budget") == as_written(BUDGET)


def test_a_writer_adds_columns_and_what_was_sealed_verifies(earlier: tuple[Path, dict[str, str]]) -> None:
    folder, seals = earlier
    with open_to_write(folder) as store:
        assert store.version == STORE_VERSION
        for table, digest in seals.items():
            assert _sealed_before(store, table, question(table), digest, **key_of(table))
        fill(
            store,
            "logged.warning",
            [{"load_id": 1, "said": said_json(message(LogNote.OPEN_END, file="log.csv"))}],
        )
        assert not _sealed_before(
            store, "logged.warning", question("logged.warning"), seals["logged.warning"], load_id=1
        )
        assert {told_of(row).code for row in store.ask("questions/warnings_of_load", load_id=1)} == {
            "as written",
            LogNote.OPEN_END,
        }

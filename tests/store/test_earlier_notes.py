"""Sentences that stores up to version 14 kept of logs, judgements and charts stay as written, and verify."""

import json
from pathlib import Path

import pytest

from pipeline.job.growing import _aside_of
from pipeline.log_notes import LogNote
from pipeline.messages import as_written, message, message_of, said_json
from pipeline.proofs.changes import _sealed_before
from pipeline.record.sealing import ASSESSMENT_TABLES, LINE_TABLES, LOAD_TABLES, frame_sha256
from pipeline.store.database import STORE_VERSION, open_to_read, open_to_write
from pipeline.store.said_columns import reason_of, rule_of, told_of
from tests.sql.test_questions import fill

NOTE = "log.csv: the last line does not end in a line end; it is read as it stands."
ASIDE = "the line has 4 cells, the header names 5"
RULE = "1 point beyond 3.835 standard deviations"
DECIDED = "guard band: conformity must be shown with 95 %"
BUDGET = "1 false alarm in 7 days on 19 charts with 60 points a day each: one in 7980 points."
REASON = "log.csv: column 'Wall_1_mil': its middle value is 0.01391 mm."
LATER = {
    "logged.load": "trial",
    "logged.warning": "said",
    "judged.assessment": "said",
    "judged.control_chart": "said",
    "judged.line_point": "said",
    "judged.line_signal": "said",
    "judged.requirement": "decided_by",
    "logged.set_aside": "said",
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
        fill(store, "judged.line_point", [{"line_review_id": 1, "rule": RULE, "since_item": 0}])
        fill(store, "judged.line_signal", [{"line_review_id": 1, "rule": RULE}])
        fill(store, "judged.requirement", [{"assessment_id": 1, "decision_rule": DECIDED}])
        fill(store, "logged.set_aside", [{"load_id": 1, "line": 7, "reason": ASIDE}])
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
        for question in ("line_points", "line_signals"):
            (signal,) = store.ask(f"questions/{question}", line_review_id=1)
            assert told_of(signal, written="rule") == as_written(RULE)
        (requirement,) = store.ask("questions/requirements_of_assessment", assessment_id=1)
        assert rule_of(requirement) == as_written(DECIDED)
        (line,) = store.ask("questions/set_aside_of_load", load_id=1, most=9)
        assert told_of(line, written="reason") == as_written(ASIDE)
        # A log that has grown keeps its lines set aside with the words they had.
        assert message_of(json.loads(_aside_of(store, 1)["said"][0])) == as_written(ASIDE)


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

"""Stores up to version 8 knew answers by their sentences: each gets its key once, and what was sealed stays as it was.

`earlier/store_6.json` holds rows as the program of version 6 wrote them of the sample runs: every answer about one
run, one answer of each other sentence it could write there, and the hashes the journal had of some of them.
"""

from __future__ import annotations

import json
from collections import Counter
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from pipeline.messages import Measure
from pipeline.proofs.changes import AS_WRITTEN
from pipeline.quantity import Quantity
from pipeline.record.sealing import frame_sha256
from pipeline.store.answer_columns import answer_of
from pipeline.store.copies import PUBLISHED
from pipeline.store.database import STORE_VERSION, Store, open_to_read, open_to_write
from pipeline.wording.say import plain, text_in
from tests.sql.test_questions import fill

KEPT = json.loads((Path(__file__).parent / "earlier" / "store_6.json").read_text(encoding="utf-8"))
KEYED = {
    "judged.result": "judged.answer",
    "judged.line_result": "judged.line_answer",
    "judged.line_chart": "judged.control_chart",
}


@pytest.fixture
def earlier(tmp_path: Path) -> Path:
    """A store of version 6 with the kept rows."""
    with open_to_write(tmp_path) as store:
        for table, rows in KEPT["rows"].items():
            fill(store, table, rows)
        for table in KEYED.values():
            store.connection.execute(f"DROP TABLE {table}")
        store.connection.execute("UPDATE journal.store_version SET version = 6")
        store.changed = True
    return tmp_path


def rows_of(store: Store, table: str) -> list[dict[str, Any]]:
    cursor = store.connection.execute(f"SELECT * FROM {table} ORDER BY rowid")
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]


def test_every_answer_gets_its_key_and_keeps_its_figures(earlier: Path) -> None:
    with open_to_write(earlier) as store:
        for table, keyed in list(KEYED.items())[:2]:
            before, now = rows_of(store, table), rows_of(store, keyed)
            assert len(before) == len(now) == len(KEPT["rows"][table])
            for old, new in zip(before, now, strict=True):
                answer = answer_of(new)
                assert answer.question.quantity is not Quantity.EARLIER, old["question"]
                for name in ("estimate", "low", "high", "n", "effective_n", "known_m", "unit", "details"):
                    assert old[name] == new[name]
                assert plain(answer.method) == old["method"]
                if old["refused"]:
                    assert plain(answer.reason) == old["refused"]
                else:
                    assert [plain(one) for one in answer.warnings] == old["warnings"]
                assert text_in(answer.question, "us") and text_in(answer.question, "si")


def test_an_index_is_led_to_the_limit_it_was_against(earlier: Path) -> None:
    with open_to_write(earlier) as store:
        limits = {(row["assessment_id"], row["limit_id"]): row for row in rows_of(store, 'judged."limit"')}
        told = [
            row for row in rows_of(store, "judged.answer") if row["quantity"] == Quantity.PERFORMANCE_INDEX
        ]
    assert told
    for row in told:
        limit = limits[row["assessment_id"], row["about"]]
        assert answer_of(row).question.arguments["limit"] == Measure(limit["value"], limit["unit"])


def test_no_two_answers_of_one_subject_have_the_same_key_but_periods_and_changes(earlier: Path) -> None:
    several = (Quantity.PERIOD, Quantity.CHANGE_POINT)
    with open_to_write(earlier) as store:
        keys = Counter(
            (row["assessment_id"], row["subject"], row["quantity"], row["about"])
            for row in rows_of(store, "judged.answer")
            if row["quantity"] not in several
        )
    assert [key for key, times in keys.items() if times > 1] == []


def test_what_was_sealed_stays_and_nothing_is_given_twice(earlier: Path) -> None:
    for _ in range(2):
        with open_to_write(earlier) as store:
            for table, (number, digest) in KEPT["seals"].items():
                key = "line_review_id" if "line" in table else "assessment_id"
                assert frame_sha256(store.ask_frame(AS_WRITTEN[table], **{key: number})) == digest
            for table, keyed in KEYED.items():
                assert len(rows_of(store, keyed)) == len(KEPT["rows"][table])
            versions = [row["version"] for row in rows_of(store, "journal.store_version")]
    assert versions == [6, STORE_VERSION]


def test_a_reader_sees_the_keys_before_anybody_wrote(earlier: Path) -> None:
    copies = sorted((earlier / PUBLISHED).iterdir())
    before = {path: path.read_bytes() for path in copies}
    with open_to_read(earlier) as store:
        read = {keyed: rows_of(store, keyed) for keyed in KEYED.values()}
        assert store.ask("questions/line_reviews")
    assert {path: path.read_bytes() for path in copies} == before
    with open_to_write(earlier) as store:
        assert {keyed: rows_of(store, keyed) for keyed in KEYED.values()} == read


def test_a_sentence_that_is_no_longer_known_is_kept_under_its_own_words(tmp_path: Path) -> None:
    row = {
        "assessment_id": 1,
        "scope": "run",
        "subject": "R-1",
        "question": "How blue is it?",
        "refused": "Dark.",
    }
    with open_to_write(tmp_path) as store:
        fill(store, "judged.result", [{**row, "assumptions": "[]", "details": "{}"}])
        store.connection.execute("DROP TABLE judged.answer")
        store.connection.execute("DELETE FROM journal.store_version")
        store.connection.execute(
            "INSERT INTO journal.store_version VALUES (5, ?, 'an earlier one')", [datetime(2026, 1, 1)]
        )
    with open_to_write(tmp_path) as store:
        (answer,) = (answer_of(one) for one in rows_of(store, "judged.answer"))
    assert answer.question.quantity is Quantity.EARLIER
    assert text_in(answer.question, "si") == "How blue is it?"

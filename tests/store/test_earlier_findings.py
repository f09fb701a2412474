"""Stores before version 10 kept findings as sentences: these are shown as written, and what was sealed verifies."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from pipeline.messages import as_written
from pipeline.proofs.changes import LATER_COLUMNS, _sealed_before
from pipeline.record.sealing import ASSESSMENT_TABLES, frame_sha256
from pipeline.record.standing import standings_of_run
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.store.said_columns import cause_of, first_advice, holding_of, told_of
from pipeline.wording.say import plain
from tests.acts.decided_store import copied

REQUIREMENT = ("assessment_id", "reel_id", "requirement", "requirement_set", "limit_id")
FINDINGS = "questions/findings_of_assessment"
TABLES = ("judged.finding", "judged.reel")


def findings_of(store: Store) -> list[dict[str, Any]]:
    return [
        found
        for run in store.ask("questions/current_runs")
        if run["assessment_id"] is not None
        for found in store.ask(FINDINGS, assessment_id=run["assessment_id"])
    ]


def requirements_of(store: Store) -> list[dict[str, Any]]:
    return [
        row
        for run in store.ask("questions/current_runs")
        if run["assessment_id"] is not None
        for row in store.ask("questions/requirements_of_assessment", assessment_id=run["assessment_id"])
    ]


def standings(store: Store) -> dict[str, tuple[str, tuple[str, ...]]]:
    return {
        name: (one.code, tuple(map(plain, one.reasons)))
        for run in store.ask("questions/current_runs")
        for name, one in standings_of_run(store, run["run_id"]).items()
    }


@pytest.fixture
def earlier(judged_store: Path, tmp_path: Path) -> Path:
    """The sample runs with findings and reasons as version 9 kept them."""
    folder = copied(judged_store, tmp_path / "store")
    with open_to_write(folder) as store:
        found = findings_of(store)
        for one in found:
            store.connection.execute(
                "UPDATE judged.finding SET sentence = ?, cause_sentence = ?, advice = ? "
                "WHERE assessment_id = ? AND finding_id = ?",
                [
                    *(plain(told) for told in (told_of(one), cause_of(one), first_advice(one))),
                    one["assessment_id"],
                    one["finding_id"],
                ],
            )
        for number in {one["assessment_id"] for one in found}:
            for reel in store.ask("questions/reels_of_assessment", assessment_id=number):
                own = [one for one in found if one["assessment_id"] == number]
                lacks = store.ask("questions/lacks_of_assessment", assessment_id=number)
                reasons = [
                    *(plain(told_of(one)) for one in holding_of(reel, own)),
                    *(plain(told_of(one)) for one in lacks if one["reel_id"] == reel["reel_id"]),
                ]
                store.connection.execute(
                    "UPDATE judged.reel SET reasons = ? WHERE assessment_id = ? AND reel_id = ?",
                    [reasons, number, reel["reel_id"]],
                )
        for table in TABLES:
            for column in LATER_COLUMNS[table]:
                store.connection.execute(f"ALTER TABLE {table} DROP COLUMN {column}")
        for row in requirements_of(store):
            store.connection.execute(
                "UPDATE judged.requirement SET sentence = ? WHERE assessment_id = ? AND reel_id = ? "
                "AND requirement = ? AND requirement_set = ? AND limit_id = ?",
                [plain(told_of(row)), *(row[name] for name in REQUIREMENT)],
            )
        store.connection.execute("ALTER TABLE judged.requirement DROP COLUMN said")
        store.connection.execute("DROP TABLE judged.lack")
        store.connection.execute("UPDATE journal.store_version SET version = 9")
        store.changed = True
    return folder


def test_findings_are_shown_as_written_before_and_after_anybody_writes(
    judged_store: Path, earlier: Path
) -> None:
    with open_to_read(judged_store) as store:
        now = {one["finding_id"]: plain(told_of(one)) for one in findings_of(store)}
        stand = standings(store)
    assert len(now) > 20
    for opened in (open_to_read, open_to_write, open_to_read):
        with opened(earlier) as store:
            found = findings_of(store)
            assert {one["finding_id"]: told_of(one) for one in found} == {
                name: as_written(text) for name, text in now.items()
            }
            assert all(one["said"] is None for one in found)
            for name, (code, reasons) in standings(store).items():
                assert code == stand[name][0]
                assert len(reasons) == len(stand[name][1])


@pytest.mark.parametrize("table", TABLES)
def test_rows_sealed_before_their_table_got_a_column_still_verify(earlier: Path, table: str) -> None:
    question, later = ASSESSMENT_TABLES[table], LATER_COLUMNS[table]
    with open_to_write(earlier) as store:
        key = {"assessment_id": findings_of(store)[0]["assessment_id"]}
        sealed = frame_sha256(store.ask_frame(question, **key).drop(later))
        assert _sealed_before(store, table, question, sealed, **key)
        # Whoever fills the new column of such a row, or changes an old one, is found.
        store.connection.execute(f"UPDATE {table} SET {later[0]} = '[]'")
        assert not _sealed_before(store, table, question, sealed, **key)

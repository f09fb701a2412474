"""Stores before version 11 kept what a reel lacks as sentences: each gets its code once, and is shown as written.

`earlier/store_10.json` holds rows as the program of version 10 wrote them of the demo: every reel and requirement of
four judgements, one requirement of each other sentence, and the hashes that the journal had of the four.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.messages import Written, as_written
from pipeline.proofs.changes import _lacks_otherwise, _sealed_before
from pipeline.record.sealing import ASSESSMENT_TABLES
from pipeline.store.database import STORE_VERSION, Store, open_to_read, open_to_write
from pipeline.store.earlier_lacks import code_of_sentence
from pipeline.store.said_columns import about_of, first_of, told_of
from pipeline.why import Lack, Why
from pipeline.wording.say import plain
from tests.sql.test_questions import fill

KEPT = json.loads((Path(__file__).parent / "earlier" / "store_10.json").read_text(encoding="utf-8"))
REELS, REQUIREMENTS = KEPT["rows"]["judged.reel"], KEPT["rows"]["judged.requirement"]


@pytest.fixture
def earlier(tmp_path: Path) -> Path:
    """A store of version 10 with the kept rows."""
    with open_to_write(tmp_path) as store:
        for table, rows in KEPT["rows"].items():
            fill(store, table, rows)
        store.connection.execute("DROP TABLE judged.lack")
        store.connection.execute("ALTER TABLE judged.reel DROP COLUMN first_said")
        store.connection.execute("ALTER TABLE judged.requirement DROP COLUMN said")
        store.connection.execute("UPDATE journal.store_version SET version = 10")
        store.changed = True
    return tmp_path


def lacks_of(store: Store) -> dict[tuple[int, str], list[dict[str, Any]]]:
    found: dict[tuple[int, str], list[dict[str, Any]]] = {}
    for number in sorted({row["assessment_id"] for row in REELS}):
        for row in store.ask("questions/lacks_of_assessment", assessment_id=number):
            found.setdefault((number, row["reel_id"]), []).append(row)
    return found


def test_each_reason_gets_its_code_before_and_after_anybody_writes(earlier: Path) -> None:
    reasons = {(row["assessment_id"], row["reel_id"]): row["reasons"] for row in REELS if row["reasons"]}
    for opened in (open_to_read, open_to_write, open_to_read):
        with opened(earlier) as store:
            lacks = lacks_of(store)
            assert {key: [plain(told_of(one)) for one in rows] for key, rows in lacks.items()} == reasons
            codes = {one["code"] for rows in lacks.values() for one in rows}
            assert codes == {Lack.SPARK_FAULTS, Lack.NOT_CONCLUDED}
            named = [
                one["about"] for rows in lacks.values() for one in rows if one["code"] == Lack.NOT_CONCLUDED
            ]
            assert set(named) == {"R-0421_log.csv.gz: column 'Wall_1_mil'"}
    with open_to_write(earlier) as store:
        assert store.version == STORE_VERSION


def test_sentences_are_shown_as_written(earlier: Path) -> None:
    with open_to_write(earlier) as store:
        for number in {row["assessment_id"] for row in REELS}:
            for row in store.ask("questions/requirements_of_assessment", assessment_id=number):
                assert told_of(row) == as_written(row["sentence"])
            for row in store.ask("questions/reels_of_assessment", assessment_id=number):
                told = first_of(row)
                assert told == (as_written(row["first_action"]) if row["first_action"] else None)


def test_every_sentence_of_a_requirement_that_was_not_met_has_a_code() -> None:
    unmet = [row for row in REQUIREMENTS if row["verdict"] != "conforms"]
    assert len(unmet) >= 9
    assert Written.AS_WRITTEN not in {code_of_sentence(row["sentence"]) for row in unmet}


@pytest.mark.parametrize(
    ("sentence", "code"),
    [
        ("The instruments disagree over 200 m of this reel, so nothing is concluded from them there.",
         Why.INSTRUMENTS_DISAGREE),
        (("Worst 0.331 mm (13.0 mil) at 2.0 m from the outer end (8.0 m from the core end) is too near the limit for "
         "the instrument's uncertainty."), Why.TOO_NEAR),
        (("Worst 0.331 mm (13.0 mil) (worse bound; bounded, not measured) at 2.0 m from the outer end (8.0 m from the "
         "core end) is too near the limit for what is known of the covering."), Why.TOO_NEAR_UNDER_COVERING),
        (("Worst 0.331 mm (13.0 mil) at 2.0 m from the outer end (8.0 m from the core end), but no wire of this reel "
         "has full evidence behind it."), Why.NO_FULL_EVIDENCE),
        ("No usable reading of minimum average wall lies on this reel.", Why.NO_READING),
        ("No instrument of this line reads what 'covering' needs; judge it on cut samples.", Why.NO_INSTRUMENT),
        (("Not judged: no limit on file for concentricity of THHN 14 AWG, solid copper. Enter it in the plant sheet "
         "under [[limits]] with document, revision and dates."), Why.NO_LIMIT),
        ("No minimum average wall to UL 44 as type USE-2 was judged and met on this reel.", Lack.WALL_NOT_SHOWN),
        ("Nothing of this is known.", Written.AS_WRITTEN),
    ],
)  # fmt: skip
def test_a_sentence_of_version_10_has_the_code_that_says_it_now(sentence: str, code: str) -> None:
    """The sentences are the literals of that version's program, with figures put in."""
    assert code_of_sentence(sentence) == code


def test_a_reason_that_is_a_requirements_sentence_is_about_that_requirement(tmp_path: Path) -> None:
    unmet = next(row for row in REQUIREMENTS if row["verdict"] != "conforms")
    with open_to_write(tmp_path) as store:
        fill(store, "judged.requirement", [unmet])
        reel = {**REELS[0], "assessment_id": unmet["assessment_id"], "reel_id": unmet["reel_id"]}
        fill(store, "judged.reel", [{**reel, "reasons": [unmet["sentence"]]}])
        store.connection.execute("DROP TABLE judged.lack")
        store.connection.execute("UPDATE journal.store_version SET version = 10")
    with open_to_write(tmp_path) as store:
        (lack,) = store.ask("questions/lacks_of_assessment", assessment_id=unmet["assessment_id"])
    assert lack["about"] == about_of(unmet) == unmet["limit_id"]


def test_what_was_sealed_verifies_and_a_changed_lack_is_found(earlier: Path) -> None:
    with open_to_write(earlier) as store:
        for number, seals in KEPT["seals"].items():
            key = {"assessment_id": int(number)}
            for table, digest in seals.items():
                assert _sealed_before(store, table, ASSESSMENT_TABLES[table], digest, **key)
            assert _lacks_otherwise(store, seals, **key) == []
        store.connection.execute("UPDATE judged.lack SET about = 'another' WHERE assessment_id = 10")
        assert _lacks_otherwise(store, KEPT["seals"]["10"], assessment_id=10) == ["judged.lack"]

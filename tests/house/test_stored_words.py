"""No sentence is stored but what persons and other programs wrote: every text of the demo's store is one of these.

- a message, code and arguments as JSON, whose own texts are names again;
- words of a person, or of a file, as they stand;
- a sentence that an earlier version kept, in a column that is empty since;
- a name: a key, a code or a few words. A new column is held to this unless it is declared below.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.messages import Code
from pipeline.nonconformance.rules import RULES
from pipeline.products.limit_rows import package_rows
from pipeline.quantity import Quantity
from pipeline.steps.charted import Charted, ChartFamily
from pipeline.store.database import Store, open_to_read

MOST_WORDS = 4
# What persons wrote on sheets, in acts and in tables of limits, and lines of logs as they stand.
WRITTEN = {
    "journal.act.reason", "journal.sample.measured_by", "judged.limit.checked_by",
    "judged.limit.document", "judged.limit.note", "judged.limit.source", "judged.limit.unit_of_record",
    "judged.limit.status", "logged.load.note", "logged.set_aside.text", "logged.sheet.name", "logged.sheet.text",
}  # fmt: skip
# Sentences of earlier versions: nothing since.
EARLIER = {
    "judged.assessment.reason", "judged.control_chart.budget", "judged.finding.advice", "judged.finding.cause_sentence",
    "judged.finding.sentence", "judged.line_point.rule", "judged.line_signal.rule", "judged.reel.first_action",
    "judged.reel.reasons", "judged.requirement.decision_rule", "judged.requirement.sentence", "logged.set_aside.reason",
    "logged.warning.sentence", "measured.agreement.sentence", "measured.gap.sentence", "placed.counter_event.sentence",
    "placed.warning.sentence",
}  # fmt: skip
# Names that have more words: products, quantities, requirement sets, settings by which wire is held, and lots.
LONG_NAMES = {
    "judged.answer.about", "judged.finding.cause_of", "judged.line_answer.about",
}  # fmt: skip
NAMES = {str(one) for kind in (Quantity, Charted, ChartFamily, *Code.__subclasses__()) for one in kind}
NAMES |= {row.requirement for row in (*RULES, *package_rows())}
# Fields of messages and entries that are names of more words, or a person's words or a cell of a log as they stand.
FIELDS = frozenset({"basis", "cell", "change", "name", "one", "other", "reason", "subject", "text"})


def is_sentence(text: str) -> bool:
    """Whether a text is more than a name."""
    words = [one for one in text.split() if re.search(r"[^\W\d_]{2,}", one)]
    return text not in NAMES and (len(words) > MOST_WORDS or (len(words) > 1 and text.rstrip().endswith(".")))


def parsed(text: str) -> Any:
    """JSON as it holds, anything else as None."""
    if not text.startswith(("{", "[")):
        return None
    try:
        return json.loads(text)
    except json.JSONDecodeError:
        return None


def sentences_in(value: Any, name: str = "", written: frozenset[str] = frozenset()) -> Iterator[str]:
    """Texts of a JSON value that are sentences, but those of fields in `written`; messages in texts are looked into."""
    if isinstance(value, dict):
        if value.get("code") == "as written":
            yield str(value["arguments"]["text"])
            return
        for key, one in value.items():
            if key != "code":
                yield from sentences_in(one, key, written)
    elif isinstance(value, list):
        for one in value:
            yield from sentences_in(one, name, written)
    elif isinstance(value, str) and name not in written:
        inner = parsed(value)
        if inner is not None:
            yield from sentences_in(inner, name, written)
        elif is_sentence(value):
            yield f"{name}: {value}"


def texts_of(store: Store) -> Iterator[tuple[str, list[str]]]:
    """Every column of text in the store with its values."""
    columns = store.connection.execute(
        "SELECT schema_name, table_name, column_name FROM duckdb_columns() "
        "WHERE database_name = ? AND data_type LIKE 'VARCHAR%'",
        [store.database],
    ).fetchall()
    for schema, table, column in columns:
        rows = store.connection.execute(
            f'SELECT DISTINCT unnest(CASE WHEN "{column}" IS NULL THEN [] ELSE [CAST("{column}" AS VARCHAR)] END) '
            f'FROM "{store.database}"."{schema}"."{table}"'
        ).fetchall()
        yield f"{schema}.{table}.{column}", [one for (one,) in rows if one not in ("", "[]")]


@pytest.fixture(scope="module")
def texts(judged_store: Path) -> dict[str, list[str]]:
    with open_to_read(judged_store) as store:
        return dict(texts_of(store))


def test_no_column_holds_a_sentence_that_the_program_made(texts: dict[str, list[str]]) -> None:
    assert len(texts) > 150
    wrong = []
    for column, values in texts.items():
        if column in WRITTEN | EARLIER | LONG_NAMES or column == "journal.entry.record":
            continue
        for text in values:
            value = parsed(text)
            told = sentences_in(value, "", FIELDS) if value is not None else iter((text,))
            wrong += [f"{column}: {one}" for one in told if value is not None or is_sentence(one)]
    assert wrong == []


def test_no_entry_of_the_journal_keeps_one(texts: dict[str, list[str]]) -> None:
    entries = texts["journal.entry.record"]
    assert len(entries) > 50
    found = [one for text in entries for one in sentences_in(json.loads(text), "", FIELDS)]
    assert found == []


def test_columns_of_earlier_versions_stay_empty(texts: dict[str, list[str]]) -> None:
    assert texts.keys() >= WRITTEN | EARLIER | LONG_NAMES
    assert {column: texts[column] for column in EARLIER if texts[column]} == {}


def test_what_is_declared_is_needed(texts: dict[str, list[str]]) -> None:
    """No column is let off that holds names only: it would hide a sentence put there later."""
    assert {one for one in LONG_NAMES if not any(map(is_sentence, texts[one]))} == set()


@pytest.mark.parametrize(
    "text",
    [
        "the line has 4 cells, the header names 5",
        "guard band: conformity must be shown with 95 %",
        "Nothing was read.",
        "1 point beyond 3.835 standard deviations of the error",
    ],
)
def test_the_scan_sees_a_sentence(text: str) -> None:
    assert is_sentence(text)
    assert list(sentences_in({"code": "x", "arguments": {"told": text}})) == [f"told: {text}"]
    assert list(
        sentences_in(
            json.loads(json.dumps({"said": json.dumps({"code": "as written", "arguments": {"text": text}})}))
        )
    )

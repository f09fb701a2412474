"""Answers of stores up to version 8, which were known by their sentences, given their keys once.

The rows as they were written stay: the journal sealed them. Here they are read by their sentences for the last time,
and the same answers are put beside them by key, their prose kept as it was written.
"""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.messages import Measure, as_written, said_json
from pipeline.quantity import Asked, Quantity, asks
from pipeline.results import Assumption
from pipeline.store import catalogue
from pipeline.store.answer_columns import assumptions_json, warnings_json
from pipeline.store.sql_files import statement

if TYPE_CHECKING:
    import duckdb
from pipeline.store.earlier_sentences import CHARTED, KEYS, UNNAMED, Limits, Row

# Tables that have what earlier ones had, by key.
KEYED = ("judged.answer", "judged.line_answer", "judged.control_chart")
WRITTEN = ("judged.result", "judged.line_result", "judged.line_chart", "judged.line_review")


_COMPILED = tuple((re.compile(text), key) for text, key in KEYS)


def asked_by(sentence: str, family: str = "", limits: Limits | None = None) -> Asked | None:
    """What a sentence of an earlier store asked; None where it is no sentence of one.

    Args:
        sentence: the question as it is on file.
        family: the kind of chart it is about, where it is about one.
        limits: the limits of its judgement, rows of judged.limit.
    """
    if sentence in UNNAMED:
        value, kind = UNNAMED[sentence]
        return asks(Quantity.CONTROL_CHART, value, charted=value, family=kind)
    for pattern, key in _COMPILED:
        found = pattern.fullmatch(sentence)
        if found is not None:
            asked = key(found, limits or [])
            if asked.quantity is Quantity.CONTROL_CHART:
                kind = "residual chart" if "a surprise" in sentence else family
                return asks(Quantity.CONTROL_CHART, asked.about, charted=asked.about, family=kind)
            return asked
    return None


def answers_by_key(rows: list[Row], number: str, limits: dict[int, Limits]) -> pl.DataFrame:
    """Rows of judged.answer or judged.line_answer for rows that were known by their sentences.

    Args:
        rows: rows of judged.result or judged.line_result.
        number: ``assessment_id`` or ``line_review_id``.
        limits: rows of judged.limit by that number.

    Returns:
        The rows; a question that is no longer known keeps its sentence under `Quantity.EARLIER`.
    """
    named: dict[tuple[int, str, str], set[str]] = {}
    made = []
    for row in rows:
        # Two limits of one requirement were asked about in one sentence, in the order of the limits.
        before = named.setdefault((row[number], row["subject"], row["question"]), set())
        of_it = limits.get(row[number], [])
        answer = _answer(row, number, [one for one in of_it if one["limit_id"] not in before] or of_it)
        before.add(answer["about"])
        made.append(answer)
    return pl.DataFrame(
        made,
        schema_overrides={
            **dict.fromkeys(("estimate", "low", "high", "confidence", "effective_n", "known_m"), pl.Float64),
            number: pl.Int32,
            "refusal": pl.String,
        },
        infer_schema_length=None,
    )


# Columns that are the same by key.
_KEPT = (
    "scope",
    "subject",
    "topic",
    "estimate",
    "low",
    "high",
    "confidence",
    "unit",
    "n",
    "effective_n",
    "known_m",
    "unit_of_inference",
    "details",
)


def _answer(row: Row, number: str, limits: Limits) -> Row:
    asked = asked_by(row["question"], row["method"], limits)
    if asked is None:
        asked = asks(Quantity.EARLIER, row["question"], text=row["question"])
    arguments = {name: _json(value) for name, value in asked.slots}
    return {
        number: row[number],
        **{name: row[name] for name in _KEPT},
        "quantity": str(asked.quantity),
        "about": asked.about,
        "arguments": json.dumps(arguments, ensure_ascii=False),
        "method": said_json(as_written(row["method"])),
        "assumptions": _assumptions(row["assumptions"]),
        "warnings": warnings_json([as_written(one) for one in row["warnings"]]),
        "refusal": said_json(as_written(row["refused"])) if row["refused"] else None,
    }


def _json(value: Any) -> Any:
    return {"value": value.value, "unit": value.unit} if isinstance(value, Measure) else value


def _assumptions(text: str) -> str:
    return assumptions_json(
        [
            Assumption(as_written(one["name"]), one["held"], as_written(one["evidence"]))
            for one in json.loads(text)
        ]
    )


def charts_by_key(rows: list[Row]) -> pl.DataFrame:
    """Rows of judged.control_chart for rows of judged.line_chart."""
    kept = [
        "line_review_id",
        "chart_no",
        "family",
        "phase",
        "unit",
        "arl0",
        "unit_of_inference",
        "details",
        "budget",
    ]
    return pl.DataFrame(
        [
            {
                **{name: row[name] for name in kept},
                "charted": CHARTED.get(row["title"], row["title"]),
                "value": row["quantity"],
                "method": said_json(as_written(row["method"])),
                "assumptions": _assumptions(row["assumptions"]),
                "warnings": warnings_json([as_written(one) for one in row["warnings"]]),
                "said": None,
            }
            for row in rows
        ],
        schema_overrides={
            "line_review_id": pl.Int32,
            "chart_no": pl.Int32,
            "arl0": pl.Float64,
            "said": pl.String,
        },
        infer_schema_length=None,
    )


def give_keys(connection: duckdb.DuckDBPyConnection, home: str = "") -> None:
    """Put every answer and chart of an earlier store beside its rows by key; the tables for them are there.

    Args:
        connection: the open database.
        home: the database that has the tables, with a point at its end; "" for the one that is open.
    """
    by_assessment: dict[int, Limits] = {}
    for row in _rows(connection, "earlier/limits"):
        by_assessment.setdefault(row["assessment_id"], []).append(row)
    by_look = {
        row["line_review_id"]: by_assessment.get(row["assessment_id"], [])
        for row in _rows(connection, "earlier/looks")
    }
    for table, question, frame in (
        ("judged.answer", "results", lambda rows: answers_by_key(rows, "assessment_id", by_assessment)),
        ("judged.line_answer", "line_results", lambda rows: answers_by_key(rows, "line_review_id", by_look)),
        ("judged.control_chart", "line_charts", charts_by_key),
    ):
        rows = _rows(connection, f"earlier/{question}")
        if rows:
            connection.register("rows_to_append", frame(rows).to_arrow())
            connection.execute(statement("append").format(table=home + table))
            connection.unregister("rows_to_append")


def give_keys_in_memory(connection: duckdb.DuckDBPyConnection) -> None:
    """Give a reader of an earlier store the keys in its own memory; the store's file stays as it is.

    Args:
        connection: the reader's connection, whose own database is in memory and comes first where names are looked up.
    """
    found = connection.execute(statement("catalogue/tables"), {"database": catalogue.KEPT}).fetchall()
    there = {f"{schema}.{name}" for schema, name, *_ in found}
    for table in (one for one in (*KEYED, *WRITTEN) if one not in there):
        text = statement(f"tables/{table.replace('.', '/')}")
        connection.execute(text.replace(f"EXISTS {table}", f"EXISTS memory.{table}", 1))
    give_keys(connection, "memory.")


def _rows(connection: duckdb.DuckDBPyConnection, question: str) -> list[Row]:
    cursor = connection.execute(statement(question))
    names = [column[0] for column in cursor.description or ()]
    return [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]

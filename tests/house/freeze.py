"""Everything a store says, as JSON: to see that a change of the program's inside changed no judgement and no figure.

    python -m tests.house.freeze STORE OUT.json         writes it down
    python -m tests.house.freeze STORE OUT.json --same  compares with what was written, and names each difference

Words that come from codes are not in it; every figure, verdict, finding, standing and number on a page is.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run import run_review
from dashboards.fillers.run_book import RunBook, run_books
from dashboards.fillers.shift import shift_review, shifts_of
from dashboards.pages.capability import capability_matrix
from dashboards.pages.charts import line_charts_of, lines_of
from dashboards.pages.data_quality import data_quality_review
from dashboards.pages.faults import fault_review
from dashboards.pages.nonconformance import nonconformance_summary
from dashboards.pages.reel import reel_review
from dashboards.records import LineCharts, Plant
from pipeline.messages import Measure, Message
from pipeline.quantity import Asked
from pipeline.results import Chart, Refused, Result
from pipeline.store.answer_columns import answer_of
from pipeline.store.database import Store, open_to_read

# What hangs on when and in which order a run was put on file, and not on what was found.
PASSING = {
    "assessment_id", "load_id", "line_review_id", "assessed_utc", "loaded_utc", "reviewed_utc", "duration_s", "folder",
    "entry_no",
}  # fmt: skip
# Words, and the codes they come from.
WORDS = {
    "sentence",
    "cause_sentence",
    "advice",
    "said",
    "cause_said",
    "reasons",
    "held_by",
    "first_action",
    "first_said",
    "decided_by",
    "decision_rule",
}
FACTS = (
    "findings_of_assessment",
    "requirements_of_assessment",
    "reels_of_assessment",
    "gaps_of_assessment",
    "limits_of_assessment",
    "events_of_assessment",
)
Frozen = dict[str, Any]


def frozen(folder: Path) -> Frozen:
    """Everything the store in `folder` says, by where it says it."""
    with open_to_read(folder) as store:
        books = run_books(store)
        plant = plant_of(store, books)
        said = dict(_facts(store, books))
        said |= {f"page {name}": list(_numbers(made())) for name, made in _pages(store, plant, books)}
    return said


def _facts(store: Store, books: list[RunBook]) -> Iterator[tuple[str, Any]]:
    for book in books:
        if not book.is_judged:
            continue
        key = book.head["assessment_id"]
        for question in FACTS:
            rows = store.ask(f"questions/{question}", assessment_id=key)
            yield f"{book.run_id} {question}", [_row(row) for row in rows]
        rows = store.ask("questions/results_of_assessment", assessment_id=key)
        yield f"{book.run_id} answers", _answers(rows)
    for look in store.ask("questions/line_reviews"):
        name, key = f"{look['line']} {look['product']}", look["line_review_id"]
        yield f"{name} answers", _answers(store.ask("questions/line_results", line_review_id=key))
        for question in ("line_points", "line_signals"):
            rows = store.ask(f"questions/{question}", line_review_id=key)
            yield f"{name} {question}", [_row(row) for row in rows]


def _row(row: dict[str, Any]) -> dict[str, Any]:
    return {name: _plain(value) for name, value in row.items() if name not in PASSING | WORDS}


def _answers(rows: list[dict[str, Any]]) -> list[Any]:
    return sorted(([row["subject"], *_answer(answer_of(row))] for row in rows), key=repr)


def _answer(answer: Result | Refused) -> list[Any]:
    """The figures of an answer, and by which key it is known."""
    head = [str(answer.question.quantity), answer.question.about, answer.n]
    if isinstance(answer, Refused):
        return [*head, "refused"]
    figures = (
        answer.estimate,
        answer.low,
        answer.high,
        answer.confidence,
        answer.effective_n,
        answer.known_m,
    )
    return [
        *head,
        *map(_plain, figures),
        answer.unit,
        answer.unit_of_inference,
        [one.held for one in answer.assumptions],
        len(answer.warnings),
        {name: _plain(value) for name, value in answer.details.items()},
    ]


def _pages(store: Store, plant: Plant, books: list[RunBook]) -> Iterator[tuple[str, Callable[[], Any]]]:
    judged = [book for book in books if book.is_judged and book.head["outcome"] == "judged"]
    yield "capability", lambda: capability_matrix(plant, books)
    yield "faults", lambda: fault_review(plant, books)
    yield "data quality", lambda: data_quality_review(plant, books)
    days = [book.head["shift_date"] for book in books]
    yield "nonconformance", lambda: nonconformance_summary(plant, "", "", min(days), max(days), books)
    for line in sorted(lines_of(books)):
        yield f"charts {line}", lambda line=line: _charts(store, plant, line, judged)
    for book in books:
        yield f"run {book.run_id}", lambda book=book: run_review(plant, book)
    for book in judged:
        for reel in book.reels:
            yield f"reel {reel['reel_id']}", lambda book=book, reel=reel: reel_review(plant, book, reel)
    for shift_id, of_shift in shifts_of(books):
        yield f"shift {shift_id}", lambda one=shift_id, those=of_shift: shift_review(plant, one, those)


def _charts(store: Store, plant: Plant, line: str, judged: list[RunBook]) -> LineCharts:
    return line_charts_of(store, plant, line, [book for book in judged if book.head["line"] == line])


def _numbers(value: Any) -> Iterator[Any]:
    """Every number, verdict and name of a record in its order; words made of codes are left out."""
    if isinstance(value, Result | Refused):
        yield _answer(value)
    elif isinstance(value, Message | Asked | Measure | Chart | datetime) or value is None or callable(value):
        return
    elif isinstance(value, np.ndarray):
        yield [_plain(one) for one in value.tolist()]
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            if field.name not in PASSING | {"stamp", "plant"}:
                yield from _numbers(getattr(value, field.name))
    elif isinstance(value, dict):
        for one in value.values():
            yield from _numbers(one)
    elif isinstance(value, tuple | list | set | frozenset):
        for one in value:
            yield from _numbers(one)
    elif isinstance(value, int | float | date | datetime):
        yield _plain(value)


def _plain(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return value


def differences(before: Frozen, now: Frozen) -> list[str]:
    """Where two are not the same, a line each."""
    return [
        f"{name}: {_first(before.get(name), now.get(name))}"
        for name in sorted(before.keys() | now.keys())
        if before.get(name) != now.get(name)
    ]


def _first(before: Any, now: Any) -> str:
    if isinstance(before, list) and isinstance(now, list):
        if len(before) != len(now):
            return f"{len(before)} entries, now {len(now)}"
        pairs = [(one, other) for one, other in zip(before, now, strict=True) if one != other]
        return f"{len(pairs)} of {len(now)} differ, the first: {pairs[0][0]} -> {pairs[0][1]}"
    return f"{before} -> {now}"


def main(store: str, out: str, *same: str) -> int:
    """Write down what a store says, or compare it with what was written."""
    now = json.loads(json.dumps(frozen(Path(store)), default=str))
    if not same:
        Path(out).write_text(json.dumps(now, indent=0, sort_keys=True), encoding="utf-8")
        return 0
    found = differences(json.loads(Path(out).read_text(encoding="utf-8")), now)
    print("\n".join(found) or "the same")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))

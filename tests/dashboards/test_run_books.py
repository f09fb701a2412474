"""Books of runs ask for many runs at a time, and every book gets what asking for its run alone gives."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dashboards.fillers.rows import intervals_of
from dashboards.fillers.run_book import RunBook, run_books, run_results
from dashboards.pages.shift import POINT
from pipeline.store.database import Store, open_to_read
from pipeline.store.said_columns import rule_of
from pipeline.wording.say import plain

# Part of a book, the question behind it, and what the question is about.
PARTS = (
    ("places", "places_of_assessment", "assessment_id"),
    ("reels", "placed_reels_of_assessment", "assessment_id"),
    ("requirements", "requirements_of_assessment", "assessment_id"),
    ("findings", "findings_of_assessment", "assessment_id"),
    ("results_of_run", "results_of_run", "assessment_id"),
    ("reels_shipped", "reels_shipped_of_assessment", "assessment_id"),
    ("gaps", "gaps_of_assessment", "assessment_id"),
    ("contradictions", "contradictions_of_assessment", "assessment_id"),
    ("materials", "materials_of_load", "load_id"),
    ("files", "files_of_load", "load_id"),
    ("flag_counts", "flag_counts_of_load", "load_id"),
    ("among_its_like", "line_results_of_run", "run_id"),
)


def test_a_book_says_what_its_run_alone_says(judged_store: Path) -> None:
    with open_to_read(judged_store) as store:
        books = run_books(store)
        assert len(books) > 4
        for book in books:
            for part, question, key in PARTS:
                assert getattr(book, part) == store.ask(f"questions/{question}", **{key: book.head[key]}), (
                    f"{part} of {book.run_id}"
                )
            key = {"assessment_id": book.head["assessment_id"]}
            assert book.results_of_run + [
                row for rows in book.results_by_reel.values() for row in rows
            ] == sorted(
                store.ask("questions/results_of_assessment", **key), key=lambda row: row["scope"] != "run"
            )
            assert book.contradictions == [
                {name: row[name] for name in ("assessment_id", "from_m", "to_m", "sentence")}
                for row in store.ask("questions/agreement_of_assessment", **key)
                if row["state"] == "red"
            ]
            assert [row for rows in book.walls_by_reel.values() for row in rows] == [
                row for row in book.requirements if row["requirement"] == POINT
            ]
            rules = store.ask(
                "questions/decision_rules_of_assessments", assessments=[book.head["assessment_id"]]
            )
            assert book.decision_rules == [
                f"{row['requirement']}: {plain(rule)}" for row in rules if (rule := rule_of(row))
            ]
            first = store.ask("questions/first_seen_of_run", run_id=book.run_id)
            assert book.first_seen == {row["finding_id"]: row["first_utc"] for row in first}
        assert any(book.requirements for book in books)
        assert any(book.among_its_like for book in books)
        assert any(book.decision_rules for book in books)
        assert any(book.walls_by_reel for book in books)
        assert any(book.results_by_reel for book in books)


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many runs each statement asked about, as they are asked."""
    numbers: list[int] = []
    plain = Store.ask_of_each

    def counted(self: Store, question: str, key: str, keys: list[Any], **more: object) -> Any:
        numbers.append(len(keys))
        return plain(self, question, key, keys, **more)

    monkeypatch.setattr(Store, "ask_of_each", counted)
    return numbers


def test_one_run_is_asked_alone_and_many_in_few_statements(judged_store: Path, asked: list[int]) -> None:
    with open_to_read(judged_store) as store:
        books = run_books(store)
        assert books[2].materials
        assert asked == [1]
        asked.clear()
        for book in run_books(store):
            assert book.materials == book.materials
        assert asked[:3] == [1, 2, 4]
        assert sum(asked) == len(books)


def test_some_runs_are_asked_at_once(judged_store: Path, asked: list[int]) -> None:
    with open_to_read(judged_store) as store:
        every = run_books(store)
        heads = [book.head for book in every[1:4]]
        alone = [book.reels for book in every[1:4]]
        asked.clear()
        assert [book.reels for book in run_books(store, heads)] == alone
        assert asked == [sum(head["assessment_id"] is not None for head in heads)]
        assert run_books(store, []) == []


def test_results_about_whole_runs_are_those_of_each_run(judged_store: Path) -> None:
    topics = ("capability", "gauge noise")

    def alone(book: RunBook) -> list[dict[str, Any]]:
        return [row for row in book.results_of_run if row["topic"] in topics]

    with open_to_read(judged_store) as store:
        books = run_books(store)
        found = run_results(books, topics)
        assert found == [alone(book) for book in books]
        assert any(found)
        assert run_results([], topics) == []


def test_a_reel_map_marks_as_nonconforming_only_what_does_not_conform(judged_store: Path) -> None:
    marked = 0
    with open_to_read(judged_store) as store:
        for book in run_books(store):
            verdicts = {row["finding_id"]: row["verdict"] for row in book.findings}
            for reel in book.reels:
                marks = intervals_of(book, reel["reel_id"])
                of_findings = [(one.kind, verdicts[one.finding_id]) for one in marks if one.finding_id]
                assert all(
                    kind == ("nonconforming" if verdict == "does not conform" else "indeterminate")
                    for kind, verdict in of_findings
                )
                if reel["standing"] == "releasable":
                    assert not of_findings, reel["reel_id"]
                marked += len(of_findings)
    assert marked > 20

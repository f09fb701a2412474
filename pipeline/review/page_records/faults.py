"""The record of the faults page: rates with intervals, repeats and the roll they fit, faults along the wire."""

from __future__ import annotations

from collections.abc import Callable

from dashboards.records import FaultRateRow, FaultReview, FaultWire, Plant, RepeatRow
from pipeline.review.page_records.rows import fault_marks, product_row, stamp_of
from pipeline.review.page_records.run_book import RunBook, answer_of
from pipeline.statistics.event_rate import event_rate

BY: tuple[tuple[str, Callable[[RunBook], str]], ...] = (
    ("line", lambda book: str(book.head["line"])),
    ("shift", lambda book: f"{book.head['shift_date']} {book.head['shift']}"),
    ("product", lambda book: product_row(book).label),
    ("run", lambda book: book.run_id),
)


def fault_review(
    plant: Plant, books: list[RunBook], title: str = "Spark faults, everything on file"
) -> FaultReview:
    """Everything the faults page shows of the runs in `books` that were judged."""
    judged = [book for book in books if book.is_judged and book.head["outcome"] == "judged"]
    return FaultReview(
        plant=plant,
        title=title,
        rates=tuple(row for by, heading in BY for row in _rates(by, heading, judged)),
        wires=tuple(
            FaultWire(book.run_id, book.head["line"], book.head["made_m"], sparks)
            for book in judged
            if (sparks := tuple(mark for mark in fault_marks(book) if mark.kind == "spark fault"))
        ),
        repeats=tuple(row for book in judged for row in _repeats(book)),
        stamp=stamp_of(judged),
    )


def _rates(by: str, heading: Callable[[RunBook], str], books: list[RunBook]) -> list[FaultRateRow]:
    grouped: dict[str, list[RunBook]] = {}
    for book in books:
        grouped.setdefault(heading(book), []).append(book)
    rows = []
    for name, group in sorted(grouped.items()):
        reels = [row for book in group for row in book.reels]
        faults = sum(row["spark_faults"] for row in reels)
        untested = sum(row["spark_untested_m"] for row in reels)
        tested = sum(row["length_m"] for row in reels) - untested
        rows.append(
            FaultRateRow(
                heading=name,
                by=by,
                faults=faults,
                counts=sum(row["spark_counts"] for row in reels),
                tested_m=tested,
                untested_m=untested,
                rate=event_rate(faults, max(tested, 0.0)),
                run_id=group[0].run_id if by == "run" else "",
            )
        )
    return rows


def _repeats(book: RunBook) -> list[RepeatRow]:
    rows = []
    for row in book.results:
        if row["topic"] != "fault repeats" or "0 faults on reels" in row["refused"]:
            continue
        sentence = row["warnings"][0] if row["warnings"] else row["refused"]
        element = ""
        if not row["refused"]:
            causes = [one["cause_sentence"] for one in book.findings if one["cause"] == "roll"]
            element = causes[0].rsplit("circumference of ", 1)[-1].rstrip(".") if causes else ""
        rows.append(RepeatRow(book.run_id, answer_of(row), element, row["estimate"], sentence))
    return rows

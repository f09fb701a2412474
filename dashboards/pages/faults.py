"""The faults page: rates with intervals, maps along the length, repeats and the roll they fit.

The record of the faults page: rates with intervals, repeats and the roll they fit, faults along the wire.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import combinations

from dashboards.figures.dots import shared_scale
from dashboards.fillers.rows import fault_marks, product_row, stamp_of
from dashboards.fillers.run_book import Row, RunBook, run_results
from dashboards.records import Answer, AnswerGroup, FaultRateRow, FaultReview, FaultWire, Plant, RepeatRow
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.quantity import Quantity, asks
from pipeline.results import Refused, Result
from pipeline.store.answer_columns import answer_of

BY: tuple[tuple[str, Callable[[RunBook], str]], ...] = (
    ("line", lambda book: str(book.head["line"])),
    ("shift", lambda book: f"{book.head['shift_date']} {book.head['shift']}"),
    ("product", lambda book: product_row(book).label),
    ("run", lambda book: book.run_id),
)


def fault_review(plant: Plant, books: list[RunBook]) -> FaultReview:
    """Everything the faults page shows of the runs in `books` that were judged."""
    judged = [book for book in books if book.is_judged and book.head["outcome"] == "judged"]
    return FaultReview(
        plant=plant,
        title="Spark faults, everything on file",
        rates=tuple(row for by, heading in BY for row in _rates(by, heading, judged)),
        wires=tuple(
            FaultWire(book.run_id, book.head["line"], book.head["made_m"], sparks)
            for book in judged
            if (sparks := tuple(mark for mark in fault_marks(book) if mark.kind == "spark fault"))
        ),
        repeats=tuple(
            row
            for book, of_run in zip(judged, run_results(judged, ["fault repeats"]), strict=True)
            for row in _repeats(book, of_run)
        ),
        answers=_differences_first([*_between_lines(judged), *_of_lines(judged), *_of_runs(judged)]),
        stamp=stamp_of(books),
    )


# What a figure without a unit is, by its quantity.
UNIT_OF = {
    Quantity.FAULT_RATE_RATIO: "times",
    Quantity.FAULT_RATE_RATIO_ADJUSTED: "times",
    Quantity.FAULT_TREND: "times",
    Quantity.FAULT_RATE_CHANGE: "in the order made",
}


def _differences_first(answers: list[Answer]) -> tuple[Answer, ...]:
    """The answers with their figures named: first the comparisons that show a difference, then the others."""

    def named(one: Answer) -> Answer:
        if isinstance(one, Refused) or one.unit:
            return one
        return replace(one, unit=UNIT_OF.get(one.question.quantity, ""))

    return tuple(sorted(map(named, answers), key=lambda one: not is_apart(one)))


def is_apart(one: Answer) -> bool:
    """Whether a comparison shows a difference: its interval of the ratio leaves 1 out."""
    return isinstance(one, Result) and one.unit == "times" and not one.low <= 1.0 <= one.high


def by_subject(answers: Iterable[Answer]) -> tuple[AnswerGroup, ...]:
    """Answers under the line with its product, or the run, that they are of."""
    of: dict[str, list[Answer]] = {}
    for one in answers:
        of.setdefault(one.question.whose or "Lines compared", []).append(one)
    return tuple(AnswerGroup(title, tuple(those)) for title, those in of.items())


def _between_lines(books: list[RunBook]) -> list[Answer]:
    """Each line's fault rate against each other's, each over its tested length."""
    from pipeline.steps.rates_of_reels import ratio_of_reels  # here, so that pages start without SciPy

    lines: dict[str, list[Row]] = {}
    for book in books:
        lines.setdefault(str(book.head["line"]), []).extend(book.reels)
    found: list[Answer] = []
    for one, other in combinations(sorted(lines), 2):
        question = asks(
            Quantity.FAULT_RATE_RATIO, f"line {one} : line {other}", one=f"line {one}", other=f"line {other}"
        )
        found.append(
            replace(ratio_of_reels(*(_counted(lines[name]) for name in (one, other))), question=question)
        )
    return found


def _counted(reels: list[Row]) -> list[tuple[int, float]]:
    """Faults and tested length [m] of each reel."""
    return [(row["spark_faults"], max(row["length_m"] - row["spark_untested_m"], 0.0)) for row in reels]


def _of_lines(books: list[RunBook]) -> list[Answer]:
    """What the newest look over each line and product says of its fault rates."""
    if not books:
        return []
    store = books[0].store
    return [
        replace(answer, question=answer.question.of(f"{look['line']}, {look['product']}"))
        for look in store.ask("questions/line_reviews")
        for row in store.ask("questions/line_results", line_review_id=look["line_review_id"])
        if row["topic"] == "fault rates"
        for answer in [answer_of(row)]
    ]


def _of_runs(books: list[RunBook]) -> list[Answer]:
    """Clustering, trend along a reel and thin spots before faults, of runs that have faults."""
    return [
        replace(answer, question=answer.question.of(f"Run {book.run_id}"))
        for book, patterns in zip(books, run_results(books, ["fault patterns"]), strict=True)
        if any(row["spark_faults"] for row in book.reels)
        for row in patterns
        for answer in [answer_of(row)]
    ]


def _rates(by: str, heading: Callable[[RunBook], str], books: list[RunBook]) -> list[FaultRateRow]:
    from pipeline.steps.rates_of_reels import rate_of_reels  # here, so that pages start without SciPy

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
                rate=rate_of_reels(_counted(reels)),
                run_id=group[0].run_id if by == "run" else "",
            )
        )
    return rows


def _repeats(book: RunBook, results: list[Row]) -> list[RepeatRow]:
    rows = []
    for row in results:
        answer, listed = answer_of(row), row["quantity"] == Quantity.FAULT_REPEAT
        if isinstance(answer, Refused):
            if listed and answer.n > 0:  # a scan of every length that found nothing stands on the run's page
                rows.append(RepeatRow(book.run_id, answer, "", None, answer.reason))
            continue
        element = ""
        if listed:
            element = next((one["cause_of"] for one in book.findings if one["cause"] == "roll"), "")
        told = answer.warnings[0] if answer.warnings else ""
        rows.append(RepeatRow(book.run_id, answer, element, answer.estimate, told))
    return rows


def write_faults_page(record: FaultReview, site: Site) -> WrittenFile:
    """Writes the faults page.

    Args:
        record: what it shows.
        site: where.
    """
    scale = shared_scale([row.rate for row in record.rates], from_zero=True, to_estimates=True)
    rates = list(zip(record.rates, scale.dots, strict=True))
    apart = tuple(one for one in record.answers if is_apart(one))
    return write_page(
        site,
        "faults",
        "",
        "faults.html.j2",
        record,
        rates=rates,
        scale=scale,
        apart=apart,
        others=by_subject(one for one in record.answers if one not in apart),
    )

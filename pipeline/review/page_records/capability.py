"""The record of the capability page: each line and product against each limit, with interval and trend."""

from __future__ import annotations

from dashboards.records import CapabilityCell, CapabilityMatrix, CapabilityPoint, Plant
from pipeline.results import Refused, Result
from pipeline.review.page_records.rows import limit_row, product_row, stamp_of
from pipeline.review.page_records.run_book import Row, RunBook, answer_of, aware, run_results
from pipeline.review.reels_of_line import HELD_AGAINST
from pipeline.statistics.against_record import Observed, against_record

# Topics of a look over the line, and of a run, that stand beside the index of a requirement.
OF_REELS = ("capability within reels", "limit most reels keep", "share of bad reels", "minimum of a reel")
OF_READINGS = ("shape of the readings", "tail of the wall")
OF_RUNS = ("capability", "minimum by normal theory", "minimum of a reel", *OF_READINGS)


def capability_matrix(
    plant: Plant, books: list[RunBook], title: str = "Capability, everything on file"
) -> CapabilityMatrix:
    """Everything the capability page shows of the runs in `books` that were judged."""
    judged = [book for book in books if book.is_judged and book.head["outcome"] == "judged"]
    grouped: dict[tuple[str, str], list[RunBook]] = {}
    for book in judged:
        grouped.setdefault((book.head["line"], product_row(book).label), []).append(book)
    days = [book.head["shift_date"] for book in judged]
    return CapabilityMatrix(
        plant=plant,
        title=title,
        cells=tuple(
            cell
            for (line, product), group in sorted(grouped.items())
            for cell in _cells(line, product, group)
        ),
        from_day=min(days, default=None),
        to_day=max(days, default=None),
        stamp=stamp_of(judged),
    )


def _cells(line: str, product: str, books: list[RunBook]) -> list[CapabilityCell]:
    cells: list[CapabilityCell] = []
    looked = _looked(books[-1])
    results, reels = _of_runs(books)
    ids = [book.head["assessment_id"] for book in books]
    failing = books[-1].store.ask("questions/reels_failing", assessments=ids)
    for row in books[-1].limits:
        if row["requirement"] not in HELD_AGAINST:
            continue
        limit = limit_row(row)
        record = _record(failing, row)
        risk = _against(_risk(results, row), record)
        cells.append(
            CapabilityCell(
                line_id=line,
                product=product,
                requirement=row["requirement"],
                limit=limit,
                answer=_over_reels(looked, row),
                below_limit_normal=_against(_normal_risk(results, row), record),
                below_limit_extremes=risk,
                trend=tuple(
                    CapabilityPoint(book.run_id, aware(book.head["started_utc"]), answer)
                    for book, of_run in zip(books, results, strict=True)
                    if (answer := _of_run(of_run, row)) is not None
                ),
                reels=reels,
                beside=_beside(looked, results[-1], row),
                observed=record.sentence if record.reels else "",
            )
        )
    return cells


def _of_runs(books: list[RunBook]) -> tuple[list[list[Row]], int]:
    """What was worked of each run as a whole, in the order of the books, and how many reels they have."""
    ids = [book.head["assessment_id"] for book in books]
    counts = books[-1].store.ask("questions/reel_counts_of_assessments", assessments=ids)
    return run_results(books, OF_RUNS), sum(row["reels"] for row in counts)


def _record(failing: list[Row], limit: Row) -> Observed:
    """The reels on file of the line and product that fail a limit, of those judged by it."""
    for row in failing:
        if row["requirement"] == limit["requirement"] and abs(row["limit_value"] - limit["value"]) < 1e-9:
            return Observed(row["bad"], row["reels"])
    return Observed(0, 0)


def _against(answer: Result | Refused | None, record: Observed) -> Result | Refused | None:
    return None if answer is None else against_record(answer, record)


def _looked(book: RunBook) -> list[Row]:
    """What the newest look over the line says of the product that the run made."""
    head = book.head
    product = f"{head['size']} {head['conductor']} {head['metal']} {head['construction']}"
    return [
        row
        for look in book.store.ask("questions/line_reviews")
        if (look["line"], look["product"]) == (head["line"], product)
        for row in book.store.ask("questions/line_results", line_review_id=look["line_review_id"])
    ]


def _words(limit: Row) -> str:
    return f"{limit['requirement']} {limit['sense']} {limit['value']:.4g} {limit['unit']}"


def _over_reels(looked: list[Row], limit: Row) -> Result | Refused:
    """The index with one value a reel as the unit: what differs from reel to reel is in it."""
    wanted = f"How far do whole reels stand from {_words(limit)}?"
    row = next((one for one in looked if one["question"] == wanted), None)
    if row is None:
        reason = "The line was not looked over yet; assess its runs."
        return Refused(wanted, "one-sided index of one value a reel (ISO 22514-2)", reason, 0)
    return answer_of(row)


def _beside(looked: list[Row], newest: list[Row], limit: Row) -> tuple[Result | Refused, ...]:
    """What stands beside the index: of the line's reels first, then of the newest run's readings."""
    value = f"{limit['value']:.4g} {limit['unit']}"
    named = (f"({limit['requirement']})", f" from {_words(limit)} if ")
    of_reels = [
        answer_of(row)
        for row in looked
        if row["topic"] in OF_REELS
        and (
            any(text in row["question"] for text in named)
            or (_is_point(limit) and f"under {value}" in row["question"])
        )
    ]
    of_run = [
        answer_of(row)
        for row in newest
        if row["topic"] in OF_READINGS
        and (_words(limit) in row["question"] or (_is_point(limit) and row["topic"] == "tail of the wall"))
    ]
    return (*of_reels, *of_run)


def _is_point(limit: Row) -> bool:
    return bool(limit["requirement"] == "minimum wall at any point")


def _of_run(results: list[Row], limit: Row) -> Result | Refused | None:
    wanted = f"How far does {limit['requirement']} stand from {limit['sense']} {limit['value']:.4g} {limit['unit']}?"
    row = next((one for one in results if one["question"] == wanted), None)
    return answer_of(row) if row is not None else None


def _normal_risk(results: list[list[Row]], limit: Row) -> Result | Refused | None:
    """The newest run's risk of a point under the limit, were the wall normal and smooth."""
    if not _is_point(limit):
        return None
    for of_run in reversed(results):
        for row in of_run:
            if (
                row["topic"] == "minimum by normal theory"
                and f"under {limit['value']:.4g} " in row["question"]
            ):
                return answer_of(row)
    return None


def _risk(results: list[list[Row]], limit: Row) -> Result | Refused | None:
    """The newest run's risk of a point under the limit, from the extremes of the dependent series."""
    if limit["requirement"] != "minimum wall at any point":
        return None
    for of_run in reversed(results):
        for row in of_run:
            if row["topic"] == "minimum of a reel" and f"under {limit['value']:.4g} " in row["question"]:
                return answer_of(row)
    return None

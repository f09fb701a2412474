"""The nonconformance summary: what did not conform in a period, why, and what is still open; page and CSV.

The record of the nonconformance summary: what was found in a period, by rule, line, product and cause.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from datetime import date
from statistics import median

from dashboards.addresses import address
from dashboards.comma_table import Cell, comma_table
from dashboards.fillers.rows import finding_row, product_row, rule_name, stamp_of
from dashboards.fillers.run_book import Row, RunBook
from dashboards.records import FindingRow, NonconformanceSummary, Plant, Tally, TallyRow
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile, write_if_changed
from pipeline.length.intervals import wire_m
from pipeline.wording.say import plain

Heading = Callable[[RunBook, Row], str]

BY: tuple[tuple[str, Heading], ...] = (
    ("rule", lambda _book, row: rule_name(row)),
    ("line", lambda book, _row: str(book.head["line"])),
    ("product", lambda book, _row: product_row(book).label),
    ("cause", lambda _book, row: str(row["cause"]) or "not known"),
)


def nonconformance_summary(
    plant: Plant, period_id: str, title: str, from_day: date, to_day: date, books: list[RunBook]
) -> NonconformanceSummary:
    """Everything the nonconformance page and its CSV show of the runs in `books`."""
    findings = [(book, row) for book in books for row in book.findings]
    # Open ones first, each in the order of the runs.
    shown = sorted((finding_row(book, row) for book, row in findings), key=lambda one: one.status == "closed")
    still_open = [
        (book.head["shift_date"], row["finding_id"]) for book in books for row in book.open_findings
    ]
    oldest = min(still_open, default=None)
    return NonconformanceSummary(
        plant=plant,
        period_id=period_id,
        title=title,
        from_day=from_day,
        to_day=to_day,
        findings=tuple(shown),
        tallies=tuple(_tally(name, heading, findings, books) for name, heading in BY),
        median_days_to_disposition=_median_days(shown),
        oldest_open_days=None if oldest is None else float((to_day - oldest[0]).days),
        stamp=stamp_of(books),
        oldest_open_id="" if oldest is None else oldest[1],
    )


def _median_days(findings: list[FindingRow]) -> float | None:
    """Median days from finding to closing; None where nothing was closed."""
    days = [
        (one.closed_at - one.opened_at).total_seconds() / 86_400.0
        for one in findings
        if one.closed_at is not None and one.opened_at is not None
    ]
    return median(days) if days else None


def _tally(name: str, heading: Heading, findings: list[tuple[RunBook, Row]], books: list[RunBook]) -> Tally:
    grouped: dict[str, list[Row]] = {}
    for book, row in findings:
        grouped.setdefault(heading(book, row), []).append(row)
    made: dict[str, float] = {}
    known: dict[str, dict[str, float]] = {}
    if name in {"line", "product"}:
        for book in books:
            key = heading(book, {})
            made[key] = made.get(key, 0.0) + (book.head["on_reels_m"] or 0.0)
            known.setdefault(key, {})[book.run_id] = sum(
                row["length_m"] - row["wall_unmonitored_m"] for row in book.reels
            )
    still_open = {row["finding_id"] for book in books for row in book.open_findings}
    from pipeline.steps.rates_of_reels import rate_of_reels  # here, so that pages start without SciPy

    rows = []
    # Most findings first, so that the few causes of most of them are read first.
    for key in sorted(set(grouped) | set(made), key=lambda one: (-len(grouped.get(one, ())), one)):
        found = grouped.get(key, [])
        reach = known.get(key, {})
        in_run = Counter(row["run_id"] for row in found)
        rows.append(
            TallyRow(
                heading=key,
                opened=len(found),
                closed=sum(row["finding_id"] not in still_open for row in found),
                length_m=wire_m((row["run_id"], row["from_m"], row["to_m"]) for row in found),
                made_m=made.get(key),
                known_m=sum(reach.values()) if reach else None,
                per_km=rate_of_reels([(in_run[run], m) for run, m in reach.items()])
                if any(reach.values())
                else None,
            )
        )
    return Tally(name, tuple(rows))


HEADS = (
    "finding",
    "status",
    "severity",
    "rule",
    "requirement",
    "line",
    "product",
    "run",
    "reels",
    "outer_from_m",
    "outer_to_m",
    "core_from_m",
    "core_to_m",
    "run_from_m",
    "run_to_m",
    "worst",
    "worst_unit",
    "worst_outer_m",
    "worst_run_m",
    "limit",
    "limit_of_record",
    "limit_document",
    "limit_revision",
    "judged_by",
    "cause",
    "opened_at_utc",
    "closed_at_utc",
    "decision",
    "decided_by",
    "decision_reason",
    "sentence",
)


def finding_cells(one: FindingRow) -> tuple[Cell, ...]:
    """A finding as a row of the CSV, in the order of `HEADS`."""
    worst, limit, decided = one.worst, one.limit, one.disposition
    return (
        one.finding_id,
        one.status,
        one.severity,
        one.rule,
        one.requirement,
        one.line_id,
        one.product,
        one.run_id,
        " ".join(one.reel_ids),
        *(one.outer_m or (None, None)),
        *(one.core_m or (None, None)),
        one.from_m,
        one.to_m,
        worst.value if worst else None,
        worst.unit if worst else None,
        worst.outer_m if worst else None,
        worst.at_m if worst else None,
        limit.value if limit else None,
        f"{limit.sense} {limit.as_recorded} {limit.unit_of_record}" if limit else None,
        f"{limit.document} {limit.edition} {limit.table}".strip() if limit else None,
        limit.revision if limit else None,
        one.judged_by or None,
        one.cause,
        one.opened_at,
        one.closed_at,
        decided.decision if decided else None,
        decided.role if decided else None,
        decided.reason if decided else None,
        plain(one.sentence),
    )


def write_nonconformance_page(record: NonconformanceSummary, site: Site) -> tuple[WrittenFile, WrittenFile]:
    """Writes the page and, beside it, the CSV of every finding.

    Args:
        record: what they show.
        site: where.
    """
    where = address("nonconformance", record.period_id)
    csv_at = where.removesuffix(".html") + ".csv"
    page = write_page(
        site,
        "nonconformance",
        record.period_id,
        "nonconformance.html.j2",
        record,
        csv_href=csv_at.rsplit("/", 1)[-1],
    )
    rows = (finding_cells(one) for one in record.findings)
    return page, write_if_changed(site, csv_at, comma_table(HEADS, rows))

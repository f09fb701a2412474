"""The nonconformance summary: what did not conform in a period, why, and what is still open; page and CSV."""

from __future__ import annotations

from dashboards.addresses import address
from dashboards.comma_table import Cell, comma_table
from dashboards.records import FindingRow, NonconformanceSummary
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile, write_if_changed
from pipeline.wording.say import plain

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
        f"{limit.sense} {limit.value_of_record} {limit.unit_of_record}" if limit else None,
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

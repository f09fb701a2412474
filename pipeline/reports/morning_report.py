"""The morning sheet on paper: one sheet for a day, a week or a month."""

from __future__ import annotations

from typing import Any

from dashboards.pages.morning import (
    MOST_CAUSES,
    MOST_DECISIONS,
    MOST_OPEN,
    amount_of,
    bars,
    sheet_id,
    sheet_title,
)
from dashboards.records import FindingRow
from dashboards.records.morning import MorningSheet
from dashboards.site import record_sha256
from pipeline.reports.typesetting import Printing, Wording, printed, shared_data
from pipeline.words import counted

GROUPS = (
    ("released", "Released"),
    ("releasable", "Releasable"),
    ("held", "Held"),
    ("shipped", "Shipped"),
)


def _money(cost: float | None, currency: str) -> str:
    return "no price on file" if cost is None else f"{cost:,.0f}\u00a0{currency}"


def _open_row(one: FindingRow, record: MorningSheet, wording: Wording) -> list[str]:
    days = (record.as_of - one.opened_at).total_seconds() / 86400.0 if one.opened_at else None
    due = record.plant.due_at(one.severity, one.opened_at)
    return [
        one.finding_id,
        one.severity,
        ", ".join(one.reel_ids) or "on no reel",
        one.requirement or one.rule.replace("-", " "),
        record.plant.owner_of(one.severity) or "none named",
        wording.moment(due) if due else "\u2013",
        "not known" if days is None else "under 1 day" if days < 1.0 else counted(round(days), "day"),
    ]


def morning_pdf(record: MorningSheet, printing: Printing) -> bytes:
    """The sheet as a PDF of one page.

    Args:
        record: what it holds, the same as the page's.
        printing: who prints it, when, by which revision of the form.
    """
    wording = Wording(record.plant)
    sums: list[list[str]] = [["Made", wording.quantity(record.made.length_m, "length")]]
    for name, label in GROUPS:
        one = amount_of(record, name)
        sums.append([f"{label}, {counted(one.reels, 'reel')}", wording.quantity(one.length_m, "length")])
    scrap = f"{wording.quantity(record.scrap_m, 'length')}, {_money(record.scrap_cost, record.currency)}"
    data: dict[str, Any] = {
        **shared_data(record.plant, record.stamp, record_sha256(record), printing, "morning sheet"),
        "title": sheet_title(record),
        "question": "What was made, what is held, and what is open?",
        "subtitle": f"As of {wording.moment(record.as_of)}. Costs are of insulation compound only.",
        "sheet": sheet_id(record),
        "sums": sums,
        "scrap": scrap,
        "causes": [
            [
                wording.sentence(one.cause),
                str(one.findings),
                wording.quantity(one.length_m, "length"),
                _money(one.cost, record.currency),
            ]
            for one in record.causes[:MOST_CAUSES]
        ],
        "open_count": len(record.open_findings),
        "open": [_open_row(one, record, wording) for one in record.open_findings[:MOST_OPEN]],
        "bars": [list(heights) for _, *heights in bars(record.trend)],
        "days": [f"{record.trend[0].day}", f"{record.trend[-1].day}"],
        "decisions": [
            f"{one.finding_id or one.reel_id}: {one.decision} by {one.role}, {wording.moment(one.decided_at)}"
            for one in record.decisions[:MOST_DECISIONS]
        ],
        "more_decisions": max(len(record.decisions) - MOST_DECISIONS, 0),
    }
    return printed("morning.typ", data, printing.at)

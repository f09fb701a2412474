"""The morning sheet as a page: made, held, scrap, causes by cost, what is open and what was decided, on one sheet."""

from __future__ import annotations

from dashboards.records.morning import Amount, DayTotal, MorningSheet
from dashboards.rendering import day, write_page
from dashboards.site import Site, WrittenFile

TITLES = {"morning": "Morning sheet", "week": "Weekly sheet", "month": "Monthly sheet"}
# What stands on one sheet of paper; the pages behind the figures have the rest.
MOST_CAUSES, MOST_OPEN, MOST_DECISIONS = 3, 10, 6


def sheet_id(record: MorningSheet) -> str:
    """The id that names the page: a day, or a period and its last day."""
    last = record.to_day.isoformat()
    return last if record.period == "morning" else f"{record.period.upper()}-{last}"


def sheet_title(record: MorningSheet) -> str:
    """What the sheet is, and of when."""
    if record.period == "month":
        return f"{TITLES['month']}, {record.from_day:%B %Y}"
    if record.period == "week":
        return f"{TITLES['week']}, {day(record.from_day)} to {day(record.to_day)}"
    return f"{TITLES['morning']}, {day(record.to_day)}"


def amount_of(record: MorningSheet, name: str) -> Amount:
    """Reels of one group of standings."""
    return dict(record.amounts).get(name, Amount(0, 0.0))


def bars(trend: tuple[DayTotal, ...]) -> list[tuple[DayTotal, float, float, float]]:
    """Each day with the heights of its bars, in per cent of the greatest length made."""
    most = max((one.made_m for one in trend), default=0.0)
    if most <= 0.0:
        return [(one, 0.0, 0.0, 0.0) for one in trend]

    def height(length_m: float) -> float:
        return round(100.0 * length_m / most, 2)

    return [(one, height(one.made_m), height(one.held_m), height(one.scrap_m)) for one in trend]


def write_morning_page(record: MorningSheet, site: Site) -> WrittenFile:
    """Writes the sheet's page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(
        site,
        "morning",
        sheet_id(record),
        "morning.html.j2",
        record,
        title=sheet_title(record),
        amount_of=lambda name: amount_of(record, name),
        bars=bars(record.trend),
        most=(MOST_CAUSES, MOST_OPEN, MOST_DECISIONS),
    )

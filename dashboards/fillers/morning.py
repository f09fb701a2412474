"""The record of the morning sheet, and of the weekly and the monthly one, from the runs on file."""

from __future__ import annotations

import tomllib
from calendar import monthrange
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dashboards.fillers.decisions import alarms_of, disposition_rows
from dashboards.fillers.rows import finding_row, stamp_of
from dashboards.fillers.run_book import Row, RunBook
from dashboards.records import GATE_OF, DispositionRow, Plant
from dashboards.records.morning import Amount, CauseCost, DayTotal, MorningSheet, Period
from pipeline.length.intervals import wire_m
from pipeline.quantity import Quantity
from pipeline.results import Result

TREND_DAYS = 30
NO_REEL = "wire on no reel (start-up, ramps, stops)"
UNKNOWN = "not known"


def days_of(period: Period, day: date) -> tuple[date, date]:
    """First and last production day of a period that `day` ends (a week) or lies in (a month)."""
    if period == "week":
        return day - timedelta(days=6), day
    if period == "month":
        return day.replace(day=1), day.replace(day=monthrange(day.year, day.month)[1])
    return day, day


def morning_sheet(
    plant: Plant, books: Sequence[RunBook], period: Period, day: date, as_of: datetime | None = None
) -> MorningSheet:
    """The sheet of one period.

    Args:
        plant: the plant.
        books: every run on file.
        period: how long it covers.
        day: its last day, or a day of its month.
        as_of: instant that ages are counted to; the newest assessment or act of the sheet where left out.

    Returns:
        The sheet. Its acts are those from the first day to a day after the last one, or after its runs were last
        judged where that was later.
    """
    first, last = days_of(period, day)
    own = [book for book in books if first <= book.head["shift_date"] <= last]
    amounts: dict[str, list[float]] = defaultdict(list)
    for book in own:
        for row in book.reels:
            code = book.standings[row["reel_id"]].code
            amounts["shipped" if code == "shipped" else GATE_OF[code]].append(row["length_m"])
    currency, costs = _costs(own)
    start = datetime.combine(first, time(), ZoneInfo(plant.zone))
    scrap = [(book.head["scrap_m"], costs[book.run_id]) for book in own if book.head["scrap_m"]]
    # A sheet lists what is open of all runs.
    stamp = replace(stamp_of(list(own)), left_held=alarms_of(books))
    judged = stamp.assessed_at or start
    ends = datetime.combine(last + timedelta(days=1), time(), ZoneInfo(plant.zone))
    until = max(judged, ends) + timedelta(days=1)
    decisions = _decisions(books, start, until if as_of is None else min(until, as_of))
    now = as_of or max([judged, *(one.decided_at for one in decisions[:1] if one.decided_at is not None)])
    return MorningSheet(
        plant=plant,
        period=period,
        from_day=first,
        to_day=last,
        as_of=now,
        made=Amount(
            sum(len(one) for one in amounts.values()), sum(book.head["made_m"] or 0.0 for book in own)
        ),
        amounts=tuple((name, Amount(len(those), float(sum(those)))) for name, those in amounts.items()),
        scrap_m=float(sum(length for length, _ in scrap)),
        scrap_cost=_sum([None if price is None else length * price for length, price in scrap]),
        currency=currency,
        causes=_causes(own, costs),
        open_findings=tuple(
            sorted(
                (finding_row(book, row) for book in books for row in book.open_findings),
                key=lambda one: (one.opened_at or now, one.finding_id),
            )
        ),
        trend=_trend(books, last),
        decisions=decisions,
        stamp=stamp,
    )


def _sum(parts: Sequence[float | None]) -> float | None:
    """The sum; None where a part is not known or there is none."""
    known = [one for one in parts if one is not None]
    return float(sum(known)) if known and len(known) == len(parts) else None


def _costs(books: Sequence[RunBook]) -> tuple[str, dict[str, float | None]]:
    """Currency, and what the insulation compound on a metre of each run's wire costs."""
    currency, found = "", {}
    for book in books:
        sheet = book.store.ask("questions/sheet", sha256=book.head["plant_sheet_sha256"])
        prices = tomllib.loads(sheet[0]["text"]).get("prices", {}) if sheet else {}
        currency = currency or str(prices.get("currency", ""))
        per_kg = prices.get("insulation_per_kg", {}).get(book.head["construction"])
        mass = next(
            (
                one.estimate
                for group in book.answers("run", book.run_id)
                for one in group.answers
                if isinstance(one, Result) and one.question.quantity == Quantity.INSULATION_MASS
            ),
            None,
        )
        found[book.run_id] = None if per_kg is None or mass is None else per_kg * mass / 1000.0
    return currency, found


def _causes(books: Sequence[RunBook], costs: dict[str, float | None]) -> tuple[CauseCost, ...]:
    """Causes by what the wire they touch cost, dearest first; without prices by length."""
    by: dict[str, list[tuple[int, float, float | None]]] = defaultdict(list)
    for book in books:
        price = costs[book.run_id]
        found: dict[str, list[Row]] = defaultdict(list)
        for row in book.findings:
            found[row["cause"] or UNKNOWN].append(row)
        for cause, rows in found.items():
            length = wire_m((book.run_id, row["from_m"], row["to_m"]) for row in rows)
            by[cause].append((len(rows), length, None if price is None else length * price))
        scrap = book.head["scrap_m"] or 0.0
        if scrap:
            by[NO_REEL].append((0, scrap, None if price is None else scrap * price))
    causes = [
        CauseCost(
            cause,
            sum(n for n, _, _ in those),
            float(sum(length for _, length, _ in those)),
            _sum([cost for _, _, cost in those]),
        )
        for cause, those in by.items()
    ]
    return tuple(sorted(causes, key=lambda one: (-(one.cost or 0.0), -one.length_m, one.cause)))


def _trend(books: Sequence[RunBook], last: date) -> tuple[DayTotal, ...]:
    """Thirty production days to the last one, days without a run as zero."""
    totals = {last - timedelta(days=back): [0.0, 0.0, 0.0] for back in reversed(range(TREND_DAYS))}
    for book in books:
        day = totals.get(book.head["shift_date"])
        if day is None:
            continue
        day[0] += book.head["made_m"] or 0.0
        day[1] += sum(
            row["length_m"]
            for row in book.reels
            if GATE_OF[book.standings[row["reel_id"]].code] in ("held", "left")
        )
        day[2] += book.head["scrap_m"] or 0.0
    return tuple(DayTotal(day, *values) for day, values in totals.items())


def _decisions(books: Sequence[RunBook], start: datetime, until: datetime) -> tuple[DispositionRow, ...]:
    """Every act from one instant to another, newest first."""
    found = [
        one
        for book in books
        for subject in (
            *(row["finding_id"] for row in book.findings),
            *(row["reel_id"] for row in book.reels),
        )
        for one in disposition_rows(book, subject)
        if one.decided_at is not None and start <= one.decided_at <= until
    ]
    return tuple(sorted(found, key=lambda one: one.decided_at or start, reverse=True))


def morning_days(books: Sequence[RunBook]) -> list[date]:
    """The production days on file, oldest first."""
    return sorted({book.head["shift_date"] for book in books})

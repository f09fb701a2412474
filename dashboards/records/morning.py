"""The record of the morning sheet: one page on what a day, a week or a month made, and what is open."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Literal

from dashboards.records.every_page import Plant, Stamp
from dashboards.records.finding_row import DispositionRow, FindingRow

Period = Literal["morning", "week", "month"]


@dataclass(frozen=True, slots=True)
class Amount:
    """Reels and their length [m]."""

    reels: int
    length_m: float


@dataclass(frozen=True, slots=True)
class CauseCost:
    """A cause with what it cost.

    Args:
        cause: its name.
        findings: findings that name it; 0 for wire on no reel.
        length_m: length it lies over [m].
        cost: cost of the insulation compound on that length, in the plant's currency; None without a price.
    """

    cause: str
    findings: int
    length_m: float
    cost: float | None


@dataclass(frozen=True, slots=True)
class DayTotal:
    """One production day of the trend: made, held and scrap [m]."""

    day: date
    made_m: float
    held_m: float
    scrap_m: float


@dataclass(frozen=True, slots=True)
class MorningSheet:
    """Everything the morning sheet shows.

    Args:
        plant: plant.
        period: ``morning`` for one production day, ``week`` for seven, ``month`` for a calendar month.
        from_day: first production day.
        to_day: last production day.
        as_of: instant that ages are counted to.
        made: reels and length made.
        amounts: reels and length by group of standings (released, releasable, held, no conclusion, shipped ...).
        scrap_m: length on no reel [m].
        scrap_cost: cost of the insulation compound on it; None without a price.
        currency: currency of costs; "" without prices.
        causes: causes, the dearest first.
        open_findings: findings still open, whenever they were found, oldest first.
        trend: thirty days to the last one.
        decisions: decisions since the first day began, newest first.
        stamp: assessments, limits and rules.
    """

    plant: Plant
    period: Period
    from_day: date
    to_day: date
    as_of: datetime
    made: Amount
    amounts: tuple[tuple[str, Amount], ...]
    scrap_m: float
    scrap_cost: float | None
    currency: str
    causes: tuple[CauseCost, ...]
    open_findings: tuple[FindingRow, ...]
    trend: tuple[DayTotal, ...]
    decisions: tuple[DispositionRow, ...] = ()
    stamp: Stamp = field(default_factory=Stamp)

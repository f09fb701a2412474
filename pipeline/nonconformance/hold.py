"""A person's hold on wire: put on a reel, a lot or a stretch of a reel, and lifted by an act with its reason.

ISO 9001:2015, 8.7.1 b (from memory) names containment beside correction: wire is kept from use before anything is
decided about it. A hold needs no finding; it stands until a person lifts it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from zoneinfo import ZoneInfo

from pipeline.found import Found
from pipeline.messages import Between, Message, message
from pipeline.nonconformance.disposition import Person

HeldKind = Literal["reel", "lot"]


@dataclass(frozen=True, slots=True)
class Hold:
    """One hold on file.

    Args:
        number: journal entry that keeps it; it is lifted by this number.
        about: what is held.
        subject: the reel, or the material lot whose every reel is held.
        from_outer_m: start of the stretch from the reel's outer end [m]; None for the whole.
        to_outer_m: end of the stretch from the reel's outer end [m]; None for the whole.
        by: who put it.
        reason: why, in their words.
        at_utc: when, UTC.
        zone: zone of the plant's clocks, in which its day is told.
    """

    number: int
    about: HeldKind
    subject: str
    from_outer_m: float | None
    to_outer_m: float | None
    by: Person
    reason: str
    at_utc: datetime
    zone: str = "UTC"

    def meets(self, from_outer_m: float, to_outer_m: float) -> bool:
        """Whether it holds any wire of a stretch of its reel, by places from the outer end [m]."""
        if self.from_outer_m is None or self.to_outer_m is None:
            return True
        return self.from_outer_m < to_outer_m and self.to_outer_m > from_outer_m

    @property
    def told(self) -> Message:
        """What it holds, since when, by whom and why."""
        return self._said(Found.HOLD, number=self.number)

    @property
    def as_put(self) -> Message:
        """The same where it is put, before it has a number."""
        return self._said(Found.HOLD_PUT)

    def _said(self, code: Found, **more: int) -> Message:
        span = {}
        if self.from_outer_m is not None and self.to_outer_m is not None:
            span = {"span": Between(self.from_outer_m, self.to_outer_m, "outer end")}
        return message(
            code,
            **more,
            about=self.about,
            subject=self.subject,
            **span,
            by=str(self.by),
            on=f"{self.at_utc.astimezone(ZoneInfo(self.zone)):%Y-%m-%d}",
            reason=self.reason.rstrip("."),
        )


def in_force(put: Iterable[Hold], lifted: Iterable[int]) -> tuple[Hold, ...]:
    """The holds that nobody has lifted.

    Args:
        put: every hold on file.
        lifted: numbers of those that were lifted.
    """
    gone = set(lifted)
    return tuple(one for one in put if one.number not in gone)

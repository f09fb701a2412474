"""What a person types for a length or a time, and what it means."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from typing import Literal

from pipeline.errors import Complaint, ReelproofError
from pipeline.units import m_from_foot

_LENGTH = re.compile(r"(\d{1,9}(?:,\d{3})*(?:\.\d+)?)\s*(ft|m)")


def length_of(text: str, option: str) -> tuple[float, Literal["ft", "m"]]:
    """A length like ``123ft`` or ``37.5m``: its figure and its unit.

    Args:
        text: as typed.
        option: the option it was given with, for the complaint.

    Raises:
        ReelproofError: it is no length with a unit.
    """
    found = _LENGTH.fullmatch(text.strip())
    if not found:
        raise ReelproofError(
            Complaint(
                option, f"'{text}' is no length with a unit", "Write it like 123ft or 37.5m, without a minus"
            )
        )
    return float(found.group(1).replace(",", "")), "ft" if found.group(2) == "ft" else "m"


def metres_of(text: str, option: str) -> float:
    """A length like ``123ft`` or ``37.5m`` [m]."""
    figure, unit = length_of(text, option)
    return m_from_foot(figure) if unit == "ft" else figure


def moment_of(text: str, zone: str, option: str) -> datetime:
    """A day or a time like ``2026-03-03`` or ``2026-03-03T14:00``, in UTC.

    Args:
        text: as typed; without an offset it is the plant's own time.
        zone: IANA zone of the plant.
        option: the option it was given with, for the complaint.

    Raises:
        ReelproofError: it is no time.
    """
    from zoneinfo import ZoneInfo

    try:
        at = datetime.fromisoformat(text.strip())
        return (at if at.tzinfo else at.replace(tzinfo=ZoneInfo(zone))).astimezone(UTC)
    except (ValueError, OverflowError):
        raise ReelproofError(
            Complaint(
                option,
                f"'{text}' is no day and no time",
                "Write it like 2026-03-03 or 2026-03-03T14:00, with an offset where it is not the plant's time",
            )
        ) from None


def day_of(text: str, option: str) -> date:
    """A day like ``2026-03-31``.

    Raises:
        ReelproofError: it is no day.
    """
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise ReelproofError(
            Complaint(option, f"'{text}' is no day", "Write it like 2026-03-31: year, month, day")
        ) from None


def told_or_refused(where: str, role: str, reason: str) -> None:
    """Complain where an act that goes into the journal lacks the role or the reason.

    Raises:
        ReelproofError: with what is missing.
    """
    _refuse_missing(
        where, ("the role of the person who acts", "--role", role), ("the reason", "--reason", reason)
    )


def unused_or_refused(where: str, act: str, **given: str) -> None:
    """Complain where words of an act are given and the act itself is not.

    Args:
        where: the command and what it is about.
        act: how the act is asked for.
        given: what was typed, by the name of its option.

    Raises:
        ReelproofError: with what is given in vain.
    """
    vain = [f"--{name}" for name, value in given.items() if value.strip()]
    if vain:
        raise ReelproofError(
            Complaint(
                where,
                f"{' and '.join(vain)} {'was' if len(vain) == 1 else 'were'} given and nothing is done",
                f"Give {act} too, or leave it out",
            )
        )


def role_or_refused(where: str, role: str) -> None:
    """Complain where an act that goes into the journal lacks the role.

    Raises:
        ReelproofError: the role is missing.
    """
    _refuse_missing(where, ("the role of the person who acts", "--role", role))


def _refuse_missing(where: str, *told: tuple[str, str, str]) -> None:
    complaints = [
        Complaint(where, f"{name} is missing", f"Give {option}")
        for name, option, value in told
        if not value.strip()
    ]
    if complaints:
        raise ReelproofError(complaints)

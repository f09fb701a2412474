"""What went wrong, where, and what to do: the only way this program complains.

A complaint names a place (``file:line``, column or key), what was found, what may stand there and what to
do. Complaints about one file or sheet are collected and raised together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.messages import Message, Said

LONGEST_PART = 1200


@dataclass(frozen=True, slots=True)
class Complaint:
    """One thing that is wrong, as a sentence or two for the person who must mend it.

    Args:
        where: the place, as ``file:line``, ``file: key`` or a command's argument.
        found: what was found there, without a full stop; a message where it may be kept.
        remedy: what may stand there and what to do, in the same way.
    """

    where: str
    found: Said
    remedy: Said

    def __str__(self) -> str:
        return f"{_short(self.where)}: {in_words(self.found)}. {in_words(self.remedy)}."


def in_words(said: Said) -> str:
    """A part of a complaint as it is read: an error's text is where it is shown."""
    if isinstance(said, Message):
        from pipeline.wording.say import plain

        return _short(plain(said))
    return _short(said)


def _short(text: str) -> str:
    """A text without its middle where it is longer than anybody reads: a name out of a file may have any length."""
    return (
        text if len(text) <= LONGEST_PART else f"{text[: LONGEST_PART // 2]} … {text[-LONGEST_PART // 4 :]}"
    )


class ReelproofError(Exception):
    """Work that cannot go on, with every complaint found before it stopped."""

    exit_code = 2

    def __init__(self, complaints: Complaint | Iterable[Complaint]) -> None:
        listed = (complaints,) if isinstance(complaints, Complaint) else tuple(complaints)
        if not listed:
            raise ValueError("an error without a complaint helps nobody")
        self.complaints: tuple[Complaint, ...] = listed
        super().__init__(*listed)

    def __str__(self) -> str:
        return "\n".join(str(one) for one in self.complaints)

    def __reduce__(self) -> tuple[type[ReelproofError], tuple[tuple[Complaint, ...]]]:
        """A process that judges or writes pages beside this one hands its complaints over as they are."""
        return type(self), (self.complaints,)


class SheetError(ReelproofError):
    """A run sheet, line sheet or plant sheet that cannot be used."""


class LogError(ReelproofError):
    """A line log that cannot be read as its mapping says."""


class StoreError(ReelproofError):
    """A store that cannot be opened or written."""

    exit_code = 3


class NotFoundError(ReelproofError):
    """A run, reel, lot or product that is not on file."""


class MethodRefusal(ReelproofError):  # noqa: N818 - a refusal is a result, not a fault
    """A question the data cannot answer; the sentence says why and what would answer it."""

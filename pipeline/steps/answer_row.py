"""One result or refusal of a run, and what it is about."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.results import Refused, Result


@dataclass(frozen=True, slots=True)
class AnswerRow:
    """One result or refusal, and what it is about (table judged.result).

    Args:
        scope: 'run' or 'reel'.
        subject: its id.
        topic: kind of question, by which a page picks it.
        answer: the result or refusal.
    """

    scope: str
    subject: str
    topic: str
    answer: Result | Refused

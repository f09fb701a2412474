"""What is said where nothing of a number is on file: the nearest numbers, so that a slip is seen."""

from __future__ import annotations

from difflib import get_close_matches

from pipeline.errors import Complaint, NotFoundError


def not_on_file(kind: str, wanted: str, known: list[str]) -> NotFoundError:
    """The complaint that no `kind` of that number is on file, naming the nearest ones."""
    near = get_close_matches(wanted, known, n=3, cutoff=0.5)
    remedy = (
        f"The nearest on file: {', '.join(near)}"
        if near
        else f"{len(known)} others are on file; check the number, or load the run that holds it"
    )
    return NotFoundError(Complaint(wanted, f"no {kind} of this number is on file", remedy))

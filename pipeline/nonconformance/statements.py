"""Which statement of this program stands behind a finding that no limit and no sheet has a row for?

A statement has a revision of its own: it goes up when the text or a figure in it changes, and findings on file keep
naming the revision they were made by.
"""

from __future__ import annotations

from dataclasses import dataclass

PREFIX = "method statement: "


@dataclass(frozen=True, slots=True)
class Statement:
    """A statement of method that findings are made by.

    Args:
        name: rule it stands behind.
        revision: its revision.
        text: what is held to be so.
    """

    name: str
    revision: str
    text: str

    @property
    def row(self) -> str:
        """How a finding names it."""
        return PREFIX + self.name


STATEMENTS: dict[str, Statement] = {
    one.name: one
    for one in (
        Statement(
            "instruments-disagree",
            "2",
            "Wall, overall diameter, conductor and output of one stretch of steady wire must fit each other; where "
            "what is left over has a probability below 0.001 by the uncertainties on file, or has moved away from the "
            "run's usual by more than the gauges may drift, nothing is concluded there",
        ),
        Statement(
            "splice",
            "2",
            "A lump that stands out of the steady wire around it by 6 standard deviations or more, seen by two "
            "diameter gauges on the same wire, is taken for a splice; the threshold rises until chance makes fewer "
            "than one in a hundred runs",
        ),
        Statement(
            "between-marks",
            "1",
            "Spark faults that repeat with a turn of a roll were made by it; the wire from the first mark to the last, "
            "and one turn beyond each, was made on the same roll, over the ends of reels",
        ),
        Statement(
            "spark-fault",
            "1",
            "Every fault that the spark tester counts is a fault of the insulation; no spark test voltage is on file "
            "for this wire",
        ),
    )
}


def judged_by(limit_id: str, revision: str) -> str:
    """What a finding was judged by, in words: the row, its revision and, of a method statement, its text.

    Args:
        limit_id: the row as the finding names it, "" where none stands behind it.
        revision: its revision as the finding names it.
    """
    if not limit_id:
        return ""
    named = f"{limit_id}, revision {revision or 'not numbered'}"
    statement = STATEMENTS.get(limit_id.removeprefix(PREFIX)) if limit_id.startswith(PREFIX) else None
    return f"{named}: {statement.text}" if statement and statement.revision == revision else named

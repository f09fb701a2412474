"""What happened to a lot, in order, and on what was it judged? The history as records and as tables.

Nothing is left out because something later replaced it: an earlier judgement, limit or decision stands in the
history beside what followed. A date without a time of day sorts at its start, since more is not known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time

import polars as pl

from pipeline.found import Happened
from pipeline.lots.genealogy import WHOLE, Edge, Reached
from pipeline.lots.journal import Anchor, Entry
from pipeline.messages import Message, message
from pipeline.nonconformance.disposition import Act
from pipeline.nonconformance.statements import STATEMENTS
from pipeline.products.limits import Limit
from pipeline.sheets.line_sheet import LineSheet

# What may happen at one instant, in the order it is told.
ORDER = (
    "limit",
    "calibration",
    "run",
    "load",
    "assessment",
    "reel",
    "finding",
    "sample",
    "sample withdrawn",
    "hold",
    "lift",
    "disposition",
    "cut",
    "rewind",
    "shipment",
    "declaration",
    "export",
)


@dataclass(frozen=True, slots=True)
class HistoryEvent:
    """One thing that happened.

    Args:
        at_utc: when, UTC; the start of the day where only the date is known.
        day_only: True if only the date is known.
        kind: what kind of thing.
        subject: lot, run, reel, finding or instrument it happened to.
        told: what happened.
        source: where it stands: a journal entry, a sheet, a limit row.
    """

    at_utc: datetime
    day_only: bool
    kind: str
    subject: str
    told: Message
    source: str


def in_order(*groups: Iterable[HistoryEvent]) -> tuple[HistoryEvent, ...]:
    """Events of every group in the order they happened, each once."""
    rank = {kind: place for place, kind in enumerate(ORDER)}
    events = {event for group in groups for event in group}
    return tuple(
        sorted(
            events,
            key=lambda one: (
                one.at_utc,
                rank.get(one.kind, len(ORDER)),
                one.subject,
                one.source,
                repr(one.told),
            ),
        )
    )


def _start_of(day: date) -> datetime:
    return datetime.combine(day, time(), UTC)


def of_journal(entries: Sequence[Entry], subjects: Sequence[str]) -> tuple[HistoryEvent, ...]:
    """The journal's entries about these runs, reels, findings and lots.

    Args:
        entries: the journal.
        subjects: whose entries are wanted.
    """
    wanted = set(subjects)
    return tuple(
        HistoryEvent(
            entry.at_utc,
            False,
            entry.kind,
            entry.subject,
            entry.told,
            f"journal entry {entry.entry_no}",
        )
        for entry in entries
        if entry.subject in wanted
    )


def of_acts(acts: Sequence[Act]) -> tuple[HistoryEvent, ...]:
    """Dispositions as events: who did what, when and why."""
    return tuple(
        HistoryEvent(
            act.at_utc,
            False,
            "disposition",
            act.subject,
            _act_told(act),
            f"act {act.version} on {act.subject}",
        )
        for act in acts
    )


def _act_told(act: Act) -> Message:
    return message(
        Happened.ACT,
        kind=act.kind,
        disposition=act.disposition,
        by=str(act.by),
        at=f"{act.at_utc:%Y-%m-%d %H:%M:%S}",
        reason=act.reason,
    )


def of_calibrations(line: LineSheet) -> tuple[HistoryEvent, ...]:
    """Calibrations of a line's instruments, and the days on which they lapse."""
    events = []
    for one in line.instruments:
        where = f"line sheet {line.id}, revision {line.revision}"
        if one.calibrated is not None:
            due = {"due": one.calibration_due.isoformat()} if one.calibration_due else {}
            told = message(Happened.CALIBRATED, kind=one.kind, instrument=one.id, **due)
            events.append(HistoryEvent(_start_of(one.calibrated), True, "calibration", one.id, told, where))
    return tuple(events)


def of_limits(limits: Sequence[Limit]) -> tuple[HistoryEvent, ...]:
    """When each limit row came into force, by whom entered and checked; rows whose start is not known have no event."""
    return tuple(
        HistoryEvent(
            _start_of(one.effective_from),
            True,
            "limit",
            one.limit_id,
            message(
                Happened.LIMIT_IN_FORCE,
                requirement=one.requirement,
                sense=one.sense,
                value=one.value_of_record,
                unit=one.unit_of_record,
                revision=one.revision,
                entered_by=one.entered_by,
                checked_by=one.checked_by or "nobody",
            ),
            f"limit row {one.limit_id}",
        )
        for one in limits
        if one.effective_from is not None
    )


@dataclass(frozen=True, slots=True)
class LotHistory:
    """Everything on file about a lot.

    Args:
        subject: the lot, reel or shipment.
        lineage: what it came from and was judged by.
        edges: the edges between these.
        events: what happened, in order.
        limits: limits it was judged by.
        tables: further tables by name: findings, dispositions, coverage, reels, results, of every judgement.
        anchor: journal size and root at the time of writing.
    """

    subject: str
    lineage: tuple[Reached, ...]
    edges: tuple[Edge, ...]
    events: tuple[HistoryEvent, ...]
    limits: tuple[Limit, ...] = ()
    tables: Mapping[str, pl.DataFrame] = field(default_factory=dict)
    anchor: Anchor | None = None


def _lineage_frame(lineage: Sequence[Reached]) -> pl.DataFrame:
    rows = [
        {
            "kind": one.node.kind,
            "name": one.node.name,
            "from_m": None if span == WHOLE else span[0],
            "to_m": None if span == WHOLE else span[1],
            "path": " > ".join(str(node) for node in one.path),
        }
        for one in lineage
        for span in one.spans
    ]
    schema = {
        "kind": pl.String,
        "name": pl.String,
        "from_m": pl.Float64,
        "to_m": pl.Float64,
        "path": pl.String,
    }
    return pl.DataFrame(rows, schema=schema)


def statements_frame() -> pl.DataFrame:
    """The program's own statements of method, which findings without a limit of record name by rule and revision."""
    return pl.DataFrame(
        [
            {"judged_by": one.row, "revision": one.revision, "statement": one.text}
            for one in STATEMENTS.values()
        ]
    )


def history_tables(history: LotHistory, in_words: Callable[[Message], str]) -> dict[str, pl.DataFrame]:
    """The history as tables, for a pack or a page; a table without rows is left out.

    Args:
        history: the history.
        in_words: gives what is told as words.
    """
    events = [
        {
            "at_utc": one.at_utc,
            "day_only": one.day_only,
            "kind": one.kind,
            "subject": one.subject,
            "sentence": in_words(one.told),
            "source": one.source,
        }
        for one in history.events
    ]
    tables = {
        "events": pl.DataFrame(events, infer_schema_length=None),
        "lineage": _lineage_frame(history.lineage),
        "limits": pl.DataFrame(
            [{**one.recorded(), "standing": one.standing.value} for one in history.limits],
            infer_schema_length=None,
        ),
        **history.tables,
    }
    return {name: frame for name, frame in tables.items() if frame.height}

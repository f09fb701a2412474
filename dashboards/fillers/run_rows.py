"""Rows of runs and of the quality of their data, as several pages show them."""

from __future__ import annotations

from typing import Any

from dashboards.fillers.rows import LEAST_TOLD_M, product_row, reel_row
from dashboards.fillers.run_book import RunBook, aware
from dashboards.page_notes import PageNote
from dashboards.records import (
    DataQuality,
    RunRow,
)
from pipeline.contradictions import Unseen
from pipeline.length.steady_wire import steady_read_m
from pipeline.messages import Measure, Message, Said, message
from pipeline.record.trials import is_trial
from pipeline.store.said_columns import lacking_of, reason_of, told_of
from pipeline.warned import Warned


def quality_of(book: RunBook) -> DataQuality:
    """Whether the run's data can carry a conclusion: red is *no conclusion*, amber has something to read first."""
    head = book.head
    sentences: list[Said] = list(book.warnings)
    if not book.is_judged:
        state: Any = "red"
        sentences.insert(0, "The run is on file but has not been assessed.")
    elif head["outcome"] != "judged":
        state = "red"
        sentences = [*(_not_concluded(book) or (reason_of(head) or "",)), *sentences]
    else:
        sentences += _gaps_told(book)
        sentences += [told_of(row) for row in book.contradictions[:3]]
        if head["rows_set_aside"]:
            sentences.append(message(PageNote.LINES_ASIDE, lines=head["rows_set_aside"]))
        gaps = [one for one in sentences if _code(one) not in _NO_GAP]
        state = "red" if book.contradictions else "amber" if gaps else "green"
    limits = tuple(one for one in sentences if _code(one) in set(Unseen))
    return DataQuality(
        state,
        tuple(one for one in sentences if one not in limits),
        head["rows_read"],
        head["rows_kept"],
        head["rows_set_aside"],
        limits,
    )


# Told, and no gap of this run: what no run of such gauges could show, and where the steady wire begins.
_NO_GAP = {*Unseen, Warned.SETTLED_LATE}


def _code(said: Said) -> str:
    return said.code if isinstance(said, Message) else ""


def _not_concluded(book: RunBook) -> tuple[Said, ...]:
    """Why nothing is concluded about a run, as its reels have it."""
    lacks = next(iter(book.lacks_by_reel.values()), ())
    return tuple(one.told for one in lacking_of(lacks))


def _gaps_told(book: RunBook) -> list[Message]:
    """What is said of each kind of evidence that is missing on reels."""
    told = []
    for name, code in (
        ("wall_unmonitored_m", PageNote.NO_WALL_ON_REELS),
        ("diameter_unmonitored_m", PageNote.NO_DIAMETER_ON_REELS),
        ("spark_untested_m", PageNote.NO_SPARK_ON_REELS),
    ):
        length = sum(row[name] for row in book.reels)
        if length > LEAST_TOLD_M:
            told.append(message(code, length=Measure(length, "m")))
    return told


def is_trial_run(book: RunBook) -> bool:
    """Whether the run sheet calls the run a trial of settings."""
    sheet = book.store.ask("questions/sheet", sha256=book.head["run_sheet_sha256"])
    return bool(sheet) and is_trial(sheet[0]["text"])


def run_row(book: RunBook, *, only_wall_at_any_point: bool = False) -> RunRow:
    """A run as it stands on a shift page; of its reels as in `reel_row`."""
    head = book.head
    return RunRow(
        run_id=book.run_id,
        line_id=head["line"],
        line_name=head["line"],
        product=product_row(book),
        operator_role=head["operator_role"],
        started_at=aware(head["started_utc"]),
        ended_at=aware(head["ended_utc"]),
        made_m=head["made_m"] or 0.0,
        steady_m=steady_read_m(book.phases, book.gaps),
        reeled_m=head["on_reels_m"] or 0.0,
        scrap_m=head["scrap_m"] or 0.0,
        quality=quality_of(book),
        reels=tuple(reel_row(book, row, only_wall_at_any_point=only_wall_at_any_point) for row in book.reels),
        answers=book.answers("run", book.run_id),
        open_findings=len(book.open_findings),
        note=head["note"],
        trial=is_trial_run(book),
    )

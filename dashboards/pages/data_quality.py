"""The data quality page: what can be trusted, what was set aside, and what was never seen.

The record of the data quality page: how far the instruments and their logs can be trusted.
"""

from __future__ import annotations

import tomllib
from collections import Counter

from dashboards.fillers.rows import stamp_of
from dashboards.fillers.run_book import Row, RunBook, aware, run_results
from dashboards.fillers.run_rows import quality_of
from dashboards.records import Answer, DataQualityReview, InstrumentRow, Plant, RunQualityRow, SetAsideRow
from dashboards.rendering import write_page
from dashboards.site import Site, WrittenFile
from pipeline.record.samples_compared import biases_on_file
from pipeline.results import Result
from pipeline.sheets.line_sheet import Instrument, LineSheet
from pipeline.steps.instrument_channels import channels_of
from pipeline.store.answer_columns import answer_of
from pipeline.store.said_columns import told_of
from pipeline.trust.calibration import days_of_run, worst_calibration

MOST_LINES = 1000
# Column of judged.reel with the length an instrument of that kind left unmonitored.
UNMONITORED = {
    "wall gauge": "wall_unmonitored_m",
    "cold diameter gauge": "diameter_unmonitored_m",
    "spark tester": "spark_untested_m",
}


def data_quality_review(plant: Plant, books: list[RunBook]) -> DataQualityReview:
    """Everything the data quality page shows of the runs in `books`."""
    biases = biases_on_file(books[0].store) if books else {}
    lines: dict[str, list[RunBook]] = {}
    for book in books:
        lines.setdefault(book.head["line"], []).append(book)
    aside = [
        SetAsideRow(
            book.run_id, _file(book, row["file_no"]), row["line"], told_of(row, written="reason"), row["text"]
        )
        for book in books
        for row in book.set_aside(MOST_LINES)
    ]
    return DataQualityReview(
        plant=plant,
        title="Data quality, everything on file",
        instruments=tuple(
            row
            for line, group in sorted(lines.items())
            for row in _instruments(plant.zone, line, group, biases)
        ),
        runs=tuple(_run(book) for book in books),
        set_aside=tuple(aside[:MOST_LINES]),
        set_aside_total=sum(book.head["rows_set_aside"] for book in books),
        stamp=stamp_of(books),
    )


def _file(book: RunBook, file_no: int) -> str:
    return next((str(row["name"]) for row in book.files if row["file_no"] == file_no), "")


def _run(book: RunBook) -> RunQualityRow:
    quality = quality_of(book)
    length = sum(row["length_m"] for row in book.reels)
    unknown = sum(row["wall_unmonitored_m"] for row in book.reels)
    untested = sum(row["spark_untested_m"] for row in book.reels)
    return RunQualityRow(
        run_id=book.run_id,
        line_id=book.head["line"],
        state=quality.state,
        sentences=quality.sentences,
        rows_read=quality.rows_read,
        rows_kept=quality.rows_kept,
        rows_set_aside=quality.rows_set_aside,
        known_m=length - unknown,
        unmonitored_m=unknown,
        untested_m=untested,
        limits=quality.limits,
    )


def _instruments(
    zone: str, line: str, books: list[RunBook], biases: dict[tuple[str, str], Answer]
) -> list[InstrumentRow]:
    """The line's instruments by its newest sheet; whether each was in date on every day of every run shown."""
    noises = [row for of_run in run_results(books, ["gauge noise"]) for row in of_run]
    by_sha256: dict[str, LineSheet] = {}
    sheets = []
    for book in books:
        sha256 = book.head["line_sheet_sha256"]
        if sha256 not in by_sha256:
            by_sha256[sha256] = LineSheet.model_validate(tomllib.loads(book.shelf.sheet(sha256))["line"])
        sheets.append((book, by_sha256[sha256]))
    return [
        InstrumentRow(
            instrument_id=one.id,
            line_id=line,
            kind=one.kind,
            calibrated=one.calibrated,
            calibration_due=one.calibration_due,
            in_date=_in_date(one.id, zone, sheets),
            noise=_noise(one, noises),
            bias=biases.get((line, one.id)),
            coverage_share=_coverage(books, one.kind),
            flagged=_flagged(books, one),
        )
        for one in sheets[-1][1].instruments
    ]


def _in_date(instrument_id: str, zone: str, sheets: list[tuple[RunBook, LineSheet]]) -> bool | None:
    """Whether the instrument's calibration held on every day of the runs; None where none is on file."""
    states = [
        worst_calibration(
            one, days_of_run(aware(book.head["started_utc"]), aware(book.head["ended_utc"]), zone)
        ).state
        for book, sheet in sheets
        for one in sheet.instruments
        if one.id == instrument_id
    ]
    if "lapsed" in states or "not yet calibrated" in states:
        return False
    return None if "not on file" in states else True


def _noise(instrument: Instrument, noises: list[Row]) -> Answer | None:
    """What the newest run with a stop told of the gauge's own scatter; the newest refusal where none had one."""
    told = [answer_of(row) for row in noises if row["about"] == instrument.id]
    known = [one for one in told if isinstance(one, Result)]
    return known[-1] if known else told[-1] if told else None


def _coverage(books: list[RunBook], kind: str) -> float | None:
    if kind not in UNMONITORED:
        return None
    reels = [row for book in books if book.head["outcome"] == "judged" for row in book.reels]
    length = sum(row["length_m"] for row in reels)
    return 1.0 - sum(row[UNMONITORED[kind]] for row in reels) / length if length else None


def _flagged(books: list[RunBook], instrument: Instrument) -> tuple[tuple[str, int], ...]:
    channels = channels_of(instrument)
    counted: Counter[str] = Counter()
    for book in books:
        for row in book.flag_counts:
            if row["channel"] in channels:
                counted[row["reason"]] += row["readings"]
    return tuple(sorted(counted.items()))


def write_data_quality_page(record: DataQualityReview, site: Site) -> WrittenFile:
    """Writes the data quality page.

    Args:
        record: what it shows.
        site: where.
    """
    return write_page(site, "data quality", "", "data_quality.html.j2", record)

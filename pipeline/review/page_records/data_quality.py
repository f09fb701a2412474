"""The record of the data quality page: how far the instruments and their logs can be trusted."""

from __future__ import annotations

import tomllib
from collections import Counter
from typing import Any

from dashboards.records import DataQualityReview, InstrumentRow, Plant, RunQualityRow, SetAsideRow
from pipeline.review.page_records.rows import quality_of, stamp_of
from pipeline.review.page_records.run_book import RunBook

MOST_LINES = 1000
# Channels an instrument of each kind gives; a wall gauge's are counted by its sensors.
CHANNELS: dict[str, tuple[str, ...]] = {
    "encoder": ("counter_m", "line_speed_m_s"),
    "conductor gauge": ("conductor_mm",),
    "hot diameter gauge": ("hot_diameter_mm",),
    "cold diameter gauge": ("diameter_x_mm", "diameter_y_mm"),
    "spark tester": ("spark_kv", "spark_counts"),
    "melt sensors": ("melt_temperature_c", "melt_pressure_bar", "screw_speed_rpm"),
}
# Column of judged.reel with the length an instrument of that kind left unmonitored.
UNMONITORED = {
    "wall gauge": "wall_unmonitored_m",
    "cold diameter gauge": "diameter_unmonitored_m",
    "spark tester": "spark_untested_m",
}


def data_quality_review(
    plant: Plant, books: list[RunBook], title: str = "Data quality, everything on file"
) -> DataQualityReview:
    """Everything the data quality page shows of the runs in `books`."""
    lines: dict[str, list[RunBook]] = {}
    for book in books:
        lines.setdefault(book.head["line"], []).append(book)
    aside = [
        SetAsideRow(book.run_id, _file(book, row["file_no"]), row["line"], row["reason"], row["text"])
        for book in books
        for row in book.set_aside(MOST_LINES)
    ]
    return DataQualityReview(
        plant=plant,
        title=title,
        instruments=tuple(row for line, group in sorted(lines.items()) for row in _instruments(line, group)),
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
    )


def _instruments(line: str, books: list[RunBook]) -> list[InstrumentRow]:
    """The line's instruments by its newest sheet; whether each was in date during every run shown."""
    sheets = [
        (
            book,
            tomllib.loads(
                book.store.ask("questions/sheet", sha256=book.head["line_sheet_sha256"])[0]["text"]
            ),
        )
        for book in books
    ]
    rows = []
    for one in sheets[-1][1]["line"]["instruments"]:
        due = [_due(sheet, one["id"]) for _, sheet in sheets]
        days = [book.head["shift_date"] for book, _ in sheets]
        known = [limit for limit in due if limit is not None]
        in_date = None
        if len(known) == len(due):
            in_date = all(day <= limit for day, limit in zip(days, known, strict=True))
        rows.append(
            InstrumentRow(
                instrument_id=one["id"],
                line_id=line,
                kind=one["kind"],
                calibrated=one.get("calibrated"),
                calibration_due=one.get("calibration_due"),
                in_date=in_date,
                coverage_share=_coverage(books, one["kind"]),
                flagged=_flagged(books, one),
            )
        )
    return rows


def _due(sheet: dict[str, Any], instrument_id: str) -> Any:
    return next(
        (one.get("calibration_due") for one in sheet["line"]["instruments"] if one["id"] == instrument_id),
        None,
    )


def _coverage(books: list[RunBook], kind: str) -> float | None:
    if kind not in UNMONITORED:
        return None
    reels = [row for book in books if book.head["outcome"] == "judged" for row in book.reels]
    length = sum(row["length_m"] for row in reels)
    return 1.0 - sum(row[UNMONITORED[kind]] for row in reels) / length if length else None


def _flagged(books: list[RunBook], instrument: dict[str, Any]) -> tuple[tuple[str, int], ...]:
    channels = CHANNELS.get(instrument["kind"], ())
    if instrument["kind"] == "wall gauge":
        channels = tuple(f"wall_{number}_mm" for number in range(1, int(instrument.get("sensors", 0)) + 1))
    counted: Counter[str] = Counter()
    for book in books:
        for row in book.flag_counts:
            if row["channel"] in channels:
                counted[row["reason"]] += row["readings"]
    return tuple(sorted(counted.items()))

"""A finding's page goes back to the log's own line: what it shows as logged is what the file has, figure by figure."""

from __future__ import annotations

import csv
import gzip
from pathlib import Path

import pytest

from dashboards.fillers.finding import finding_review
from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from pipeline.record.genealogy_of_store import sheets_of
from pipeline.sheets.run_sheet import LogFile
from pipeline.store.database import open_to_read

RUNS = Path(__file__).parents[2] / "sample_runs" / "runs"


def line_of(log: LogFile, name: str, number: int) -> dict[str, float | None]:
    """A line of a sample run's log, figure by figure, by the heads of the file."""
    (path,) = RUNS.rglob(name)
    with (gzip.open if name.endswith(".gz") else open)(path, "rt", encoding=log.encoding) as file:
        lines = file.read().splitlines()
    heads, figures = csv.reader((lines[log.header_line - 1], lines[number - 1]), delimiter=log.delimiter)

    def figure(text: str) -> float | None:
        try:
            return None if text in log.missing else float(text.replace(log.decimal, "."))
        except ValueError:
            return None

    return {head: figure(text) for head, text in zip(heads, figures, strict=True)}


def test_the_walk_begins_with_the_log_s_own_line_and_ends_at_the_judged_figure(judged_store: Path) -> None:
    walked, compared = 0, 0
    with open_to_read(judged_store) as store:
        books = run_books(store)
        plant = plant_of(store, books)
        for book in books:
            for row in book.findings:
                walk = finding_review(plant, book, row, books).walk
                if walk is None:
                    continue
                walked += 1
                run, _ = sheets_of(store, book.head)
                log = next(one for one in run.logs if any(each.endswith(walk.file) for each in one.files))
                written = line_of(log, walk.file, walk.line)
                for value in walk.values:
                    assert written[value.column] == value.as_logged, (row["finding_id"], value)
                    compared += value.as_logged is not None
                assert walk.worst == row["worst"]
                assert walk.at_m == pytest.approx(row["worst_at_m"])
                if walk.sensors_mean_mm is not None:
                    less = walk.covering_mm or 0.0
                    assert walk.mean_wall_mm == pytest.approx(walk.sensors_mean_mm - less, abs=0.002)
    assert walked > 10 and compared > 200

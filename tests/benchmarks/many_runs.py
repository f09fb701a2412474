"""A store of many runs, made by repeating what one judged run put on file under other numbers and days.

The catalogue grows as if every run had been loaded and judged. The repeated runs share the Parquet files of the run
they were made from, so a billion readings on file take the disk space of one run's.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import duckdb

from pipeline.job.assessing import assess_runs
from pipeline.job.loading import load_sheets
from pipeline.store.copies import publish
from pipeline.store.database import DATABASE, open_to_write
from tests.benchmarks.made_logs import plant_logs

# How the keys of a repeated row follow from those of the row it repeats; `k` is the number of the repetition.
_KEYS = {
    "load_id": "load_id + 1000 * k",
    "assessment_id": "assessment_id + 1000 * k",
    "run_id": "run_id || '-' || k",
    "reel_id": "reel_id || '-' || k",
    "length_id": "length_id || '-' || k",
    "finding_id": "finding_id || '-' || k",
    "content_sha256": "sha256(content_sha256 || k)",
    # Logs of their own: the same log under two runs is a doubt, which is looked into.
    "sha256": "sha256(sha256 || k)",
    # As pipeline.job.assessing works it, so that nothing is new to do for a repeated run.
    "basis_sha256": """sha256(
        '[' || load_id + 1000 * k || ',"' || plant_sheet_sha256 || '","' || method_version || '","' || software || '"]'
    )""",
    "subject": "subject || '-' || k",
    "lot": "lot || '-' || k // 7",
    "line": "'L' || (k % $lines + 1)",
    "shift_date": "CAST(shift_date + CAST(k // $lines AS INTEGER) AS DATE)",
    "started_utc": "started_utc + INTERVAL 1 DAY * (k // $lines)",
    "ended_utc": "ended_utc + INTERVAL 1 DAY * (k // $lines)",
}
_SCHEMAS = ("logged", "placed", "measured", "judged")
_LEFT = {"sheet", "line_review", "line_result", "line_signal"}
# Tables in which a column of one of those names is no key of the run.
_OTHERWISE = {"subject": {"finding"}, "line": {"finding", "event", "set_aside"}}


def store_of(folder: Path, logs: Path, runs: int, lines: int, hours: float) -> Path:
    """A store in `folder` of `runs` runs, each of `hours` of one line, over `lines` lines."""
    judged = folder.parent / f"judged-{hours:g}h"
    if not (judged / "whole").exists():
        with open_to_write(judged) as store:
            load_sheets(store, (plant_logs(logs, hours, 1),))
            assess_runs(store, ())
        (judged / "whole").touch()
    shutil.copytree(judged, folder)
    with duckdb.connect(str(folder / DATABASE)) as connection:
        for schema, name, columns in _tables(connection):
            if name in _LEFT:
                continue
            taken = [
                f"{_KEYS[one]} AS {one}"
                for one in columns
                if one in _KEYS and name not in _OTHERWISE.get(one, ())
            ]
            if not taken:
                continue
            given = {"lines": lines} if any("$lines" in one for one in taken) else {}
            connection.execute(
                f"INSERT INTO {schema}.{name} SELECT rows.* REPLACE ({', '.join(taken)}) "
                f"FROM {schema}.{name} AS rows, range(1, {runs}) AS times(k) ORDER BY k",
                given,
            )
    # As in a store that has grown run by run, both copies are nearly what the database is.
    publish(folder / DATABASE)
    publish(folder / DATABASE)
    return folder


def _tables(connection: duckdb.DuckDBPyConnection) -> list[tuple[str, str, list[str]]]:
    return connection.execute(
        "SELECT table_schema, table_name, list(column_name) FROM information_schema.columns "
        "JOIN information_schema.tables USING (table_schema, table_name) "
        "WHERE table_type = 'BASE TABLE' AND list_contains($schemas, table_schema) GROUP BY ALL ORDER BY ALL",
        {"schemas": list(_SCHEMAS)},
    ).fetchall()

"""One hash of everything judged and sealed in a store, whatever order and numbers its runs were put on file with."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import polars as pl

from pipeline.record.sealing import ASSESSMENT_TABLES, LINE_TABLES, file_sha256, frame_sha256
from pipeline.store.database import Store, open_to_read
from pipeline.store.layout import path_of

# What hangs on when, where and in which order a run was put on file, and not on what was found.
PASSING = {
    "assessment_id", "load_id", "basis_sha256", "assessed_utc", "folder", "duration_s",
    "line_review_id", "reviewed_utc", "assessments",
}  # fmt: skip


def digest_of(folder: Path) -> dict[str, str]:
    """Run or line and table or file -> hash, so that a difference names its place."""
    with open_to_read(folder) as store:
        return dict(_digests(store))


def one_digest(folder: Path) -> str:
    return hashlib.sha256(json.dumps(sorted(digest_of(folder).items())).encode()).hexdigest()


def _digests(store: Store) -> list[tuple[str, str]]:
    told = []
    for head in store.ask("questions/current_runs"):
        run_id = head["run_id"]
        for kind in ("load_folder", "assessment_folder"):
            if head[kind]:
                files = sorted(path_of(store, head[kind]).glob("*.parquet"))
                told += [(f"{run_id} {path.name}", file_sha256(path)) for path in files]
        if head["assessment_id"] is None:
            continue
        for table, question in ASSESSMENT_TABLES.items():
            told.append((f"{run_id} {table}", _rows(store, question, assessment_id=head["assessment_id"])))
    for row in store.ask("questions/line_reviews"):
        for table, question in LINE_TABLES.items():
            key = f"{row['line']} {row['product']} {table}"
            told.append((key, _rows(store, question, line_review_id=row["line_review_id"])))
    return told


def _rows(store: Store, question: str, **key: object) -> str:
    frame: pl.DataFrame = store.ask_frame(question, **key)
    return frame_sha256(frame.drop(PASSING, strict=False))

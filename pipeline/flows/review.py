"""The whole job: every run loaded, placed, measured and judged, then the pages; by a Prefect server if one is set."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import replace
from functools import partial
from pathlib import Path

from dashboards.page_writing import write_pages
from pipeline.errors import Complaint
from pipeline.job.alone import refusal_of
from pipeline.job.assessing import AssessOutcome, assess_run
from pipeline.job.growing import QUIET_S
from pipeline.job.line_review import review_lines
from pipeline.job.load_on_file import LoadOutcome
from pipeline.job.loading import load_sheet
from pipeline.job.plant_in_force import told_of_plant
from pipeline.job.side_by_side import threads_for
from pipeline.job.whole_job import ReviewOutcome
from pipeline.record.alarms import alarms_of_runs
from pipeline.steps.load import find_run_sheets
from pipeline.store.database import Store, open_to_read, open_to_write
from pipeline.store.readings import sweep

Told = Callable[[str, int], None]
Reviewed = tuple[LoadOutcome, AssessOutcome] | list[str]
# Before a run is tried again whose file or disk was busy [s].
PAUSES_S = (1, 5)


def review_one_run(store: Store, sheet: Path, told: Told, quiet_s: float = QUIET_S) -> Reviewed:
    """Load and judge the run of one sheet; the sentences of what is wrong where that cannot be done.

    Raises:
        OSError: a disk is busy, or a file is still being copied; that may pass.
    """
    try:
        load = load_sheet(store, sheet, quiet_s=quiet_s)
        assessment = assess_run(store, load.run_id)
    except OSError:
        raise
    except Exception as fault:
        refused = refusal_of(fault, str(sheet))
        told(sheet.parent.name, 1)
        return [str(one) for one in refused.complaints]
    told(load.run_id, 1)
    return load, assessment


def write_all_pages(store_folder: Path, told: Told) -> tuple[Path, int, list[str]]:
    """Write the pages of everything on file; the index, how many changed, and what could not be written."""
    refused: list[str] = []
    with open_to_read(store_folder) as store:
        return *write_pages(store, store_folder / "pages", told, refused), refused


def review_by(
    start: Callable[[Store, Path], Callable[[], Reviewed]],
    pages: Callable[[], tuple[Path, int, list[str]]],
    sheets: Sequence[Path],
    store_folder: Path,
    on_wait: Callable[[str], None],
) -> ReviewOutcome:
    """Load, place, measure and judge every run, then write the pages.

    Args:
        start: begins the review of one sheet into a store, as `review_one_run`; what it gives waits for the outcome.
        pages: writes the pages, as `write_all_pages`.
        sheets: run sheets.
        store_folder: the store.
        on_wait: told that another process is writing.
    """
    loads: list[LoadOutcome] = []
    assessments: list[AssessOutcome] = []
    refused: list[str] = []
    with open_to_write(store_folder, on_wait=on_wait) as store:
        sweep(store)
        for sheet, wait in [(sheet, start(store, sheet)) for sheet in sheets]:
            try:
                outcome = wait()
            except OSError as fault:
                outcome = [str(one) for one in refusal_of(fault, str(sheet)).complaints]
            if isinstance(outcome, list):
                refused.extend(outcome)
            else:
                loads.append(outcome[0])
                assessments.append(outcome[1])
        review_lines(store)
        plant_told = told_of_plant(store, loads)
        alarms = alarms_of_runs(store, [one.run_id for one in assessments if one.was_new])
    index, written, not_written = pages()
    refused += not_written
    return ReviewOutcome(tuple(loads), tuple(assessments), refused, written, index, plant_told, alarms)


def review_sheets(
    sheets: Sequence[Path],
    store_folder: Path,
    told: Told,
    on_wait: Callable[[str], None],
    quiet_s: float = QUIET_S,
) -> ReviewOutcome:
    """Review the runs of these sheets: as a flow on the Prefect server of the environment, or in this process."""
    threads = threads_for(sheets)
    if os.environ.get("PREFECT_API_URL"):
        from pipeline.flows.review_flow import review_as_flow

        return review_as_flow(tuple(sheets), store_folder, told, on_wait, quiet_s, threads)
    pages = partial(write_all_pages, store_folder, told)
    work = partial(_tried, told=told, quiet_s=quiet_s)
    if threads == 1:
        return review_by(partial(partial, work), pages, sheets, store_folder, on_wait)
    pool = ThreadPoolExecutor(threads)
    try:
        return review_by(
            lambda store, sheet: pool.submit(work, store, sheet).result, pages, sheets, store_folder, on_wait
        )
    finally:
        pool.shutdown(cancel_futures=True)


def _tried(store: Store, sheet: Path, told: Told, quiet_s: float) -> Reviewed:
    for pause_s in PAUSES_S:
        with suppress(OSError):
            return review_one_run(store, sheet, told, quiet_s)
        time.sleep(pause_s)
    return review_one_run(store, sheet, told, quiet_s)


def review_runs(
    paths: tuple[Path, ...], store_folder: Path, told: Told, on_wait: Callable[[str], None]
) -> ReviewOutcome:
    """Review the runs below `paths` into the store.

    Raises:
        ReelproofError: a path holds no run, or the store cannot be written.
    """
    unread: list[Complaint] = []
    done = review_sheets(find_run_sheets(paths, unread), store_folder, told, on_wait)
    return replace(done, refused=[*(str(one) for one in unread), *done.refused])

"""The whole job as a Prefect flow: one task a run (load, place, measure, judge), one for the pages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any
from uuid import UUID

from prefect import flow, task
from prefect.artifacts import create_markdown_artifact
from prefect.cache_policies import NO_CACHE
from prefect.task_runners import ThreadPoolTaskRunner

from dashboards.page_writing import write_pages
from pipeline.errors import Complaint
from pipeline.flows.engine import engine
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
from pipeline.wording.say import plain

Told = Callable[[str, int], None]


def _is_worth_retrying(_task: object, _run: object, state: object) -> bool:
    """A busy disk or a file still being copied may pass; a wrong sheet or log will not."""
    try:
        state.result()  # type: ignore[attr-defined]
    except OSError:
        return True
    except Exception:
        return False
    return False


@task(
    name="run: load, place, measure, judge",
    task_run_name="{sheet.parent.name}: load, place, measure, judge",
    retries=2,
    retry_delay_seconds=[1, 5],
    retry_condition_fn=_is_worth_retrying,
    cache_policy=NO_CACHE,
    persist_result=False,
)
def review_one_run(
    store: Store, sheet: Path, told: Told, quiet_s: float = QUIET_S
) -> tuple[LoadOutcome, AssessOutcome] | list[str]:
    """Load and judge the run of one sheet; the sentences of what is wrong where that cannot be done."""
    try:
        load = load_sheet(store, sheet, quiet_s=quiet_s)
        assessment = assess_run(store, load.run_id)
    except OSError:
        raise  # a busy disk may pass: it is tried again
    except Exception as fault:
        refused = refusal_of(fault, str(sheet))
        told(sheet.parent.name, 1)
        return [str(one) for one in refused.complaints]
    _leave_summary(load, assessment)
    told(load.run_id, 1)
    return load, assessment


def _leave_summary(load: LoadOutcome, assessment: AssessOutcome) -> UUID:
    """Leave the run's summary as an artifact in the engine's record."""
    return create_markdown_artifact(  # type: ignore[return-value]
        key=f"run-{load.run_id.lower().replace('_', '-').replace('.', '-')}",
        description=f"Summary of run {load.run_id}",
        markdown=(
            f"# Run {load.run_id}\n\n"
            f"- rows: {load.rows_read} read = {load.rows_kept} kept + {load.rows_set_aside} set aside\n"
            f"- outcome: {assessment.outcome} {plain(assessment.reason or '')}\n"
            f"- reels: {assessment.releasable} releasable, {assessment.held} held\n"
            f"- findings: {assessment.findings}\n"
        ),
    )


@task(name="pages", cache_policy=NO_CACHE, persist_result=False)
def write_all_pages(store_folder: Path, told: Told) -> tuple[Path, int, list[str]]:
    """Write the pages of everything on file; the index, how many changed, and what could not be written."""
    refused: list[str] = []
    with open_to_read(store_folder) as store:
        return *write_pages(store, store_folder / "pages", told, refused), refused


@flow(
    name="review",
    flow_run_name="review into {store_folder.name}",
    task_runner=ThreadPoolTaskRunner(max_workers=1),  # type: ignore[arg-type]
    validate_parameters=False,
    persist_result=False,
)
def review_flow(
    sheets: tuple[Path, ...],
    store_folder: Path,
    told: Told,
    on_wait: Callable[[str], None],
    quiet_s: float = QUIET_S,
) -> ReviewOutcome:
    """Load, place, measure and judge every run, side by side as the task runner has threads, then the pages."""
    loads: list[LoadOutcome] = []
    assessments: list[AssessOutcome] = []
    refused: list[str] = []
    with open_to_write(store_folder, on_wait=on_wait) as store:
        sweep(store)
        started = [review_one_run.submit(store, sheet, told, quiet_s) for sheet in sheets]
        for sheet, future in zip(sheets, started, strict=True):
            try:
                outcome = future.result()
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
    index, written, not_written = write_all_pages(store_folder, told)
    refused += not_written
    return ReviewOutcome(tuple(loads), tuple(assessments), refused, written, index, plant_told, alarms)


def review_runs(
    paths: tuple[Path, ...], store_folder: Path, told: Told, on_wait: Callable[[str], None]
) -> ReviewOutcome:
    """Review the runs below `paths` into the store, as one flow on the engine a plant has set, or a passing one.

    Raises:
        ReelproofError: a path holds no run, or the store cannot be written.
    """
    unread: list[Complaint] = []
    sheets = find_run_sheets(paths, unread)
    threads: Any = ThreadPoolTaskRunner(max_workers=threads_for(sheets))
    with engine():
        done = review_flow.with_options(task_runner=threads)(sheets, store_folder, told, on_wait)
    return replace(done, refused=[*(str(one) for one in unread), *done.refused])

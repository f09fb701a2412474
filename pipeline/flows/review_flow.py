"""The whole job as a Prefect flow: one task a run (load, place, measure, judge), one for the pages."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from prefect import flow, task
from prefect.artifacts import create_markdown_artifact
from prefect.cache_policies import NO_CACHE
from prefect.task_runners import ThreadPoolTaskRunner

from pipeline.flows.engine import engine
from pipeline.flows.review import (
    PAUSES_S,
    Reviewed,
    Told,
    review_by,
    review_one_run,
    write_all_pages,
)
from pipeline.job.whole_job import ReviewOutcome
from pipeline.store.database import Store
from pipeline.wording.say import plain


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
    retries=len(PAUSES_S),
    retry_delay_seconds=list(PAUSES_S),
    retry_condition_fn=_is_worth_retrying,
    cache_policy=NO_CACHE,
    persist_result=False,
)
def _review_one_run(store: Store, sheet: Path, told: Told, quiet_s: float) -> Reviewed:
    """Review one run, and leave its summary as an artifact in the engine's record."""
    outcome = review_one_run(store, sheet, told, quiet_s)
    if isinstance(outcome, tuple):
        load, assessment = outcome
        create_markdown_artifact(
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
    return outcome


_write_all_pages = task(name="pages", cache_policy=NO_CACHE, persist_result=False)(write_all_pages)


@flow(
    name="review",
    flow_run_name="review into {store_folder.name}",
    validate_parameters=False,
    persist_result=False,
)
def _review(
    sheets: tuple[Path, ...], store_folder: Path, told: Told, on_wait: Callable[[str], None], quiet_s: float
) -> ReviewOutcome:
    return review_by(
        lambda store, sheet: _review_one_run.submit(store, sheet, told, quiet_s).result,
        partial(_write_all_pages, store_folder, told),
        sheets,
        store_folder,
        on_wait,
    )


def review_as_flow(
    sheets: tuple[Path, ...],
    store_folder: Path,
    told: Told,
    on_wait: Callable[[str], None],
    quiet_s: float,
    threads: int,
) -> ReviewOutcome:
    """Review the runs as one flow, side by side as the task runner has threads."""
    runner: Any = ThreadPoolTaskRunner(max_workers=threads)
    with engine():
        return _review.with_options(task_runner=runner)(sheets, store_folder, told, on_wait, quiet_s)

"""Commands for a store of years: reassess."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from pipeline.cli.showing import JSON, STORE, print_json, progress, tell_of_wait
from pipeline.errors import Complaint, ReelproofError

if TYPE_CHECKING:
    from pipeline.review.reassessing import Reassessed, Wanted

DAY = ["%Y-%m-%d"]


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(reassess)


def reassess(
    runs: list[str] = typer.Argument(None, help="Run ids; all runs on file where none is given."),
    store: Path = STORE,
    plant: Path | None = typer.Option(None, "--plant", help="Judge by this plant sheet."),
    line: str | None = typer.Option(None, "--line", help="Only runs of this line."),
    since: datetime | None = typer.Option(None, "--since", formats=DAY, help="Only shifts from this day on."),
    until: datetime | None = typer.Option(None, "--until", formats=DAY, help="Only shifts up to this day."),
    workers: int | None = typer.Option(
        None, "--workers", min=1, help="Processes of this machine to share the work."
    ),
    cluster: str | None = typer.Option(
        None, "--cluster", metavar="ADDRESS", help="Dask scheduler whose workers share the work."
    ),
    batch: int = typer.Option(8, "--batch", min=1, help="Runs a worker is given at a time."),
    as_json: bool = JSON,
) -> int:
    """Judge years of runs again, under a new method or plant sheet; what is done is not done again.

    Stopped at any time, the same command goes on where it stood. Loads and decisions go on meanwhile.

    Example: reelproof reassess --store store --since 2025-01-01 --workers 8
    """
    from pipeline.review.assessing import read_plant_for_judging
    from pipeline.review.reassessing import Wanted

    if cluster is not None and workers is not None:
        raise ReelproofError(
            Complaint("--workers", "both --workers and --cluster are given", "Give one of the two")
        )
    text = read_plant_for_judging(plant) if plant is not None else None
    wanted = Wanted(tuple(runs or ()), line, _day(since), _day(until), text)
    with progress("Judging runs again", None) as told:
        outcome = _with_crew(store, wanted, workers, cluster, {"batch": batch, "told": told})
    if as_json:
        print_json(
            {
                "asked": outcome.asked,
                "already": outcome.already,
                "judged": outcome.judged,
                "refused": outcome.refused,
            }
        )
    else:
        _show(outcome)
    return 2 if outcome.refused else 0


def _day(told: datetime | None) -> date | None:
    return None if told is None else told.date()


def _with_crew(
    store: Path, wanted: Wanted, workers: int | None, cluster: str | None, options: dict[str, Any]
) -> Reassessed:
    from pipeline.review.reassessing import Alone
    from pipeline.review.reassessing import reassess as judge_again

    options["on_wait"] = tell_of_wait
    if cluster is not None:
        from pipeline.flows.reassess import reassess_on_cluster

        return reassess_on_cluster(store, wanted, cluster, **options)
    if workers is not None:
        from pipeline.review.local_crew import LocalCrew

        with LocalCrew(workers) as crew:
            return judge_again(store, wanted, crew, **options)
    return judge_again(store, wanted, Alone(), **options)


def _show(outcome: Reassessed) -> None:
    import sys

    print(
        f"{outcome.asked} runs: {outcome.judged} judged now, {outcome.already} judged on the same basis before, "
        f"{len(outcome.refused)} not judged."
    )
    for sentence in outcome.refused:
        print(sentence, file=sys.stderr)

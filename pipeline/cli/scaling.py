"""Commands for a store of years: reassess, thin."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from pipeline.cli.showing import JSON, STORE, print_alarms, print_json, progress, tell_of_wait
from pipeline.cli.typed import day_of
from pipeline.errors import Complaint, ReelproofError
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.job.reassessing import Reassessed, Wanted
    from pipeline.job.thinning import Thinned


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(reassess)
    app.command()(thin)


def reassess(
    runs: list[str] = typer.Argument(None, help="Run ids; all runs on file where none is given."),
    store: Path = STORE,
    plant: Path | None = typer.Option(None, "--plant", help="Judge by this plant sheet."),
    line: str | None = typer.Option(None, "--line", help="Only runs of this line."),
    since: str | None = typer.Option(
        None, "--since", metavar="DAY", help="Only shifts from this day on, like 2026-03-31."
    ),
    until: str | None = typer.Option(
        None, "--until", metavar="DAY", help="Only shifts up to this day, like 2026-03-31."
    ),
    workers: int | None = typer.Option(
        None, "--workers", min=1, help="Processes of this machine to share the work."
    ),
    cluster: str | None = typer.Option(
        None, "--cluster", metavar="ADDRESS", help="Dask scheduler whose workers share the work."
    ),
    batch: int = typer.Option(8, "--batch", min=1, help="Runs a worker is given at a time."),
    as_json: bool = JSON,
) -> int:
    """Judge years of runs again by a new method or plant sheet. What is done is not done again.

    Stopped at any time, the same command goes on where it stood. Loads and decisions go on meanwhile.

    Example: reelproof reassess --store store --since 2025-01-01 --workers 8
    """
    from pipeline.job.assessing import read_plant_for_judging
    from pipeline.job.reassessing import Wanted
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.store.database import open_to_read

    if cluster is not None and workers is not None:
        raise ReelproofError(
            Complaint("--workers", "both --workers and --cluster are given", "Give one of the two")
        )
    text = read_plant_for_judging(plant) if plant is not None else None
    wanted = Wanted(tuple(runs or ()), line, _day(since, "--since"), _day(until, "--until"), text)
    with progress("Judging runs again", None) as told:
        outcome = _with_crew(store, wanted, workers, cluster, {"batch": batch, "told": told})
    if as_json:
        print_json(
            {
                "asked": outcome.asked,
                "already": outcome.already,
                "judged": outcome.judged,
                "refused": outcome.refused,
                "alarms": outcome.alarms,
            }
        )
    else:
        with open_to_read(store) as opened:
            print_alarms(outcome.alarms, unit_of_plant(opened))
        _show(outcome)
    return 2 if outcome.refused else int(bool(outcome.alarms))


def _day(told: str | None, option: str) -> date | None:
    return None if told is None else day_of(told, option)


def _with_crew(
    store: Path, wanted: Wanted, workers: int | None, cluster: str | None, options: dict[str, Any]
) -> Reassessed:
    from pipeline.job.reassessing import Alone
    from pipeline.job.reassessing import reassess as judge_again

    options["on_wait"] = tell_of_wait
    if cluster is not None:
        from pipeline.flows.reassess import reassess_on_cluster

        return reassess_on_cluster(store, wanted, cluster, **options)
    if workers is not None:
        from pipeline.job.local_crew import LocalCrew

        with LocalCrew(workers) as crew:
            return judge_again(store, wanted, crew, **options)
    return judge_again(store, wanted, Alone(), **options)


def thin(
    plant: Path = typer.Option(..., "--plant", help="Plant sheet whose [retention] says what may go."),
    store: Path = STORE,
    confirm: bool = typer.Option(False, "--confirm", help="Do it; without this nothing is changed."),
    role: str = typer.Option("", "--role", help="Your role in the plant; needed with --confirm."),
    as_json: bool = JSON,
) -> int:
    """Show which old full-rate readings may go, and thin them. The plant's rule says which; nothing goes
    unless confirmed.

    Around findings, on reels that are held or have an open finding, and on reels the rule names, every reading
    stays; elsewhere the lowest, highest, mean and number of each step of wire. What was judged stays on file.

    Example: reelproof thin --plant plant.toml --store store

    Example: reelproof thin --plant plant.toml --store store --confirm --role "records manager"
    """
    from pipeline.cli.typed import role_or_refused
    from pipeline.job.thinning import rule_of
    from pipeline.job.thinning import thin as thin_store

    if confirm:
        role_or_refused("thin --confirm", role)
    rule = rule_of(plant, date.today())
    with progress("Thinning readings", None) as told:
        outcomes = thin_store(store, rule, role if confirm else "", told, tell_of_wait)
    if as_json:
        print_json({"before": rule.before, "done": confirm, "loads": [_as_json(one) for one in outcomes]})
    else:
        _show_thinned(outcomes, rule.before, confirm)
    return 0


def _as_json(one: Thinned) -> dict[str, Any]:
    from dataclasses import asdict

    return asdict(one)


def _show_thinned(outcomes: tuple[Thinned, ...], before: date, confirm: bool) -> None:
    for one in outcomes:
        head = f"{one.run_id}, {one.shift_date}, load {one.load_id}: "
        if one.whole:
            print(f"{head}stays as it is, {one.whole}.")
            continue
        print(
            f"{head}{one.rows_kept:,} of {one.rows_before:,} readings stay, "
            f"{one.bytes_before:,} bytes become {one.bytes_kept:,}."
        )
        for reel, reason in one.kept_reels:
            print(f"  {reel} stays at full rate: {reason}.")
    going = [one for one in outcomes if not one.whole]
    freed = sum(one.bytes_before - one.bytes_kept for one in going)
    print(
        f"Shifts before {before}: {len(going)} of {len(outcomes)} loads {'were' if confirm else 'would be'} thinned, "
        f"{freed:,} bytes {'are' if confirm else 'would be'} free."
    )
    if not confirm and going:
        print("Nothing was changed. To do it, run the same command with --confirm and --role.")


def _show(outcome: Reassessed) -> None:
    import sys

    print(
        f"{counted(outcome.asked, 'run')}: {outcome.judged} judged now, {outcome.already} judged "
        "on the same basis before, "
        f"{len(outcome.refused)} not judged."
    )
    for sentence in outcome.refused:
        print(sentence, file=sys.stderr)

"""Commands that put runs on file and judge them: review, load, assess, pages, demo."""

from __future__ import annotations

import sys
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from pipeline.cli.showing import JSON, STORE, print_alarms, print_json, progress, tell_of_wait
from pipeline.wording.say import plain
from pipeline.words import counted

if TYPE_CHECKING:
    from pipeline.job.assessing import AssessOutcome
    from pipeline.job.load_on_file import LoadOutcome
    from pipeline.job.whole_job import ReviewOutcome

PATHS = typer.Argument(help="Run sheets, or folders that hold run folders with a run.toml.")


def add_to(app: typer.Typer) -> None:
    """Add these commands to `app`."""
    app.command()(review)
    app.command()(load)
    app.command()(assess)
    app.command()(pages)
    app.command()(demo)
    app.command()(watch)


def review(paths: list[Path] = PATHS, store: Path = STORE, as_json: bool = JSON) -> int:
    """Do the whole job: load runs, assess them, write the pages.

    Example: reelproof review sample_runs --store store
    """
    from pipeline.flows.review import review_runs

    with progress("Reviewing runs", None) as told:
        outcome = review_runs(tuple(paths), store, told, tell_of_wait)
    return _show_review(outcome, as_json)


def demo(
    store: Path = typer.Option(Path("reelproof_demo"), "--store", help="Folder of the demo's store."),
    serve: bool = typer.Option(
        False, "--serve", help="Serve the review site afterwards, with an account for each role."
    ),
    as_json: bool = JSON,
) -> int:
    """Review the sample runs that come with the program. They are of an invented plant: two lines, three
    shifts.

    Example: reelproof demo --store demo
    """
    from pipeline.job.sample_runs import sample_runs_folder

    code = review([sample_runs_folder() / "runs"], store, as_json)
    if serve:
        from pipeline.desk.serving import Served
        from pipeline.desk.serving import serve as serve_site

        def told(sentence: str) -> None:
            print(sentence, flush=True)

        serve_site(store, Served(), told, of_demo=True)
    return code


def watch(
    inbox: Path = typer.Argument(help="Folder that run folders arrive in."),
    store: Path = STORE,
    every: float = typer.Option(15.0, "--every", min=0.5, help="Seconds between looks."),
    quiet: float = typer.Option(
        10.0, "--quiet", min=0.0, help="Seconds a run's files must have stayed as they are."
    ),
    looks: int | None = typer.Option(
        None, "--looks", min=1, help="Stop after so many looks; goes on otherwise."
    ),
    serve: bool = typer.Option(
        False, "--serve", help="Serve the watch on the Prefect server that PREFECT_API_URL names."
    ),
) -> int:
    """Watch a folder and review each run once it is complete. Nothing in it is moved or changed.

    Example: reelproof watch /lines/inbox --store store
    """
    import signal

    from pipeline.flows.watch import Pass, watch_inbox

    # Stopped as a service is, it leaves as with Ctrl-C: the store whole, and no process behind.
    with suppress(ValueError):  # Only a main thread may set it.
        signal.signal(signal.SIGTERM, signal.default_int_handler)
    if serve:
        from pipeline.flows.served_watch import serve_watch

        def started() -> None:
            print(f"Serving the watch of {inbox}; Ctrl-C stops it.", flush=True)

        serve_watch(inbox, store, started, every, quiet)
        return 0

    waits: dict[str, str] = {}

    def told(one: Pass) -> None:
        for key, reason in one.waiting.items():
            if reason and waits.get(key) != reason:
                print(f"{key}: waits. {reason[:1].upper()}{reason[1:].rstrip('.')}.", flush=True)
        waits.clear()
        waits.update(one.waiting)
        for key in one.done:
            print(f"{key}: reviewed", flush=True)
        for key, reason in one.failed.items():
            print(f"{key}: not done, will be tried again. {reason}", flush=True)
        for sentence in one.told:
            print(sentence, flush=True)

    if inbox.is_dir():
        print(f"Watching {inbox}, a look every {every:g} s; Ctrl-C stops it.", file=sys.stderr, flush=True)
    watch_inbox(inbox, store, told, every, quiet, looks)
    return 0


def load(paths: list[Path] = PATHS, store: Path = STORE, as_json: bool = JSON) -> int:
    """Load runs into the store and stop there. Content already on file is left as it is.

    Example: reelproof load sample_runs/runs/R-0411 --store store
    """
    from pipeline.job.loading import load_sheets
    from pipeline.job.plant_in_force import told_of_plant
    from pipeline.record.alarms import alarms_of_runs
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.store.database import open_to_write

    with (
        open_to_write(store, on_wait=tell_of_wait) as opened,
        progress("Loading rows", None) as told,
    ):
        outcomes, refused = load_sheets(opened, tuple(paths), told)
        plant_told = told_of_plant(opened, outcomes)
        alarms = alarms_of_runs(opened, [one.run_id for one in outcomes if one.was_new])
        unit = unit_of_plant(opened)
    if as_json:
        loaded = [_load_as_json(one) for one in outcomes]
        print_json({"loaded": loaded, "refused": refused, "told": list(plant_told), "alarms": list(alarms)})
    else:
        print_alarms(alarms, unit)
        for one in outcomes:
            print(_load_line(one))
            for said in one.told:
                print(f"  {plain(said)}")
        for sheet in plant_told:
            print(plain(sheet))
        _print_refused(refused)
    return 2 if refused else 0


def assess(
    runs: list[str] = typer.Argument(None, help="Run ids; all runs on file where none is given."),
    store: Path = STORE,
    plant: Path | None = typer.Option(
        None, "--plant", help="Judge by this plant sheet, for example after a limit was revised."
    ),
    as_json: bool = JSON,
) -> int:
    """Judge runs on file by the limits in force when they ran. Earlier judgments stay on file.

    Example: reelproof assess R-0411 --store store
    """
    from pipeline.job.assessing import NOT_JUDGED, assess_runs
    from pipeline.record.alarms import alarms_of_runs
    from pipeline.record.plant_sheet_on_file import unit_of_plant
    from pipeline.store.database import open_to_write

    with (
        open_to_write(store, on_wait=tell_of_wait, must_exist=True) as opened,
        progress("Assessing runs", None) as told,
    ):
        outcomes = assess_runs(opened, tuple(runs or ()), told, plant)
        alarms = alarms_of_runs(opened, [one.run_id for one in outcomes if one.was_new])
        unit = unit_of_plant(opened)
    if as_json:
        print_json([_assess_as_json(one) for one in outcomes])
        print_alarms(alarms, unit, sys.stderr)
    else:
        print_alarms(alarms, unit)
        for one in outcomes:
            print(_assess_line(one), file=sys.stderr if one.outcome == NOT_JUDGED else sys.stdout)
    return 2 if any(one.outcome == NOT_JUDGED for one in outcomes) else int(bool(alarms))


def pages(
    store: Path = STORE,
    out: Path = typer.Option(None, "--out", help="Folder of the pages; 'pages' in the store by default."),
) -> int:
    """Write the pages of everything on file. Only what changed is written.

    Example: reelproof pages --store store --out /media/stick/pages
    """
    from dashboards.page_writing import write_pages
    from pipeline.store.database import open_to_read

    with open_to_read(store) as opened, progress("Writing pages", None) as told:
        refused: list[str] = []
        index, written = write_pages(opened, out or store / "pages", told, refused)
    print(f"{written} pages written. Open {index}")
    _print_refused(refused)
    return 2 if refused else 0


def _load_line(one: LoadOutcome) -> str:
    if not one.was_new:
        return f"{one.run_id}: already on file with the same content (load {one.load_id})"
    again = f", replaces load {one.supersedes} whose content differed" if one.supersedes else ""
    if one.supersedes and one.rows_new < one.rows_read:
        again = f", goes on from load {one.supersedes} with {one.rows_new} new rows"
    return (
        f"{one.run_id}: {one.rows_read} rows read = {one.rows_kept} kept + {one.rows_set_aside} set aside"
        f" (load {one.load_id}{again})"
    )


def _load_as_json(one: LoadOutcome) -> dict[str, object]:
    return {
        "run_id": one.run_id,
        "load_id": one.load_id,
        "was_new": one.was_new,
        "supersedes": one.supersedes,
        "rows_read": one.rows_read,
        "rows_kept": one.rows_kept,
        "rows_set_aside": one.rows_set_aside,
        "rows_new": one.rows_new,
        "told": [plain(said) for said in one.told],
    }


def _assess_line(one: AssessOutcome) -> str:
    if one.outcome != "judged":
        return f"{one.run_id}: {one.outcome}. {plain(one.reason or '')}"
    new = "" if one.was_new else " (already judged on the same basis)"
    return (
        f"{one.run_id}: {counted(one.releasable, 'reel')} releasable on the evidence, {one.held} held, "
        f"{counted(one.findings, 'finding')}"
        f" (assessment {one.assessment_id}){new}"
    )


def _assess_as_json(one: AssessOutcome) -> dict[str, object]:
    return {
        "run_id": one.run_id,
        "assessment_id": one.assessment_id,
        "was_new": one.was_new,
        "outcome": one.outcome,
        "reason": plain(one.reason or ""),
        "releasable": one.releasable,
        "held": one.held,
        "findings": one.findings,
    }


def _print_refused(refused: list[str]) -> None:
    import sys

    for sentence in refused:
        print(sentence, file=sys.stderr)


def _show_review(outcome: ReviewOutcome, as_json: bool) -> int:
    if as_json:
        print_json(
            {
                "loaded": [_load_as_json(one) for one in outcome.loads],
                "assessed": [_assess_as_json(one) for one in outcome.assessments],
                "refused": outcome.refused,
                "told": list(outcome.plant_told),
                "alarms": list(outcome.alarms),
                "index": str(outcome.index),
            }
        )
    else:
        for line in outcome.lines():
            print(line)
        _print_refused(outcome.refused)
    return 2 if outcome.refused else int(bool(outcome.alarms))

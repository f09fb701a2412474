"""Watching an inbox: each pass works what is complete, and a bad run blocks none.

On a machine of its own: ``reelproof watch INBOX``, which polls and leaves no process behind when stopped. On a
Prefect server: ``reelproof watch INBOX --serve`` (`pipeline.flows.served_watch`); one pass does not hang on another.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pipeline.errors import Complaint, ReelproofError, SheetError
from pipeline.flows.review import review_sheets
from pipeline.job.load_on_file import LoadOutcome
from pipeline.job.plant_in_force import told_of_plant
from pipeline.job.watching import look, note_done, note_failed, remember, remembered
from pipeline.messages import Message
from pipeline.store.database import open_to_read
from pipeline.wording.say import plain


@dataclass(frozen=True, slots=True)
class Pass:
    """What one look at the inbox came to.

    Args:
        done: runs that were loaded and judged.
        failed: runs that could not be, with the reason.
        waiting: runs that are not complete yet, with what they wait for.
        told: alarms, and sentences about plant sheets that are not those the runs done are judged by.
    """

    done: tuple[str, ...]
    failed: dict[str, str]
    waiting: dict[str, str]
    told: tuple[str, ...] = ()


def _silent(_what: str, _more: int = 0) -> None:
    return


def one_pass(inbox: Path, store: Path, quiet_s: float) -> Pass:
    """Look at the inbox once, review what is complete, and remember the outcome.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        quiet_s: how long a run's files must have stayed as they are [s].

    Raises:
        SheetError: the inbox is not a folder.
    """
    check_inbox(inbox)
    now = time.time()
    ready, memory = look(inbox, remembered(store), now, quiet_s)
    done: list[str] = []
    failed: dict[str, str] = {}
    loads: list[LoadOutcome] = []
    alarms: list[str] = []
    for sheet in ready:
        key = sheet.relative_to(inbox).as_posix()
        try:
            # The files have rested, so a last line without a line end is taken as it stands.
            outcome = review_sheets((sheet,), store, _silent, _silent, 0.0)
            refused = outcome.refused
            loads += outcome.loads
            alarms += [f"ALARM: {plain(one)}" for one in outcome.alarms]
        except ReelproofError as fault:
            refused = [str(fault)]
        except Exception as fault:
            # Whatever is wrong with one run, even a fault of this program, must not keep the others waiting.
            refused = [f"A fault of this program, not of your data: {type(fault).__name__}: {fault}"]
        if refused:
            note_failed(memory, key, refused[0], now)
            failed[key] = refused[0]
        else:
            note_done(memory, key)
            done.append(key)
        # On a full disk nothing is remembered: the run is looked at again, and what is on file is not loaded twice.
        with suppress(OSError):
            remember(store, memory)
    with suppress(OSError):
        remember(store, memory)
    waiting = {key: one.reason for key, one in memory.items() if one.state == "waiting"}
    plant_told: tuple[Message, ...] = ()
    if loads:
        with open_to_read(store) as opened:
            plant_told = told_of_plant(opened, loads)
    return Pass(tuple(done), failed, waiting, (*alarms, *map(plain, plant_told)))


def check_inbox(inbox: Path) -> None:
    """Refuse an inbox that is no folder.

    Raises:
        SheetError: it is not.
    """
    if not inbox.is_dir():
        raise SheetError(Complaint(str(inbox), "this is not a folder", "Name the folder that runs arrive in"))


def watch_inbox(
    inbox: Path,
    store: Path,
    told: Callable[[Pass], None],
    every_s: float = 15.0,
    quiet_s: float = 10.0,
    passes: int | None = None,
) -> None:
    """Watch the inbox until stopped.

    An inbox or store that cannot be reached after the first look is told and looked at again.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        told: told what each look came to.
        every_s: pause between looks [s].
        quiet_s: how long a run's files must have stayed as they are [s].
        passes: stop after so many looks; None goes on until stopped.

    Raises:
        SheetError: the inbox is not a folder at the first look.
    """
    count = 0
    while passes is None or count < passes:
        try:
            found = one_pass(inbox, store, quiet_s)
        except (ReelproofError, OSError) as fault:
            # A share that is away for a while ends no watch that once saw it.
            if count == 0:
                raise
            why = str(fault) if inbox.is_dir() else "the folder cannot be reached"
            found = Pass(
                (), {}, {str(inbox): f"{why.rstrip('.')}; it is looked at again every {every_s:g} s"}
            )
        told(found)
        count += 1
        if passes is None or count < passes:
            time.sleep(every_s)

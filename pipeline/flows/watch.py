"""Watching an inbox as Prefect flows: each pass works what is complete, and a bad run blocks none.

On a machine of its own: ``reelproof watch INBOX``, which polls and leaves no process behind when stopped. On a
Prefect server: deploy `watch_pass` with an interval; one pass does not hang on another.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from prefect import flow
from prefect.settings import PREFECT_FLOWS_HEARTBEAT_FREQUENCY, temporary_settings

from pipeline.errors import Complaint, SheetError, StoreError
from pipeline.flows.review import review_flow
from pipeline.review.watching import look, note_done, note_failed, remember, remembered


@dataclass(frozen=True, slots=True)
class Pass:
    """What one look at the inbox came to.

    Args:
        done: runs that were loaded and judged.
        failed: runs that could not be, with the reason.
        waiting: runs that are not complete yet, with what they wait for.
    """

    done: tuple[str, ...]
    failed: dict[str, str]
    waiting: dict[str, str]


def _silent(_what: str, _more: int = 0) -> None:
    return


@flow(name="watch inbox", flow_run_name="watch {inbox.name}", validate_parameters=False, persist_result=False)
def watch_pass(inbox: Path, store: Path, quiet_s: float = 10.0) -> Pass:
    """Look at the inbox once and work what is complete."""
    return one_pass(inbox, store, quiet_s)


def one_pass(inbox: Path, store: Path, quiet_s: float) -> Pass:
    """Look at the inbox once, work what is complete through the review flow, and remember the outcome.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        quiet_s: how long a run's files must have stayed as they are [s].

    Raises:
        SheetError: the inbox is not a folder.
    """
    if not inbox.is_dir():
        raise SheetError(Complaint(str(inbox), "this is not a folder", "Name the folder that runs arrive in"))
    now = time.time()
    ready, memory = look(inbox, remembered(store), now, quiet_s)
    done: list[str] = []
    failed: dict[str, str] = {}
    for sheet in ready:
        key = sheet.relative_to(inbox).as_posix()
        try:
            # The files have rested, so a last line without a line end is taken as it stands.
            outcome = review_flow((sheet,), store, _silent, _silent, 0.0)
        except StoreError as fault:
            note_failed(memory, key, str(fault), now)
            failed[key] = str(fault)
            continue
        if outcome.refused:
            note_failed(memory, key, outcome.refused[0], now)
            failed[key] = outcome.refused[0]
        else:
            note_done(memory, key)
            done.append(key)
    remember(store, memory)
    waiting = {key: one.reason for key, one in memory.items() if one.state == "waiting"}
    return Pass(tuple(done), failed, waiting)


def watch_inbox(
    inbox: Path,
    store: Path,
    told: Callable[[Pass], None],
    every_s: float = 15.0,
    quiet_s: float = 10.0,
    passes: int | None = None,
) -> None:
    """Watch the inbox until stopped, on the engine a plant has set or a passing one.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        told: told what each look came to.
        every_s: pause between looks [s].
        quiet_s: how long a run's files must have stayed as they are [s].
        passes: stop after so many looks; None goes on until stopped.
    """
    with temporary_settings({PREFECT_FLOWS_HEARTBEAT_FREQUENCY: None}):
        count = 0
        while passes is None or count < passes:
            told(one_pass(inbox, store, quiet_s))
            count += 1
            if passes is None or count < passes:
                time.sleep(every_s)

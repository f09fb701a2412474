"""Watching an inbox as Prefect flows: each pass works what is complete, and a bad run blocks none.

On a machine of its own: ``reelproof watch INBOX``, which polls and leaves no process behind when stopped. On a
Prefect server: ``reelproof watch INBOX --serve``, which serves `watch_pass` as a deployment of that server with an
interval; one pass does not hang on another.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from prefect import State, flow
from prefect.client.schemas.objects import ConcurrencyLimitConfig, ConcurrencyLimitStrategy
from prefect.settings import PREFECT_API_URL
from prefect.states import Completed, Failed
from prefect.types.entrypoint import EntrypointType

from pipeline.errors import Complaint, ReelproofError, SheetError
from pipeline.flows.engine import engine, reached
from pipeline.flows.review import review_flow
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


@flow(name="watch inbox", flow_run_name="watch {inbox}", persist_result=False)
def watch_pass(inbox: str, store: str, quiet_s: float = 10.0) -> State[str]:
    """Look at the inbox once and work what is complete; the pass is shown failed where a run could not be done.

    A server passes parameters as JSON, and a serving process takes only built-in types along to the one it starts.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        quiet_s: how long a run's files must have stayed as they are [s].
    """
    one = one_pass(Path(inbox), Path(store), quiet_s)
    told = f"{len(one.done)} reviewed, {len(one.failed)} not done, {len(one.waiting)} not complete yet."
    if one.failed:
        return Failed(
            message=" ".join([told, *(f"{key}: {reason}" for key, reason in sorted(one.failed.items()))])
        )
    return Completed(message=" ".join([told, *one.told]))


def one_pass(inbox: Path, store: Path, quiet_s: float) -> Pass:
    """Look at the inbox once, work what is complete through the review flow, and remember the outcome.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        quiet_s: how long a run's files must have stayed as they are [s].

    Raises:
        SheetError: the inbox is not a folder.
    """
    _check_inbox(inbox)
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
            with engine():
                outcome = review_flow((sheet,), store, _silent, _silent, 0.0)
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


def _check_inbox(inbox: Path) -> None:
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
    """Watch the inbox until stopped, on the engine a plant has set or a passing one.

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


def serve_watch(
    inbox: Path, store: Path, on_start: Callable[[], None], every_s: float = 15.0, quiet_s: float = 10.0
) -> None:
    """Serve `watch_pass` as a deployment of the Prefect server that the environment names, until stopped.

    Args:
        inbox: folder with run folders in it.
        store: the store's folder.
        on_start: called when nothing speaks against it.
        every_s: pause between looks [s].
        quiet_s: how long a run's files must have stayed as they are [s].

    Raises:
        SheetError: the inbox is not a folder, or no server is named, for the embedded default keeps no schedule.
        StoreError: the server does not answer.
    """
    _check_inbox(inbox)
    if not PREFECT_API_URL.value():
        raise SheetError(
            Complaint(
                "PREFECT_API_URL",
                "no Prefect server is named",
                "Set it to the server's address, as http://HOST:4200/api, or leave --serve out",
            )
        )
    on_start()
    with reached():
        watch_pass.serve(
            name=f"watch {inbox.name}",
            interval=every_s,
            parameters={"inbox": str(inbox.resolve()), "store": str(store.resolve()), "quiet_s": quiet_s},
            # A look that comes while another is at work is dropped, for the next sees the same: else they pile up.
            limit=2,
            global_limit=ConcurrencyLimitConfig(
                limit=1, collision_strategy=ConcurrencyLimitStrategy.CANCEL_NEW
            ),
            print_starting_message=False,
            # By the module's name, which is the same on every machine and from every folder.
            entrypoint_type=EntrypointType.MODULE_PATH,
        )

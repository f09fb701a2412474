"""Load: from a run sheet to a run on file, once for each content."""

from __future__ import annotations

import threading
import time
import tomllib
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import polars as pl

from pipeline.errors import Complaint, ReelproofError
from pipeline.job.alone import refusal_of
from pipeline.job.growing import (
    QUIET_S,
    files_before,
    held_back,
    is_same_reading,
    look_at_logs,
)
from pipeline.job.processes import cores, give_back
from pipeline.record.samples_on_file import keep_samples_beside
from pipeline.regular_file import NotRegularError, text_of_file
from pipeline.steps.load import Loaded, RunSheets, find_run_sheets, load_run, read_run_sheets
from pipeline.store.damage import told_of_disk
from pipeline.store.readings import handing_over, sweep, thinning_of, write_parquet

if TYPE_CHECKING:
    from pipeline.store.database import Store
from pipeline.job.load_on_file import LONG_LOGS_BYTES, LoadOutcome, NewLoad, WantedRun, put_on_file

# One connection, one writer: threads that review runs side by side take turns at the store.
STORE_TURN = threading.Lock()
SCRATCH = "scratch"


def load_sheet(
    store: Store, path: Path, on_rows: Callable[[int], None] | None = None, quiet_s: float = QUIET_S
) -> LoadOutcome:
    """Load the run of the run sheet `path` into `store`; content already on file is left as it is.

    Of a log that has grown since the last load only the new rows are read; the load holds the whole run all the same.

    Args:
        store: the store, open to write.
        path: the run sheet.
        on_rows: told how many more rows were read.
        quiet_s: how long a file must have rested for a last line without a line end to be taken as it stands [s].

    Raises:
        ReelproofError: a sheet or log cannot be used; nothing of the run is then on file.
    """
    sheets = read_run_sheets(path)
    wanted = _wanted(store, sheets, quiet_s)
    outcome = wanted if isinstance(wanted, LoadOutcome) else _load(store, wanted, on_rows)
    return _with_samples(store, sheets, outcome)


def _with_samples(store: Store, sheets: RunSheets, outcome: LoadOutcome) -> LoadOutcome:
    """What a load came to, once the samples beside its run sheet are on file as well."""
    with STORE_TURN:
        samples, told = keep_samples_beside(store, sheets)
    return replace(outcome, told=(*outcome.told, *told), samples=samples)


def _load(store: Store, wanted: WantedRun, on_rows: Callable[[int], None] | None) -> LoadOutcome:
    with _scratch(store, wanted) as scratch:
        loaded = load_run(wanted.sheets, on_rows, scratch, wanted.before)
        with STORE_TURN:
            return put_on_file(store, NewLoad(loaded, wanted, _frames(loaded)))


def _wanted(store: Store, sheets: RunSheets, quiet_s: float) -> WantedRun | LoadOutcome:
    """The load that is to be made of a run as it stands now, or what came of it if it is on file already."""
    with STORE_TURN:
        head, files = _last_load(store, sheets.run.id)
    logs = look_at_logs(sheets, files, time.time(), quiet_s)
    content = sheets.content_sha256(log.now.sha256 for log in logs)
    if head is not None and head["content_sha256"] == content:
        return LoadOutcome(
            head["run_id"],
            head["load_id"],
            False,
            None,
            head["rows_read"],
            head["rows_kept"],
            head["rows_set_aside"],
            told=held_back(logs),
            plant_sheet=sheets.plant_path,
            plant_sha256=sheets.texts[2].sha256,
        )
    with STORE_TURN:
        goes_on = (
            head is not None
            and is_same_reading(sheets, head, _plant_text(store, head))
            and thinning_of(store, head["folder"]) is None
        )
        before = files_before(store, sheets, logs, head if goes_on else None)
    return WantedRun(sheets, content, logs, before, head)


def _last_load(store: Store, run_id: str) -> tuple[dict[str, Any] | None, list[dict[str, Any]]]:
    """The last load of a run and its files."""
    earlier = store.ask("questions/loads_of_run", run_id=run_id)
    if not earlier:
        return None, []
    load_id = earlier[-1]["load_id"]
    return store.ask("questions/load", load_id=load_id)[0], store.ask(
        "questions/files_of_load", load_id=load_id
    )


def _plant_text(store: Store, head: dict[str, Any]) -> str:
    return str(store.ask("questions/sheet", sha256=head["plant_sheet_sha256"])[0]["text"])


@contextmanager
def _scratch(store: Store, wanted: WantedRun) -> Iterator[Path | None]:
    """A folder for scratch files where the logs may not fit into memory, else None; gone afterwards."""
    if not wanted.is_long:
        yield None
        return
    folder = store.folder / SCRATCH
    try:
        yield folder
    finally:
        with suppress(OSError):
            folder.rmdir()


def load_sheets(
    store: Store,
    paths: tuple[Path, ...],
    told: Callable[[str, int], None] = lambda _what, _more: None,
    quiet_s: float = QUIET_S,
) -> tuple[tuple[LoadOutcome, ...], list[str]]:
    """Load every run below `paths`; a run that cannot be loaded does not stop the others.

    Args:
        store: the store, open to write.
        paths: run sheets, or folders with run sheets below them.
        told: told the run under way and how many more rows were read.
        quiet_s: how long a file must have rested for a last line without a line end to be taken as it stands [s].

    Returns:
        What each load came to, and the sentences about the runs that could not be loaded.
    """
    sweep(store)
    unread: list[Complaint] = []
    found = find_run_sheets(paths, unread)
    twice = _told_twice(found)
    with handing_over(store) as folder, ThreadPoolExecutor(cores()) as threads:
        ahead = _ReadAhead(store, told, quiet_s, threads, folder)
        for path in found:
            if path not in twice:
                ahead.begin(path)
        while ahead.finish_one():
            pass
    give_back()
    ended = [ahead.ended[path] for path in found if path not in twice]
    return (
        tuple(one for one in ended if isinstance(one, LoadOutcome)),
        [
            str(one)
            for one in (
                *unread,
                *dict.fromkeys(twice.values()),
                *(one for fault in ended if isinstance(fault, ReelproofError) for one in fault.complaints),
            )
        ],
    )


def _told_twice(found: Sequence[Path]) -> dict[Path, Complaint]:
    """Run sheets of one load that are about the same run: which of them holds nobody can tell, so none is loaded."""
    sheets: dict[str, dict[Path, Path]] = {}
    for path in found:
        # What cannot be read is told when the run is loaded.
        with suppress(OSError, ValueError, RecursionError, NotRegularError):
            run = tomllib.loads(text_of_file(path)).get("run")
            if isinstance(run, dict) and isinstance(run.get("id"), str):
                sheets.setdefault(run["id"].strip(), {}).setdefault(path.resolve(), path)
    return {
        path: Complaint(
            f"run {run_id}",
            f"{len(told)} run sheets are about it: {', '.join(map(str, told.values()))}",
            "None of them was loaded. Keep the one that is right, or give each run a number of its own",
        )
        for run_id, told in sheets.items()
        if len(told) > 1
        for path in told.values()
    }


class _ReadAhead:
    """Logs of several runs are read at a time, each by a thread; they are put on file in the order of their sheets.

    Args:
        store: the store, open to write.
        told: told the run under way and how many more rows were read.
        quiet_s: how long a file must have rested for a last line without a line end to be taken as it stands [s].
        threads: read the logs; as many as there are cores.
        hand_over: folder of the store where they leave the readings.
    """

    def __init__(
        self,
        store: Store,
        told: Callable[[str, int], None],
        quiet_s: float,
        threads: ThreadPoolExecutor,
        hand_over: Path,
    ) -> None:
        self._store, self._told, self._quiet_s = store, told, quiet_s
        self._threads, self._hand_over = threads, hand_over
        self._under_way: deque[tuple[Path, WantedRun, Future[NewLoad]]] = deque()
        self.ended: dict[Path, LoadOutcome | ReelproofError] = {}

    def begin(self, path: Path) -> None:
        """Begin to read the logs of the run sheet `path`, as soon as memory allows.

        Raises:
            StoreError: the store cannot be used; what was put on file before stays.
        """
        with self._refusal_of(path):
            sheets = read_run_sheets(path)
            wanted = _wanted(self._store, sheets, self._quiet_s)
            if isinstance(wanted, LoadOutcome):
                self.ended[path] = _with_samples(self._store, sheets, wanted)
                return
            while self._under_way and not self._has_room(wanted):
                self.finish_one()
            told = partial(self._told, path.parent.name)
            if wanted.is_long:
                self.ended[path] = _with_samples(self._store, sheets, _load(self._store, wanted, told))
            else:
                self._under_way.append((path, wanted, self._threads.submit(self._read, wanted, told)))

    def _read(self, wanted: WantedRun, told: Callable[[int], None]) -> NewLoad:
        loaded = load_run(wanted.sheets, told, None, wanted.before)
        frames = {name: self._hand_over / f"{uuid4().hex}.parquet" for name in _frames(loaded)}
        with told_of_disk(self._store.folder):
            for name, frame in _frames(loaded).items():
                write_parquet(frame, frames[name])
        return NewLoad(loaded, wanted, frames)

    def _has_room(self, wanted: WantedRun) -> bool:
        sizes = [one.bytes_to_read for _, one, _ in self._under_way]
        return len(sizes) < cores() and sum(sizes) + wanted.bytes_to_read < LONG_LOGS_BYTES

    def finish_one(self) -> bool:
        """Put on file the run that was begun first; False where none is under way.

        Raises:
            StoreError: the store cannot be used.
        """
        if not self._under_way:
            return False
        path, wanted, read = self._under_way.popleft()
        with self._refusal_of(path):
            new = read.result()
            with STORE_TURN:
                outcome = put_on_file(self._store, new)
            self.ended[path] = _with_samples(self._store, wanted.sheets, outcome)
        return True

    @contextmanager
    def _refusal_of(self, path: Path) -> Iterator[None]:
        """A run that cannot be loaded does not stop the others; a store that cannot be used does."""
        try:
            yield
        except Exception as fault:
            self.ended[path] = refusal_of(fault, str(path))


def _frames(loaded: Loaded) -> dict[str, pl.DataFrame]:
    logs = loaded.logs
    frames = {"logged": logs.readings, "events": logs.events, "flagged": logs.flagged}
    return frames | ({"lines": logs.lines} if logs.lines.width else {})

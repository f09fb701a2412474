"""Load: from a run sheet to a run on file, once for each content."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import polars as pl

from pipeline import __version__
from pipeline.errors import Complaint, ReelproofError
from pipeline.flags import BY_CODE
from pipeline.job.alone import refusal_of
from pipeline.job.growing import (
    PLAIN_LOGS,
    QUIET_S,
    UNPACKS_TO,
    LogNow,
    files_before,
    growth_rows,
    held_back,
    is_same_reading,
    look_at_logs,
    told_of,
)
from pipeline.job.processes import cores, give_back
from pipeline.messages import Said, said_json
from pipeline.record.journal_on_file import note
from pipeline.record.samples_on_file import keep_samples_beside
from pipeline.record.sealing import LOAD_TABLES, seals_of
from pipeline.steps.load import Loaded, RunSheets, SheetText, find_run_sheets, load_run, read_run_sheets
from pipeline.store.damage import told_of_disk
from pipeline.store.layout import folder_of
from pipeline.store.readings import handing_over, sweep, thinning_of, write_parquet, written_folder

if TYPE_CHECKING:
    from pipeline.logs.log_rows import FilesBefore
    from pipeline.store.database import Store

# One connection, one writer: threads that review runs side by side take turns at the store.
STORE_TURN = threading.Lock()
# Logs of more bytes than this are read by way of scratch files in the store, so that memory need not hold them.
LONG_LOGS_BYTES = 200_000_000
SCRATCH = "scratch"


@dataclass(frozen=True, slots=True)
class LoadOutcome:
    """What a load came to.

    Args:
        run_id: the run.
        load_id: its load on file.
        was_new: False if the same content was on file already.
        supersedes: the earlier load of this run whose content differed, or None.
        rows_read: rows read from all logs.
        rows_kept: rows kept as readings or events.
        rows_set_aside: lines set aside with a reason.
        rows_new: of the rows read, those that are not of an earlier load.
        told: what is said of files that grew or changed, of lines held back, and of samples.
        plant_sheet: the plant sheet that the run sheet names; None where it was not looked at.
        plant_sha256: hash of its text as it stands now.
        samples: laboratory samples beside the run sheet that were put on file.
    """

    run_id: str
    load_id: int
    was_new: bool
    supersedes: int | None
    rows_read: int
    rows_kept: int
    rows_set_aside: int
    rows_new: int = 0
    told: tuple[Said, ...] = ()
    plant_sheet: Path | None = None
    plant_sha256: str = ""
    samples: int = 0


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


def _load(store: Store, wanted: _Wanted, on_rows: Callable[[int], None] | None) -> LoadOutcome:
    with _scratch(store, wanted) as scratch:
        loaded = load_run(wanted.sheets, on_rows, scratch, wanted.before)
        with STORE_TURN:
            return _put_on_file(store, _New(loaded, wanted, _frames(loaded)))


@dataclass(frozen=True, slots=True)
class _Wanted:
    """A load that is to be made.

    Args:
        sheets: what it stands on.
        content_sha256: the identity of its content.
        files: its logs as they are.
        before: what is known of them from the run's last load.
        head: that load, or None.
    """

    sheets: RunSheets
    content_sha256: str
    files: tuple[LogNow, ...]
    before: FilesBefore
    head: dict[str, Any] | None

    @property
    def bytes_to_read(self) -> int:
        """Bytes of its logs, packed ones as large as they may unpack to."""
        return sum(
            log.now.bytes * (1 if path.suffix.lower() in PLAIN_LOGS else UNPACKS_TO)
            for log, (_, path) in zip(self.files, self.sheets.files, strict=True)
        )

    @property
    def is_long(self) -> bool:
        """Whether its rows go by way of scratch files, because memory may not hold them."""
        return self.bytes_to_read >= LONG_LOGS_BYTES


def _wanted(store: Store, sheets: RunSheets, quiet_s: float) -> _Wanted | LoadOutcome:
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
    return _Wanted(sheets, content, logs, before, head)


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
def _scratch(store: Store, wanted: _Wanted) -> Iterator[Path | None]:
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
    with handing_over(store) as folder, ThreadPoolExecutor(cores()) as threads:
        ahead = _ReadAhead(store, told, quiet_s, threads, folder)
        for path in found:
            ahead.begin(path)
        while ahead.finish_one():
            pass
    give_back()
    ended = [ahead.ended[path] for path in found]
    return (
        tuple(one for one in ended if isinstance(one, LoadOutcome)),
        [
            str(one)
            for one in (
                *unread,
                *(one for fault in ended if isinstance(fault, ReelproofError) for one in fault.complaints),
            )
        ],
    )


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
        self._under_way: deque[tuple[Path, _Wanted, Future[_New]]] = deque()
        self.ended: dict[Path, LoadOutcome | ReelproofError] = {}

    def begin(self, path: Path) -> None:
        """Begin to read the logs of the run sheet `path`, as soon as memory allows.

        Raises:
            StoreError: the store cannot be used; what was put on file before stays.
        """
        with self._refusal_of(path):
            sheets = read_run_sheets(path)
            # What is on file of a run tells what is left to read of it.
            while any(one.sheets.run.id == sheets.run.id for _, one, _ in self._under_way):
                self.finish_one()
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

    def _read(self, wanted: _Wanted, told: Callable[[int], None]) -> _New:
        loaded = load_run(wanted.sheets, told, None, wanted.before)
        frames = {name: self._hand_over / f"{uuid4().hex}.parquet" for name in _frames(loaded)}
        with told_of_disk(self._store.folder):
            for name, frame in _frames(loaded).items():
                write_parquet(frame, frames[name])
        return _New(loaded, wanted, frames)

    def _has_room(self, wanted: _Wanted) -> bool:
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
                outcome = _put_on_file(self._store, new)
            self.ended[path] = _with_samples(self._store, wanted.sheets, outcome)
        return True

    @contextmanager
    def _refusal_of(self, path: Path) -> Iterator[None]:
        """A run that cannot be loaded does not stop the others; a store that cannot be used does."""
        try:
            yield
        except Exception as fault:
            self.ended[path] = refusal_of(fault, str(path))


@dataclass(frozen=True, slots=True)
class _New:
    """A load that is to be put on file, and what was known before its logs were read."""

    loaded: Loaded
    wanted: _Wanted
    frames: Mapping[str, pl.DataFrame | Path]


def _frames(loaded: Loaded) -> dict[str, pl.DataFrame]:
    logs = loaded.logs
    frames = {"logged": logs.readings, "events": logs.events, "flagged": logs.flagged}
    return frames | ({"lines": logs.lines} if logs.lines.width else {})


def _put_on_file(store: Store, new: _New) -> LoadOutcome:
    loaded, wanted, head = new.loaded, new.wanted, new.wanted.head
    supersedes = None if head is None else int(head["load_id"])
    run, logs = loaded.sheets.run, loaded.logs
    load_id = int(store.ask("questions/next_load_id")[0]["load_id"])
    folder = folder_of(run.plant, run.line, loaded.shift_date, run.id, load_id=load_id)
    totals = {
        name: sum(getattr(file, name) for file in logs.files)
        for name in ("rows_read", "rows_kept", "rows_set_aside")
    }
    growth = growth_rows(logs, wanted.files, wanted.before, load_id, supersedes)
    told = told_of(
        wanted.files,
        dict(growth.select("file_no", "rows_new").iter_rows()),
        wanted.before,
        is_first=head is None,
    )
    with written_folder(store, folder, new.frames), store.transaction():
        store.append("logged.load", _load_row(new, load_id, folder, totals))
        store.append("logged.file", _file_rows(loaded, load_id))
        store.append("logged.file_growth", growth)
        store.append("logged.set_aside", _of_load(logs.set_aside, load_id))
        store.append("logged.flag_count", _flag_counts(logs.flagged, load_id))
        store.append("logged.material", _material_rows(loaded.sheets, load_id))
        store.append(
            "logged.warning",
            pl.DataFrame(
                {
                    "load_id": load_id,
                    "sentence": "",
                    "said": [said_json(one) for one in (*logs.warnings, *told)],
                },
                schema={"load_id": pl.Int32, "sentence": pl.String, "said": pl.String},
            ),
        )
        put_texts_on_file(store, loaded.sheets.texts)
        note(
            store,
            "load",
            run.id,
            {
                "load_id": load_id,
                "folder": folder,
                "content_sha256": wanted.content_sha256,
                "seals": seals_of(store, LOAD_TABLES, folder, load_id=load_id),
                "files": [{"name": file.name, "sha256": file.sha256} for file in logs.files],
                "supersedes": supersedes,
                **totals,
            },
        )
    return LoadOutcome(
        run.id,
        load_id,
        True,
        supersedes,
        **totals,
        rows_new=int(growth["rows_new"].sum()),
        told=told,
        plant_sheet=loaded.sheets.plant_path,
        plant_sha256=loaded.sheets.texts[2].sha256,
    )


def _load_row(new: _New, load_id: int, folder: str, totals: dict[str, int]) -> pl.DataFrame:
    loaded, sheets, run = new.loaded, new.loaded.sheets, new.loaded.sheets.run
    return pl.DataFrame(
        {
            "load_id": load_id,
            "run_id": run.id,
            "content_sha256": new.wanted.content_sha256,
            "run_sheet_sha256": sheets.texts[0].sha256,
            "line_sheet_sha256": sheets.texts[1].sha256,
            "plant_sheet_sha256": sheets.texts[2].sha256,
            "plant": run.plant,
            "line": run.line,
            "construction": sheets.product.construction,
            "size": sheets.product.size.name,
            "conductor": run.product.conductor,
            "metal": run.product.metal,
            "colour": run.product.colour,
            "shift": loaded.shift,
            "shift_date": loaded.shift_date,
            "operator_role": run.operator_role,
            "note": run.note,
            "trial": run.trial,
            "started_utc": loaded.started,
            "ended_utc": loaded.ended,
            "folder": folder,
            "loaded_utc": datetime.now(UTC).replace(tzinfo=None),
            "software": __version__,
            **totals,
        }
    )


def _file_rows(loaded: Loaded, load_id: int) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "load_id": load_id,
                "file_no": file.file_no,
                "name": file.name,
                "kind": file.kind,
                "sha256": file.sha256,
                "bytes": file.bytes,
                "rows_read": file.rows_read,
                "rows_kept": file.rows_kept,
                "rows_set_aside": file.rows_set_aside,
            }
            for file in loaded.logs.files
        ]
    )


def _of_load(frame: pl.DataFrame, load_id: int) -> pl.DataFrame:
    return frame.with_columns(pl.lit(load_id, pl.Int32).alias("load_id"))


def _flag_counts(flagged: pl.DataFrame, load_id: int) -> pl.DataFrame:
    counted = flagged.group_by("channel", "flag").agg(pl.len().alias("readings")).sort("channel", "flag")
    names = [BY_CODE[code].name for code in counted["flag"]]
    return _of_load(counted, load_id).with_columns(pl.Series("reason", names, pl.String))


def _material_rows(sheets: RunSheets, load_id: int) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "load_id": load_id,
                "material": lot.material,
                "lot": lot.lot,
                "from_m": lot.from_m,
                "to_m": lot.to_m,
            }
            for lot in sheets.run.lots
        ],
        schema={
            "load_id": pl.Int32,
            "material": pl.String,
            "lot": pl.String,
            "from_m": pl.Float64,
            "to_m": pl.Float64,
        },
    )


def put_texts_on_file(store: Store, texts: tuple[SheetText, ...]) -> None:
    """Keep the text of every sheet once, by its hash."""
    known = {row["sha256"] for row in store.ask("questions/sheets_on_file")}
    store.append(
        "logged.sheet",
        pl.DataFrame(
            [
                {"sha256": text.sha256, "kind": text.kind, "name": text.name, "text": text.text}
                for text in {text.sha256: text for text in texts}.values()
                if text.sha256 not in known
            ],
            schema={"sha256": pl.String, "kind": pl.String, "name": pl.String, "text": pl.String},
        ),
    )

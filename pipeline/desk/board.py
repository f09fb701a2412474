"""What waits, how every reel stands, and what happened: the store's answers as lists, followed as the store grows.

The board asks what the pages ask (`RunBook`), run by run, and keeps the answers in a file of its own. After an act only
the runs that it touches are asked again; the rest of a store that the board does not know is read in the background,
newest runs first, and every list says how many are still to come.
"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from datetime import timedelta
from threading import Event, RLock, Thread
from typing import TYPE_CHECKING, Any

from dashboards.fillers.plant import plant_of
from dashboards.fillers.run_book import run_books
from dashboards.records import Plant
from pipeline.desk.board_rows import basis_of, clear, put_event, put_head, put_runs
from pipeline.errors import ReelproofError
from pipeline.messages import said_json
from pipeline.record.entry_kinds import ACCESS, SAMPLE_WITHDRAWN
from pipeline.record.holds_on_file import HOLD, LIFT, holds_in_force
from pipeline.record.journal_on_file import entry_of
from pipeline.record.lengths import lengths_on_file
from pipeline.record.plant_sheet_on_file import plant_sheet_of
from pipeline.record.samples_on_file import KIND as SAMPLE
from pipeline.sheets.plant_sheet import PlantSheet
from pipeline.store.copies import newest_copy
from pipeline.store.database import open_to_read

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.lots.journal import Entry
    from pipeline.store.account_file import BoardFile
    from pipeline.store.database import Store

LAYOUT = 1
# Entries that say what another entry of the same judgement says of one reel or of the line, and seals.
NOT_EVENTS = ("reel", "line review", ACCESS)
AT_ONCE = 5000
RUNS_AT_ONCE = 16
LOOKS_EVERY_S = 0.3
_TABLES = ("run", "reel", "finding", "pending", "hold", "event", "turned", "mark")


class Board:
    """The lists of one store.

    Args:
        store: the store's folder.
        file: where they are kept.
    """

    def __init__(self, store: Path, file: BoardFile) -> None:
        self.store = store
        self.file = file
        self.plant = Plant("plant", "Plant", "UTC")
        self.sheet: PlantSheet | None = None
        # Counts what was seen to change, with the runs it is about; None for any.
        self.version = 0
        self._changes: deque[tuple[int, frozenset[str] | None]] = deque(maxlen=200)
        # How many things wait, by version, role, person and what they have looked at.
        self.counted: dict[tuple[int, str, str, int], int] = {}
        self._turn = RLock()
        self._copy: Path | None = None
        self._is_over = Event()
        self._follower = Thread(target=self._follow, name="board", daemon=True)

    def begin(self) -> None:
        """Follow the store from now on, on a thread of its own."""
        self._follower.start()

    def close(self) -> None:
        """Stop following."""
        self._is_over.set()
        if self._follower.is_alive():
            self._follower.join()

    def _follow(self) -> None:
        while not self._is_over.wait(LOOKS_EVERY_S):
            # A store that cannot be read now is told to whoever asks for a page; the next look may find it whole.
            with suppress(ReelproofError, OSError):
                self.catch_up()
                while not self._is_over.is_set() and self._read_stale():
                    pass

    def concerns(self, since: int, runs: Sequence[str] | None) -> bool:
        """Whether anything changed after a version that a page of some runs may show; of all runs for None."""
        changed = [about for number, about in tuple(self._changes) if number > since]
        if len(changed) < self.version - since or runs is None:
            return self.version > since
        return any(about is None or not about.isdisjoint(runs) for about in changed)

    def catch_up(self) -> None:
        """Read what came on file since the last look; runs that it touches are read anew at once.

        Raises:
            StoreError: the store cannot be read.
        """
        if self._copy is not None and self._copy == newest_copy(self.store):
            return
        with self._turn:
            if self._copy is not None and self._copy == newest_copy(self.store):
                return
            with open_to_read(self.store) as store:
                self._take(store)
                self._copy = store.copy

    def still_to_come(self) -> int:
        """How many runs are not read yet."""
        return int(self.file.ask("stale_runs")[0]["runs"])

    def _take(self, store: Store) -> None:
        last = store.ask("questions/last_entry")
        newest = entry_of(last[0]) if last else None
        with self.file.transaction():
            known = self._known_until(store)
            heads = {row["run_id"]: row for row in store.ask("questions/current_runs")}
            self._take_plant(store, [*heads.values()])
            touched = self._take_entries(store, known)
            touched |= self._take_heads(heads)
            holds = holds_in_force(store)
            self.file.do("clear_holds")
            for one in holds:
                self.file.do(
                    "put_hold",
                    number=one.number,
                    about=one.about,
                    subject=one.subject,
                    told=said_json(one.told),
                )
            at_once = sorted(touched & heads.keys(), reverse=True)[:RUNS_AT_ONCE]
            for run_id in touched:
                self.file.do("mark_stale", run_id=run_id)
            entry_no = newest.entry_no if newest else 0
            put_runs(self.file, store, [heads[one] for one in at_once], entry_no)
            self.file.do(
                "set_mark",
                entry_no=entry_no,
                chain_sha256=newest.chain_sha256 if newest else "",
                layout=LAYOUT,
            )
        self._changed(frozenset(touched) if known else None)

    def _changed(self, runs: frozenset[str] | None) -> None:
        self._changes.append((self.version + 1, runs))
        self.version += 1

    def _known_until(self, store: Store) -> int:
        """The entry up to which the journal was followed; 0, with empty tables, where it does not go on from there."""
        for mark in self.file.ask("mark"):
            there = store.ask("questions/chain_of_entry", entry_no=mark["entry_no"])
            if mark["layout"] == LAYOUT and there and there[0]["chain_sha256"] == mark["chain_sha256"]:
                return int(mark["entry_no"])
        for name in _TABLES:
            self.file.do(f"drop_{name}")
        self.file.lay_out()
        return 0

    def _take_plant(self, store: Store, heads: list[dict[str, Any]]) -> None:
        books = run_books(store, heads[-1:])
        self.plant = plant_of(store, books)
        self.sheet = plant_sheet_of(store, books[-1].run_id)[0] if books else None

    def _take_entries(self, store: Store, known: int) -> set[str]:
        """Keep what happened since an entry; the runs that stand otherwise by it."""
        touched: set[str] = set()
        while rows := store.ask("questions/entries_since", entry_no=known, most=AT_ONCE):
            for row in rows:
                entry = entry_of(row)
                if entry.kind not in NOT_EVENTS:
                    put_event(self.file, entry)
                if known:
                    touched |= self._touched(store, entry)
            known = rows[-1]["entry_no"]
        return touched

    def _touched(self, store: Store, entry: Entry) -> set[str]:
        """Runs that may stand otherwise by an entry."""
        names = {entry.subject, *_names_in(entry.content)}
        if entry.kind in (HOLD, LIFT) and store.ask("questions/loads_of_lot", lot=entry.subject):
            names |= {row["reel_id"] for row in store.ask("questions/reels_of_lot_ever", lot=entry.subject)}
        elif entry.kind == "shipment":
            reel_of = {row["length_id"]: row["reel_id"] for row in lengths_on_file(store)}
            names |= {reel_of[name] for name in names & reel_of.keys()}
        elif entry.kind in (SAMPLE, SAMPLE_WITHDRAWN):
            # A sample bears on other reels of its run and lots.
            own = self._runs_named(names)
            alike = {
                row["run_id"]
                for one in own
                for row in store.ask("questions/runs_with_samples_of_like_lots", run_id=one)
            }
            return own | alike
        return self._runs_named(names)

    def _runs_named(self, names: Iterable[str]) -> set[str]:
        return {row["run_id"] for row in self.file.ask("runs_named", names=json.dumps(sorted(names)))}

    def _take_heads(self, heads: Mapping[str, dict[str, Any]]) -> set[str]:
        """Note runs that are new or judged anew, and those that are gone."""
        known = {row["run_id"]: row for row in self.file.ask("bases")}
        new = {
            name
            for name, head in heads.items()
            if name not in known or known[name]["basis"] != basis_of(head)
        }
        for name in known.keys() - heads.keys():
            clear(self.file, name)
            self.file.do("clear_run", run_id=name)
        beside: set[str] = set()
        for name in new:
            put_head(self.file, heads[name], is_stale=True)
            # Two runs that a line made at the same time throw doubt on each other.
            day = heads[name]["shift_date"]
            days = [(day + timedelta(days=more)).isoformat() for more in (-1, 0, 1)]
            line = (
                self.file.ask("runs_of_line", line=heads[name]["line"], days=json.dumps(days))
                if known
                else []
            )
            beside |= {row["run_id"] for row in line}
        return new | beside

    def _read_stale(self) -> bool:
        """Read a few of the runs that are to be read anew; whether there were any."""
        with self._turn:
            names = [row["run_id"] for row in self.file.ask("stale", most=RUNS_AT_ONCE)]
            if not names:
                return False
            with open_to_read(self.store) as store, self.file.transaction():
                heads = {row["run_id"]: row for row in store.ask("questions/current_runs")}
                mark = self.file.ask("mark")
                put_runs(
                    self.file,
                    store,
                    [heads[one] for one in names if one in heads],
                    mark[0]["entry_no"] if mark else 0,
                )
                for name in names:
                    if name not in heads:
                        self.file.do("clear_run", run_id=name)
        self._changed(frozenset(names))
        return True


def _names_in(value: object) -> set[str]:
    """Every short text in what an entry keeps, which may be the name of a reel, length or finding."""
    if isinstance(value, str):
        return {value} if len(value) <= 80 else set()
    if isinstance(value, Mapping):
        return {name for one in value.values() for name in _names_in(one)}
    if isinstance(value, list | tuple):
        return {name for one in value for name in _names_in(one)}
    return set()

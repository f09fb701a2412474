"""What of a store is no longer as the journal says it was written, rows and files both?

A row changed behind the program's back no longer has the hash its journal entry keeps, and the journal's own
chain shows whether an entry was changed. What this shows is *unchanged since written*, not *true when written*.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Sequence, Set
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.lots.journal import check_journal
from pipeline.proofs.signed_roots import signature_faults
from pipeline.record.journal_on_file import journal_of
from pipeline.record.reel_record import KIND as REEL
from pipeline.record.reel_record import reel_records
from pipeline.record.sealing import (
    ASSESSMENT_TABLES,
    ENTRY_TABLES,
    LINE_TABLES,
    LOAD_TABLES,
    frame_sha256,
    seals_of,
)
from pipeline.steps.load import text_sha256

if TYPE_CHECKING:
    from pipeline.lots.journal import Anchor, Entry
    from pipeline.store.database import Store


# Columns that tables got later, in that order: rows sealed before have none of them.
LATER_COLUMNS: dict[str, tuple[str, ...]] = {
    "judged.assessment": ("said",),
    "judged.control_chart": ("said",),
    "judged.limit": ("note",),
    "judged.finding": ("said", "cause_said"),
    "judged.reel": ("held_by", "first_said"),
    "judged.requirement": ("said", "decided_by"),
    "judged.line_point": ("said",),
    "judged.line_signal": ("said",),
    "measured.agreement": ("said",),
    "measured.gap": ("said",),
    "placed.counter_event": ("said",),
    "logged.load": ("trial",),
    "logged.set_aside": ("said",),
    "logged.warning": ("said",),
    "placed.warning": ("said", "at_m"),
}


# Tables that stores up to version 8 sealed, and the question that gives their rows.
AS_WRITTEN: dict[str, str] = {
    "judged.result": "questions/results_as_written",
    "judged.line_result": "questions/line_results_as_written",
    "judged.line_chart": "questions/line_charts_as_written",
}


@dataclass(frozen=True, slots=True)
class Known:
    """What somebody outside the store knows of its journal.

    Args:
        root: size and root printed on a certificate.
        key: public key known to be the plant's, 32 bytes.
    """

    root: Anchor | None = None
    key: bytes | None = None


NOTHING_KNOWN = Known()


def changes_in(store: Store, known: Known = NOTHING_KNOWN) -> tuple[str, ...]:
    """Everything in the store that is not as the journal says it was written, a sentence each."""
    entries = journal_of(store)
    told = store.layout_faults()
    told += [one.sentence for one in check_journal(entries, [known.root] if known.root else [])]
    told += signature_faults(entries, known.key)
    told += [
        f"the text of {row['kind']} sheet {row['name']} no longer has its hash {row['sha256'][:12]}."
        for row in store.ask("questions/sheet_texts")
        if text_sha256(row["text"]) != row["sha256"]
    ]
    told += [
        f"the text of sheet {row['sha256'][:12]}, which {row['what']} stands on, is not on file."
        for row in store.ask("questions/sheets_missing")
    ]
    kinds = ("load", "assessment", "line review", *ENTRY_TABLES)
    kept: dict[str, set[int]] = {kind: set() for kind in kinds}
    reels: dict[int, dict[str, Any]] = {}
    removed = _removed_by_thinning(entries)
    for entry in entries:
        if entry.kind == REEL:
            told += _reel_told_otherwise(store, entry, reels)
        if entry.kind not in kept:
            continue
        try:
            record: dict[str, Any] = json.loads(entry.record)["record"]
            number, found = _held_against(store, entry, record, removed)
        except (json.JSONDecodeError, KeyError, TypeError, AttributeError):
            told.append(f"entry {entry.entry_no}: it does not say which rows it keeps.")
            continue
        kept[entry.kind].add(number)
        told += found
    told += [
        f"rows of {row['name']} say they belong to {row['kind']} {row['number']}, which the journal does not hold."
        for row in (*store.ask("questions/numbers_on_file"), *_sample_numbers(store))
        if row["number"] not in kept[row["kind"]]
    ]
    return tuple(told)


def _sample_numbers(store: Store) -> list[dict[str, Any]]:
    """Journal entries that samples say they belong to; a store before version 7 has no samples."""
    if not store.ask("questions/has_samples")[0]["has_samples"]:
        return []
    return store.ask("questions/sample_numbers_on_file")


def _reel_told_otherwise(store: Store, entry: Entry, seen: dict[int, dict[str, Any]]) -> list[str]:
    """Whether the entry of one reel says what the rows of its judgement say."""
    try:
        record: dict[str, Any] = json.loads(entry.record)["record"]
        number = int(record["assessment_id"])
        if number not in seen:
            seen[number] = reel_records(store, number)
    except (ValueError, KeyError, TypeError):
        return [f"entry {entry.entry_no}: it does not say by which judgment reel {entry.subject} stands."]
    if _without_words(seen[number].get(entry.subject, {})) == _without_words(record):
        return []
    return [
        f"entry {entry.entry_no}: the rows of assessment {number} no longer say of reel {entry.subject} what it keeps."
    ]


def _without_words(record: dict[str, Any]) -> dict[str, Any]:
    """A record without what it says in words: earlier versions kept a sentence, later ones code and arguments."""
    return {key: value for key, value in record.items() if key not in ("sentence", "said")}


def _removed_by_thinning(entries: Sequence[Entry]) -> set[tuple[str, str, str]]:
    """Folder, name and hash of every file the journal says was removed when its readings were thinned."""
    removed = set()
    for entry in entries:
        if entry.kind == "thinning":
            with suppress(json.JSONDecodeError, KeyError, TypeError, AttributeError):
                record = json.loads(entry.record)["record"]
                removed |= {(record["of_folder"], name, digest) for name, digest in record["removed"].items()}
    return removed


def _held_against(
    store: Store, entry: Entry, record: dict[str, Any], removed: Set[tuple[str, str, str]]
) -> tuple[int, list[str]]:
    """The number of the load, judgement or entry whose rows an entry keeps, and what of them was changed."""
    if entry.kind == "load":
        number = int(record["load_id"])
        what = f"run {entry.subject}, load {number}"
        return number, _changed(store, record, LOAD_TABLES, what, removed, load_id=number)
    if entry.kind == "assessment":
        number = int(record["assessment_id"])
        what = f"run {entry.subject}, assessment {number}"
        return number, _changed(store, record, ASSESSMENT_TABLES, what, removed, assessment_id=number)
    if entry.kind == "line review":
        number = int(record["line_review_id"])
        what = f"line {entry.subject}, look {number}"
        return number, _changed(store, record, LINE_TABLES, what, removed, line_review_id=number)
    number = entry.entry_no
    what = f"{entry.kind} of {entry.subject}, journal entry {number}"
    return number, _changed(store, record, ENTRY_TABLES[entry.kind], what, removed, entry_no=number)


def _keyed_otherwise(store: Store, sealed: Collection[str], **key: Any) -> list[str]:
    """Tables whose rows are not what the sealed rows of an earlier version come to by key."""
    if not AS_WRITTEN.keys() & set(sealed):
        return []
    from pipeline.store.earlier_answers import answers_by_key, charts_by_key

    ((name, number),) = key.items()
    judged = number
    if name == "line_review_id":
        judged = max(one for row in store.ask("questions/line_review", **key) for one in row["assessments"])
    limits = {number: store.ask("questions/limits_of_assessment", assessment_id=judged)}
    came: dict[str, tuple[str, pl.DataFrame]] = {}
    for table in sealed:
        if table == "judged.line_chart":
            rows = store.ask(AS_WRITTEN[table], **key)
            came["judged.control_chart"] = ("questions/line_charts", charts_by_key(rows))
        elif table in AS_WRITTEN:
            rows, tables = store.ask(AS_WRITTEN[table], **key), ASSESSMENT_TABLES | LINE_TABLES
            keyed = table.replace("result", "answer")
            came[keyed] = (tables[keyed], answers_by_key(rows, name, limits))
    otherwise = []
    for table, (question, frame) in came.items():
        on_file = store.ask_frame(question, **key)
        same = frame.height == on_file.height and (
            not frame.height or frame_sha256(on_file) == frame_sha256(frame.select(on_file.columns))
        )
        if not same:
            otherwise.append(table)
    return otherwise


def _lacks_otherwise(store: Store, sealed: Collection[str], **key: Any) -> list[str]:
    """Whether what reels lack is not what the sentences of an earlier version, which the entry seals, come to."""
    if "judged.reel" not in sealed or "judged.lack" in sealed:
        return []
    from pipeline.store.earlier_lacks import TABLE, lacks_by_code

    names = ("reels", "requirements", "findings")
    reels, requirements, findings = (store.ask(f"questions/{one}_of_assessment", **key) for one in names)
    frame = lacks_by_code(
        reels,
        [row for row in requirements if row["verdict"] != "conforms"],
        [row for row in findings if row["sentence"]],
    )
    on_file = store.ask_frame(ASSESSMENT_TABLES[TABLE], **key)
    return [] if frame_sha256(on_file) == frame_sha256(frame.select(on_file.columns)) else [TABLE]


def _sealed_before(store: Store, table: str, question: str, digest: str, **key: object) -> bool:
    """Whether rows are as they were sealed when their table had fewer columns: what came later is empty in them."""
    frame = store.ask_frame(question, **key)
    later = [name for name in LATER_COLUMNS.get(table, ()) if name in frame.columns]
    while later and frame[later[-1]].null_count() == frame.height:
        frame = frame.drop(later.pop())
        if frame_sha256(frame) == digest:
            return True
    return False


def _changed(
    store: Store,
    record: dict[str, Any],
    tables: dict[str, str],
    what: str,
    removed: Set[tuple[str, str, str]],
    **key: object,
) -> list[str]:
    folder = record.get("folder", "")
    then = record["seals"]
    # An earlier version of the store had other tables, and its entries seal those.
    known = tables | AS_WRITTEN
    try:
        now = seals_of(store, {name: known[name] for name in then["rows"] if name in known}, folder, **key)
    except OSError as fault:
        return [f"{what}: a file of {folder} cannot be read ({fault.strerror})."]
    told = [
        f"{what}: rows of {table} are not as they were written."
        for table, digest in then["rows"].items()
        if now["rows"].get(table) != digest
        and not (table in known and _sealed_before(store, table, known[table], digest, **key))
    ]
    told += [
        f"{what}: the file {folder}/{name} was added later."
        for name in now["files"]
        if name not in then["files"]
    ]
    told += [
        f"{what}: rows of {table} are not what its rows of an earlier version come to."
        for table in (
            *_keyed_otherwise(store, then["rows"], **key),
            *_lacks_otherwise(store, then["rows"], **key),
        )
    ]
    for name, digest in then["files"].items():
        if name not in now["files"] and (folder, name, digest) in removed:
            continue
        if name not in now["files"]:
            told.append(f"{what}: the file {folder}/{name} is missing.")
        elif now["files"][name] != digest:
            told.append(f"{what}: the file {folder}/{name} is not as it was written.")
    return told

"""Thin old readings by the plant's rule of retention, without losing what findings, lots and decisions stand on.

First what stays is written and put on file with the hashes of what goes; only then, once that is published, the
full-rate files are removed. Stopped in between, both are there, and the next start of a writer removes what was to go.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.errors import Complaint, ReelproofError, SheetError
from pipeline.found import Noted
from pipeline.job.load_on_file import put_texts_on_file
from pipeline.messages import Measure, said
from pipeline.record.decided import acts_of_run, holding_states
from pipeline.record.entry_kinds import HANDED_OUT
from pipeline.record.lengths import lengths_on_file
from pipeline.record.sealing import file_sha256, note_sealed
from pipeline.record.stretches_on_file import FILE as STRETCHES
from pipeline.sheets.plant_sheet import read_plant_sheet
from pipeline.steps.load import SheetText, text_of
from pipeline.steps.thinned_rows import Window, channel_steps, places_of, rows_kept, steps_of
from pipeline.store.database import Store, open_to_write
from pipeline.store.layout import folder_of, path_of
from pipeline.store.readings import THINNED, note_removal, read_frame, sweep, written_folder

if TYPE_CHECKING:
    from pipeline.sheets.plant_sheet import Retention

Row = dict[str, Any]
Frames = dict[str, pl.DataFrame]
# Files that are kept whole: they are short, and every line of them is evidence, or the sum of it.
_WHOLE = ("events", "flagged", STRETCHES)
# Files of a judgement that have a row for each reading.
_PLACED = ("placed", "measured")


@dataclass(frozen=True, slots=True)
class RetentionRule:
    """The plant's rule of retention, the sheet it stands in, and the first day it leaves alone."""

    retention: Retention
    sheet: SheetText
    before: date


@dataclass(frozen=True, slots=True)
class Thinned:
    """What thinning one load of a run removes and leaves.

    Args:
        run_id: the run.
        load_id: its load.
        shift_date: the day its shift began.
        rows_before: readings at full rate.
        rows_kept: those of them that stay.
        bytes_before: size of its files, those of its judgements with it.
        bytes_kept: size of what stands in their place.
        kept_reels: reels that stay at full rate as a whole, with the reason.
        whole: why the load is left as it is, "" where it is thinned.
    """

    run_id: str
    load_id: int
    shift_date: date
    rows_before: int
    rows_kept: int
    bytes_before: int
    bytes_kept: int
    kept_reels: tuple[tuple[str, str], ...]
    whole: str = ""


def rule_of(path: Path, today: date) -> RetentionRule:
    """The rule of retention in the plant sheet `path`, as it applies on the day `today`.

    Raises:
        SheetError: the sheet cannot be used, or has no such rule.
    """
    retention = read_plant_sheet(path).retention
    if retention is None:
        raise SheetError(
            Complaint(
                f"{path}: retention",
                "this plant sheet does not say how long readings are kept at full rate",
                "Add [retention] with full_rate_months, for example 24; nothing is thinned without it",
            )
        )
    months = today.year * 12 + today.month - 1 - retention.full_rate_months
    first = date(months // 12, months % 12 + 1, 1)
    return RetentionRule(retention, text_of(path, "plant"), first)


def thin(
    folder: Path,
    rule: RetentionRule,
    role: str = "",
    told: Callable[[str, int], None] = lambda _run, _more: None,
    on_wait: Callable[[str], None] = lambda _who: None,
) -> tuple[Thinned, ...]:
    """Thin what the rule says, or only find out what that would come to.

    Args:
        folder: the store's folder.
        rule: from `rule_of`.
        role: who does it; nothing is changed where it is empty.
        told: told each run and 1.
        on_wait: told who is writing to the store while this waits.

    Raises:
        ReelproofError: the plant's sheet does not let this role thin.
    """
    _check_authority(rule, role)
    outcomes = []
    with open_to_write(folder, on_wait=on_wait, must_exist=True) as store:
        sweep(store)
        candidates = store.ask("questions/judged_loads_until", day=rule.before)
        handed = _runs_handed_out(store) if "handed out" in rule.retention.keep_whole else set()
        for _, rows in groupby(candidates, key=lambda row: row["load_id"]):
            judged = list(rows)
            outcomes.append(_thin_load(store, rule, judged, role, handed))
            told(judged[0]["run_id"], 1)
    if role:
        with open_to_write(folder, on_wait=on_wait) as store:
            sweep(store)
    return tuple(outcomes)


def _check_authority(rule: RetentionRule, role: str) -> None:
    """Refuse a role that the plant's sheet does not let thin; finding out what it would come to is for anybody."""
    allowed = rule.retention.may_thin
    if role and allowed and role not in allowed:
        raise ReelproofError(
            Complaint(
                f"{rule.sheet.name}: retention.may_thin",
                f"by the plant's sheet the role '{role}' may not thin readings",
                f"It is for {' or '.join(allowed)}",
            )
        )


def _runs_handed_out(store: Store) -> set[str]:
    """Runs whose record left the plant in a pack."""
    runs: set[str] = set()
    for entry in store.ask("questions/entries_of_kind", kind=HANDED_OUT):
        subject = entry["subject"].removeprefix("lot ")
        runs |= {row["run_id"] for row in store.ask("questions/lot_runs", lot=subject)}
        runs |= {row["run_id"] for row in store.ask("questions/reel", reel_id=subject)}
    return runs


def _thin_load(store: Store, rule: RetentionRule, judged: list[Row], role: str, handed: set[str]) -> Thinned:
    head = judged[0]
    homes = [
        path_of(store, row) for row in (head["load_folder"], *(one["assessment_folder"] for one in judged))
    ]
    before = sum(file.stat().st_size for home in homes for file in home.glob("*.parquet"))
    current = [row for row in store.ask("questions/current_runs") if row["run_id"] == head["run_id"]]
    why = ""
    if not current or current[0]["outcome"] != "judged":
        why = "its newest load is not judged"
    elif head["run_id"] in handed:
        why = "its record was handed out"
    if why:
        return Thinned(head["run_id"], head["load_id"], head["shift_date"], 0, 0, before, before, (), why)
    reels = _reels_kept(store, rule, current[0])
    windows, rows = _windows(store, judged, current[0], reels)
    frames, kept, total = _frames(store, rule, judged, windows, rows)
    told = (head["run_id"], head["load_id"], head["shift_date"], total, kept)
    if not role:
        return Thinned(*told, before, _size_of(frames), reels)
    after = _put_on_file(store, rule, head, frames, (total, kept), role)
    return Thinned(*told, before, after, reels)


def _reels_kept(store: Store, rule: RetentionRule, head: Row) -> tuple[tuple[str, str], ...]:
    """Reels of a run that stay at full rate as a whole, with the reason."""
    key = {"assessment_id": head["assessment_id"]}
    findings = store.ask("questions/findings_of_assessment", **key)
    decided = acts_of_run(store, head["run_id"])
    policy = rule.retention.keep_whole
    shipped = {row["item"] for row in store.ask("questions/shipments")}
    shipped |= {row["reel_id"] for row in lengths_on_file(store) if row["shipment"] is not None}
    declared = _declared(store)
    kept = []
    for reel in store.ask("questions/reels_of_assessment", **key):
        name = reel["reel_id"]
        states = holding_states(findings, decided, name)
        if any(state.standing != "closed" for state in states.values()):
            kept.append((name, "a finding on it is open"))
        elif reel["standing"] != "releasable" and not states:
            kept.append((name, reel["standing"]))
        elif "shipped" in policy and name in shipped:
            kept.append((name, "it was shipped"))
        elif "declared" in policy and name in declared:
            kept.append((name, "a declaration stands on it"))
    return tuple(kept)


def _declared(store: Store) -> set[str]:
    """Reels that declarations stand on, those of their cut lengths with them."""
    wire: set[str] = set()
    for entry in store.ask("questions/entries_of_kind", kind="declaration"):
        wire |= set(json.loads(entry["record"])["record"]["wire"])
    return wire | {row["reel_id"] for row in lengths_on_file(store) if row["length_id"] in wire}


def _windows(
    store: Store, judged: list[Row], head: Row, reels: tuple[tuple[str, str], ...]
) -> tuple[list[Window], list[int]]:
    """Lengths of wire kept at full rate, and the worst reading of every finding any judgement of the load made."""
    windows: list[Window] = []
    rows: list[int] = []
    for assessment_id in {*(one["assessment_id"] for one in judged), head["assessment_id"]}:
        for one in store.ask("questions/findings_of_assessment", assessment_id=assessment_id):
            windows.append((one["evidence_from_m"], one["evidence_to_m"]))
            rows += [] if one["row"] is None else [one["row"]]
    kept = {name for name, _ in reels}
    places = store.ask("questions/places_of_assessment", assessment_id=head["assessment_id"])
    windows += [(place["from_m"], place["to_m"]) for place in places if place["reel_id"] in kept]
    return windows, rows


def _frames(
    store: Store, rule: RetentionRule, judged: list[Row], windows: list[Window], rows: list[int]
) -> tuple[dict[str, Frames], int, int]:
    """What stands in place of each folder, by its name; how many rows stay, of how many."""
    step_m = rule.retention.step_m
    whole: dict[str, Frames] = {}
    steps: dict[str, pl.DataFrame] = {}
    for row in judged:
        folder = row["assessment_folder"]
        whole[folder] = _files_of(store, folder)
        both = [steps_of(whole[folder][name], places_of(whole[folder][name]), step_m) for name in _PLACED]
        steps[folder] = pl.concat(both)
    load = judged[0]["load_folder"]
    whole[load] = _files_of(store, load)
    logged = whole[load]["logged"]
    steps[load] = channel_steps(logged, whole[judged[-1]["assessment_folder"]]["placed"], step_m)
    placed = [whole[row["assessment_folder"]][name] for row in judged for name in _PLACED]
    extremes = [steps[row["assessment_folder"]] for row in judged]
    kept = rows_kept(placed, extremes, windows, rows)
    thinned = {
        folder: {
            **{name: _of_rows(name, frame, kept) for name, frame in frames.items()},
            "steps": steps[folder],
        }
        for folder, frames in whole.items()
    }
    return thinned, thinned[load]["logged"].height, logged.height


def _files_of(store: Store, folder: str) -> Frames:
    names = sorted(path.stem for path in path_of(store, folder).glob("*.parquet"))
    return {name: read_frame(store, folder, name) for name in names}


def _of_rows(name: str, frame: pl.DataFrame, kept: pl.Series) -> pl.DataFrame:
    if name in _WHOLE or "row" not in frame.columns:
        return frame
    return frame.filter(pl.col("row").cast(pl.UInt32).is_in(kept.implode()))


def _size_of(frames: dict[str, Frames]) -> int:
    """What the frames would take on disk [bytes]."""
    import io

    from pipeline.store.readings import write_parquet

    total = 0
    for parts in frames.values():
        for frame in parts.values():
            out = io.BytesIO()
            write_parquet(frame, out)
            total += out.tell()
    return total


def _put_on_file(
    store: Store, rule: RetentionRule, head: Row, frames: dict[str, Frames], rows: tuple[int, int], role: str
) -> int:
    """Write what stays, put it on file, and note what is to go; the size of what stays [bytes]."""
    total = 0
    with ExitStack() as stack:
        places = {folder: _thinned_folder(store, head, folder) for folder in frames}
        for folder, parts in frames.items():
            named = {f"{name}{THINNED}": frame for name, frame in parts.items()}
            stack.enter_context(written_folder(store, places[folder], named))
        note_removal(store, frames)
        stack.enter_context(store.transaction())
        put_texts_on_file(store, (rule.sheet,))
        for folder in frames:
            total += _note(store, rule, head, (folder, places[folder]), rows, role)
    return total


def _thinned_folder(store: Store, head: Row, folder: str) -> str:
    ((key, number),) = (
        (row["key"], row["number"]) for row in store.ask("questions/place_of_folder", folder=folder)
    )
    named = {f"thinned_{key}": number}
    return folder_of(head["plant"], head["line"], head["shift_date"], head["run_id"], **named)


def _note(
    store: Store, rule: RetentionRule, head: Row, folders: tuple[str, str], rows: tuple[int, int], role: str
) -> int:
    of_folder, folder = folders
    files = sorted(path_of(store, of_folder).glob("*.parquet"))
    size = sum(file.stat().st_size for file in files)
    kept = sum(file.stat().st_size for file in path_of(store, folder).glob("*.parquet"))
    at = datetime.now(UTC).replace(tzinfo=None)
    step = Measure(rule.retention.step_m, "m")
    row = pl.DataFrame(
        {
            "of_folder": of_folder,
            "folder": folder,
            "run_id": head["run_id"],
            "load_id": head["load_id"],
            "step_m": rule.retention.step_m,
            "rows_before": rows[0],
            "rows_kept": rows[1],
            "bytes_before": size,
            "bytes_kept": kept,
            "role": role,
            "plant_sheet_sha256": rule.sheet.sha256,
            "thinned_utc": at,
        }
    )
    record = {
        "said": said(Noted.THINNED, run=head["run_id"], role=role, kept=rows[1], rows=rows[0], step=step),
        "role": role,
        "of_folder": of_folder,
        "removed": {file.name: file_sha256(file) for file in files},
        "plant_sheet_sha256": rule.sheet.sha256,
        "full_rate_months": rule.retention.full_rate_months,
        "keep_whole": list(rule.retention.keep_whole),
    }
    note_sealed(store, "thinning", head["run_id"], row, record, folder)
    return kept

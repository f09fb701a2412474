"""Hand a lot's history over: everything on file about it as a pack that verifies without this program.

The pack holds what the store says of the lot's runs and reels, judgements of earlier revisions included, with
the journal entries behind it and their proofs against the journal's root.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline import __version__
from pipeline.found import Happened
from pipeline.lots.genealogy import Genealogy, Node, Reached, reach
from pipeline.lots.history import (
    HistoryEvent,
    LotHistory,
    history_tables,
    in_order,
    of_acts,
    of_calibrations,
    of_journal,
    of_limits,
    statements_frame,
)
from pipeline.lots.journal import Anchor, Entry, anchor_of, prove
from pipeline.lots.pack import PackContent
from pipeline.messages import message
from pipeline.nonconformance.disposition import Act
from pipeline.products.limits import Limit, limit_on_file
from pipeline.record.answers_in_words import words_of
from pipeline.record.decided import acts_of_run
from pipeline.record.genealogy_of_store import genealogy_of, sheets_of
from pipeline.record.journal_on_file import journal_of
from pipeline.record.lengths import lengths_on_file
from pipeline.record.reel_and_lot import lot_on_file
from pipeline.record.standing import LengthStanding, Standing, standings_of_runs
from pipeline.record.standing_told import told_once
from pipeline.record.stretches_on_file import stretches_of
from pipeline.store.readings import read_frame
from pipeline.store.said_columns import cause_of, told_of
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.store.database import Store

Row = dict[str, Any]
# Tables of a judgement -> question and the column that names the reel, "" for tables of the whole run.
JUDGED: dict[str, tuple[str, str]] = {
    "reels": ("reels_of_assessment", "reel_id"),
    "places": ("places_of_assessment", "reel_id"),
    "requirements": ("requirements_of_assessment", "reel_id"),
    "findings": ("findings_of_assessment", "reel_id"),
    "lacks": ("lacks_of_assessment", "reel_id"),
    "coverage_gaps": ("gaps_of_assessment", "reel_id"),
    "summaries": ("reel_summaries_of_assessment", "reel_id"),
    "limits": ("limits_of_assessment", ""),
    "judgements": ("assessment", ""),
    "results": ("results_of_assessment", ""),
    "spark_faults_and_flaws": ("events_of_assessment", ""),
    "counter_events": ("counter_events_of_assessment", ""),
}
LOADED = {
    "runs": "load",
    "log_files": "files_of_load",
    "materials": "materials_of_load",
    "lines_set_aside": "all_set_aside_of_load",
    "reasons_not_to_use_readings": "flag_counts_of_load",
}


@dataclass(frozen=True, slots=True)
class LotOnFile:
    """A lot with everything the store holds about it.

    Args:
        lot: the lot.
        runs: runs that used it, as ``current_runs`` gives them.
        reels: reels with wire made with it.
        lengths: lengths cut from these reels.
        shipments: what of them left.
        findings: every finding on these reels, of every judgement.
        entries: the whole journal.
        subjects: whose journal entries belong to the lot.
        genealogy: the graph of the store.
    """

    lot: str
    runs: tuple[Row, ...]
    reels: tuple[str, ...]
    lengths: tuple[Row, ...]
    shipments: tuple[Row, ...]
    findings: tuple[Row, ...]
    entries: tuple[Entry, ...]
    subjects: tuple[str, ...]
    genealogy: Genealogy


def lot_content(
    store: Store, lot: str, at_utc: datetime, history_pdf: Callable[[Anchor], bytes]
) -> PackContent:
    """Everything that goes into a lot's pack.

    Args:
        store: the store, open to read.
        lot: the lot.
        at_utc: when it is made, UTC.
        history_pdf: prints the history, the same as the lot's page, with the journal as it stands.

    Raises:
        NotFoundError: no run used such a lot.
    """
    on_file = gather_lot(store, lot)
    acts = tuple(
        act
        for head in on_file.runs
        for done in acts_of_run(store, head["run_id"]).acts.values()
        for act in done
        if act.subject in on_file.subjects
    )
    history = _history(store, on_file, acts)
    subjects, anchor = set(on_file.subjects), anchor_of(on_file.entries)
    wanted = [one.entry_no for one in on_file.entries if one.subject in subjects or _names(one, on_file)]
    return PackContent(
        f"Lot {lot}",
        at_utc,
        f"reelproof {__version__}",
        history_tables(history, plain),
        {"history.pdf": history_pdf(anchor), **_sheet_texts(store, on_file)},
        prove(on_file.entries, wanted),
        anchor,
    )


def gather_lot(store: Store, lot: str) -> LotOnFile:
    """A lot with everything the store holds about it.

    Raises:
        NotFoundError: no run used such a lot; the nearest numbers are named.
    """
    found = lot_on_file(store, lot)
    run_ids = {row["run_id"] for row in found["runs"]}
    runs = tuple(row for row in store.ask("questions/current_runs") if row["run_id"] in run_ids)
    reels = tuple(dict.fromkeys(row["reel_id"] for row in found["reels"]))
    lengths = tuple(row for row in lengths_on_file(store) if row["reel_id"] in reels)
    items = {*reels, *(row["length_id"] for row in lengths)}
    shipments = tuple(row for row in store.ask("questions/shipments") if row["item"] in items)
    findings = tuple(
        row
        for head in runs
        for earlier in store.ask("questions/assessments_of_run", run_id=head["run_id"])
        for row in store.ask("questions/findings_of_assessment", assessment_id=earlier["assessment_id"])
        if row["reel_id"] in reels
    )
    subjects = (
        lot,
        *sorted(run_ids),
        *reels,
        *sorted({row["finding_id"] for row in findings}),
        *sorted({row["shipment"] for row in shipments}),
        f"lot {lot}",
    )
    return LotOnFile(
        lot, runs, reels, lengths, shipments, findings, journal_of(store), subjects, genealogy_of(store)
    )


def _names(entry: Entry, on_file: LotOnFile) -> bool:
    """Whether a declaration names a reel or length of the lot."""
    if entry.kind != "declaration":
        return False
    named = entry.content.get("wire", ())
    return bool(set(named) & {*on_file.reels, *(row["length_id"] for row in on_file.lengths)})


def _history(store: Store, on_file: LotOnFile, acts: Sequence[Act]) -> LotHistory:
    limits = _limits(store, on_file)
    journal = [one for one in on_file.entries if one.kind != "disposition"]
    calibrations = [event for head in on_file.runs for event in of_calibrations(sheets_of(store, head)[1])]
    return LotHistory(
        on_file.lot,
        _lineage(on_file),
        on_file.genealogy.edges,
        in_order(
            of_journal(journal, on_file.subjects),
            of_acts(acts),
            calibrations,
            of_limits(limits),
            _runs_told(on_file),
            _findings_told(store, on_file),
        ),
        limits,
        tables=_tables(store, on_file),
        anchor=anchor_of(on_file.entries),
    )


def _lineage(on_file: LotOnFile) -> tuple[Reached, ...]:
    """Where the lot went, and what its runs were made from and judged by."""
    genealogy = on_file.genealogy
    lots = [
        node
        for node in genealogy.nodes
        if node.kind == "material lot" and node.name.endswith(f" {on_file.lot}")
    ]
    forward = [one for node in lots for one in reach(genealogy, node)]
    backward = [
        one for head in on_file.runs for one in reach(genealogy, Node("run", head["run_id"]), forward=False)
    ]
    return tuple({(one.node, one.path): one for one in (*forward, *backward)}.values())


def _limits(store: Store, on_file: LotOnFile) -> tuple[Limit, ...]:
    """Every limit row the lot's runs were ever judged by, each revision once."""
    found: dict[tuple[str, str], Limit] = {}
    for head in on_file.runs:
        for earlier in store.ask("questions/assessments_of_run", run_id=head["run_id"]):
            for row in store.ask("questions/limits_of_assessment", assessment_id=earlier["assessment_id"]):
                found[row["limit_id"], row["revision"]] = limit_on_file(row)
    return tuple(found[key] for key in sorted(found))


def _runs_told(on_file: LotOnFile) -> tuple[HistoryEvent, ...]:
    events = []
    for head in on_file.runs:
        where = {"run": head["run_id"], "line": head["line"], "shift": head["shift"]}
        for at, told in (
            (head["started_utc"], message(Happened.RUN_STARTED, **where)),
            (head["ended_utc"], message(Happened.RUN_ENDED, **where)),
        ):
            events.append(
                HistoryEvent(
                    at.replace(tzinfo=UTC), False, "run", head["run_id"], told, f"load {head['load_id']}"
                )
            )
    return tuple(events)


def _findings_told(store: Store, on_file: LotOnFile) -> tuple[HistoryEvent, ...]:
    """Every finding of every judgement, when that judgement was made."""
    made = {
        row["assessment_id"]: row["assessed_utc"].replace(tzinfo=UTC)
        for head in on_file.runs
        for row in store.ask("questions/assessments_of_run", run_id=head["run_id"])
    }
    return tuple(
        HistoryEvent(
            made[row["assessment_id"]],
            False,
            "finding",
            row["finding_id"],
            message(Happened.ON_REEL, reel=row["reel_id"], told=told_of(row)),
            f"assessment {row['assessment_id']}",
        )
        for row in on_file.findings
    )


def _tables(store: Store, on_file: LotOnFile) -> dict[str, pl.DataFrame]:
    """The store's own rows about the lot, as they stand on file."""
    tables: dict[str, list[pl.DataFrame]] = {}
    for head in on_file.runs:
        for name, question in LOADED.items():
            tables.setdefault(name, []).append(
                store.ask_frame(f"questions/{question}", load_id=head["load_id"])
            )
        for earlier in store.ask("questions/assessments_of_run", run_id=head["run_id"]):
            for name, (question, column) in JUDGED.items():
                frame = store.ask_frame(f"questions/{question}", assessment_id=earlier["assessment_id"])
                if column:
                    frame = frame.filter(pl.col(column).is_in(on_file.reels))
                if name == "results":
                    frame = _with_words(frame)
                elif name == "findings":
                    frame = _findings_with_words(frame)
                elif name in ("requirements", "lacks"):
                    frame = _said_with_words(frame)
                tables.setdefault(name, []).append(frame)
            along = stretches_of(store, earlier["assessment_id"], earlier["folder"])
            tables.setdefault("stretches", []).append(along)
        tables.setdefault("dispositions", []).append(
            store.ask_frame("questions/acts_of_run", run_id=head["run_id"]).filter(
                pl.col("subject").is_in(on_file.subjects)
            )
        )
    made = {name: pl.concat(frames) for name, frames in tables.items()}
    made["standings_now"] = _standings(store, on_file)
    made["method_statements"] = statements_frame()
    made["evidence_readings"] = _evidence(store, on_file)
    if on_file.lengths:
        made["cut_lengths"] = pl.DataFrame(on_file.lengths, infer_schema_length=None)
    if on_file.shipments:
        made["shipments"] = pl.DataFrame(on_file.shipments, infer_schema_length=None)
    return {name: frame for name, frame in made.items() if frame.height}


def _standings(store: Store, on_file: LotOnFile) -> pl.DataFrame:
    """How every reel and cut length of the lot stands when the pack is made."""
    rows: list[Row] = []
    for run in standings_of_runs(store, (head["run_id"] for head in on_file.runs)).values():
        for reel_id, one in run.items():
            if reel_id in on_file.reels:
                rows.append({"reel_id": reel_id, "item": reel_id, "evidence": one.evidence, **_now(one)})
                rows += [
                    {"reel_id": reel_id, "item": each.length_id, "evidence": one.evidence, **_now(each)}
                    for each in one.lengths
                ]
    texts = ("reel_id", "item", "evidence", "standing", "headline")
    return pl.DataFrame(
        rows,
        schema={
            **dict.fromkeys(texts, pl.String),
            "reasons": pl.List(pl.String),
            "may_leave": pl.Boolean,
        },
    )


def _now(one: Standing | LengthStanding) -> Row:
    return {
        "standing": one.code,
        "headline": plain(one.headline),
        "reasons": told_once(one.reasons),
        "may_leave": one.may_leave,
    }


def _with_words(answers: pl.DataFrame) -> pl.DataFrame:
    """Answers with their words beside the codes: nobody reads a pack with the program that wrote it."""
    told = [words_of(row) for row in answers.to_dicts()]
    kinds = {"heading": pl.String, "method": pl.String, "refusal": pl.String}
    lists = {"warnings": pl.List(pl.String), "assumptions": pl.List(pl.String)}
    words = pl.DataFrame(told, schema={**kinds, **lists})
    return answers.hstack(words.rename({name: f"{name}_in_words" for name in words.columns}))


def _findings_with_words(findings: pl.DataFrame) -> pl.DataFrame:
    """Findings with what is said of them and of their causes in words."""
    rows = findings.to_dicts()
    return findings.with_columns(
        pl.Series("sentence_in_words", [plain(told_of(row)) for row in rows], pl.String),
        pl.Series("cause_in_words", [plain(cause_of(row)) for row in rows], pl.String),
    )


def _said_with_words(rows: pl.DataFrame) -> pl.DataFrame:
    """Requirements on reels and what their evidence lacks, with what is said of each in words."""
    told = [plain(told_of(row)) for row in rows.to_dicts()]
    return rows.with_columns(pl.Series("sentence_in_words", told, pl.String))


def _evidence(store: Store, on_file: LotOnFile) -> pl.DataFrame:
    """Every reading in the evidence window of each finding the newest judgement sees, at full rate."""
    windows = [pl.DataFrame()]
    for head in on_file.runs:
        here = [row for row in on_file.findings if row["assessment_id"] == head["assessment_id"]]
        if not here:
            continue
        frame = read_frame(store, head["assessment_folder"], "measured", or_thinned=True)
        windows += [
            frame.filter(pl.col("wall_at_m").is_between(row["evidence_from_m"], row["evidence_to_m"])).select(
                pl.lit(row["finding_id"]).alias("finding_id"), pl.all()
            )
            for row in here
        ]
    return pl.concat(windows, how="diagonal_relaxed")


def _sheet_texts(store: Store, on_file: LotOnFile) -> Mapping[str, bytes]:
    """The run, line and plant sheets the lot was loaded with and judged by, under their hash."""
    wanted = {head[f"{kind}_sheet_sha256"] for head in on_file.runs for kind in ("run", "line", "plant")} | {
        row["plant_sheet_sha256"]
        for head in on_file.runs
        for row in store.ask("questions/assessments_of_run", run_id=head["run_id"])
    }
    texts = {}
    for sha256 in sorted(wanted):
        row = store.ask("questions/sheet", sha256=sha256)[0]
        texts[f"sheets/{row['kind']}-{sha256}.toml"] = row["text"].encode()
    return texts

"""Is it known which wire a number on file means? Not where two runs have one reel, or one line made two at once.

A plant's number names one piece of wire. Where two runs claim it, or their logs claim the line at the same time, one of
the sheets is wrong, and none of that wire may leave on what is on file of the other.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from pipeline.errors import Complaint, NotFoundError
from pipeline.messages import Message, message
from pipeline.record.lengths import lengths_on_file
from pipeline.why import Stands
from pipeline.wording.say import plain

if TYPE_CHECKING:
    from pipeline.store.database import Store

Doubts = Mapping[str, tuple[Message, ...]]


def numbers_of_two(store: Store) -> Doubts:
    """What is said of each reel or cut length whose number means more than one piece of wire, by the number."""
    claims = _not_judged(store)
    rows = store.ask("questions/reels_in_several_runs")
    alike = sorted({name.lower() for name, _ in claims})
    for row in (*rows, *(store.ask("questions/runs_of_reels", reels=alike) if claims else ())):
        claims.add((row["reel_id"], row["run_id"]))
    # No plant tells two reels apart by small and capital letters: such a pair is one number, typed in two ways.
    runs: dict[str, set[str]] = {}
    for name, run_id in claims:
        runs.setdefault(name.lower(), set()).add(run_id)
    found = {
        name: (message(Stands.IN_TWO_RUNS, reel=name, runs=tuple(sorted(runs[name.lower()]))),)
        for name, _ in claims
        if len(runs[name.lower()]) > 1
    }
    lengths = {row["length_id"].lower(): row for row in lengths_on_file(store)}
    if lengths:
        for row in store.ask("questions/runs_of_reels", reels=list(lengths)):
            length = lengths[row["reel_id"].lower()]
            told = {"reel": row["reel_id"], "run": row["run_id"], "source": length["reel_id"]}
            for name in dict.fromkeys((row["reel_id"], length["length_id"])):
                found[name] = (*found.get(name, ()), message(Stands.REEL_AND_LENGTH, **told))
    return found


def check_known(store: Store, name: str, where: str = "") -> None:
    """Refuse a reel or cut length whose number means more than one piece of wire.

    Args:
        store: the store.
        name: the number.
        where: where it was asked for; the number itself where left out.

    Raises:
        NotFoundError: with why it is not known which wire is meant.
    """
    told = numbers_of_two(store).get(name, ())
    if told:
        remedy = "Ask again when the corrected sheet is on file"
        raise NotFoundError(Complaint(where or name, plain(one).rstrip("."), remedy) for one in told)


def _not_judged(store: Store) -> set[tuple[str, str]]:
    """Each reel of the sheets of runs that are loaded and not judged, with its run."""
    return {
        (str(reel["id"]).strip(), row["run_id"])
        for row in store.ask("questions/runs_not_judged")
        for reel in tomllib.loads(row["text"]).get("run", {}).get("reels", ())
    }


def made_at_one_time(store: Store, runs: Sequence[str] = ()) -> dict[str, dict[str, Message]]:
    """The runs that a line made at the same time as another, or that read another line's gauges, by run and other.

    Args:
        store: the store.
        runs: only those; none for all.
    """
    found: dict[str, dict[str, Message]] = {}
    for row in store.ask("questions/runs_at_one_time", runs=list(runs)):
        told = message(Stands.AT_ONE_TIME, run=row["run_id"], other=row["other_id"], line=row["line"])
        found.setdefault(row["run_id"], {})[row["other_id"]] = told
    for row in store.ask("questions/runs_of_one_log", runs=list(runs)):
        if _gauges_read(row["text"]) & _gauges_read(row["other_text"]):
            names = {name: row[name] for name in ("line", "other_line")}
            told = message(Stands.ONE_LOG, run=row["run_id"], other=row["other_id"], **names)
            found.setdefault(row["run_id"], {})[row["other_id"]] = told
    return found


def _gauges_read(run_sheet: str) -> set[str]:
    """The columns of a run's logs in which its sheet has a gauge of the wire."""
    logs = tomllib.loads(run_sheet).get("run", {}).get("logs", ())
    walls = {str(one) for log in logs for one in log.get("walls", {}).get("columns", ())}
    others = (item for log in logs for item in log.get("channels", {}).items())
    return walls | {str(column["column"]) for name, column in others if name.endswith("_mm")}


def runs_in_doubt_with(store: Store, runs: tuple[str, ...]) -> tuple[str, ...]:
    """Other runs that have a reel of some runs, or that their line made at the same time."""
    found = made_at_one_time(store, runs) if runs else {}
    others: dict[str, None] = {other: None for run_id in runs for other in found.get(run_id, ())}
    for told in (one for said in numbers_of_two(store).values() for one in said):
        named = told.arguments.get("runs", ())
        if isinstance(named, tuple) and set(named) & set(runs):
            others |= dict.fromkeys(map(str, named))
    return tuple(name for name in others if name not in runs)

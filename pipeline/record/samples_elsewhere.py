"""The samples of other runs that share a material lot with a run, each judged by the limits there and by those here."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.nonconformance.decision import DecisionRule
from pipeline.record.samples_judged import JudgedSample, judged_sample
from pipeline.record.samples_on_file import withdrawn_of_runs

if TYPE_CHECKING:
    from pipeline.store.database import Store

Row = Mapping[str, Any]
LotKey = tuple[str, str]
Lots = Mapping[str, frozenset[LotKey]]
MADE = ("construction", "size", "conductor", "metal")


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """A sample of another run.

    Args:
        there: it against the limits of its own run.
        here: it against the limits of the run that is asked about.
        lots: material and lot of the reel it was cut from.
        is_like: whether its run made the same wire.
    """

    there: JudgedSample
    here: JudgedSample
    lots: frozenset[LotKey]
    is_like: bool


def samples_elsewhere(
    store: Store,
    head: Row,
    runs: Sequence[str],
    limits: Sequence[Row],
    rule: Callable[[str], DecisionRule],
) -> list[Elsewhere]:
    """The samples on file of other judged runs, those withdrawn left out.

    Asked for all runs together: a lot may have served many.

    Args:
        store: the store.
        head: a row of the question ``judged_run``, of the run that is asked about.
        runs: the other runs.
        limits: rows of ``judged.limit`` of the run that is asked about.
        rule: the plant's decision rule, by what was measured.
    """
    if not runs:
        return []
    heads = {
        run: rows[0]
        for run, rows in store.ask_of_each("questions/judged_run", "run_id", runs).items()
        if rows
    }
    of_assessment = store.ask_of_each(
        "questions/limits_of_assessment", "assessment_id", [one["assessment_id"] for one in heads.values()]
    )
    lots = lots_of_runs(store, list(heads))
    withdrawn = withdrawn_of_runs(store, heads)
    found = []
    for run, rows in store.ask_of_each("questions/samples_of_run", "run_id", list(heads)).items():
        other = heads[run]
        is_like = all(other[name] == head[name] for name in MADE)
        found += [
            Elsewhere(
                judged_sample(row, of_assessment[other["assessment_id"]], rule(row["quantity"])),
                judged_sample(row, limits, rule(row["quantity"])),
                lots[run].get(row["reel_id"], frozenset()),
                is_like,
            )
            for row in rows
            if row["sample_id"] not in withdrawn[run]
        ]
    return found


def lots_of_runs(store: Store, runs: Sequence[str]) -> Mapping[str, Lots]:
    """Material and lot of every reel of each run's newest judgement, by run and reel."""
    found: dict[str, dict[str, frozenset[LotKey]]] = {}
    for run, rows in store.ask_of_each("questions/lots_of_reels", "run_id", runs).items():
        reels: dict[str, set[LotKey]] = {}
        for row in rows:
            reels.setdefault(row["reel_id"], set()).add((row["material"], row["lot"]))
        found[run] = {reel: frozenset(lots) for reel, lots in reels.items()}
    return found


def same_lots(here: frozenset[LotKey], there: frozenset[LotKey]) -> frozenset[LotKey]:
    """The lots of `here` that `there` has too, however their case and spaces are typed."""
    named = {(material, _folded(lot)) for material, lot in there}
    return frozenset(one for one in here if (one[0], _folded(one[1])) in named)


def _folded(lot: str) -> str:
    return lot.replace(" ", "").lower()

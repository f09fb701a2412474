"""Which wire is out that might not leave, or that no judgement stands behind now? Told at once, and first on pages."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.messages import Message, message
from pipeline.record.lengths import lengths_on_file
from pipeline.record.standing import standings_of_runs
from pipeline.record.which_wire import runs_in_doubt_with
from pipeline.why import Stands

if TYPE_CHECKING:
    from pipeline.record.left_on_file import Left
    from pipeline.store.database import Store


@dataclass(frozen=True, slots=True)
class Unjudged:
    """Wire that left and that no judgement stands behind now.

    Args:
        reel_id: its reel.
        run_id: the run the reel was made in.
        told: which wire left, why it is not judged, and what to do.
    """

    reel_id: str
    run_id: str
    told: Message


def left_unjudged(store: Store, left: Mapping[str, Left]) -> tuple[Unjudged, ...]:
    """Wire that left, of reels that the newest judgement of the newest load does not know.

    A run that is loaded anew is not judged until it is assessed; what left by an earlier judgement is not known to be
    good meanwhile. A run sheet that was changed may call a reel otherwise.

    Args:
        store: the store.
        left: what left, by the reel or cut length.
    """
    if not left:
        return ()
    reel_of = {row["length_id"]: row["reel_id"] for row in lengths_on_file(store)}
    items: dict[str, list[Left]] = {}
    for item, one in left.items():
        items.setdefault(reel_of.get(item, item), []).append(one)
    rows = store.ask("questions/reels_no_longer_judged", reels=list(items))
    return tuple(
        Unjudged(row["reel_id"], row["run_id"], _told(one, row["run_id"], judged=row["run_is_judged"]))
        for row in rows
        for one in items[row["reel_id"]]
    )


def _told(one: Left, run_id: str, *, judged: bool) -> Message:
    code = Stands.REEL_UNKNOWN_NOW if judged else Stands.LOADED_ANEW
    return message(code, item=one.item, shipment=one.shipment, place=one.to_place, run=run_id)


def runs_of_lots(store: Store, lots: Iterable[str]) -> tuple[str, ...]:
    """The runs that a load on file says were made of any of some material lots."""
    return tuple(
        dict.fromkeys(row["run_id"] for lot in lots for row in store.ask("questions/loads_of_lot", lot=lot))
    )


def runs_of_like_lots(store: Store, runs: Iterable[str]) -> tuple[str, ...]:
    """Some runs, and every run that shares a material lot with one of them: what a sample says may reach them."""
    lots: dict[str, None] = {}
    for run_id in (named := dict.fromkeys(runs)):
        for head in store.ask("questions/current_run", run_id=run_id):
            rows = store.ask("questions/materials_of_load", load_id=head["load_id"])
            lots |= dict.fromkeys(row["lot"] for row in rows)
    return tuple(named | dict.fromkeys(runs_of_lots(store, lots)))


def alarms_of_runs(store: Store, runs: Iterable[str]) -> tuple[Message, ...]:
    """Wire of some runs that is out and might not have left, or that is not judged now.

    Args:
        store: the store.
        runs: the runs that were just loaded, judged, sampled, held or decided on.
    """
    from pipeline.record.left_on_file import left_on_file

    wanted = dict.fromkeys(runs)
    left = left_on_file(store) if wanted else {}
    if not left:
        return ()
    wanted |= dict.fromkeys(runs_in_doubt_with(store, tuple(wanted)))
    reel_of = {row["length_id"]: row["reel_id"] for row in lengths_on_file(store)}
    out = {reel_of.get(item, item) for item in left}
    told = [one.told for one in left_unjudged(store, left) if one.run_id in wanted]
    judged = store.ask_of_each("questions/judged_run", "run_id", wanted)
    of_run = {rows[0]["assessment_id"]: run_id for run_id, rows in judged.items() if rows}
    reels = store.ask_of_each("questions/reels_of_assessment", "assessment_id", of_run)
    left_of = [of_run[one] for one, rows in reels.items() if out & {row["reel_id"] for row in rows}]
    told += [
        one
        for run in standings_of_runs(store, left_of).values()
        for now in run.values()
        for one in now.alarms
    ]
    return tuple(dict.fromkeys(told))
